"""The keypad card, and practising by it."""

import random
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from assistant.cable.colour_code import RINGS, TIPS
from assistant.dialogue import card
from assistant.dialogue.practice import Task, judged, lesson
from assistant.words.grammar import sample
from assistant.words.intents import CallPair, MarkFault, No, UndoThat
from assistant.words.parser import Understood, parse
from assistant.words.vocabulary import ALL_INTENTS, ENTRIES, FAULT_WORDS, HEARD_FIRST, KEYS, Scope

SVG = "{http://www.w3.org/2000/svg}"
CHARACTERS = {name: character for character, name in KEYS.items()}
KEYED = [entry for entry in ENTRIES if entry.keys and entry.examples]


def drawn() -> list[ET.Element]:
    return list(ET.fromstring(card.as_svg()).iter())


def test_every_entry_with_keys_stands_on_the_card_once_and_what_is_wanted_most_first() -> None:
    listed = [entry for section in card.sections() for entry in (*section.first, *section.rest)]
    assert sorted(entry.name for entry in listed) == sorted(entry.name for entry in KEYED)
    for section in card.sections():
        assert {entry.intent for entry in section.first} <= HEARD_FIRST
        assert not {entry.intent for entry in section.rest} & HEARD_FIRST


def test_the_text_has_80_columns_and_all_keys() -> None:
    text = card.as_text()
    assert max(map(len, text.splitlines())) <= 80
    plain = " ".join(text.split())
    assert all(entry.key_text in plain for entry in KEYED if entry.intent is not MarkFault)
    assert all(words[0] in plain for words in FAULT_WORDS.values())


def test_the_drawing_is_one_page_on_which_nothing_leaves_its_column_or_covers_another_line() -> None:
    """Letters are taken as wide as those of DejaVu Sans Mono by its own metrics: 0.6 of the size."""
    width, height = card.PAGE_MM
    lines: dict[float, list[float]] = {}
    for text in (one for one in drawn() if one.tag == f"{SVG}text" and "text-anchor" not in one.attrib):
        left, base, size = (float(text.attrib[name]) for name in ("x", "y", "font-size"))
        end = left + len(text.text or "") * size * 0.6
        assert base < height
        assert end < next((right for right in (*card.COLUMN_LEFT, width) if right > left), width) + 3, text.text
        column = max((at for at in card.COLUMN_LEFT if at <= left), default=0.0)
        lines.setdefault(column, []).append(base)
    for bases in lines.values():
        assert all(after - before >= 2.4 for before, after in pairwise(bases))


def test_the_pad_has_the_17_keys_of_the_usual_one_and_each_figure_its_colours() -> None:
    """ISO/IEC 9995-4, as reproduced on every full keyboard; figures of colours: the order of 7 CFR 1755.890."""
    assert len(card.PAD) == 17
    cells = [(x + dx, y + dy) for _, x, y, w, h in card.PAD for dx in range(w) for dy in range(h)]
    assert sorted(cells) == [(x, y) for x in range(4) for y in range(5)], "no gap, and no key over another"
    signs = {sign: (x, y) for sign, x, y, _, _ in card.PAD}
    assert [signs[str(n)] for n in (7, 8, 9, 4, 5, 6, 1, 2, 3)] == [(x, y) for y in (1, 2, 3) for x in range(3)]
    legends = {sign: card._legend(sign) for sign in signs}
    for place, (ring, tip) in enumerate(zip(RINGS, TIPS, strict=True), 1):
        assert legends[str(place)] == (ring.value, f"({tip.value})")
    assert legends["6"] == ()


def test_a_card_in_pdf_is_one_page_that_says_in_words_what_it_shows(tmp_path) -> None:  # type: ignore[no-untyped-def]
    pytest.importorskip("typst", reason="the extra 'office' is not installed")
    pypdf = pytest.importorskip("pypdf")
    from assistant.app.card import write_card

    write_card(tmp_path / "card.pdf")
    reader = pypdf.PdfReader(tmp_path / "card.pdf")
    (page,) = reader.pages
    width, height = (float(side) / 72 * 25.4 for side in page.mediabox[2:])
    assert (round(width), round(height)) == card.PAGE_MM
    text = page.extract_text()
    assert "KEYPAD CARD" in text
    assert "confirm the expected pair" in text


# --- practice ------------------------------------------------------------------------------------


def test_keys_of_another_entry_are_never_right_but_for_those_that_mean_several_things() -> None:
    rng = random.Random(1)
    for row in KEYED:
        for example in row.examples:
            meant = parse(example, Scope(ALL_INTENTS))
            assert isinstance(meant, Understood), example
            task = Task(example, meant.intent, row.key_text)
            for other in KEYED:
                assert other.keys is not None
                keys = "".join(CHARACTERS[name] for name in sample(other.keys, rng))
                if judged(task, keys).right:
                    assert other is row or keys in ("+", "-"), (example, keys)


def test_a_lesson_asks_pairs_by_turns_and_each_can_be_keyed_as_it_is_told() -> None:
    tasks = lesson(random.Random(3), 60)
    assert len(tasks) == 60
    for task in tasks[::2]:
        assert isinstance(task.intent, CallPair)
        assert judged(task, task.keys.replace(" Enter", "\r")).right, task
    asked = {type(task.intent) for task in tasks[1::2]}
    assert asked >= {entry.intent for entry in KEYED if entry.intent in HEARD_FIRST and entry.intent is not CallPair}


@pytest.mark.parametrize("seed", range(20))
def test_the_keys_of_another_pair_are_never_right(seed: int) -> None:
    """Of all 25 pairs, keyed by colours and by number: one way of one pair is right, the one that was called."""
    (task,) = lesson(random.Random(seed), 1)
    ways = [f"{n}\r" for n in range(1, 26)]
    ways += [f".{(n - 1) % 5 + 1}{(n - 1) // 5 + 1}\r" for n in range(1, 26)]
    ways += [f"{n}{way}" for n, way in enumerate(ways[25:], 1)]
    assert [keys for keys in ways if judged(task, keys).right] == [task.keys.replace(" Enter", "\r")]


def test_what_was_wrong_is_told_with_what_it_would_be_and_the_keys_wanted() -> None:
    undo = Task("undo that", UndoThat(), "-")
    assert judged(undo, "-").right
    assert judged(undo, "+").told.startswith("Wrong. That would be: confirm the expected pair")
    assert judged(undo, "+").told.endswith("Undo that is -")
    assert judged(Task("no", No(), "-"), "-").right, "a key that means several things counts as what it means there"
    assert judged(undo, "/9").leaves
