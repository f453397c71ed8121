"""What page, paper and object tell alike: the verdict, the figures, what to go back for, the runs of joints."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from assistant.account.account import Account, Row
from assistant.account.contradictions import Contradiction
from assistant.account.findings import Finding
from assistant.account.runs import Span, runs, spans, why
from assistant.account.walk import ENDS_NAMED, Made, StandingChange
from assistant.account.work_time import per_hour
from assistant.cable.splice_plan import in_runs
from assistant.dialogue.messages import Ends, PairState
from assistant.dialogue.naming import put_off_for
from assistant.dialogue.state import Standing

WAYS: dict[str, tuple[str, str]] = {
    "number+colours": ("N+C", "by number and both colours: the two check each other"),
    "colours": ("C", "by both colours alone"),
    "number": ("N", "by number alone"),
    "module": ("M", "with its module after it was called out"),
    "word": ("W", "by a word, without naming the pair"),
    "key": ("K", "by the confirm key, without naming the pair"),
}
"""Way of checking -> its sign in the pictures and what it means, the surest first."""
WITH_FAR_SIDE = (Ends.BOTH.value, Ends.FAR.value)
NOT_GIVEN = "not given"
"""In place of a person."""


@dataclass(frozen=True, slots=True)
class Headline:
    """The figures that stand on top."""

    to_join: int
    confirmed: int
    """Joined, and no fault is known."""
    joined_faulty: int
    """Joined, with a fault outstanding."""
    faulty: int
    """Not joined, for a fault."""
    left: int
    """Skipped ones among them."""
    not_joined: int
    """Dead and spare ones."""
    work: str
    per_hour: str
    """Empty where there was not enough work for a rate."""


def headline(account: Account) -> Headline:
    """Give the figures that stand on top."""
    tally = account.tally
    left = tally[Standing.OPEN] + tally[Standing.SKIPPED]
    confirmed, faulty = tally[Standing.CONFIRMED], tally[Standing.FAULTY]
    joined_faulty = tally[Standing.JOINED_FAULTY]
    return Headline(
        to_join=confirmed + joined_faulty + faulty + left,
        confirmed=confirmed,
        joined_faulty=joined_faulty,
        faulty=faulty,
        left=left,
        not_joined=tally[Standing.DEAD] + tally[Standing.SPARE],
        work=duration(account.work_s),
        per_hour=rate(confirmed + joined_faulty, account.work_s),
    )


def rate(count: int, seconds: float) -> str:
    """Write how many an hour; empty where there was not enough work to say so."""
    found = per_hour(count, seconds)
    return "" if found is None else f"{found:.0f}"


def tally_line(account: Account) -> str:
    """Give the count of joints in words."""
    head = headline(account)
    outstanding = f"{head.joined_faulty} confirmed with a fault outstanding, " if head.joined_faulty else ""
    return f"{head.confirmed} confirmed, {outstanding}{head.faulty} faulty, {head.left} left"


def named(standing: Standing) -> str:
    """Name a standing for a reader."""
    return "joined, fault outstanding" if standing is Standing.JOINED_FAULTY else standing.value


def standing_words(row: Row) -> str:
    """Say how a joint stands at the end; see `words_of`."""
    return words_of(row.standing, row.known, row.doubt, row.made)


def words_of(standing: Standing, known: PairState, doubt: str, made: Made | None) -> str:
    """Say how a joint stands, in few words: no two standings are said alike, and every fault is named.

    What was built otherwise than planned, and that the far side was named, is said here: paper, page and runs follow.
    """
    match standing:
        case Standing.JOINED_FAULTY:
            words = f"joined, outstanding: {_faults(known)}"
        case Standing.FAULTY:
            words = f"faulty, not joined: {_faults(known)}"
        case Standing.OPEN:
            words = "left"
        case Standing.SKIPPED if known.put_off:
            words = _put_off(known)
        case _:
            words = standing.value
    joined = standing in (Standing.CONFIRMED, Standing.JOINED_FAULTY)
    ends = ENDS_NAMED[made.ends] if joined and made is not None and made.ends in WITH_FAR_SIDE else ""
    on_purpose = "reversed on purpose" if known.reversed_on_purpose else ""
    failed = f"failed {_failed(known)}" if known.failed else ""
    return "; ".join(part for part in (words, ends, on_purpose, failed, "call again" if doubt else "") if part)


def _faults(known: PairState) -> str:
    return ", ".join(fault.value for fault in known.faults)


def _failed(known: PairState) -> str:
    return ", ".join(test.value for test, passed in known.tests if not passed)


def _put_off(known: PairState) -> str:
    """Say why a pair is left for another day; empty where it is not."""
    return f"put off: {put_off_for(known.put_off, known.tried)}" if known.put_off else ""


def duration(seconds: float) -> str:
    """Write a length of time in hours and minutes, or seconds where it is short."""
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"


def clock(at: datetime) -> str:
    """Write a time of the device, for reading."""
    return f"{at:%Y-%m-%d %H:%M:%S}"


@dataclass(frozen=True, slots=True)
class JointRun:
    """Joints side by side that are of one kind and stand alike, or all joints of a plan's run inside a group."""

    indices: range
    kind: str
    standing: str
    """In words for reading, of the first joint."""
    spans: tuple[Span, ...]
    why: str

    @property
    def count(self) -> int:
        """How many joints it has."""
        return len(self.indices)

    @property
    def pairs(self) -> tuple[str, ...]:
        """End, count and numbers at each end."""
        return tuple(span.named for span in self.spans)


