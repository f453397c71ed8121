"""The parts of a splice record, one after another as tables of text: the paper prints them, the page shows them."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from assistant.account.account import Account, Row
from assistant.account.findings import Finding
from assistant.account.runs import Span
from assistant.account.walk import ENDS_NAMED, Remark, Slip, Spot
from assistant.cable.splice_plan import in_runs, unjoined
from assistant.dialogue import sentences
from assistant.dialogue.checks import question_of
from assistant.dialogue.messages import PairTest
from assistant.dialogue.state import Standing
from assistant.handover.summary import (
    NOT_GIVEN,
    WAYS,
    NamedRun,
    called_runs,
    clock,
    duration,
    finished_words,
    found_words,
    go_back,
    headline,
    in_parts,
    joint_runs,
    mended_words,
    rate,
    standing_words,
    tally_line,
)


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell with more to it than text."""

    text: str = ""
    runs: tuple[NamedRun, ...] = ()
    """In place of a text: joints, each with a way to it where there is one."""
    sound: tuple[str, int] | None = None
    """Log and record whose sound belongs to it."""

    def __str__(self) -> str:
        """Give it as text."""
        return self.text or ", ".join(run.text for run in self.runs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A piece of the record under its heading."""

    name: str
    title: str
    about: str = ""
    kind: str = "table"
    """table, lines, or blanks to be filled in by hand."""
    head: tuple[str, ...] = ()
    widths: tuple[float, ...] = ()
    """Shares of the line on paper; 0 for as wide as the text."""
    rows: tuple[tuple[str | Cell, ...], ...] = ()
    level: int = 1


def identity(account: Account, issued: datetime) -> Part:
    """Say which splice it is and what it came to."""
    head = headline(account)
    hourly = f", {head.per_hour} joined an hour" if head.per_hour else ""
    ways = "; ".join(f"{account.ways[way]:,} {about}" for way, (_, about) in WAYS.items() if account.ways[way])
    named = account.ends_named
    ends_named = "; ".join(f"{about}: {named[which]:,}" for which, about in ENDS_NAMED.items() if named[which])
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
        ("finished", finished_words(account)),
        ("plan", account.identity.plan),
        *ends,
        ("joints to make", f"{head.to_join:,}: {tally_line(account)}"),
        ("not joined", f"{account.tally[Standing.DEAD]:,} dead, {account.tally[Standing.SPARE]:,} spare"),
        ("protected", f"{sum(bool(row.joint.protect) for row in account.rows):,}"),
        ("checked", ways),
        ("ends", ends_named if account.plan.sides_differ else ""),
        ("date of issue", f"{issued:%Y-%m-%d}"),
    )
    about = f"A confirmed pair is the word of the person who joined it, not an electrical test. {sentences.CAUTION()}"
    return Part(
        name="identity",
        title="What it is",
        about=about,
        head=("field", "entry"),
        widths=(0, 1),
        rows=tuple((a, b) for a, b in facts if b),
    )


def to_go_back_for(account: Account) -> Iterator[Part]:
    """Give one part for each reason to go back; joints of one fault and finder are on one line."""
    for index, reason in enumerate(go_back(account)):
        yield Part(
            name=f"go-back-{index}",
            title=f"{reason.title} ({reason.count:,})",
            head=("what", reason.by, "how many", "pairs"),
            widths=(1.4, 1.4, 0, 4),
            rows=tuple((one.what, one.found_by, f"{one.count:,}", Cell(runs=one.runs)) for one in reason.errands),
            level=2,
        )


def apart(account: Account) -> Part:
    """Give the pairs that are not joined by the plan, and those that are protected, as runs with their reasons."""
    groups: dict[tuple[str, str], list[int]] = {}
    for index, row in enumerate(account.rows):
        if not row.joint.kind.joined:
            groups.setdefault((row.joint.kind.value, row.joint.reason), []).append(index)
        if row.joint.protect:
            groups.setdefault(("protected", row.joint.protect), []).append(index)
    return Part(
        name="apart",
        title="Dead, spare and protected",
        head=("kind", "reason", "how many", "pairs"),
        widths=(0, 1.4, 0, 4),
        rows=tuple(
            (kind, reason, f"{len(some):,}", Cell(runs=called_runs(account, some)))
            for (kind, reason), some in sorted(groups.items())
        ),
    )


def joints(account: Account) -> Part:
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
        name="joints",
        title="Joints",
        about="A line for each run of the plan in a group. Where some stand otherwise than most, their numbers are "
        "those of the first end. Joined by: with month and day.",
        head=("kind", "pairs", "group, binder", "joined to", "stand", "joined by", "besides"),
        widths=(0, 1, 1.25, 1.1, 2, 0.95, 0.8),
        rows=tuple(rows),
    )


def _where(span: Span) -> str:
    return span.group if span.whole_group else f"{span.group}: {span.colours}"


def not_in_plan(account: Account) -> Part:
    """Give the pairs of the sheaths that no join names."""
    rows, left = [], unjoined(account.plan)
    for end in account.plan.ends:
        positions = left[end.name]
        if positions:
            runs = ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in in_runs(positions))
            rows.append((f"{end.name or 'cable'}: {len(positions):,} pairs of the sheath: {runs}",))
    return Part(name="not-in-plan", title="In no join of the plan", level=2, kind="lines", rows=tuple(rows))


def faults(account: Account) -> Part:
    """List every fault, those that are mended too."""

    def what(one: Finding) -> str:
        failed = f"failed {', '.join(one.failed)}" if one.failed else ""
        return "; ".join(part for part in (one.fault, failed) if part)

    return Part(
        name="faults",
        title=f"Faults ({len(account.findings):,})",
        about="" if account.findings else "No fault was marked, no test failed.",
        head=("pair", "what", "found by", "what became of it"),
        widths=(1.5, 1.1, 1.7, 1.9),
        rows=tuple(
            (
                Cell(runs=(NamedRun(str(account.rows[one.row].sides[0]), one.row),)),
                what(one),
                found_words(account, one),
                mended_words(account, one),
            )
            for one in account.findings
        ),
    )


def people(account: Account) -> Part:
    """Give a line for each person and day."""
    return Part(
        name="people",
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


def tests(account: Account) -> Part:
    """Give the results of each test as runs."""
    rows = []
    for test in PairTest:
        results = [dict(row.known.tests).get(test) for row in account.rows]
        for passed, word in ((True, "passed"), (False, "failed")):
            if passed in results:
                runs = called_runs(account, (index for index, result in enumerate(results) if result is passed))
                rows.append((test.value, word, f"{results.count(passed):,}", Cell(runs=runs)))
    return Part(
        name="tests",
        title="Tests",
        about="Results are those that a person said or keyed from an instrument; this tool measures nothing."
        if rows
        else "No test was logged.",
        head=("test", "result", "how many", "pairs"),
        widths=(0, 0, 0, 1),
        rows=tuple(rows),
    )


def remark_words(one: Remark) -> str:
    """Say a reading, a note, or what was built otherwise than planned."""
    if one.is_as_built:
        return f"as built: {one.text}"
    if one.is_reading:
        return f"reading {one.text}"
    return f"note: {one.text}" if one.text else f"spoken note {one.file}"


def remarks(account: Account) -> Part:
    """Give all readings, notes, and what was built otherwise than planned."""
    return Part(
        name="remarks",
        title="As built, readings and notes",
        head=("time", "about", "what", "record"),
        widths=(0, 1, 2, 0.8),
        rows=tuple(
            (
                clock(one.at),
                _pairs(account, (one.lead,)) if one.lead else "the splice",
                remark_words(one),
                Cell(f"{one.log} {one.record}", sound=(one.log, one.record)),
            )
            for one in account.remarks
        ),
    )


def _pairs(account: Account, spots: tuple[Spot, ...]) -> Cell:
    return Cell(runs=tuple(NamedRun(account.called(spot), account.row_of.get(spot)) for spot in spots))


def called_words(account: Account, slip: Slip) -> str:
    """Give a call that did not fit as it came, and the pairs that it named on the far side."""
    far = ", ".join(account.called(spot) for spot in slip.far)
    return f"{slip.call} (far side: {far})" if far else slip.call


def mismatches(account: Account) -> Part:
    """Give every call that did not fit, and what followed."""
    return Part(
        name="mismatches",
        title=f"Calls that did not fit, and what followed ({len(account.slips):,})",
        about="" if account.slips else "None.",
        head=("time", "expected", "called", "then", "record"),
        widths=(0, 1.3, 1.6, 1.9, 0.9),
        rows=tuple(
            (
                clock(slip.at),
                _pairs(account, slip.expected),
                called_words(account, slip),
                slip.followed_by,
                Cell(f"{slip.log} {slip.record}", sound=(slip.log, slip.record)),
            )
            for slip in account.slips
        ),
    )


def checks(account: Account) -> Part:
    """Give the checks before and at the end of the work, each with its answer."""
    return Part(
        name="checks",
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


def sessions(account: Account) -> Part:
    """Give every sitting: who, when, and by what the person was heard."""
    return Part(
        name="sessions",
        title="Sessions",
        about=f"Utterances: {account.heard['accepted']:,} accepted, {account.heard['ask back']:,} asked back, "
        f"{account.heard['ignored']:,} ignored.",
        head=("log", "from", "to", "end", "person", "microphone", "recognisers", "version", "sound kept"),
        widths=(1, 0, 0, 0.8, 0.8, 0.8, 0.8, 0, 0),
        rows=tuple(
            (
                f"{one.log}{', taken up' if one.taken_up else ''}",
                clock(one.began),
                clock(one.ended),
                one.end,
                one.person or NOT_GIVEN,
                one.microphone or "-",
                one.ears or "-",
                one.app_version or "-",
                "yes" if one.keeps_sound else "no",
            )
            for one in account.sittings
        ),
    )


def logs(account: Account) -> Part:
    """Give every log with its checksums and what its seal is worth."""
    return Part(
        name="logs",
        title="Logs",
        about="A seal holds where the log is as it was when a trusted device signed it.",
        head=("log", "goes on from", "records", "last checksum", "SHA-256 of the file", "seal"),
        widths=(1, 0.8, 0, 0, 0, 1),
        rows=tuple(
            (
                one.name,
                "; ".join(f"{x.earlier or x.head.name} {x.head.records}, {x.fit.value}" for x in account.chain.of(one))
                or "-",
                f"{one.count:,}",
                one.last_sum,
                one.sha256,
                one.seal_line,
            )
            for one in account.logs
        ),
    )


def notices(account: Account) -> Part:
    """Give what must be known of the logs to trust the record."""
    return Part(
        name="notices",
        title="To be known of the logs",
        kind="lines",
        rows=tuple((notice,) for notice in account.notices),
    )
