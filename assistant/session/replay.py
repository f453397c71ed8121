"""From records back to the state of the session, and through today's rules again. Must not know files."""

from collections.abc import Iterable
from dataclasses import dataclass

from assistant.dialogue.machine import decide
from assistant.dialogue.messages import Fact
from assistant.dialogue.state import State, fold, initial
from assistant.session.record import Record


def rebuild(records: Iterable[Record]) -> State:
    """Fold all facts of the records into the state they left."""
    return fold(fact for record in records for fact in record.facts)


@dataclass(frozen=True, slots=True)
class Difference:
    """A record whose input comes to other facts today."""

    record: Record
    today: tuple[Fact, ...]


def rerun(records: Iterable[Record]) -> list[Difference]:
    """Send each recorded input through today's rules, in the state its record was made in."""
    differences, state = [], initial()
    for record in records:
        today = decide(state, record.input).facts
        if today != record.facts:
            differences.append(Difference(record, today))
        state = fold(record.facts, state)
    return differences
