"""Every fault and failed test of a splice: who found it when, and what became of it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from assistant.account.people import Attendants
from assistant.account.walk import Spot, StandingChange
from assistant.dialogue.messages import PairState
from assistant.dialogue.state import UNTOUCHED


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A fault of a pair, or a test that it failed."""

    row: int
    """Index of the joint."""
    fault: str
    """Empty where a test failed for a fault that was marked before."""
    failed: tuple[str, ...]
    """Tests that failed with it."""
    found: StandingChange
    finder: str
    """Empty where no person was given."""
    mended: StandingChange | None = None
    """None while it is outstanding."""
    how: str = ""
    """How it went: cleared, mark taken back, test passed, test no longer counts."""
    mender: str = ""


def findings(changes: Iterable[StandingChange], row_of: Mapping[Spot, int], who: Attendants) -> tuple[Finding, ...]:
    """Give all that was found wrong, in the order of time.

    Args:
        changes: as all logs together have them, in the order of time.
        row_of: index of the joint of each pair.
        who: was at work.

    """
    found: list[Finding] = []
    open_ones: dict[tuple[int, str], int] = {}
    known: dict[int, PairState] = {}
    for change in changes:
        row = row_of[change.lead]
        person = "" if change.carried else who.of(change.log, change.record)  # only the earlier log tells who
        was, now = known.get(row, UNTOUCHED), change.known
        known[row] = now
        for what, how in _gone(was, change):
            index = open_ones.pop((row, what), None)
            if index is not None:
                found[index] = replace(found[index], mended=change, how=how, mender=person)
        failed = tuple(t.value for t, passed in now.tests if not passed and (t, False) not in was.tests)
        marked = [fault.value for fault in now.faults if fault not in was.faults]
        for fault in marked or ([""] if failed else []):
            open_ones[row, fault or failed[0]] = len(found)
            found.append(Finding(row=row, fault=fault, failed=failed, found=change, finder=person))
            failed = ()
    return tuple(found)


def _gone(was: PairState, change: StandingChange) -> Iterable[tuple[str, str]]:
    """Give each fault and failed test that a change ended, and how."""
    now = change.known
    for fault in was.faults:
        if fault not in now.faults:
            yield fault.value, "cleared" if fault in change.cleared else "mark taken back"
    for test, passed in was.tests:
        if not passed and (test, False) not in now.tests:
            yield test.value, "test passed" if (test, True) in now.tests else "test no longer counts"
