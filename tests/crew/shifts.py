"""Sessions of made-up shifts, driven through the real machine by seeded chance, as records and as logs."""

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from assistant.cable.colour_code import Colours
from assistant.cable.splice_plan import Joint
from assistant.dialogue.messages import (
    NOT_YET,
    Heard,
    Input,
    KeysPressed,
    ResumeAsked,
    SessionOpened,
    SessionResumed,
    StartAsked,
    StopAsked,
    TimedOut,
    Typed,
)
from assistant.dialogue.modes import Mode
from assistant.session.record import FIRST_SUM, Record, encode
from assistant.words.numbers import spoken_digits
from tests.dialogue.conversation import Conversation, resume, start, utterance

ROOT = Path(__file__).parents[2]
PLANS = tuple(path.read_text() for path in sorted((ROOT / "demo_sessions" / "plans").glob("*.toml")))
PEOPLE = ("", "Ada", "Bo Li", "  ", "Zoë \N{TELEPHONE RECEIVER}")
MICROPHONES = ("", "USB headset", "Boom, left")
PLACES = ("", "Mill Lane pole 14", "Quay; 'Hut' \"2\"")
BEGAN = datetime(2026, 3, 2, 6, 30, tzinfo=UTC)
ZONES = tuple(timezone(timedelta(minutes=minutes)) for minutes in (0, 60, 120, -330))
KEY_ALONE = 0.05
"""How often the plus key alone confirms."""
GAPS_S = (0.4, 1.25, 3.0, 6.5, 20.0, 599.999, 600.0, 600.001, 2400.0, -5.0)
GAP_WEIGHTS = (20, 20, 20, 20, 10, 1, 1, 1, 1, 1)


@dataclass(frozen=True)
class Words:
    """Ways to call a pair."""

    number: str
    colours: str
    far: str
    """The colours on the far side; empty where the plan names no pair there."""


def words_of(talk: Conversation, joint: Joint) -> Words | None:
    """Give the words that call a joint; none for a service pair."""
    end, address = talk.state.plan.end_of(joint.lead), talk.state.plan.address(joint.lead)
    if not isinstance(address.colours, Colours):
        return None
    number = spoken_digits(end.called(joint.lead.position)[1])
    far = [talk.state.plan.address(place).colours for place in talk.state.plan.far_of(joint)]
    named = [f"{one.ring.value} {one.tip.value}" for one in far if isinstance(one, Colours)]
    return Words(number, f"{address.colours.ring.value} {address.colours.tip.value}", "".join(named[:1]))


class Shift:
    """One session, an entry at a time."""

    def __init__(self, seed: int, **asked: object) -> None:
        self.chance = random.Random(seed)
        self.records: list[Record] = []
        self.at = BEGAN + timedelta(hours=seed)
        self.zone = self.chance.choice(ZONES)
        self.talk = Conversation(1)
        self.talk = self._begin(asked)

    def _begin(self, asked: dict[str, object]) -> Conversation:
        size = {name: asked.pop(name) for name in ("cable", "first", "last") if name in asked}
        request = start(**size, **asked)  # type: ignore[arg-type]
        talk = Conversation(**size, **asked)  # type: ignore[arg-type]
        self._keep(request, tuple(talk.facts))
        return talk

    def _keep(self, came: Input, facts: tuple[object, ...]) -> None:
        if facts:
            at = self.at.astimezone(self.zone).isoformat(timespec="milliseconds")
            self.records.append(Record(number=len(self.records) + 1, at=at, input=came, facts=facts))  # type: ignore[arg-type]

    def put(self, came: Input) -> None:
        if isinstance(came, Typed | KeysPressed | Heard):
            came = replace(came, after=self.talk.state.announcement)
        self.at += timedelta(seconds=self.chance.choices(GAPS_S, GAP_WEIGHTS)[0])
        self._keep(came, self.talk.put(came).facts)

    def run(self, entries: int) -> list[Record]:
        """Put in so many entries by chance and give all records."""
        for _ in range(entries):
            if self.talk.state.mode is Mode.ENDED:
                break
            self.chance.choices([act for act, _ in ACTS], [weight for _, weight in ACTS])[0](self)
        return self.records

    # --- what may happen ---

    def call(self) -> None:
        joint = self.talk.state.expected_joint
        found = words_of(self.talk, joint) if joint is not None else None
        if self.talk.state.question is not None:
            self.put(Typed("yes", NOT_YET))
        elif found is None or self.chance.random() < KEY_ALONE:
            self.put(KeysPressed("+", NOT_YET))
        else:
            both = f"{found.number} {found.colours}"
            ends = f"{both} to {found.far}" if found.far and self.talk.state.plan.sides_differ else both
            text = self.chance.choice([both, both, ends, found.colours, f"pair {found.number}"])
            judgement = self.chance.choices(["accepted", "ask back"], [6, 1])[0]
            self.put(utterance(text, judgement))

    def call_wrong(self) -> None:
        self.put(utterance(self.chance.choice(["slate violet", "two four orange violet", "pair two four"])))

    def say(self) -> None:
        self.put(Typed(self.chance.choice(SAYINGS), NOT_YET))

    def undo(self) -> None:
        for _ in range(self.chance.randint(1, 4)):
            self.put(Typed("undo that", NOT_YET))

    def mumble(self) -> None:
        self.put(utterance("", self.chance.choice(["ignored", "accepted", "ask back"])))

    def answer(self) -> None:
        self.put(utterance(self.chance.choice(["yes", "no"]), self.chance.choice(["accepted", "ask back"])))

    def call_out(self) -> None:
        self.put(Typed("call them out", NOT_YET))
        for _ in range(self.chance.randint(0, 6)):
            waiting = [number for number in self.talk.state.left() if number not in self.talk.state.called_out]
            if waiting:
                self.put(TimedOut(waiting[0]))
        self.put(Typed("confirm module", NOT_YET))

    def verify(self) -> None:
        self.put(Typed("start verification", NOT_YET))
        for _ in range(self.chance.randint(0, 6)):
            self.put(Typed(self.chance.choice(["test good", "test good", "mark open", "undo that"]), NOT_YET))
        self.put(Typed("end verification", NOT_YET))

    def resume(self) -> None:
        self.put(StopAsked("SIGTERM"))
        self.zone = self.chance.choice(ZONES)
        self.put(
            resume(app_version="test", person=self.chance.choice(PEOPLE), microphone=self.chance.choice(MICROPHONES))
        )


