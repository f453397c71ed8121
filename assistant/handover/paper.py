"""The account as a splice record on paper: a tagged PDF that is complete by itself, with lines to sign.

Its fields are those usual on a splice record (common practice, no source). Everything is listed in full, joints as
runs. The letters are those of the fonts that come with the typesetter; one that they lack is shown by its number.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from importlib.resources import files
from typing import Literal

from assistant import __version__
from assistant.account.account import Account, Row
from assistant.account.findings import Finding
from assistant.account.runs import Span
from assistant.cable.splice_plan import in_runs, unjoined
from assistant.dialogue import sentences
from assistant.dialogue.checks import question_of
from assistant.dialogue.messages import PairTest
from assistant.dialogue.state import Standing
from assistant.errors import AssistantError
from assistant.handover.summary import (
    NOT_GIVEN,
    WAYS,
    Errand,
    GoBack,
    called_runs,
    clock,
    duration,
    found_words,
    go_back,
    headline,
    in_parts,
    joint_runs,
    mended_words,
    rate,
    standing_words,
    tally_line,
    verdict,
)
from assistant.texts import harmless

BLANKS = ("closure", "bonds made", "filling or pressure", "sheath length marks")
"""Fields that the tool does not know, to be filled in by hand."""
SIGNERS = ("splicer", "supervisor")
_SIZES = {"A4": "a4", "LETTER": "us-letter"}
_STANDARD: Literal["ua-1"] = "ua-1"
"""PDF/UA-1, ISO 14289-1: tagged, with title and language, every letter known to a reader."""
_LACKED = re.compile(r'the text `"((?:\\.|[^"\\])*)"` could not be displayed')
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}|\\(.)")
MISSING = (
    "report: what writes PDF is not here; in the folder of splice-assistant: .venv/bin/pip install '.[office]' "
    "(a page, -o FILE.html, needs nothing more)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A piece of the paper under its heading."""

    title: str
    about: str = ""
    kind: str = "table"
    """table, lines, or blanks to be filled in by hand."""
    head: tuple[str, ...] = ()
    widths: tuple[float, ...] = ()
    """Shares of the line; 0 for as wide as the text."""
    rows: tuple[tuple[str, ...], ...] = ()
    level: int = 1


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
        "parts": [asdict(part) for part in _parts(account, issued) if part.rows or part.about],
    }


def _parts(account: Account, issued: datetime) -> Iterator[Part]:
    yield _identity(account, issued)
    yield from _go_back(account)
    yield Part(title="To be known of the logs", kind="lines", rows=tuple((notice,) for notice in account.notices))
    yield _joints(account)
    yield _not_in_plan(account)
    yield _findings(account)
    yield _people(account)
    yield _tests(account)
    yield _remarks(account)
    yield _slips(account)
    yield _checks(account)
    yield Part(
        title="Logs",
        about="A seal holds where the log is as it was when a trusted device signed it.",
        head=("log", "records", "last checksum", "SHA-256 of the file", "seal"),
        widths=(1, 0, 0, 0, 1),
        rows=tuple((one.name, f"{one.count:,}", one.last_sum, one.sha256, one.seal_line) for one in account.logs),
    )
    yield Part(
        title="To be filled in by hand",
        kind="blanks",
        head=("field", "entry"),
        widths=(1, 4),
        rows=tuple((blank, "") for blank in BLANKS),
    )
    yield Part(
        title="Signed",
        kind="blanks",
        head=("as", "name", "signature", "date"),
        widths=(1, 2, 2, 1),
        rows=tuple((signer, "", "", "") for signer in SIGNERS),
    )


