"""What page, paper and object tell alike: the verdict, the figures, what to go back for, the runs of joints."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from assistant.account.account import Account, Row
from assistant.account.contradictions import Contradiction
from assistant.account.findings import Finding
from assistant.account.runs import Span, runs, spans, why
from assistant.account.work_time import per_hour
from assistant.cable.splice_plan import in_runs
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
NOT_GIVEN = "not given"


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
    """Say how a joint stands, in few words: no two standings are said alike, and every fault is named.

    What a later version adds to how a joint stands ("as built") is to be said here: paper, page and runs follow.
    """
    faults = ", ".join(fault.value for fault in row.known.faults)
    match row.standing:
        case Standing.JOINED_FAULTY:
            words = f"joined, outstanding: {faults}"
        case Standing.FAULTY:
            words = f"faulty, not joined: {faults}"
        case Standing.OPEN:
            words = "left"
        case _:
            words = row.standing.value
    failed = ", ".join(test.value for test, passed in row.known.tests if not passed)
    return "; ".join(
        part for part in (words, f"failed {failed}" if failed else "", "call again" if row.doubt else "") if part
    )


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


def chosen_runs(account: Account, key: Callable[[int], object]) -> Iterator[tuple[JointRun, object]]:
    """Give the runs of those joints for whose index the key is something, each with its key."""
    for run in joint_runs(account, lambda row: key(account.plan.turn[row.joint.number])):
        found = key(run.indices[0])
        if found is not None:
            yield run, found


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


def differing(account: Account) -> list[JointRun]:
    """Give the runs whose pairs are not called alike on all ends."""
    return [
        run for run in joint_runs(account) if len({(span.first.count, span.first.number) for span in run.spans}) > 1
    ]


@dataclass(frozen=True, slots=True)
class Errand:
    """Joints side by side that somebody has to go back for, for one reason."""

    indices: tuple[int, ...]
    pairs: str
    groups: str
    what: str
    found: str
    """By whom, when and in which record; empty where nobody found anything."""


@dataclass(frozen=True, slots=True)
class GoBack:
    """One reason to go back, with all its joints."""

    name: str
    title: str
    count: int
    errands: tuple[Errand, ...]


def go_back(account: Account) -> tuple[GoBack, ...]:
    """Give what somebody has to go back for, the worst first; a joint may stand under several reasons."""
    latest = {one.row: one for one in account.findings if one.mended is None}
    rows = account.rows

    def finder(index: int) -> str:
        one = latest.get(index)
        return found_words(account, one) if one else ""

    def of(name: str, title: str, fits: Callable[[Row], bool], what: Callable[[Row], str]) -> GoBack:
        def key(index: int) -> object:
            row = rows[index]
            return (what(row), finder(index) if name in _FOUND else "") if fits(row) else None

        errands = tuple(_errand(run, *found) for run, found in chosen_runs(account, key) if isinstance(found, tuple))
        return GoBack(name, title, sum(len(one.indices) for one in errands), errands)

    def faults(row: Row) -> str:
        return ", ".join(fault.value for fault in row.known.faults)

    reasons = (
        _contradicting(account),
        of("again", "to be called again: nobody can tell", lambda row: bool(row.doubt), lambda row: row.doubt),
        of("joined-faulty", "joined, fault outstanding", lambda row: row.standing is Standing.JOINED_FAULTY, faults),
        of("faulty", "faulty, not joined", lambda row: row.standing is Standing.FAULTY, faults),
        of("failed", "failed a test", lambda row: row.known.failed, _failed),
        of("skipped", "skipped", lambda row: row.standing is Standing.SKIPPED and not row.doubt, lambda row: ""),
        of("left", "left", lambda row: row.standing is Standing.OPEN and not row.doubt, lambda row: ""),
    )
    return tuple(one for one in reasons if one.count)


_FOUND = frozenset({"joined-faulty", "faulty", "failed"})
"""Reasons that somebody found."""


def _failed(row: Row) -> str:
    return ", ".join(test.value for test, passed in row.known.tests if not passed)


def found_words(account: Account, one: Finding) -> str:
    """Say who found a fault, when, and in which record."""
    where = f"{one.found.log} " if len(account.logs) > 1 else ""
    return f"{one.finder or NOT_GIVEN}, {one.found.at:%Y-%m-%d %H:%M}, {where}record {one.found.record}"


def mended_words(account: Account, one: Finding) -> str:
    """Say what became of a fault."""
    if one.mended is None:
        return "outstanding"
    where = f"{one.mended.log} " if len(account.logs) > 1 else ""
    by = one.mender or NOT_GIVEN
    return f"{one.how}: {by}, {one.mended.at:%Y-%m-%d %H:%M}, {where}record {one.mended.record}"


def _errand(run: JointRun, what: str, found: str) -> Errand:
    return Errand(tuple(run.indices), " = ".join(run.pairs), run.spans[0].group, what, found)


def _contradicting(account: Account) -> GoBack:
    errands = tuple(contradiction_errands(account))
    rows = {index for one in errands for index in one.indices}
    others = sum(account.row_of.get(one.lead) is None for one in account.contradictions)
    return GoBack("contradictions", "logs contradict each other", len(rows) + others, errands)


def contradiction_errands(account: Account) -> Iterator[Errand]:
    """Give the contradictions as runs: joints side by side of which the same logs say the same."""
    of_row: dict[int, dict[tuple[str, str], list[Contradiction]]] = {}
    for one in account.contradictions:
        row = account.row_of.get(one.lead)
        if row is None:
            yield Errand((), account.called(one.lead), "", one.what, _entries([one]))
        else:
            of_row.setdefault(row, {}).setdefault((one.what, _between(one)), []).append(one)
    every = dict.fromkeys(key for of in of_row.values() for key in of)
    for key in every:
        for run, _ in chosen_runs(account, lambda index, key=key: key if key in of_row.get(index, {}) else None):  # type: ignore[misc]
            entries = [one for index in run.indices for one in of_row[index][key]]
            yield _errand(run, key[0], _entries(entries))


def _between(one: Contradiction) -> str:
    return f"{one.earlier.log} {one.later.log if one.later else ''}"


def _entries(some: Sequence[Contradiction]) -> str:
    """Name the entries of contradictions: both logs with the first and the last record."""
    told = []
    for changes in ([one.earlier for one in some], [one.later for one in some if one.later]):
        if changes:
            records = sorted(change.record for change in changes)
            numbers = f"record {records[0]}" if records[0] == records[-1] else f"records {records[0]} to {records[-1]}"
            told.append(f"{changes[0].log} {numbers}, {changes[0].at:%Y-%m-%d %H:%M}: {named(changes[0].standing)}")
    return "; ".join(told)


def called_runs(account: Account, indices: Iterable[int]) -> str:
    """Name joints by the end that is called: its name and count once, then the numbers as runs."""
    told: list[str] = []
    before: tuple[str, str] | None = None
    for first, last in in_runs(sorted(indices)):
        for _, same in groupby(
            range(first, last + 1), lambda i: (_called(account, i), account.rows[i].sides[0].number - i)
        ):
            some = list(same)
            span = Span(account.rows[some[0]].sides[0], account.rows[some[-1]].sides[0])
            here = _called(account, some[0])
            told.append(span.numbers if here == before else span.named)
            before = here
    return ", ".join(told)


def _called(account: Account, index: int) -> tuple[str, str]:
    side = account.rows[index].sides[0]
    return side.end, side.count


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the record comes to, in one line."""

    done: bool
    line: str


def verdict(account: Account) -> Verdict:
    """Say whether somebody has to go back, and for how many joints."""
    reasons = go_back(account)
    joined = headline(account)
    if not reasons:
        if not joined.to_join:
            return Verdict(True, "No joint is to be made in this splice")
        return Verdict(
            True, f"Nothing to go back for: all {joined.to_join:,} joints are confirmed, no fault outstanding"
        )
    joints = len({index for reason in reasons for one in reason.errands for index in one.indices})
    told = "; ".join(f"{one.count:,} {one.title}" for one in reasons)
    return Verdict(False, f"Go back for {joints:,} of {joined.to_join:,} joints: {told}")


def left_over(account: Account) -> Iterator[Row]:
    """Give the joints that are still to be made."""
    return (row for row in account.rows if row.standing in (Standing.OPEN, Standing.SKIPPED))
