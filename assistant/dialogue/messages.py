"""All inputs, facts and effects on one page.

An *input* is what came in, a *fact* is what happened and is kept, an *effect* is what is now to be done.
"""

from dataclasses import dataclass, field
from enum import Enum
from typing import NewType

from assistant.cable.colour_code import Order
from assistant.cable.makeup import GroupNumber, Position
from assistant.cable.splice_plan import JointNumber, Place, Site
from assistant.words.intents import Fault, Intent, Reason, Tried, Unit

AnnouncementNumber = NewType("AnnouncementNumber", int)
"""Running number of an announcement of what is expected, or of an open question.

With an input: the one that had been told to its end, at the latest moment at which the input is known not to have
begun.
"""
NOT_YET = AnnouncementNumber(0)
"""None has been put so far."""
BEFORE_NUMBERS = AnnouncementNumber(-1)
"""Stands in old records, which kept no such numbers; no adapter may put it in."""


@dataclass(frozen=True, slots=True)
class Announced:
    """What a person could have heard or seen at a moment."""

    told: AnnouncementNumber = NOT_YET
    """The last announcement that had been told to its end."""
    begun: AnnouncementNumber = NOT_YET
    """The last one that had begun to be told."""


class Check(Enum):
    """How a confirmed pair was named, from the surest to the weakest."""

    NUMBER_AND_COLOURS = "number+colours"
    COLOURS = "colours"
    NUMBER = "number"
    MODULE = "module"
    """With all pairs of its module, after they were called out."""
    WORD = "word"
    KEY = "key"

    @property
    def names_a_pair(self) -> bool:
        """Whether the pair itself was named."""
        return self in (Check.NUMBER_AND_COLOURS, Check.COLOURS, Check.NUMBER)


class Ends(Enum):
    """Which sides of a joint a call named."""

    NEAR = "near"
    """The pair that is called for the joint, or none."""
    FAR = "far"
    """A pair that it is joined to, alone."""
    BOTH = "both"


class PairTest(Enum):
    """Tests of the verification pass, in the order of the trade: grounds before shorts."""

    CONTINUITY = "continuity"
    GROUND = "grounds"
    SHORT = "shorts"


class Talk(Enum):
    """How much is said."""

    FULL = "full"
    """Every confirmed pair is read back."""
    BRIEF = "brief"
    """Where the work goes on plainly, a tone stands for "confirmed", and only the next pair is said."""


class Channel(Enum):
    """By which way an entry came in."""

    VOICE = "voice"
    TYPED = "typed"
    KEYS = "keys"


# --- what was built otherwise than planned: facts, and what is asked before they are -------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PairReplaced:
    """Another pair of the same cable is joined in place of one, which is left."""

    pair: JointNumber
    """The joint that it was in; the number stays with the pair that is left."""
    old: Place
    new: Place
    number: JointNumber
    """Of the joint that is to be made instead."""
    by: Channel


@dataclass(frozen=True, slots=True, kw_only=True)
class JointAdded:
    """A joint is to be made that the plan does not have."""

    pair: JointNumber
    places: tuple[Place, ...]
    """The pair that is called comes first."""
    by: Channel


@dataclass(frozen=True, slots=True, kw_only=True)
class PairPutOff:
    """A pair is left for another day."""

    pair: JointNumber
    reason: Reason
    tried: Tried | None
    """What was tried on a pair that is left defective."""
    by: Channel


@dataclass(frozen=True, slots=True, kw_only=True)
class ReversalTagged:
    """A pair is reversed on purpose and tagged, or that tag is taken off."""

    pair: JointNumber
    tagged: bool
    by: Channel


AsBuiltFact = PairReplaced | JointAdded | PairPutOff | ReversalTagged
"""Facts about what was built otherwise than planned."""