def _identity(account: Account, issued: datetime) -> Part:
    head = headline(account)
    hourly = f", {head.per_hour} joined an hour" if head.per_hour else ""
    ways = "; ".join(f"{account.ways[way]:,} {about}" for way, (_, about) in WAYS.items() if account.ways[way])
    ends = (
        (
            f"sheath {end.name}".strip(),
            ", ".join(
                part
                for part in (
                    f"{end.cable.pairs} pairs",
                    f"{end.gauge_awg} AWG" if end.gauge_awg else "",
                    "; ".join(str(count) for count in end.counts) or "called by position",
                )
                if part
            ),
        )
        for end in account.plan.ends
    )
    facts = (
        ("splice", account.plan.title or "pairs in sequence"),
        ("place", ", ".join(part for part in (account.place, account.site.value if account.site else "") if part)),
        ("first opened", f"{account.first_day}"),
        (
            "work",
            f"{clock(account.began)} to {clock(account.ended)} {account.ended:%z}; {head.work} without pauses{hourly}",
        ),
        ("plan", account.identity.plan),
        *ends,
        ("joints to make", f"{head.to_join:,}: {tally_line(account)}"),
        ("not joined", f"{account.tally[Standing.DEAD]:,} dead, {account.tally[Standing.SPARE]:,} spare"),
        ("protected", f"{sum(bool(row.joint.protect) for row in account.rows):,}"),
        ("checked", ways),
        ("date of issue", f"{issued:%Y-%m-%d}"),
    )
    about = f"A confirmed pair is the word of the person who joined it, not an electrical test. {sentences.CAUTION()}"
    return Part(
        title="", about=about, head=("field", "entry"), widths=(0, 1), rows=tuple((a, b) for a, b in facts if b)
    )


def _go_back(account: Account) -> Iterator[Part]:
    for index, reason in enumerate(go_back(account)):
        yield _reason(account, reason, "To go back for: " if not index else "")


def _reason(account: Account, reason: GoBack, before: str) -> Part:
    """Give one reason to go back, joints of one fault or kind on a line; who found each stands with the faults."""
    of_what: dict[str, list[Errand]] = {}
    for one in reason.errands:
        what = f"{one.what}: {one.found}" if reason.name == "contradictions" else one.what
        of_what.setdefault(what, []).append(one)
    rows = []
    for what, errands in of_what.items():
        indices = [index for one in errands for index in one.indices]
        pairs = called_runs(account, indices) or ", ".join(one.pairs for one in errands)
        rows.append((what or reason.title, str(len(indices) or len(errands)), pairs))
    return Part(
        title=f"{before}{reason.title} ({reason.count:,})",
        level=1 if before else 2,
        head=("what", "how many", "pairs"),
        widths=(1.3, 0, 5) if reason.name != "contradictions" else (4, 0, 2),
        rows=tuple(rows),
    )


def _joints(account: Account) -> Part:
    """Give a line for each run of the plan inside a group, with all that is known of its joints."""

    def by(row: Row) -> str:
        made = row.made if row.how else None
        return f"{made.person or NOT_GIVEN}, {made.at:%m-%d}" if made else ""

    def passed(row: Row) -> str:
        good = ", ".join(test.value for test, good in row.known.tests if good)
        return f"passed {good}" if good else ""

    rows = []
    for run in joint_runs(account, lambda _: None, in_group=True):
        lead, *mates = run.spans
        others = [
            mate.named + ("" if (mate.group, mate.colours) == (lead.group, lead.colours) else f" [{_where(mate)}]")
            for mate in mates
        ]
        besides = "; ".join(part for part in (run.why, in_parts(account, run, passed)) if part)
        stand, made = in_parts(account, run, standing_words), in_parts(account, run, by, where_any=True)
        rows.append((run.kind, lead.named, _where(lead), " = ".join(others), stand, made, besides))
    return Part(
        title="Joints",
        about="A line for each run of the plan in a group. Where some stand otherwise than most, their numbers are "
        "those of the first end. Joined by: with month and day.",
        head=("kind", "pairs", "group, binder", "joined to", "stand", "joined by", "besides"),
        widths=(0, 1, 1.25, 1.1, 2, 0.95, 0.8),
        rows=tuple(rows),
    )


def _where(span: Span) -> str:
    return span.group if span.whole_group else f"{span.group}: {span.colours}"


