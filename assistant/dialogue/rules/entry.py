"""What every rule is made of: an understood entry comes in, a step goes out.

A sentence that tells of a change is made from the state after it, which `then` folds in.
"""

from collections.abc import Callable
from dataclasses import dataclass

from assistant.dialogue.messages import (
    Channel,
    Fact,
    Said,
    Speak,
    Step,
)
from assistant.dialogue.state import State, fold
from assistant.words.intents import Intent


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An understood entry and how it came in."""

    intent: Intent
    call: str
    """The words or keys as they came."""
    by: Channel
    asked_back: bool = False


Rule = Callable[[State, Entry], Step]


def tell(text: str) -> Step:
    """Say this, and keep that it was said."""
    return Step((Said(text),), (Speak(text),))


def then(state: State, *facts: Fact, told: Callable[[State], str]) -> Step:
    """Let these happen, and tell of them from the state that they lead to."""
    return Step(facts) + tell(told(fold(facts, state)))