# --- what earlier logs of the splice come to -------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PairState:
    """What is known of one joint, by the pair that is called; a joint without one is not done."""

    confirmed: Check | None = None
    faults: tuple[Fault, ...] = ()
    skipped: bool = False
    put_off: Reason | None = None
    """Why it is left for another day; it is not come back to by itself."""
    tried: Tried | None = None
    reversed_on_purpose: bool = False
    """Reversed and tagged: no fault, and not to be put right (7 CFR 1755.403(d)(6)(v))."""
    tests: tuple[tuple[PairTest, bool], ...] = ()
    """Latest result of each test made."""

    @property
    def left(self) -> bool:
        """Whether it still waits to be joined, be it faulty or not."""
        return self.confirmed is None

    @property
    def fresh(self) -> bool:
        """Whether nothing is known of it: neither joined, nor skipped, nor faulty."""
        return self.confirmed is None and not self.skipped and not self.faults and self.put_off is None

    @property
    def failed(self) -> bool:
        """Whether it failed a test."""
        return any(not passed for _, passed in self.tests)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogHead:
    """How far an earlier log went when another one went on from it."""

    name: str
    """Of its file then."""
    first_sum: str
    """Checksum of its first record, which tells which log it is."""
    records: int
    """Number of its last record."""
    last_sum: str
    """Checksum of that record, which stands for all before it."""
    sha256: str
    """Of the bytes up to there, in hex."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JointsCarried:
    """Joints of which the same is known, by the first and the last of numbers that follow one another."""

    first: JointNumber
    last: JointNumber
    known: PairState


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierWork:
    """What earlier logs of this splice come to together. Kept whole, so that a log can be read without them.

    It names no pair by itself: the work is gone on with by `WorkTakenUp` alone.
    """

    logs: tuple[LogHead, ...]
    """The ends of all chains of logs: what they went on from is named in them."""
    joints: tuple[JointsCarried, ...]
    """What is known of the joints; one that is not named is not done."""
    built: tuple[AsBuiltFact, ...] = ()
    """Spares used and joints added, in the order in which they were."""
    expected: JointNumber | None = None
    """The joint that was to be called next."""
    again: tuple[JointNumber, ...] = ()
    """Joints to be called again: records of them are lost, or the logs contradict one another."""
    people: tuple[str, ...] = ()
    """Who worked, the latest last; without those who gave no name."""
    first_day: str = ""
    """Day of the first opening, ISO 8601."""
    last_day: str = ""
    anew: str = ""
    """When the first of them was begun anew, as its first record has it; empty where it was not."""
    finished: bool = False
    """Whether it was said that the splice is finished."""


# --- inputs --------------------------------------------------------------------------------------


USUAL_RATE = 150
"""Words a minute: synthetic speech was best written down at 150 to 180 (Human Factors 30(6), 1988)."""
USUAL_LOUDNESS = 100
"""Percent of what the speech engine gives."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionSettings:
    """What a session is to be, carried whole from the command line into the record."""

    cable_pairs: int = 0
    first: int = 0
    last: int = 0
    """Cable and range of a straight sequence; 0 where a plan says them."""
    asking: bool = False
    """Only answer questions; follow no sequence."""
    pair_order: Order = Order.RING_FIRST
    binder_order: Order = Order.RING_FIRST
    plan_text: str = ""
    """A splice plan to follow."""
    site: Site | None = None
    """Kind of place, for the checks before the work; a plan may name it itself."""
    short_checks: bool = False
    """Ask all checks in one question."""
    any_order: bool = False
    """Take pairs in any order, as a partner at the far end calls them."""
    place: str = ""
    """Where the splice is, in the words of the person."""
    talk: Talk = Talk.FULL
    words_a_minute: int = USUAL_RATE
    """Rate of speech."""
    loudness: int = USUAL_LOUDNESS
    """Of speech, in percent of the usual."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attendance:
    """Who is at work, and by what he is heard."""

    app_version: str = ""
    person: str = ""
    """Empty where no name is given."""
    microphone: str = ""
    """Name of the input device; empty without hearing."""
    ears: str = ""
    """Set of recognisers; empty without hearing."""
    keeps_sound: bool = False
    """Keep the sound of every utterance beside the log."""


@dataclass(frozen=True, slots=True)
class StartAsked:
    """A new session is to begin."""

    settings: SessionSettings
    who: Attendance
    earlier: EarlierWork | None = None
    """What earlier logs of this splice come to; None where there are none, or a new one was asked for."""
    goes_on: bool | None = None
    """What was said beforehand: that the work goes on with them, or that it begins anew; None where it is to be
    asked. One that is finished is asked about all the same."""


@dataclass(frozen=True, slots=True)
class ResumeAsked:
    """A session is to go on where its record ends."""

    torn_bytes: int
    """Length of a half-written last line that was moved aside; 0 where there was none."""
    who: Attendance


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
    sound_sha256: str = ""
    """Of the FLAC file that is kept for the record of this utterance; empty where no sound is kept."""
    after: AnnouncementNumber
    meaning: Intent | None = field(default=None, compare=False)
    """What the words mean, as the hearing found it; not kept in the record, where it is found anew."""


@dataclass(frozen=True, slots=True)
class Typed:
    """A line of words from the console."""

    text: str
    after: AnnouncementNumber
    during: AnnouncementNumber = NOT_YET
    """The announcement that had begun to be told, where it is not told to its end: what it reads back was heard."""


@dataclass(frozen=True, slots=True)
class KeysPressed:
    """One whole entry from the keypad, as the terminal sent it."""

    keys: str
    after: AnnouncementNumber
    during: AnnouncementNumber = NOT_YET
    """The announcement that had begun to be told, where it is not told to its end."""


class KeyTrouble(Enum):
    """Why a key was refused."""

    UNKNOWN = "unknown"
    """It is no key of the keypad, or cannot stand there."""
    HELD = "held"
    """It was held down."""
    NUM_LOCK = "num lock"
    """It came as the keypad sends it while Num Lock is off."""
    TOO_LONG = "too long"
    """The entry was left unfinished, or is longer than any entry."""


@dataclass(frozen=True, slots=True)
class KeysRefused:
    """A key was refused; what was half keyed is cleared."""

    keys: str
    """What was half keyed, for the record."""
    trouble: KeyTrouble


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


class Trouble(Enum):
    """What a microphone can suffer from and recover from."""

    LOST = "lost"
    BACK = "back"
    SILENT = "silent"
    CLIPPED = "clipped"


@dataclass(frozen=True, slots=True)
class MicrophoneTrouble:
    """The microphone is in trouble, or out of it."""

    trouble: Trouble


@dataclass(frozen=True, slots=True)
class TimedOut:
    """The pace says that it is the turn of the next pair."""

    joint: JointNumber
    """The joint that the timer was started for; another one's is out of date."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRecorded:
    """A voice note was recorded and lies beside the log."""

    file: str
    """Name of the file in the folder of the log; empty where nothing could be recorded."""
    seconds: float
    sha256: str


