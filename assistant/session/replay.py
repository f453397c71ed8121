"""From records back to the state of the session. Must not know files."""

from collections.abc import Iterable

from assistant.dialogue.state import State, fold
from assistant.session.record import Record


def rebuild(records: Iterable[Record]) -> State:
    """Fold all facts of the records into the state they left."""
    return fold(fact for record in records for fact in record.facts)
