"""What page and paper tell alike: the headline, the cables, the runs of joints, the ways of checking."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from assistant.account.account import Account, Row
from assistant.dialogue.state import Standing

WAYS: dict[str, tuple[str, str]] = {
    "number+colours": ("NC", "by number and both colours: the two check each other"),
    "colours": ("C", "by both colours alone"),
    "number": ("N", "by number alone"),
    "module": ("M", "with its module after it was called out"),
    "word": ("W", "by a word, without naming the pair"),
    "key": ("K", "by the confirm key, without naming the pair"),
}
"""Way of checking -> its sign in the pictures and what it means, the surest first."""


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
    state: str


def headline(account: Account) -> Headline:
    """Give the figures that stand on top."""
    tally = account.tally
    left = tally[Standing.OPEN] + tally[Standing.SKIPPED]
    confirmed, faulty = tally[Standing.CONFIRMED], tally[Standing.FAULTY]
    joined_faulty = tally[Standing.JOINED_FAULTY]
    trouble = bool(account.contradictions)
    state = "logs contradict each other" if trouble else "nothing left" if not left else f"{left} left"
    hours = account.work_s / 3600
    return Headline(
        to_join=confirmed + joined_faulty + faulty + left,
        confirmed=confirmed,
        joined_faulty=joined_faulty,
        faulty=faulty,
        left=left,
        not_joined=tally[Standing.DEAD] + tally[Standing.SPARE],
        work=duration(account.work_s),
        per_hour=f"{confirmed / hours:.0f}" if hours >= 1 / 60 else "",
        state=state,
    )


def tally_line(account: Account) -> str:
    """Give the count of joints in words."""
    head = headline(account)
    outstanding = f"{head.joined_faulty} confirmed with a fault outstanding, " if head.joined_faulty else ""
    return f"{head.confirmed} confirmed, {outstanding}{head.faulty} faulty, {head.left} left"


def named(standing: Standing) -> str:
    """Name a standing for a reader."""
    return "joined, fault outstanding" if standing is Standing.JOINED_FAULTY else standing.value


def duration(seconds: float) -> str:
    """Write a length of time in hours and minutes, or seconds where it is short."""
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"


@dataclass(frozen=True, slots=True)
class JointRun:
    """Joints side by side that are of one kind and stand alike."""

    kind: str
    standing: str
    """In words for reading."""
    pairs: tuple[str, ...]
    """One for each end: end, count and numbers."""
    count: int
    why: str


def joint_runs(account: Account) -> list[JointRun]:
    """Give all joints as runs, for reading."""

    def key(pair: tuple[int, Row]) -> tuple[object, ...]:
        index, row = pair
        sides = tuple((side.end, side.count, side.number - index, side.group == 0) for side in row.sides)
        return (
            row.joint.kind,
            row.standing,
            row.joint.protect,
            row.joint.reason,
            row.known.faults,
            row.known.put_off,
            row.doubt,
            sides,
        )

    return [_run([row for _, row in some]) for _, some in groupby(enumerate(account.rows), key)]


def _run(rows: list[Row]) -> JointRun:
    first, last = rows[0], rows[-1]
    pairs = []
    for start, stop in zip(first.sides, last.sides, strict=True):
        numbers = str(start.number) if start.number == stop.number else f"{start.number}-{stop.number}"
        pairs.append(" ".join(part for part in (start.end, start.count, numbers) if part))
    faults = ", ".join(fault.value for fault in first.known.faults)
    why = "; ".join(
        part
        for part in (
            *(faults, f"call again: {first.doubt}" if first.doubt else "", first.joint.reason),
            f"put off: {first.known.put_off.value}" if first.known.put_off else "",
            f"protected: {first.joint.protect}" if first.joint.protect else "",
        )
        if part
    )
    return JointRun(first.joint.kind.value, named(first.standing), tuple(pairs), len(rows), why)


def differing(account: Account) -> list[JointRun]:
    """Give the runs whose pairs are not called alike on all ends."""

    def alike(run: JointRun) -> bool:
        return len({pair.split(" ", 1)[1] for pair in run.pairs if " " in pair}) <= 1

    return [run for run in joint_runs(account) if len(run.pairs) > 1 and not alike(run)]


def left_over(account: Account) -> Iterator[Row]:
    """Give the joints that are still to be made."""
    return (row for row in account.rows if row.standing in (Standing.OPEN, Standing.SKIPPED))
