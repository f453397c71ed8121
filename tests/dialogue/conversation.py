"""A conversation in memory: says, types or keys something and gives what came of it."""

from dataclasses import fields

from assistant.dialogue.machine import decide
from assistant.dialogue.messages import (
    NOT_YET,
    AnnouncementNumber,
    Attendance,
    EarReading,
    Fact,
    Heard,
    Input,
    KeysPressed,
    Repeated,
    ResumeAsked,
    Said,
    SessionSettings,
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
        return said(self.put(Typed(text, self.state.announcement)))

    def keyed(self, keys: str) -> str:
        return said(self.put(KeysPressed(keys, self.state.announcement)))

    def heard(self, words: str, judgement: str = "accepted") -> str:
        return said(self.put(utterance(words, judgement, self.state.announcement)))


def start(cable: int = 25, first: int = 1, last: int | None = None, **more: object) -> StartAsked:
    """Settings by name; whatever belongs to `Attendance` or the beginning goes there."""
    of_who = {field.name for field in fields(Attendance)}
    who = {"app_version": "test", **{name: value for name, value in more.items() if name in of_who}}
    beginning = {name: more.pop(name) for name in ("earlier", "goes_on") if name in more}
    settings = {name: value for name, value in more.items() if name not in of_who}
    where: dict[str, object] = {"cable_pairs": cable, "first": first, "last": cable if last is None else last}
    return StartAsked(SessionSettings(**where, **settings), Attendance(**who), **beginning)  # type: ignore[arg-type]


def resume(torn_bytes: int = 0, **who: object) -> ResumeAsked:
    return ResumeAsked(torn_bytes, Attendance(**who))  # type: ignore[arg-type]


def utterance(words: str, judgement: str = "accepted", after: AnnouncementNumber = NOT_YET) -> Heard:
    reading = EarReading(ear="test", words=words, margin=5.0, likelihood_ratio=0.0, confidence=None)
    return Heard(judgement=judgement, words=words, readings=(reading,), after=after)


def said(step: Step) -> str:
    return " ".join(fact.text for fact in step.facts if isinstance(fact, Said | Repeated))