def joint_runs(
    account: Account, also: Callable[[Row], object] = standing_words, *, in_group: bool = False
) -> list[JointRun]:
    """Give all joints as runs, in the order of the plan.

    Args:
        account: of the splice.
        also: what must be alike in a run besides what the plan says of its joints.
        in_group: end a run with its group.

    """
    rows = account.rows
    placed = [(row.joint, row.sides) for row in rows]
    return [
        JointRun(
            indices=run,
            kind=rows[run[0]].joint.kind.value,
            standing=standing_words(rows[run[0]]),
            spans=spans(placed[run[0]], placed[run[-1]]),
            why=why(rows[run[0]].joint),
        )
        for run in runs(placed, lambda index: also(rows[index]), in_group=in_group)
    ]


def in_parts(account: Account, run: JointRun, words_of: Callable[[Row], str], *, where_any: bool = False) -> str:
    """Say something of all joints of a run: what most of them have, then the others by the called end's numbers.

    With where_any, joints of which there is nothing to say are left out, as if they had what most have.
    """
    rows = [account.rows[index] for index in run.indices]
    said = [words_of(row) for row in rows]
    counts = Counter(words for words in said if words or not where_any)
    usual = counts.most_common(1)[0][0] if counts else ""
    parts = []
    for words, same in groupby(range(len(said)), lambda at: said[at]):
        some = list(same)
        if words != usual and (words or (usual and not where_any)):
            parts.append(f"{Span(rows[some[0]].sides[0], rows[some[-1]].sides[0]).numbers} {words or 'not'}")
    others = " · ".join(parts)
    if not usual:
        return others
    return f"{usual} but {others}" if others else usual


@dataclass(frozen=True, slots=True)
class NamedRun:
    """Joints side by side, named by the end that is called."""

    text: str
    first: int | None
    """Index of the first joint; None for a pair that is in no join of the newest plan."""


@dataclass(frozen=True, slots=True)
class Errand:
    """Joints that somebody has to go back for: of one reason, one fault and one finder."""

    what: str
    found_by: str
    """Who found it; where logs contradict each other, their entries. Empty where nobody found anything."""
    count: int
    runs: tuple[NamedRun, ...]


@dataclass(frozen=True, slots=True)
class GoBack:
    """One reason to go back, with all its joints."""

    title: str
    indices: frozenset[int]
    errands: tuple[Errand, ...]
    by: str = "found by"
    """What `found_by` of its errands is."""

    @property
    def count(self) -> int:
        """How many joints, each once."""
        return len(self.indices) + sum(run.first is None for one in self.errands for run in one.runs)


def go_back(account: Account) -> tuple[GoBack, ...]:
    """Give what somebody has to go back for, the worst first; a joint may stand under several reasons."""
    finders: dict[int, dict[str, None]] = {}
    for one in account.findings:
        if one.mended is None:
            finders.setdefault(one.row, {})[one.finder or NOT_GIVEN] = None

    def of(title: str, fits: Callable[[Row], bool], what: Callable[[Row], str], *, found: bool = False) -> GoBack:
        groups: dict[tuple[str, str], list[int]] = {}
        for index, row in enumerate(account.rows):
            if fits(row):
                groups.setdefault((what(row), ", ".join(finders.get(index, ())) if found else ""), []).append(index)
        errands = tuple(
            Errand(words or title, who, len(some), called_runs(account, some)) for (words, who), some in groups.items()
        )
        return GoBack(title, frozenset(index for some in groups.values() for index in some), errands)

    def faults(row: Row) -> str:
        return _faults(row.known)

    reasons = (
        _contradicting(account),
        of("to be called again: nobody can tell", lambda row: bool(row.doubt), lambda row: row.doubt),
        of("joined, fault outstanding", lambda row: row.standing is Standing.JOINED_FAULTY, faults, found=True),
        of("faulty, not joined", lambda row: row.standing is Standing.FAULTY, faults, found=True),
        of("failed a test", lambda row: row.known.failed, lambda row: _failed(row.known), found=True),
        of("skipped", lambda row: row.standing is Standing.SKIPPED and not row.doubt, lambda row: _put_off(row.known)),
        of("left", lambda row: row.standing is Standing.OPEN and not row.doubt, lambda row: ""),
    )
    return tuple(one for one in reasons if one.count)


