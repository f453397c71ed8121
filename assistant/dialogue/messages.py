"""All inputs, facts and effects on one page.

An *input* is what came in, a *fact* is what happened and is kept, an *effect* is what is now to be done.
"""

from dataclasses import dataclass
from enum import Enum

from assistant.words.intents import Fault


class Order(Enum):
    """Which colour of two is said first."""

    RING_FIRST = "ring-first"
    TIP_FIRST = "tip-first"


class Check(Enum):
    """How a confirmed pair was named, from the surest to the weakest."""

    NUMBER_AND_COLOURS = "number+colours"
    COLOURS = "colours"
    NUMBER = "number"
    WORD = "word"
    KEY = "key"


class Channel(Enum):
    """By which way an entry came in."""

    VOICE = "voice"
    TYPED = "typed"
    KEYS = "keys"


# --- inputs --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class StartAsked:
    """A new session is to begin."""

    cable_pairs: int
    first: int
    last: int
    asking: bool
    """Only answer questions; follow no sequence."""
    pair_order: Order
    binder_order: Order
    app_version: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ResumeAsked:
    """A session is to go on where its record ends."""

    torn_bytes: int
    """Length of a half-written last line that was moved aside; 0 where there was none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EarReading:
    """What one ear made of an utterance; in nats where it gives scores."""

    ear: str
    words: str
    margin: float
    likelihood_ratio: float
    confidence: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """An utterance with the verdict on it: "accepted", "ask back" or "ignored"."""

    judgement: str
    words: str
    readings: tuple[EarReading, ...]


@dataclass(frozen=True, slots=True)
class Typed:
    """A line of words from the console."""

    text: str


@dataclass(frozen=True, slots=True)
class KeysPressed:
    """One whole entry from the keypad, as the terminal sent it."""

    keys: str


@dataclass(frozen=True, slots=True)
class SpeechEnded:
    """The voice has finished one sentence."""


@dataclass(frozen=True, slots=True)
class SoundLost:
    """Sound came in faster than it could be listened to."""

    frames: int


@dataclass(frozen=True, slots=True)
class DeviceFailed:
    """A device broke; the session goes on without it."""

    device: str
    reason: str


@dataclass(frozen=True, slots=True)
class StopAsked:
    """The session is to be left as it is, to be resumed later."""

    reason: str


Input = StartAsked | ResumeAsked | Heard | Typed | KeysPressed | SpeechEnded | SoundLost | DeviceFailed | StopAsked


# --- questions: what the assistant may be waiting to be told ---------------------------------------


@dataclass(frozen=True, slots=True)
class DidYouSay:
    """Is this what you said?"""

    words: str


@dataclass(frozen=True, slots=True)
class FinishAnyway:
    """Pairs are left: end the session all the same?"""


Question = DidYouSay | FinishAnyway


# --- facts ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionOpened:
    """A session began; all that is needed to rebuild it."""

    cable_pairs: int
    first: int
    last: int
    asking: bool
    pair_order: Order
    binder_order: Order
    app_version: str


@dataclass(frozen=True, slots=True)
class SessionResumed:
    """The session went on after an interruption."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairConfirmed:
    """A pair is joined, in the words of the person who joined it. Not an electrical test."""

    pair: int
    how: Check
    by: Channel
    asked_back: bool
    """Whether it was accepted only after the question "did you say"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultMarked:
    """A pair has a fault."""

    pair: int
    fault: Fault
    by: Channel


@dataclass(frozen=True, slots=True)
class PairSkipped:
    """A pair is left for later."""

    pair: int


@dataclass(frozen=True, slots=True)
class MovedTo:
    """The work goes on from another pair."""

    pair: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone:
    """The last entry was taken back."""

    entry: str
    """What it was, as the name of its fact."""
    pair: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Mismatch:
    """What was called is not what is expected, or does not agree with itself."""

    expected: int | None
    heard: tuple[int, ...]
    """The pairs that the call names; empty where it names none in this cable."""
    call: str
    """The words or keys as they came."""


@dataclass(frozen=True, slots=True)
class LookedUp:
    """A pair was asked about; next and previous go on from it."""

    pair: int


@dataclass(frozen=True, slots=True)
class GroupNamed:
    """A group was asked about; colours alone now mean pairs of this group."""

    group: int


@dataclass(frozen=True, slots=True)
class Asked:
    """A question is open."""

    question: Question


@dataclass(frozen=True, slots=True)
class Answered:
    """The open question was answered."""

    yes: bool


@dataclass(frozen=True, slots=True)
class QuestionDropped:
    """Another entry came instead of an answer."""


@dataclass(frozen=True, slots=True)
class Missed:
    """Something came in that led to no entry."""

    kind: str
    """asked back, ignored, not understood, or not now."""


@dataclass(frozen=True, slots=True)
class Held:
    """No entry is taken until told to carry on."""


@dataclass(frozen=True, slots=True)
class CarriedOn:
    """Entries are taken again."""


@dataclass(frozen=True, slots=True)
class Said:
    """What the assistant said."""

    text: str


@dataclass(frozen=True, slots=True)
class Repeated:
    """The assistant said its last sentence again."""

    text: str


@dataclass(frozen=True, slots=True)
class DeviceLost:
    """A device broke."""

    device: str
    reason: str


@dataclass(frozen=True, slots=True)
class SoundMissed:
    """Sound was lost before it could be heard."""

    frames: int


@dataclass(frozen=True, slots=True)
class SessionLeft:
    """The session was left as it is; it can be resumed."""

    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionEnded:
    """The session was ended on purpose."""

    confirmed: int
    faulty: int
    left: int


Fact = (
    SessionOpened
    | SessionResumed
    | PairConfirmed
    | FaultMarked
    | PairSkipped
    | MovedTo
    | Undone
    | Mismatch
    | LookedUp
    | GroupNamed
    | Asked
    | Answered
    | QuestionDropped
    | Missed
    | Held
    | CarriedOn
    | Said
    | Repeated
    | DeviceLost
    | SoundMissed
    | SessionLeft
    | SessionEnded
)


# --- effects -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Say:
    """Speak this."""

    text: str


@dataclass(frozen=True, slots=True)
class Show:
    """Show this line."""

    line: str


@dataclass(frozen=True, slots=True)
class Quit:
    """Leave the loop when all has been said."""


Effect = Say | Show | Quit


@dataclass(frozen=True, slots=True)
class Step:
    """What an input comes to."""

    facts: tuple[Fact, ...] = ()
    effects: tuple[Effect, ...] = ()

    def __add__(self, more: "Step") -> "Step":
        """Give this and then more."""
        return Step(self.facts + more.facts, self.effects + more.effects)
