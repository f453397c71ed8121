"""What a person can ask for: one small class each, whichever way it was said or keyed.

Must not know the words or keys that lead to it, nor what is done about it.
"""

from dataclasses import dataclass
from enum import Enum

from assistant.cable.colour_code import Colours, Ring, Tip
from assistant.cable.counts import CalledNumber


class Fault(Enum):
    """Faults of a pair, as the trade names them."""

    OPEN = "open"
    SHORT = "short"
    CROSS = "cross"
    GROUND = "ground"
    SPLIT = "split"
    REVERSAL = "reversal"
    WET = "wet"
    NOISY = "noisy"
    TRANSPOSITION = "transposition"
    VOLTAGE = "foreign voltage"
    UNBALANCE = "unbalance"
    RE_SPLIT = "re-split"


class Unit(Enum):
    """Units of a measurement that can be logged."""

    OHM = "ohm"
    MEGOHM = "megohm"
    VOLT = "volt"
    DECIBEL = "decibel"


class Reason(Enum):
    """Why a pair is left for another day (names: common practice, no source)."""

    ANOTHER_DAY = "another day"
    NO_ACCESS = "no access"
    FOUND_DEAD = "found dead"
    FOUND_WORKING = "found working"
    """It carries a working line where none should be."""
    DEFECTIVE = "defective"


class Tried(Enum):
    """What was tried on a pair that is left defective (names: common practice, no source)."""

    RESPLICED = "splicing again"
    DRIED = "drying"
    CUT_ANEW = "cutting anew"
    CLEARED = "clearing"


@dataclass(frozen=True, slots=True, kw_only=True)
class CallGroup:
    """A group named by its number, its binder, its super-unit, or several of them."""

    number: int | None = None
    """Number inside the super-unit, from 1; not checked against any cable."""
    binder: Colours | None = None
    super_unit: Tip | Ring | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CallPair:
    """A pair named by its number, its colours, or both; colours may carry the group they lie in."""

    number: CalledNumber | None = None
    """Not checked against any cable."""
    colours: Colours | None = None
    group: CallGroup | None = None
    service: int | None = None
    """Number of a service pair of screened cable, named by it or by its two tip colours."""
    far: Colours | None = None
    """Colours of the pair that it is joined to, where they are called too."""


@dataclass(frozen=True, slots=True)
class Ask:
    """Tell me about this pair or group; changes nothing."""

    call: CallPair | CallGroup


@dataclass(frozen=True, slots=True)
class GoTo:
    """Carry on from this pair, or from the first open pair of this group."""

    call: CallPair | CallGroup


@dataclass(frozen=True, slots=True)
class BareNumber:
    """A number of one word with nothing beside it: too easily misheard to be an entry."""

    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkFault:
    """This pair, or the expected one where none is named, has a fault."""

    fault: Fault
    pair: CalledNumber | None = None
    other: CalledNumber | None = None
    """The second pair of a fault that involves two."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinedFaulty:
    """This pair, or the expected one where none is named, is joined all the same, and has a fault."""

    fault: Fault
    pair: CalledNumber | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearFault:
    """A fault is mended, on this pair or on the expected one."""

    fault: Fault
    pair: CalledNumber | None = None


@dataclass(frozen=True, slots=True)
class Redo:
    """A joint was opened again; it waits to be made once more."""

    call: CallPair | CallGroup


@dataclass(frozen=True, slots=True, kw_only=True)
class UseSpare:
    """Another pair of the same cable is joined in place of this one."""

    spare: CalledNumber
    pair: CalledNumber
    cable: int | None = None
    """Cables are counted as the plan lists them, from 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AddJoint:
    """A joint that the plan does not have; where it has several cables, of a pair of one with a pair of another."""

    pair: CalledNumber
    cable: int | None = None
    other: CalledNumber | None = None
    other_cable: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PutOff:
    """This pair is left for another day, for a reason."""

    reason: Reason
    pair: CalledNumber
    tried: Tried | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TagReversal:
    """This pair is reversed on purpose, and tagged: it must not be put right (7 CFR 1755.403(d)(6)(v))."""

    pair: CalledNumber


@dataclass(frozen=True, slots=True)
class GoToCable:
    """Carry on with the first open pair of this cable of the plan."""

    number: int
    """Cables are counted as the plan lists them, from 1."""


@dataclass(frozen=True, slots=True)
class WhichFaults:
    """Which pairs have a fault?"""


