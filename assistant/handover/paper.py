"""The account as a splice record on paper: a tagged PDF that is complete by itself, with lines to sign.

Its fields are those usual on a splice record (common practice, no source). Everything is listed in full, joints as
runs. The letters are those of the fonts that come with the typesetter; one that they lack is shown by its number.
"""

import json
import re
from collections.abc import Iterator
from datetime import datetime
from importlib.resources import files
from typing import Literal

from assistant import __version__
from assistant.account.account import Account
from assistant.errors import AssistantError
from assistant.handover import parts
from assistant.handover.parts import Part
from assistant.handover.summary import verdict
from assistant.mending import install_command
from assistant.texts import harmless

BLANKS = ("closure", "bonds made", "filling or pressure", "sheath length marks")
"""Fields that the tool does not know, to be filled in by hand."""
SIGNERS = ("splicer", "supervisor")
_SIZES = {"A4": "a4", "LETTER": "us-letter"}
_STANDARD: Literal["ua-1"] = "ua-1"
"""PDF/UA-1, ISO 14289-1: tagged, with title and language, every letter known to a reader."""
_LACKED = re.compile(r'the text `"((?:\\.|[^"\\])*)"` could not be displayed')
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}|\\(.)")
MISSING = f"report: what writes PDF is not here; {install_command('office')} (a page, -o FILE.html, needs nothing more)"


def as_pdf(account: Account, paper: str = "A4", *, issued: datetime) -> bytes:
    """Give the PDF; the same account and time give the same bytes.

    Raises:
        AssistantError: the typesetter is not installed.

    """
    try:
        import typst
    except ImportError as error:
        raise AssistantError(MISSING) from error
    source = files("assistant.handover").joinpath("paper.typ").read_bytes()

    def made(source: bytes, data: str) -> bytes:
        pdf = typst.compile(source, sys_inputs={"data": data}, ignore_system_fonts=True, pdf_standards=_STANDARD)
        assert isinstance(pdf, bytes)
        return pdf

    text = json.dumps(_cleaned(_data(account, paper, issued)), ensure_ascii=False)
    signs = "".join(sorted({sign for sign in text if not sign.isascii()}))
    try:
        made(_PROBE, json.dumps(signs))
    except typst.TypstError as error:
        lacked = {sign for found in _LACKED.findall(error.diagnostic or str(error)) for sign in _unescaped(found)}
        text = "".join(f"[U+{ord(sign):04X}]" if sign in lacked else sign for sign in text)
    try:
        return made(source, text)
    except typst.TypstError:  # letters that are there one by one, but not as they follow one another
        return made(source, "".join(sign if sign.isascii() else f"[U+{ord(sign):04X}]" for sign in text))


_PROBE = b"""#set document(title: "x")
#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"))
#for sign in json(bytes(sys.inputs.data)).codepoints() [#sign \\ ]
"""


def _unescaped(found: str) -> str:
    return _ESCAPED.sub(lambda one: chr(int(one[1], 16)) if one[1] else one[2], found)


def _cleaned(value: object) -> object:
    """Take out of all texts what steers and cannot be shown."""
    if isinstance(value, str):
        return harmless(value).replace("\n", " ")
    if isinstance(value, dict):
        return {key: _cleaned(one) for key, one in value.items()}
    return [_cleaned(one) for one in value] if isinstance(value, list | tuple) else value


def _data(account: Account, paper: str, issued: datetime) -> dict[str, object]:
    title = account.plan.title or "pairs in sequence"
    found = verdict(account)
    people = dict.fromkeys(one.person for one in account.sittings if one.person)
    return {
        "name": f"Splice record: {title}",
        "author": ", ".join(people) or "splice-assistant",
        "date": [issued.year, issued.month, issued.day],
        "issued": f"issued {issued:%Y-%m-%d %H:%M %Z}".strip(),
        "running": f"Splice record: {', '.join(part for part in (title, account.place) if part)}",
        "sums": f"plan {account.identity.plan}; logs: {len(account.logs)}; splice-assistant {__version__}",
        "paper": _SIZES[paper],
        "done": found.done,
        "verdict": found.line + ".",
        "parts": [_part(part) for part in _parts(account, issued) if part.rows or part.about],
    }


def _part(part: Part) -> dict[str, object]:
    return {
        **{name: getattr(part, name) for name in ("title", "about", "kind", "head", "widths", "level")},
        "rows": [[str(cell) for cell in row] for row in part.rows],
    }


def _parts(account: Account, issued: datetime) -> Iterator[Part]:
    yield parts.identity(account, issued)
    back = tuple(parts.to_go_back_for(account))
    if back:
        yield Part(
            name="go-back", title="To go back for", about="Who found what, when and in which record: see Faults."
        )
    yield from back
    for part in (
        *(
            parts.notices,
            parts.apart,
            parts.joints,
            parts.not_in_plan,
            parts.faults,
            parts.people,
            parts.tests,
            parts.remarks,
        ),
        *(parts.mismatches, parts.checks, parts.sessions, parts.chain, parts.logs),
    ):
        yield part(account)
    yield Part(
        name="by-hand",
        title="To be filled in by hand",
        kind="blanks",
        head=("field", "entry"),
        widths=(1, 4),
        rows=tuple((blank, "") for blank in BLANKS),
    )
    yield Part(
        name="signed",
        title="Signed",
        kind="blanks",
        head=("as", "name", "signature", "date"),
        widths=(1, 2, 2, 1),
        rows=tuple((signer, "", "", "") for signer in SIGNERS),
    )
