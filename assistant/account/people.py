"""Who did what: the person behind each record, and what each did on each day."""

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from assistant.account.walk import Made, Sitting
from assistant.account.work_time import PAUSE


class Attendants:
    """Tells who was at work when a record was written."""

    def __init__(self, sittings: Iterable[Sitting]) -> None:
        """Take all sittings."""
        self._of_log: dict[str, tuple[list[int], list[str]]] = {}
        for one in sorted(sittings, key=lambda one: one.record):
            lasts, people = self._of_log.setdefault(one.log, ([], []))
            lasts.append(one.record)
            people.append(one.person)

    def of(self, log: str, record: int) -> str:
        """Give the person, empty where none was given."""
        lasts, people = self._of_log.get(log, ([], []))
        index = bisect_left(lasts, record)
        return people[index] if index < len(people) else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonDay:
    """What one person did on one day, by the clock of the device."""

    person: str
    """Empty where none was given."""
    day: date
    joined: int
    """Joints confirmed on this day that stand joined, be a fault outstanding or not."""
    work_s: float
    """Seconds of work without the pauses, in the logs of this person."""


Step = tuple[str, int, datetime, datetime]
"""Log, record, its time by the clock of the device, and on a clock that goes on."""


def person_days(steps: Iterable[Step], standing: Sequence[Made], who: Attendants) -> tuple[PersonDay, ...]:
    """Give a line for each person and day, by day.

    Args:
        steps: of all logs, each log in its own order.
        standing: how the joints were made that stand joined.
        who: was at work.

    """
    joined = Counter((made.person, made.at.date()) for made in standing)
    seconds: defaultdict[tuple[str, date], float] = defaultdict(float)
    before: dict[str, datetime] = {}
    for log, record, at, turn in steps:
        key = (who.of(log, record), at.date())
        gap = turn - before.get(log, turn)
        seconds[key] += gap.total_seconds() if gap <= PAUSE else 0.0
        before[log] = turn
    days = sorted({*joined, *seconds}, key=lambda key: (key[1], key[0]))
    return tuple(PersonDay(person=p, day=d, joined=joined[p, d], work_s=seconds[p, d]) for p, d in days)