@dataclass(frozen=True, slots=True)
class CallOut:
    """Call the pairs of this module to me, one after the other."""


@dataclass(frozen=True, slots=True)
class Faster:
    """Call at a quicker pace."""


@dataclass(frozen=True, slots=True)
class Slower:
    """Call at a slower pace."""


class TalkWish(Enum):
    """How the assistant is to talk."""

    BRIEF = "brief"
    FULL = "full"
    FASTER = "faster"
    SLOWER = "slower"
    LOUDER = "louder"
    SOFTER = "softer"


@dataclass(frozen=True, slots=True)
class ChangeTalk:
    """Talk differently from here on."""

    wish: TalkWish


@dataclass(frozen=True, slots=True)
class ConfirmModule:
    """All pairs that were called out are joined."""


@dataclass(frozen=True, slots=True)
class StartVerifying:
    """Log the results of testing, pair by pair."""

    all_tests: bool = False
    """Every pair has all tests at once, as with a test set that makes them in one run."""


@dataclass(frozen=True, slots=True)
class EndVerifying:
    """Leave the testing; its results stay."""


@dataclass(frozen=True, slots=True)
class PassedTest:
    """The pair in turn passed the test."""


@dataclass(frozen=True, slots=True)
class FailedTest:
    """The pair in turn failed the test; which fault it has is not said."""


@dataclass(frozen=True, slots=True)
class GroupGood:
    """All pairs of the group in turn passed that have no result and no fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A reading of this pair, or of the one in turn where none is named."""

    number: int
    decimals: str = ""
    """Figures behind the decimal point, as they were said; empty for a whole number."""
    unit: Unit
    pair: CalledNumber | None = None


@dataclass(frozen=True, slots=True)
class TakeNote:
    """Record what I say next, beside the log."""


@dataclass(frozen=True, slots=True)
class Confirm:
    """The expected pair is joined, said without naming it."""


@dataclass(frozen=True, slots=True)
class UndoThat:
    """Take the last entry back."""


@dataclass(frozen=True, slots=True)
class SayAgain:
    """Repeat what you said last."""


@dataclass(frozen=True, slots=True)
class HeardThat:
    """The trouble that was told of was heard; it need not be said again."""


@dataclass(frozen=True, slots=True)
class NextPair:
    """Which pair comes next?"""


@dataclass(frozen=True, slots=True)
class PreviousPair:
    """Which pair came before?"""


@dataclass(frozen=True, slots=True)
class WhichGroup:
    """Which group are we in?"""


@dataclass(frozen=True, slots=True)
class WhereAmI:
    """Where in the sequence are we?"""


@dataclass(frozen=True, slots=True)
class HowManyLeft:
    """What is still to be done?"""


@dataclass(frozen=True, slots=True)
class SkipPair:
    """Leave the expected pair for later."""


@dataclass(frozen=True, slots=True)
class HoldOn:
    """Take no entry until told to carry on."""


@dataclass(frozen=True, slots=True)
class CarryOn:
    """Take entries again."""


@dataclass(frozen=True, slots=True)
class Help:
    """What can I say now?"""


@dataclass(frozen=True, slots=True)
class StopForToday:
    """End the session; the splice goes on another day."""


@dataclass(frozen=True, slots=True)
class Finish:
    """End the session, and with it the splice."""


@dataclass(frozen=True, slots=True)
class Yes:
    """The answer to an open question."""


@dataclass(frozen=True, slots=True)
class No:
    """The answer to an open question."""


Intent = (
    CallPair
    | CallGroup
    | Ask
    | GoTo
    | BareNumber
    | MarkFault
    | JoinedFaulty
    | ClearFault
    | Redo
    | UseSpare
    | AddJoint
    | PutOff
    | TagReversal
    | GoToCable
    | WhichFaults
    | CallOut
    | Faster
    | Slower
    | ChangeTalk
    | ConfirmModule
    | StartVerifying
    | EndVerifying
    | PassedTest
    | FailedTest
    | GroupGood
    | Measured
    | TakeNote
    | Confirm
    | UndoThat
    | SayAgain
    | HeardThat
    | NextPair
    | PreviousPair
    | WhichGroup
    | WhereAmI
    | HowManyLeft
    | SkipPair
    | HoldOn
    | CarryOn
    | Help
    | StopForToday
    | Finish
    | Yes
    | No
)
