"""From records back to the state of the session, and through today's rules again. Must not know files."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from assistant.dialogue.machine import decide
from assistant.dialogue.messages import Fact
from assistant.dialogue.state import State, fold, initial
from assistant.errors import AssistantError
from assistant.session.record import Record


class HistoryError(AssistantError):
    """Records that no session can have written, whole though they are; the text is one line."""


def steps(records: Iterable[Record]) -> Iterator[tuple[State, Record, State]]:
    """Give each record with the states before and after it.

    Raises:
        HistoryError: a record cannot follow those before it: the log was forged.

    """
    state = initial()
    for record in records:
        before = state
        try:
            state = fold(record.facts, before)
        except Exception as error:
            raise _forged(record, error) from error
        yield before, record, state


@contextmanager
def refusing_forgery(record: Record) -> Iterator[None]:
    """Turn whatever a forged record breaks into one line.

    Raises:
        HistoryError: the record cannot follow those before it.

    """
    try:
        yield
    except AssistantError:
        raise
    except Exception as error:
        raise _forged(record, error) from error


def _forged(record: Record, error: Exception) -> HistoryError:
    """Make the line for it: whatever a forged record breaks, it means the same."""
    return HistoryError(
        f"record {record.number} cannot follow those before it ({type(error).__name__}: {error}); "
        "no session wrote this, restore the log from a copy"
    )


def rebuild(records: Iterable[Record]) -> State:
    """Fold all facts of the records into the state they left.

    Raises:
        HistoryError: a record cannot follow those before it.

    """
    state = initial()
    for _, _, state in steps(records):  # noqa: B007 (the last one is wanted)
        pass
    return state


@dataclass(frozen=True, slots=True)
class Difference:
    """A record whose input comes to other facts today."""

    before: State
    record: Record
    today: tuple[Fact, ...]


def rerun(records: Iterable[Record]) -> Iterator[Difference]:
    """Send each recorded input through today's rules, in the state its record was made in.

    Raises:
        HistoryError: a record cannot follow those before it.

    """
    for before, record, _ in steps(records):
        with refusing_forgery(record):
            today = decide(before, record.input).facts
        if today != record.facts:
            yield Difference(before, record, today)
