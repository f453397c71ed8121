"""When the work went on and when it paused, and how fast it went."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

PAUSE = timedelta(minutes=10)
"""Time without any record that counts as a pause: longer than making the joints of a module takes (our choice)."""

ENOUGH = timedelta(minutes=15)
"""Work without pauses from which on a rate is told: over less it says nothing of a day (our choice)."""


def per_hour(count: int, seconds: float) -> float | None:
    """Give how many an hour, or None where there was not enough work to say so."""
    return 3600 * count / seconds if seconds >= ENOUGH.total_seconds() else None


@dataclass(frozen=True, slots=True)
class Stretch:
    """Work without a pause."""

    began: datetime
    ended: datetime

    @property
    def seconds(self) -> float:
        """How long it lasted."""
        return (self.ended - self.began).total_seconds()


def stretches(times: Iterable[datetime]) -> tuple[Stretch, ...]:
    """Give the stretches of work, from the times of all records in ascending order."""
    found: list[Stretch] = []
    began: datetime | None = None
    ended: datetime | None = None
    for at in times:
        if began is None or ended is None:
            began = at
        elif at - ended > PAUSE:
            found.append(Stretch(began, ended))
            began = at
        ended = at
    if began is not None and ended is not None:
        found.append(Stretch(began, ended))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Slice:
    """Joints confirmed in a slice of the clock."""

    began: datetime
    minutes: int
    confirmed: int


SLICES_MINUTES = (5, 10, 15, 30, 60, 120, 240, 480, 1440)
MOST_SLICES = 96


def pace(confirmed: Iterable[datetime], began: datetime, ended: datetime) -> tuple[Slice, ...]:
    """Count confirmed joints in slices of the clock, at most 96 of them, from the first to the last."""
    least = int((ended - began) / timedelta(minutes=MOST_SLICES)) + 1
    minutes = next((m for m in SLICES_MINUTES if m >= least), least)
    width = timedelta(minutes=minutes)
    start = began.replace(minute=0, second=0, microsecond=0)
    counts = Counter((at - start) // width for at in confirmed)
    first, last = (began - start) // width, (ended - start) // width
    return tuple(Slice(start + i * width, minutes, counts[i]) for i in range(first, last + 1))