@dataclass(frozen=True, slots=True)
class StopAsked:
    """The session is to be left as it is, to be resumed later."""

    reason: str


Input = (
    StartAsked
    | ResumeAsked
    | Heard
    | Typed
    | KeysPressed
    | KeysRefused
    | SpeechEnded
    | SoundLost
    | DeviceFailed
    | MicrophoneTrouble
    | TimedOut
    | NoteRecorded
    | StopAsked
)


# --- questions: what the assistant may be waiting to be told ---------------------------------------


@dataclass(frozen=True, slots=True)
class DidYouSay:
    """Is this what you said?"""

    words: str
    after: AnnouncementNumber = BEFORE_NUMBERS
    """What had been put when they were said."""


@dataclass(frozen=True, slots=True)
class FinishAnyway:
    """Pairs are left: end the session all the same?"""


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinProtected:
    """The pair is protected: was it joined all the same?"""

    joint: JointNumber
    how: Check
    by: Channel
    asked_back: bool
    ends: Ends = Ends.NEAR
    far_ends: tuple[int, ...] = ()
    """Of the call, as a confirmation keeps them."""


@dataclass(frozen=True, slots=True)
class SiteCheck:
    """Was this done before the work?"""

    check: str
    """Its name in `checks`."""


@dataclass(frozen=True, slots=True)
class BuildOtherwise:
    """Is this to be built otherwise than planned?"""

    change: AsBuiltFact
    """What happens if it is."""


@dataclass(frozen=True, slots=True)
class GoOn:
    """There are earlier logs of this splice: go on with them?"""


@dataclass(frozen=True, slots=True)
class BeginAnew:
    """Begin the splice anew, as if nothing of it were done?"""


