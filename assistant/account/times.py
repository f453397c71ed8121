"""The order of records in time. Within one log the order of the records rules, whatever its clock was set to."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from assistant.account.story import AccountError, moment
from assistant.session.record import Record

SET_BACK = timedelta(seconds=1)
"""From which step backwards on a clock is told to have been set; less is the usual care of a device (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockSet:
    """The clock of a device was set while the log was written."""

    record: int
    """The first record after it."""
    before: datetime
    """Time of the record before it."""
    at: datetime
    """Time of that record."""
    at_start: bool = False
    """Whether it is the clock of another device: the log goes on from one that ended later by its clock."""

    def __str__(self) -> str:
        """Say it in words."""
        back = self.before - self.at
        minutes, seconds = divmod(round(back.total_seconds()), 60)
        hours, minutes = divmod(minutes, 60)
        by = f"{hours} h {minutes:02} min" if hours else f"{minutes} min {seconds:02} s"
        if self.at_start:
            return (
                f"its clock is {by} behind that of the log that it goes on from: times of one of them are wrong, and "
                "no duration counts from one to the other"
            )
        return (
            f"the clock was set back by {by} before record {self.record}, from {self.before:%Y-%m-%d %H:%M:%S} to "
            f"{self.at:%H:%M:%S}: times before or after it are wrong, and no duration counts over it"
        )


@dataclass(frozen=True, slots=True)
class LogClock:
    """The times of the records of one log."""

    turns: tuple[datetime, ...]
    """For each record its time on a clock that goes on: no step goes back, and where the clock was set none passes."""
    jumps: tuple[ClockSet, ...]


def clock_of(records: Sequence[Record], not_before: datetime | None = None) -> LogClock:
    """Follow the clock through a log, which goes on from others that end at `not_before`, whatever its clock shows.

    Raises:
        AccountError: a record has no time of day with its zone, or one that no calendar holds after those before it.

    """
    turns: list[datetime] = []
    jumps: list[ClockSet] = []
    shift = timedelta(0)
    before = not_before
    for record in records:
        at = moment(record)
        if before is not None and at < before:
            shift += before - at
            if before - at > SET_BACK:
                jumps.append(ClockSet(record=record.number, before=before, at=at, at_start=not turns))
        try:
            turns.append(at + shift)
        except OverflowError as error:
            why = (
                f"record {record.number} has a time that no clock can show after those before it; no session wrote this"
            )
            raise AccountError(why) from error
        before = at
    return LogClock(tuple(turns), tuple(jumps))
