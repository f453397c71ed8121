"""The keypad card, made of vocabulary and table: in 80 columns of text, and as a drawing on one page.

The pad is the usual one of 17 keys (ISO/IEC 9995-4, numeric section). What is wanted most stands first in each mode.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from textwrap import wrap

from assistant.cable.colour_code import RINGS, TIPS
from assistant.dialogue.modes import Mode
from assistant.dialogue.table import CLOSED, TABLE
from assistant.words.intents import MarkFault, No, Yes
from assistant.words.vocabulary import ENTRIES, FAULT_KEYS, FAULT_WORDS, HEARD_FIRST, KEY_SIGNS, VocabularyRow

WIDTH = 80
MODES = (Mode.FOLLOWING, Mode.CALLING, Mode.VERIFYING, Mode.HOLDING)
"""An entry stands under the first of these in which it does something."""
TITLES = {
    Mode.FOLLOWING: "Pair by pair",
    Mode.CALLING: "When pairs are called out",
    Mode.VERIFYING: "When testing",
    Mode.HOLDING: "On hold",
}
ANSWERS = "To a question"


@dataclass(frozen=True, slots=True)
class Section:
    """The entries of one mode, those wanted most first."""

    title: str
    first: tuple[VocabularyRow, ...]
    rest: tuple[VocabularyRow, ...]


def sections() -> tuple[Section, ...]:
    """Give every entry that has keys, each once."""
    left = [entry for entry in ENTRIES if entry.examples and entry.keys]
    made = [_section(ANSWERS, [entry for entry in left if entry.intent in (Yes, No)])]
    left = [entry for entry in left if entry.intent not in (Yes, No)]
    for mode in MODES:
        own = [entry for entry in left if TABLE[mode].cells.get(entry.intent) not in CLOSED]
        left = [entry for entry in left if entry not in own]
        if own:
            made.append(_section(TITLES[mode], own))
    assert not left, f"entries in no mode of the card: {left}"
    return (*made[1:2], made[0], *made[2:])


def _section(title: str, entries: list[VocabularyRow]) -> Section:
    return Section(
        title,
        tuple(entry for entry in entries if entry.intent in HEARD_FIRST),
        tuple(entry for entry in entries if entry.intent not in HEARD_FIRST),
    )


def as_text() -> str:
    """Give the card as plain text in 80 columns."""
    lines = ["KEYPAD CARD", "", *_how_colours_are_keyed(), ""]
    lines += [*_wrapped(f"Faults: {'  '.join(_faults())}", ""), "  before it the number for another pair: 47*1"]
    for section in sections():
        lines += ["", section.title.upper()]
        for entry in (*section.first, *section.rest):
            if entry.intent is not MarkFault:
                lines += [*_wrapped(entry.key_text, "  "), *_wrapped(entry.help, "      ")]
    return "\n".join([*lines, "", *_wrapped(HOW_KEYS_ACT, "")]) + "\n"


HOW_KEYS_ACT = "Figures wait for Enter; - behind figures clears them. Other keys act at once. Num Lock must be on."


def _how_colours_are_keyed() -> list[str]:
    rings = "  ".join(f"{place} {ring.value}" for place, ring in enumerate(RINGS, 1))
    tips = "  ".join(f"{place} {tip.value}" for place, tip in enumerate(TIPS, 1))
    return [
        "Two colours are two figures: first the ring, then the tip.",
        f"  ring  {rings}",
        f"  tip   {tips}",
        "  .25 Enter is orange violet; 47.25 Enter is pair 47, orange violet",
    ]


def _faults() -> Iterator[str]:
    for fault, keys in FAULT_KEYS.items():
        yield f"*{''.join(KEY_SIGNS.get(key, key) for key in keys.split())} {FAULT_WORDS[fault][0]}"


def _wrapped(text: str, indent: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent or "  ", break_on_hyphens=False)


# --- the drawing, in millimetres ------------------------------------------------------------------

PAGE_MM = (297, 210)
"""A4 across."""
KEY_MM, PAD_LEFT, PAD_TOP = 21.0, 8.0, 24.0
PAD = (
    ("Num Lock", 0, 0, 1, 1),
    ("/", 1, 0, 1, 1),
    ("*", 2, 0, 1, 1),
    ("-", 3, 0, 1, 1),
    *((str(figure), (figure - 1) % 3, 3 - (figure - 1) // 3, 1, 1) for figure in range(1, 10)),
    ("+", 3, 1, 1, 2),
    ("0", 0, 4, 2, 1),
    (".", 2, 4, 1, 1),
    ("Enter", 3, 3, 1, 2),
)
"""Sign, column, row, width and height of each of the 17 keys."""
LEGENDS = {
    "Num Lock": ("must be on",),
    "/": ("ask,", "go to"),
    "*": ("fault,", "group"),
    "-": ("undo, no,", "clear"),
    "+": ("confirm,", "yes, good,", "carry on"),
    ".": ("colours",),
    "Enter": ("ends", "figures;", "alone:", "say again"),
}
COLUMN_LEFT, COLUMN_MM, COLUMN_TOP, COLUMN_BOTTOM = (100.0, 198.0), 93.0, 14.0, 204.0
LINE_MM, SMALL_MM, LARGE_MM = 3.1, 2.5, 3.1
LETTER = 0.6
"""Width of a letter against its size in DejaVu Sans Mono, by its own metrics; others are narrower."""
KEYS_FONT = "DejaVu Sans Mono, monospace"


def as_svg() -> str:
    """Give the card as a drawing on one A4 page, across; no font is needed but a sans-serif one (SVG 1.1)."""
    width, height = PAGE_MM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}" '
        'font-family="DejaVu Sans, Libertinus Serif, sans-serif" fill="#000000">',
        "<title>Keypad card</title>",
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        _text(PAD_LEFT, 14, "KEYPAD CARD", 6, bold=True),
        _text(PAD_LEFT, 20, "Figures wait for Enter; - behind figures clears them.", SMALL_MM),
        *(_key(*key) for key in PAD),
        *_below_the_pad(),
        *_columns(),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _text(left: float, base: float, text: str, size: float, *, bold: bool = False, middle: bool = False) -> str:
    style = (f' font-weight="bold" font-family="{KEYS_FONT}"' if bold else "") + (
        ' text-anchor="middle"' if middle else ""
    )
    return f'<text x="{left:.1f}" y="{base:.1f}" font-size="{size}"{style}>{escape(text)}</text>'


def _key(sign: str, column: int, row: int, across: int, down: int) -> str:
    left, top = PAD_LEFT + column * KEY_MM, PAD_TOP + row * KEY_MM
    centre = left + across * KEY_MM / 2
    lines = _legend(sign)
    size = 9.0 if len(sign) == 1 else 3.6
    drawn = [
        f'<rect x="{left + 0.7:.1f}" y="{top + 0.7:.1f}" width="{across * KEY_MM - 1.4:.1f}" '
        f'height="{down * KEY_MM - 1.4:.1f}" rx="2" fill="#ffffff" stroke="#000000" stroke-width="0.5"/>',
        _text(centre, top + 9, sign, size, bold=True, middle=True),
        *(_text(centre, top + 13 + 3 * place, line, SMALL_MM, middle=True) for place, line in enumerate(lines)),
    ]
    return "".join(drawn)


def _legend(sign: str) -> tuple[str, ...]:
    place = int(sign) if sign.isdigit() else 0
    if 1 <= place <= len(RINGS):
        return (RINGS[place - 1].value, f"({TIPS[place - 1].value})")
    return LEGENDS.get(sign, ())


def _below_the_pad() -> Iterator[str]:
    base, letters = PAD_TOP + 5 * KEY_MM + 5, int(4 * KEY_MM / (2.7 * LETTER))
    lines = [
        "Two colours: first the ring, then the (tip).",
        *wrap(".25 Enter is orange violet; 47.25 Enter is pair 47, orange violet.", letters),
        *wrap(f"Faults: {', '.join(_faults())}. Before it the number for another pair: 47*1.", letters),
        *wrap(HOW_KEYS_ACT, letters),
    ]
    for number, line in enumerate(lines):
        yield _text(PAD_LEFT, base + number * 4, line, 2.7)


def _columns() -> Iterator[str]:
    """Draw the sections into two columns; what is wanted most is larger."""
    drawn = list(_lines())
    where, base = 0, COLUMN_TOP
    for text, size, bold, indent, keeps in drawn:
        if base + keeps * LINE_MM > COLUMN_BOTTOM:
            where, base = where + 1, COLUMN_TOP
            assert where < len(COLUMN_LEFT), "the card has more than a page: shorten the help of an entry"
        if text:
            yield _text(COLUMN_LEFT[where] + indent, base, text, size, bold=bold)
        base += LINE_MM if text else LINE_MM / 2


def _lines() -> Iterator[tuple[str, float, bool, float, int]]:
    """Give text, size, weight and indent of each line, and how many lines must stand in the same column."""
    for section in sections():
        yield section.title.upper(), LARGE_MM, True, 0.0, 4
        for entry in (*section.first, *section.rest):
            if entry.intent is MarkFault:  # stands below the pad
                continue
            size = LARGE_MM if entry in section.first else SMALL_MM
            letters = int((COLUMN_MM - 3) / (size * LETTER))
            keys, helped = wrap(entry.key_text, letters), wrap(short_help(entry), letters)
            for number, line in enumerate(keys):
                yield line, size, True, 1.0, len(keys) + len(helped) - number
            for number, line in enumerate(helped):
                yield line, size, False, 3.0, len(helped) - number
        yield "", SMALL_MM, False, 0.0, 0


def short_help(entry: VocabularyRow) -> str:
    """Give the first part of its help: the card has no room for all."""
    return entry.help.split(":")[0].split(";")[0]