SAYINGS = (
    *("confirm", "mark open", "mark short", "skip pair", "clear open", "where am i", "say again", "hold on"),
    *("carry on", "no", "redo pair 2", "redo pair 3", "redo pair 1", "go to pair 4", "go to pair 1", "go to pair 9"),
    *("mark open pair 2", "clear open pair 2", "mark split pair 3 and pair 5", "note wet sheath", "sausage", "finish"),
    *("what is pair 7", "reading five hundred mega ohms"),
)
ACTS: tuple[tuple[Callable[[Shift], None], int], ...] = (
    (Shift.call, 60),
    (Shift.call_wrong, 5),
    (Shift.say, 14),
    (Shift.undo, 4),
    (Shift.mumble, 5),
    (Shift.answer, 4),
    (Shift.call_out, 1),
    (Shift.verify, 1),
    (Shift.resume, 1),
)


def shift(seed: int, entries: int = 60) -> list[Record]:
    """Give the records of a session by chance, on a plan or a straight sequence; now and then of no named person.

    Each is at a place of its own, so that it is a splice of its own.
    """
    chance = random.Random(1000 + seed)
    asked: dict[str, object] = {
        "person": chance.choice(PEOPLE),
        "place": f"{chance.choice(PLACES)} {seed}".strip(),
        "microphone": chance.choice(MICROPHONES),
        "ears": chance.choice(["", "whisper+sphinx"]),
    }
    plan = chance.randrange(len(PLANS) + 1)
    if plan < len(PLANS):
        asked |= {"cable": 0, "first": 0, "last": 0, "plan_text": PLANS[plan]}
    else:
        asked |= {"cable": chance.choice([12, 25, 400]), "asking": chance.random() < 0.2}
    return Shift(seed, **asked).run(entries)


def log_bytes(records: Iterable[Record]) -> bytes:
    """Give the text of a log."""
    last_sum, lines = FIRST_SUM, []
    for record in records:
        line, last_sum = encode(record, last_sum)
        lines.append(line)
    return b"".join(lines)


def told_as(record: Record, person: str, microphone: str, later: timedelta, place: str | None = None) -> Record:
    """Give a record at another time and, where it begins or goes on, with another person, microphone and place."""

    def changed(one: Any) -> Any:
        one = replace(one, who=replace(one.who, person=person, microphone=microphone))
        settled = place is None or isinstance(one, SessionResumed | ResumeAsked)
        return one if settled else replace(one, settings=replace(one.settings, place=place))

    facts = tuple(changed(f) if isinstance(f, SessionOpened | SessionResumed) else f for f in record.facts)
    came = changed(record.input) if isinstance(record.input, StartAsked | ResumeAsked) else record.input
    at = (datetime.fromisoformat(record.at) + later).isoformat(timespec="milliseconds")
    return Record(number=record.number, at=at, input=came, facts=facts)
