"""A conversation in memory: says, types or keys something and gives what came of it."""

from assistant.cable.colour_code import Order
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import (
    EarReading,
    Fact,
    Heard,
    Input,
    KeysPressed,
    Repeated,
    Said,
    StartAsked,
    Step,
    Typed,
)
from assistant.dialogue.state import State, fold, initial


class Conversation:
    """Folds every fact, as the loop does, and keeps all steps."""

    def __init__(self, cable: int = 25, first: int = 1, last: int | None = None, **more: object) -> None:
        self.state: State = initial()
        self.facts: list[Fact] = []
        self.put(start(cable, first, last, **more))

    def put(self, came: Input) -> Step:
        step = decide(self.state, came)
        self.state = fold(step.facts, self.state)
        self.facts += step.facts
        return step

    def typed(self, text: str) -> str:
        return said(self.put(Typed(text)))

    def keyed(self, keys: str) -> str:
        return said(self.put(KeysPressed(keys)))

    def heard(self, words: str, judgement: str = "accepted") -> str:
        return said(self.put(utterance(words, judgement)))


def start(cable: int = 25, first: int = 1, last: int | None = None, **more: object) -> StartAsked:
    settings: dict[str, object] = {
        "asking": False,
        "pair_order": Order.RING_FIRST,
        "binder_order": Order.RING_FIRST,
        "app_version": "test",
        **more,
    }
    return StartAsked(cable_pairs=cable, first=first, last=cable if last is None else last, **settings)  # type: ignore[arg-type]


def utterance(words: str, judgement: str = "accepted") -> Heard:
    reading = EarReading(ear="test", words=words, margin=5.0, likelihood_ratio=0.0, confidence=None)
    return Heard(judgement=judgement, words=words, readings=(reading,))


def said(step: Step) -> str:
    return " ".join(fact.text for fact in step.facts if isinstance(fact, Said | Repeated))