def _contradicting(account: Account) -> GoBack:
    """Give the contradictions as runs: those that the same logs have for the same reason stand together."""
    groups: dict[tuple[str, str, str], list[Contradiction]] = {}
    for one in account.contradictions:
        key = (one.what, one.earlier.log, one.later.log if one.later else "")
        groups.setdefault(key, []).append(one)
    errands, rows = [], set()
    for (what, *_), some in groups.items():
        indices = {index for one in some if (index := account.row_of.get(one.lead)) is not None}
        gone = dict.fromkeys(account.called(one.lead) for one in some if one.lead not in account.row_of)
        runs = (*called_runs(account, indices), *(NamedRun(name, None) for name in gone))
        errands.append(Errand(what, _entries(account, some), len(indices) + len(gone), runs))
        rows |= indices
    return GoBack("contradicted between logs", frozenset(rows), tuple(errands), "entries")


def _entries(account: Account, some: Sequence[Contradiction]) -> str:
    """Name the entries of contradictions: both logs with the first and the last record, and the first's mates."""
    told = []
    for changes in ([one.earlier for one in some], [one.later for one in some if one.later]):
        if changes:
            records = sorted(change.record for change in changes)
            numbers = f"record {records[0]}" if records[0] == records[-1] else f"records {records[0]} to {records[-1]}"
            mates = ", ".join(account.called(mate) for mate in changes[0].mates)
            with_mates = f" with {mates}{' and on' if len(changes) > 1 else ''}" if mates else ""
            told.append(
                f"{changes[0].log} {numbers}, {changes[0].at:%Y-%m-%d %H:%M}: {named(changes[0].standing)}{with_mates}"
            )
    return "; ".join(told)


def called_runs(account: Account, indices: Iterable[int]) -> tuple[NamedRun, ...]:
    """Name joints by the end that is called: its name and count once, then the numbers as runs."""
    told: list[NamedRun] = []
    before: tuple[str, str] | None = None
    for first, last in in_runs(sorted(indices)):
        for _, same in groupby(
            range(first, last + 1), lambda i: (_called(account, i), account.rows[i].sides[0].number - i)
        ):
            some = list(same)
            span = Span(account.rows[some[0]].sides[0], account.rows[some[-1]].sides[0])
            here = _called(account, some[0])
            told.append(NamedRun(span.numbers if here == before else span.named, some[0]))
            before = here
    return tuple(told)


def _called(account: Account, index: int) -> tuple[str, str]:
    side = account.rows[index].sides[0]
    return side.end, side.count


def found_words(account: Account, one: Finding) -> str:
    """Say who found a fault, when, and in which record."""
    return _by(account, one.finder, one.found)


def mended_words(account: Account, one: Finding) -> str:
    """Say what became of a fault."""
    return f"{one.how}: {_by(account, one.mender, one.mended)}" if one.mended else "outstanding"


def _by(account: Account, person: str, change: StandingChange) -> str:
    where = f"{change.log} " if len(account.logs) > 1 else ""
    return f"{person or NOT_GIVEN}, {change.at:%Y-%m-%d %H:%M}, {where}record {change.record}"


def finished_words(account: Account) -> str:
    """Say whether it was said that the splice is finished; that is a person's word."""
    last = account.finished
    return f"{clock(last.ended)}, {last.person or NOT_GIVEN}, {last.log} record {last.record}" if last else "no"


@dataclass(frozen=True, slots=True)
class RecordVerdict:
    """What the record comes to, in one line."""

    done: bool
    line: str


def verdict(account: Account) -> RecordVerdict:
    """Say whether somebody has to go back, and for how many joints, and whether the logs are to be doubted."""
    reasons = go_back(account)
    joined = headline(account)
    broken = sum(log.seal == "broken" for log in account.logs)
    doubts = "".join(
        (
            f"; {broken} of {len(account.logs)} logs with a broken seal" if broken else "",
            "; see what must be known of the logs" if account.notices else "",
        )
    )
    if not reasons:
        line = f"Nothing to go back for: all {joined.to_join:,} joints are confirmed, no fault outstanding"
        return RecordVerdict(not doubts, (line if joined.to_join else "No joint is to be made in this splice") + doubts)
    joints = len(frozenset().union(*(reason.indices for reason in reasons)))
    told = "; ".join(f"{one.count:,} {one.title}" for one in reasons)
    return RecordVerdict(False, f"Go back for {joints:,} of {joined.to_join:,} joints: {told}{doubts}")
