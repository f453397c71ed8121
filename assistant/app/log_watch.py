"""Watching over the log while the work goes on: a place that takes nothing is said aloud until it is heard.

With no place left nothing counts, and that is said again and again; writing is tried each time, and with every
entry. Belongs to the loop's thread.
"""

from collections.abc import Callable
from dataclasses import dataclass

from assistant.dialogue import sentences as s
from assistant.ports import Clock
from assistant.session.journal import Health, Journal
from assistant.session.place import Cause, JournalError, PlaceTrouble
from assistant.session.record import Record

REPEAT_S = 20.0
"""Seconds after which trouble is said again."""
_WHY = {
    Cause.FULL: "the disk is full",
    Cause.FAILING: "the disk fails",
    Cause.READ_ONLY: "it is read only",
    Cause.GONE: "it was taken away",
    Cause.CHANGED: "another program changed it",
    Cause.OTHER: "see the screen",
}


@dataclass(frozen=True, slots=True)
class LogLook:
    """It is time to look after the log; only the loop itself puts this in."""


class LogWatch:
    """Appends records, and gives the sentences that tell how the log fares."""

    def __init__(self, journal: Journal, clock: Clock, put: Callable[[LogLook], None]) -> None:
        """Take the journal, and where to put in that it is time to look again."""
        self._journal = journal
        self._clock = clock
        self._put = put
        self._known: tuple[PlaceTrouble, ...] = ()
        self._mended = 0
        self._slow_told = False
        self._unheard = False
        self._waits = False
        self.failure: JournalError | None = None
        """Why nothing can be logged now; None where it can."""

    def append(self, record: Record) -> tuple[bool, list[str]]:
        """Log a record; tell whether it counts, and give what is to be said of the log."""
        try:
            self._journal.append(record)
        except JournalError as error:
            self.failure = error
            return False, self._stopped()
        return True, self._going_on()

    def heard(self) -> None:
        """Learn that the splicer says that he has heard of the trouble."""
        self._unheard = False

    def look(self) -> list[str]:
        """Give what is to be said again, after trying once more."""
        self._waits = False
        if self.failure is not None and not self._journal.try_again():
            return self._stopped()
        if self.failure is not None or not self._journal.health.troubles:
            return self._going_on()
        self._journal.try_again()
        told = self._going_on()
        return told or ([self._one_left(self._journal.health)] if self._unheard else [])

    def _stopped(self) -> list[str]:
        self._look_again()
        self._known = self._journal.health.troubles
        return [s.LOG_STOPPED(why=_WHY[self._known[0].cause] if self._known else _WHY[Cause.OTHER])]

    def _going_on(self) -> list[str]:
        """Give what is new: a place lost, a place won back, a slow disk."""
        health, told = self._journal.health, []
        if self.failure is not None or health.mended > self._mended:
            told.append(s.LOG_MENDED())
        lost = [one for one in health.troubles if one.path not in {known.path for known in self._known}]
        if lost:
            self._unheard = True
            told.append(self._one_left(health))
        if health.slow_s and not self._slow_told:
            self._slow_told = True
            told.append(s.LOG_SLOW())
        self.failure, self._mended, self._known = None, health.mended, health.troubles
        if health.troubles:
            self._look_again()
        else:
            self._unheard = False
        return told

    def _one_left(self, health: Health) -> str:
        return s.LOG_ONE_LEFT(why=_WHY[health.troubles[0].cause])

    def _look_again(self) -> None:
        if not self._waits:
            self._waits = True
            self._clock.call_after(REPEAT_S, lambda: self._put(LogLook()))
