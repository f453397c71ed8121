"""The order of records in time. Within one log the order of the records rules, whatever its clock was set to.

Where records tell the time since the start of the machine too, that tells by how much its clock was set, forward
or back; older logs, and records on both sides of a new start, only tell of a step back.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from assistant.account.story import AccountError, moment
from assistant.session.record import Record

SET_BACK = timedelta(seconds=1)
"""From which step on a clock is told to have been set; less is the usual care of a device (our choice)."""
STEADY_DRIFT = 0.002
"""How much faster or slower a clock may go by itself, as a part of the time passed, before it counts as set: a poor
quartz clock errs by a tenth of this, time services correct by a quarter (500 ppm; from memory, `adjtimex`)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockSet:
    """The clock of a device was set while the log was written."""

    record: int
    """The first record after it."""
    before: datetime
    """Time of the record before it."""
    at: datetime
    """Time of that record."""
    by: timedelta
    """How far it was set, forward or, less than 0, back; at least so far where nothing else tells the time."""
    measured: bool
    """Whether another clock tells how much time passed in between."""
    at_start: bool = False
    """Whether it is the clock of another device: the log goes on from one that ended later by its clock."""

    def __str__(self) -> str:
        """Say it in words."""
        minutes, seconds = divmod(round(abs(self.by).total_seconds()), 60)
        hours, minutes = divmod(minutes, 60)
        by = f"{hours} h {minutes:02} min" if hours else f"{minutes} min {seconds:02} s"
        way = "forward" if self.by > timedelta(0) else "back"
        kept = "durations over it are by the clock that nobody sets" if self.measured else "no duration counts over it"
        until = f"{self.at:%H:%M:%S}" if self.at.date() == self.before.date() else f"{self.at:%Y-%m-%d %H:%M:%S}"
        if self.at_start:
            return (
                f"its clock is {by} behind that of the log that it goes on from: times of one of them are wrong, and "
                "no duration counts from one to the other"
            )
        return (
            f"the clock was set {way} by {by} before record {self.record}, from {self.before:%Y-%m-%d %H:%M:%S} to "
            f"{until}: times before or after it are wrong, and {kept}"
        )


@dataclass(frozen=True, slots=True)
class LogClock:
    """The times of the records of one log."""

    turns: tuple[datetime, ...]
    """For each record its time on a clock that goes on: no step goes back. Where the clock was set, as much passes as
    the time since the start of the machine tells, and else none."""
    jumps: tuple[ClockSet, ...]


def clock_of(records: Sequence[Record], not_before: datetime | None = None) -> LogClock:
    """Follow the clock through a log, which goes on from others that end at `not_before`, whatever its clock shows.

    Raises:
        AccountError: a record has no time of day with its zone, or one that no calendar holds after those before it.

    """
    turns: list[datetime] = []
    jumps: list[ClockSet] = []
    shift = timedelta(0)
    before, was = None, not_before
    for record in records:
        at = moment(record)
        if was is not None:
            passed = None if before is None else _passed(before, record)
            by = _set_by(at - was, passed)
            shift -= by
            if abs(by) > SET_BACK:
                measured, at_start = passed is not None, before is None
                jumps.append(
                    ClockSet(record=record.number, before=was, at=at, by=by, measured=measured, at_start=at_start)
                )
        try:
            turns.append(at + shift)
        except OverflowError as error:
            why = (
                f"record {record.number} has a time that no clock can show after those before it; no session wrote this"
            )
            raise AccountError(why) from error
        before, was = record, at
    return LogClock(tuple(turns), tuple(jumps))


def _passed(before: Record, record: Record) -> timedelta | None:
    """Give the time that passed by the clock that nobody sets; None where it does not tell."""
    earlier, later = before.uptime, record.uptime
    if earlier is None or later is None or earlier.boot != later.boot or later.seconds < earlier.seconds:
        return None
    return timedelta(seconds=later.seconds - earlier.seconds)


def _set_by(shown: timedelta, passed: timedelta | None) -> timedelta:
    """Give how far a clock was set that shows so much as passed; its own care is none, unless it would go back."""
    back = min(shown, timedelta(0))
    if passed is None:
        return back
    by = shown - passed
    return by if abs(by) > SET_BACK + passed * STEADY_DRIFT else back