Question = DidYouSay | FinishAnyway | JoinProtected | SiteCheck | BuildOtherwise | GoOn | BeginAnew


# --- facts ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SessionOpened:
    """A session began; all that is needed to rebuild it."""

    settings: SessionSettings
    who: Attendance


@dataclass(frozen=True, slots=True)
class SessionResumed:
    """The session went on after an interruption, perhaps with another person."""

    who: Attendance


@dataclass(frozen=True, slots=True)
class WorkTakenUp:
    """The work goes on where the earlier logs end; one that was finished is open again."""


@dataclass(frozen=True, slots=True)
class WorkBegunAnew:
    """A new splice begins, although there are earlier logs: nothing of them counts here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairConfirmed:
    """A pair is joined, in the words of the person who joined it. Not an electrical test."""

    pair: JointNumber
    """Number of its joint: the pair in a straight sequence, the turn in a plan."""
    how: Check
    by: Channel
    asked_back: bool
    """Whether it was accepted only after the question "did you say"."""
    protected: str = ""
    """Why the pair was protected, where it was joined all the same."""
    same_entry: bool = False
    """Whether it belongs to the entry of the fact before it; both are taken back together."""
    ends: Ends = Ends.NEAR
    far_ends: tuple[int, ...] = ()
    """Indices of the ends of the plan whose pair was named as the far side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultMarked:
    """A pair has a fault."""

    pair: JointNumber
    fault: Fault
    by: Channel
    other: JointNumber | None = None
    """The second pair of a fault that involves two."""
    same_entry: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultCleared:
    """A fault of a pair is mended."""

    pair: JointNumber
    fault: Fault
    by: Channel


@dataclass(frozen=True, slots=True)
class Reopened:
    """A joint was opened again and waits to be made once more."""

    pair: JointNumber


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckAnswered:
    """A check before the work was answered. The answer is a person's word, not a measurement."""

    check: str
    done: bool
    by: Channel


@dataclass(frozen=True, slots=True)
class CalledOut:
    """The assistant called this pair for the splicer to join."""

    pair: JointNumber


@dataclass(frozen=True, slots=True)
class PaceSet:
    """Pairs are called out at this pace; 0 ends it."""

    seconds: float


@dataclass(frozen=True, slots=True)
class CallingDropped:
    """The calling out of a module was taken back; nothing of it was confirmed."""


@dataclass(frozen=True, slots=True)
class TalkSet:
    """The assistant talks so from here on."""

    talk: Talk
    words_a_minute: int
    loudness: int
    """In percent of the usual."""


@dataclass(frozen=True, slots=True)
class VerifyingBegun:
    """From here on results of this test are logged, from this pair on."""

    test: PairTest
    pair: JointNumber
    all_tests: bool = False
    """Whether every pair has all tests at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairTested:
    """A test: only whether it passed, as the person says who made it."""

    pair: JointNumber
    test: PairTest
    passed: bool
    by: Channel
    same_entry: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingLogged:
    """A measurement: a number with its unit, as the person reads it off an instrument."""

    pair: JointNumber
    number: int
    unit: Unit
    by: Channel
    decimals: str = ""
    """Figures behind the decimal point; empty for a whole number, as in older logs."""

    @property
    def value(self) -> str:
        """The number as it is written."""
        return f"{self.number}.{self.decimals}" if self.decimals else str(self.number)


@dataclass(frozen=True, slots=True)
class VerifyingEnded:
    """No more results are logged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteKept:
    """A note: typed text, or a sound file beside the log with its SHA-256; tied to a pair, if one was in work."""

    pair: JointNumber | None
    text: str
    file: str
    sha256: str


@dataclass(frozen=True, slots=True)
class PairSkipped:
    """A pair is left for later."""

    pair: JointNumber


@dataclass(frozen=True, slots=True)
class MovedTo:
    """The work goes on from another pair."""

    pair: JointNumber


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone:
    """The last entry was taken back."""

    entry: str
    """Tag of its fact; logs before 0.2 hold the name of the class instead."""
    pair: JointNumber