def _not_in_plan(account: Account) -> Part:
    rows = []
    for end in account.plan.ends:
        positions = unjoined(account.plan)[end.name]
        if positions:
            runs = ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in in_runs(positions))
            rows.append((f"{end.name or 'cable'}: {len(positions):,} pairs of the sheath: {runs}",))
    return Part(title="In no join of the plan", level=2, kind="lines", rows=tuple(rows))


def _findings(account: Account) -> Part:
    """List every fault, those that are mended too."""

    def what(one: Finding) -> str:
        failed = f"failed {', '.join(one.failed)}" if one.failed else ""
        return "; ".join(part for part in (one.fault, failed) if part)

    return Part(
        title=f"Faults ({len(account.findings):,})",
        about="" if account.findings else "No fault was marked, no test failed.",
        head=("pair", "what", "found by", "what became of it"),
        widths=(1.5, 1.1, 1.7, 1.9),
        rows=tuple(
            (str(account.rows[one.row].sides[0]), what(one), found_words(account, one), mended_words(account, one))
            for one in account.findings
        ),
    )


def _people(account: Account) -> Part:
    return Part(
        title="People and days",
        about="Joined are pairs that stand joined. Hours are work without pauses of more than 10 minutes; an hourly "
        "rate stands only where there was enough work for one.",
        head=("day", "person", "joined", "work", "joined an hour"),
        widths=(0, 1, 0, 0, 0),
        rows=tuple(
            (
                f"{one.day}",
                one.person or NOT_GIVEN,
                f"{one.joined:,}",
                duration(one.work_s),
                rate(one.joined, one.work_s) or "-",
            )
            for one in account.person_days
        ),
    )


def _tests(account: Account) -> Part:
    """Give the results of each test as runs."""
    rows = []
    for test in PairTest:
        results = [dict(row.known.tests).get(test) for row in account.rows]
        for passed, word in ((True, "passed"), (False, "failed")):
            if passed in results:
                runs = called_runs(account, (index for index, result in enumerate(results) if result is passed))
                rows.append((test.value, word, f"{results.count(passed):,}", runs))
    return Part(
        title="Tests",
        about="Results are those that a person said or keyed from an instrument; this tool measures nothing."
        if rows
        else "No test was logged.",
        head=("test", "result", "how many", "pairs"),
        widths=(0, 0, 0, 1),
        rows=tuple(rows),
    )


def _remarks(account: Account) -> Part:
    return Part(
        title="Readings and notes",
        head=("time", "about", "what", "record"),
        widths=(0, 1, 2, 0.8),
        rows=tuple(
            (
                clock(one.at),
                account.called(one.lead) if one.lead else "the splice",
                one.text or f"spoken note {one.file}",
                f"{one.log} {one.record}",
            )
            for one in account.remarks
        ),
    )


def _slips(account: Account) -> Part:
    return Part(
        title=f"Calls that did not fit, and what followed ({len(account.slips):,})",
        about="" if account.slips else "None.",
        head=("time", "expected", "called", "then", "record"),
        widths=(0, 1.3, 1.6, 1.9, 0.9),
        rows=tuple(
            (
                clock(slip.at),
                ", ".join(account.called(spot) for spot in slip.expected),
                slip.call,
                slip.followed_by,
                f"{slip.log} {slip.record}",
            )
            for slip in account.slips
        ),
    )


def _checks(account: Account) -> Part:
    """Give the checks before and at the end of the work, each with its answer."""
    return Part(
        title="Checks",
        about="Answers are a person's word. They do not replace site rules, the local code or the qualified person."
        if account.answers
        else "No check was asked.",
        head=("time", "check", "answer", "record"),
        widths=(0, 2.4, 0.8, 0.8),
        rows=tuple(
            (
                clock(one.at),
                question_of(one.check, account.site) if account.site else one.check,
                f"{'done' if one.done else 'not done'}, {one.by}",
                f"{one.log} {one.record}",
            )
            for one in account.answers
        ),
    )
