"""Long sessions, made once for each size, of calls and of all that a splicer may say between them."""

import random
from functools import cache

from assistant.dialogue.state import Mode
from tests.account.sessions import Session

BETWEEN = ("mark wet", "skip pair", "undo that", "redo pair 2", "where am i", "note seen", "mark short pair 3", "yes")


@cache
def long_log(records: int, seed: int = 1) -> bytes:
    """Give a log of so many records."""
    chance = random.Random(seed)
    session = Session(cable=1200, place="yard")
    while len(session.records) < records:
        if session.state.mode is Mode.ENDED:
            break
        if chance.random() < 0.15:
            session.typed(chance.choice(BETWEEN))
        else:
            session.typed("confirm")
    return b"".join(session.data().splitlines(keepends=True)[:records])
