"""A session step by step: what came in, what was said, and what it was about."""

from dataclasses import dataclass
from datetime import datetime
from typing import assert_never

from assistant.account.topics import Topic
from assistant.cable.splice_plan import JointNumber, Place
from assistant.dialogue import messages as m
from assistant.dialogue.messages import Fact
from assistant.dialogue.state import State
from assistant.errors import AssistantError
from assistant.session.record import LaterInput, Record, RecordsLost


class AccountError(AssistantError):
    """Records that cannot be accounted for; the text is one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One step, for reading."""

    record: int
    at: datetime
    """By the clock of the device, which may have been set in between."""
    turn: datetime
    """The same on a clock that goes on; see `times`."""
    way: str
    """How it came in: voice, typed, keys, or empty for what no person did."""
    came: str
    """The words or keys as they came."""
    said: tuple[str, ...]
    topics: frozenset[Topic]
    joints: tuple[int, ...]
    """Joints that the step was about; for a mismatch those that are expected and called."""
    sound_sha256: str = ""


def moment(record: Record) -> datetime:
    """Give the time of a record.

    Raises:
        AccountError: it has none, or none with a time zone.

    """
    try:
        at = datetime.fromisoformat(record.at)
    except ValueError:
        at = datetime.min
    if at.tzinfo is None:
        raise AccountError(f"record {record.number} has no time of day with its zone ({record.at[:40]!r})")
    return at


def line_of(record: Record, before: State, turn: datetime | None = None, *, clock_set: bool = False) -> Line:
    """Tell of one record, given the state before it, and its time on a clock that goes on."""
    way, came = _came(record)
    said: list[str] = []
    joints: dict[JointNumber, None] = {}
    topics: set[Topic] = set()
    for fact in record.facts:
        if isinstance(fact, m.Said | m.Repeated):
            said.append(fact.text)
            continue
        joints |= dict.fromkeys(joints_of(fact, before))
        topic = topic_of(fact)
        if topic is not None:
            topics.add(topic)
    if isinstance(record.input, RecordsLost | LaterInput) or record.later:
        topics.add(Topic.LOST)
    if clock_set:
        topics.add(Topic.CLOCK)
    at = moment(record)
    return Line(
        record=record.number,
        at=at,
        turn=turn or at,
        way=way,
        came=came,
        said=tuple(said),
        topics=frozenset(topics),
        joints=tuple(joints),
        sound_sha256=record.input.sound_sha256 if isinstance(record.input, m.Heard) else "",
    )


def lost_words(record: Record) -> str:
    """Say which records are lost."""
    numbers = (
        f"record {record.number} is"
        if record.last_number == record.number
        else (f"records {record.number} to {record.last_number} are")
    )
    return f"{numbers} lost"


def _came(record: Record) -> tuple[str, str]:
    match record.input:
        case RecordsLost(why=why):
            return "", f"({lost_words(record)}: {why})"
        case LaterInput(tag=tag):
            return "", f"(of a later version: {tag})"
        case m.Heard(judgement=judgement, words=words):
            heard = words or "(speech)"
            return "voice", heard if judgement == "accepted" else f"{heard} [{judgement}]"
        case m.Typed(text=text):
            return "typed", text
        case m.KeysPressed(keys=keys):
            return "keys", keys.strip() or "Enter"
        case m.NoteRecorded(seconds=seconds):
            return "voice", f"(note of {seconds:g} s)"
        case m.StopAsked(reason=reason):
            return "", f"(left: {reason})"
        case m.DeviceFailed(device=device, reason=reason):
            return "", f"({device} failed: {reason})"
        case m.MicrophoneTrouble(trouble=trouble):
            return "", f"(microphone {trouble.value})"
        case m.SoundLost(frames=frames):
            return "", f"({frames} frames of sound lost)"
        case m.StartAsked():
            return "", "(a session begins)"
        case m.ResumeAsked():
            return "", "(the session goes on)"
        case m.KeysRefused(trouble=trouble):
            return "keys", f"(a key refused: {trouble.value})"
        case m.SpeechEnded() | m.TimedOut():
            return "", ""
        case never:
            assert_never(never)


_TOPICS: dict[type[Fact], Topic] = {
    m.PairConfirmed: Topic.CONFIRMED,
    m.FaultMarked: Topic.FAULT,
    m.FaultCleared: Topic.FAULT,
    m.Mismatch: Topic.MISMATCH,
    m.Undone: Topic.CORRECTION,
    m.Reopened: Topic.CORRECTION,
    m.PairReplaced: Topic.CORRECTION,
    m.JointAdded: Topic.CORRECTION,
    m.PairPutOff: Topic.CORRECTION,
    m.ReversalTagged: Topic.CORRECTION,
    m.NoteKept: Topic.NOTE,
    m.CheckAnswered: Topic.CHECK,
    m.PairTested: Topic.TEST,
    m.ReadingLogged: Topic.TEST,
    m.DeviceLost: Topic.TROUBLE,
    m.MicrophoneTroubled: Topic.TROUBLE,
    m.SoundMissed: Topic.TROUBLE,
    m.SessionOpened: Topic.SESSION,
    m.WorkTakenUp: Topic.SESSION,
    m.WorkBegunAnew: Topic.SESSION,
    m.SessionResumed: Topic.SESSION,
    m.SessionLeft: Topic.SESSION,
    m.SessionEnded: Topic.SESSION,
}


def topic_of(fact: Fact) -> Topic | None:
    """Tell what a fact is about, if it is worth looking for."""
    if isinstance(fact, m.PairTested) and not fact.passed:
        return Topic.FAULT
    if isinstance(fact, m.Missed):
        return Topic.ASKED_BACK if fact.kind == "asked back" else None
    return _TOPICS.get(type(fact))


def joints_of(fact: Fact, before: State) -> tuple[JointNumber, ...]:
    """Give the joints that a fact is about, given the state before it."""
    if isinstance(fact, m.Mismatch):
        places = [*(Place(before.end, position) for position in fact.heard), *fact.far]
        called = [before.plan.at.get(place) for place in places]
        expected = () if before.expected is None else (before.expected,)
        return (*expected, *(joint for joint in called if joint is not None))
    if isinstance(fact, m.LookedUp):
        return ()  # a position of the cable, asked about only
    if isinstance(fact, m.PairReplaced):
        return fact.pair, fact.number
    pair = getattr(fact, "pair", None)
    return () if pair is None else (pair,)