@dataclass(frozen=True, slots=True, kw_only=True)
class Mismatch:
    """What was called is not what is expected, or does not agree with itself."""

    expected: Position | None
    heard: tuple[Position, ...]
    """The pairs that the call names; empty where it names none in this cable."""
    call: str
    """The words or keys as they came."""
    far: tuple[Place, ...] = ()
    """The pairs that the call names as the far side."""


@dataclass(frozen=True, slots=True)
class LookedUp:
    """A pair was asked about; where only questions are answered, next and previous go on from it."""

    pair: Position


@dataclass(frozen=True, slots=True)
class GroupNamed:
    """A group was asked about; where only questions are answered, colours alone now mean pairs of this group."""

    group: GroupNumber


@dataclass(frozen=True, slots=True)
class GroupTaken:
    """In any order: the cable in hand, and the group in which colours alone count until another is taken."""

    end: int
    group: GroupNumber | None


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
    """asked back, ignored, not understood, not now, bare number, too early, or key refused."""


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
class TroubleHeard:
    """The person has heard of the trouble that was told; it need not be said again."""


@dataclass(frozen=True, slots=True)
class DeviceLost:
    """A device broke."""

    device: str
    reason: str


@dataclass(frozen=True, slots=True)
class MicrophoneTroubled:
    """The microphone was in trouble, or came out of it."""

    trouble: Trouble


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
    """Joined, and no fault outstanding."""
    faulty: int
    """Not joined for a fault."""
    left: int
    """Not joined, for no fault."""
    joined_faulty: int = 0
    """Joined, with a fault outstanding."""
    for_today: bool = False
    """Whether only the day is over; else the splice is finished, which is final."""


EntryFact = PairConfirmed | FaultMarked | FaultCleared | Reopened | PairSkipped | MovedTo | PairTested | AsBuiltFact
"""Facts that can be taken back."""
WorkFact = EntryFact | CalledOut | PaceSet | CallingDropped | VerifyingBegun | VerifyingEnded
"""Facts about a joint, the pace or the tests."""
Fact = (
    SessionOpened
    | EarlierWork
    | WorkTakenUp
    | WorkBegunAnew
    | SessionResumed
    | PairConfirmed
    | FaultMarked
    | FaultCleared
    | Reopened
    | CheckAnswered
    | CalledOut
    | PaceSet
    | CallingDropped
    | TalkSet
    | VerifyingBegun
    | PairTested
    | ReadingLogged
    | VerifyingEnded
    | NoteKept
    | PairSkipped
    | MovedTo
    | PairReplaced
    | JointAdded
    | PairPutOff
    | ReversalTagged
    | Undone
    | Mismatch
    | LookedUp
    | GroupNamed
    | GroupTaken
    | Asked
    | Answered
    | QuestionDropped
    | Missed
    | Held
    | CarriedOn
    | Said
    | Repeated
    | TroubleHeard
    | DeviceLost
    | MicrophoneTroubled
    | SoundMissed
    | SessionLeft
    | SessionEnded
)


# --- effects -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Speak:
    """Speak this."""

    text: str
    announcement: AnnouncementNumber | None = None
    """The announcement or question that is put by speaking it; none where it only tells something."""
    tone: bool = False
    """Whether the tone that stands for "confirmed" comes before it."""


@dataclass(frozen=True, slots=True)
class Show:
    """Show this line."""

    line: str


@dataclass(frozen=True, slots=True)
class Quit:
    """Leave the loop when all has been said."""


@dataclass(frozen=True, slots=True)
class StartTimer:
    """When all has been said, and so many seconds after that began, put in `TimedOut` for this joint."""

    seconds: float
    joint: JointNumber


@dataclass(frozen=True, slots=True)
class RecordNote:
    """Record the next speech, up to 30 s, and put in `NoteRecorded`."""


Effect = Speak | Show | Quit | StartTimer | RecordNote


@dataclass(frozen=True, slots=True)
class Step:
    """What an input comes to."""

    facts: tuple[Fact, ...] = ()
    effects: tuple[Effect, ...] = ()

    def __add__(self, more: "Step") -> "Step":
        """Give this and then more."""
        return Step(self.facts + more.facts, self.effects + more.effects)
