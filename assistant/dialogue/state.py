"""The state of a session, and the fold that makes it from facts.

`evolve` never refuses: the fact has happened.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from enum import Enum
from functools import lru_cache
from itertools import chain
from typing import TypeVar

from immutables import Map

from assistant.cable.colour_code import Order
from assistant.cable.makeup import Cable
from assistant.cable.plan_text import read_plan
from assistant.cable.splice_plan import End, Joint, Plan, Site, straight_sequence
from assistant.dialogue.checks import ALL_IN_ONE, ON_RESUME, checks_for
from assistant.dialogue.messages import (
    Answered,
    Asked,
    CalledOut,
    CarriedOn,
    Check,
    CheckAnswered,
    Fact,
    FaultCleared,
    FaultMarked,
    GroupNamed,
    Held,
    LookedUp,
    MovedTo,
    PaceSet,
    PairConfirmed,
    PairSkipped,
    PairTest,
    PairTested,
    Question,
    QuestionDropped,
    Reopened,
    Said,
    SessionEnded,
    SessionOpened,
    SessionResumed,
    Undone,
    VerifyingBegun,
    VerifyingEnded,
)
from assistant.words.intents import Fault

_T = TypeVar("_T")


class Mode(Enum):
    """What the session is doing; every rule belongs to one mode."""

    ASKING = "asking"
    VERIFYING = "verifying"
    FOLLOWING = "following"
    QUESTION = "question"
    HOLDING = "holding"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class PairState:
    """What is known of one pair; a pair without one is open."""

    confirmed: Check | None = None
    faults: tuple[Fault, ...] = ()
    skipped: bool = False
    tests: tuple[tuple[PairTest, bool], ...] = ()
    """Latest result of each test made."""

    @property
    def left(self) -> bool:
        """Whether it still waits to be joined."""
        return self.confirmed is None and not self.faults

    @property
    def failed(self) -> bool:
        """Whether it failed a test."""
        return any(not passed for _, passed in self.tests)


UNTOUCHED = PairState()


@dataclass(frozen=True, slots=True)
class UndoPoint:
    """What to go back to when the last entry is taken back."""

    entry: str
    pair: int
    pairs: Map[int, PairState]
    expected: int | None
    verifying: "Verifying | None"
    before: "UndoPoint | None"


@dataclass(frozen=True, slots=True)
class Verifying:
    """The verification pass: which test, and which joint is in turn."""

    test: PairTest
    joint: int | None
    """None when all joined pairs have had this test and all others."""


class Standing(Enum):
    """What is to be said of a joint; every joint has one, in this order of precedence."""

    DEAD = "dead"
    SPARE = "spare"
    FAULTY = "faulty"
    """Not joined, for a fault."""
    JOINED_FAULTY = "joined_faulty"
    """Joined, with a fault outstanding."""
    CONFIRMED = "confirmed"
    SKIPPED = "skipped"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Tally:
    """Every joint of the plan once; the counts add up to all of them."""

    dead: int
    spare: int
    faulty: int
    joined_faulty: int
    confirmed: int
    skipped: int
    open: int

    @property
    def total(self) -> int:
        """All joints."""
        return self.dead + self.spare + self.faulty + self.joined_faulty + self.confirmed + self.skipped + self.open


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """All that the rules need to know; rebuilt from the facts alone."""

    plan: Plan
    asking: bool = False
    pair_order: Order = Order.RING_FIRST
    binder_order: Order = Order.RING_FIRST
    opened: bool = False
    ended: bool = False
    held: bool = False
    question: Question | None = None
    expected: int | None = None
    """Number of the joint whose pair is to be called next; None when none is left, or when only asking."""
    pairs: Map[int, PairState] = field(default_factory=Map)
    """What is known of joints, by their numbers."""
    looked_up: int | None = None
    """Position asked about last, in the end in work."""
    end: int = 0
    """Index of the end being worked or asked about."""
    group: int | None = None
    """Group being worked or asked about, through the whole cable of that end."""
    site: Site | None = None
    short_checks: bool = False
    any_order: bool = False
    """Whether pairs are taken in any order."""
    unchecked: tuple[str, ...] = ()
    """Checks that are still to be asked before the work."""
    pace_s: float = 0.0
    """Seconds between pairs that are called out; 0 when none are."""
    called_out: tuple[int, ...] = ()
    """Joints called out and not yet confirmed."""
    verifying: Verifying | None = None
    last_said: str = ""
    undo: UndoPoint | None = field(default=None, compare=False, repr=False)

    @property
    def end_in_work(self) -> End:
        """The end of cable in hand."""
        return self.plan.ends[self.end]

    @property
    def cable(self) -> Cable:
        """The cable in hand."""
        return self.end_in_work.cable

    @property
    def expected_joint(self) -> Joint | None:
        """The joint to be called next."""
        return None if self.expected is None else self.plan.by_number[self.expected]

    @property
    def mode(self) -> Mode:
        """What the session is doing."""
        if self.ended or not self.opened:
            return Mode.ENDED
        if self.question is not None:
            return Mode.QUESTION
        if self.held:
            return Mode.HOLDING
        return self.base_mode

    @property
    def base_mode(self) -> Mode:
        """What the session does when no question is open and it is not held."""
        if self.verifying is not None:
            return Mode.VERIFYING
        return Mode.ASKING if self.asking else Mode.FOLLOWING

    def of(self, joint: int) -> PairState:
        """Give what is known of a joint."""
        return self.pairs.get(joint, UNTOUCHED)

    def left(self) -> tuple[int, ...]:
        """List the joints that wait to be made, skipped ones included, in the order of the work."""
        return tuple(joint for joint in self.plan.to_join if self.of(joint).left)

    def tally(self) -> Tally:
        """Account for every joint of the plan."""
        counts = Counter(self.standing(joint) for joint in self.plan.joints)
        return Tally(**{standing.value: counts[standing] for standing in Standing})

    def standing(self, joint: Joint) -> Standing:
        """Tell how a joint stands."""
        known = self.of(joint.number)
        if not joint.kind.joined:
            return Standing(joint.kind.value)
        if known.faults:
            return Standing.FAULTY if known.confirmed is None else Standing.JOINED_FAULTY
        if known.confirmed is not None:
            return Standing.CONFIRMED
        return Standing.SKIPPED if known.skipped else Standing.OPEN

    def module_of(self, joint: Joint) -> tuple[Joint, ...]:
        """Give the joints of the same group that wait, from this one on in the order of the work."""
        group = self.plan.address(joint.lead).group.number
        turn = self.plan.turn
        return tuple(
            j
            for j in self.plan.in_group(joint.lead.end, group)
            if j.kind.joined and self.of(j.number).left and turn[j.number] >= turn[joint.number]
        )

    def tested_after(self, joint: int | None) -> int | None:
        """Give the next joined pair to be tested in the order of the work."""
        start = 0 if joint is None else self.plan.turn[joint] + 1
        rest = (made.number for made in self.plan.joints[start:])
        return next((number for number in rest if self.of(number).confirmed is not None), None)

    def next_after(self, joint: int | None) -> int | None:
        """Give the joint to expect after this one, or the first.

        First those further on, then those passed over by a jump, then the skipped ones.
        """
        joints = self.plan.joints
        turn = -1 if joint is None else self.plan.turn[joint]

        def waiting() -> Iterator[int]:
            for index in chain(range(turn + 1, len(joints)), range(turn + 1)):
                if joints[index].kind.joined and self.of(joints[index].number).left:
                    yield joints[index].number

        fresh = next((number for number in waiting() if not self.of(number).skipped), None)
        return fresh if fresh is not None else next(waiting(), None)


def initial() -> State:
    """Give the state before any fact."""
    return State(plan=straight_sequence(Cable(1), 1, 1))


@lru_cache(maxsize=4)
def plan_of(text: str) -> Plan:
    """Read a plan's text once.

    Raises:
        PlanError: it is no plan; whoever begins a session with it has read it before.

    """
    return read_plan(text)


def fold(facts: Iterable[Fact], state: State | None = None) -> State:
    """Give the state that all these facts make."""
    state = state or initial()
    for fact in facts:
        state = evolve(state, fact)
    return state


def evolve(state: State, fact: Fact) -> State:
    """Give the state after a fact."""
    match fact:
        case SessionOpened():
            return _opened(fact)
        case SessionResumed():
            unchecked = (ON_RESUME,) if state.site else ()
            return replace(state, held=False, question=None, pace_s=0.0, unchecked=unchecked)
        case SessionEnded():
            return replace(state, ended=True, question=None)
        case Undone():
            return _undone(state)
        case LookedUp(pair=pair):
            return replace(state, looked_up=pair, group=state.cable.address(pair).group.number)
        case GroupNamed(group=group):
            return replace(state, group=group, looked_up=None) if state.asking or state.any_order else state
        case Asked(question=question):
            return replace(state, question=question)
        case Answered() | QuestionDropped():
            return replace(state, question=None)
        case CheckAnswered(check=check, done=True):
            return replace(state, unchecked=_without(state.unchecked, check), question=None)
        case Held():
            return replace(state, held=True, question=None)
        case CarriedOn():
            return replace(state, held=False)
        case Said(text=text):
            return replace(state, last_said=text)
        case _:
            return _evolve_work(state, fact)


def _evolve_work(state: State, fact: Fact) -> State:
    """Give the state after a fact about a joint, the pace or the tests."""
    match fact:
        case PairConfirmed(pair=pair, how=how):
            done = _set(state, fact, pair, replace(state.of(pair), confirmed=how, skipped=False))
            return _moved_on(replace(done, called_out=_without(state.called_out, pair)), pair)
        case FaultMarked(pair=pair, fault=fault):
            return _faulty(state, fact, pair, fault)
        case FaultCleared(pair=pair, fault=fault):
            known = state.of(pair)
            mended = _set(state, fact, pair, replace(known, faults=_without(known.faults, fault)))
            return _expecting(mended, pair) if state.expected is None and known.confirmed is None else mended
        case Reopened(pair=pair):
            opened = _set(state, fact, pair, PairState())
            if state.verifying is not None and state.verifying.joint == pair:
                opened = _testing_on(opened, pair, state.verifying.test)
            return _expecting(opened, pair) if state.expected is None else opened
        case PairSkipped(pair=pair):
            skipped = _set(state, fact, pair, replace(state.of(pair), skipped=True))
            return _moved_on(replace(skipped, called_out=_without(state.called_out, pair)), pair)
        case MovedTo(pair=pair):
            moved = replace(_set(state, fact, pair, state.of(pair)), pace_s=0.0, called_out=())
            return _expecting(moved, pair)
        case CalledOut(pair=pair):
            return replace(state, called_out=(*_without(state.called_out, pair), pair))
        case PaceSet(seconds=seconds):
            begins = seconds > 0 and state.pace_s == 0
            return replace(state, pace_s=seconds, called_out=() if begins else state.called_out)
        case PairTested(pair=pair, test=test, passed=passed):
            return _tested(state, fact, pair, test, passed)
        case VerifyingBegun(test=test, pair=pair):
            return replace(state, verifying=Verifying(test, pair), pace_s=0.0, called_out=())
        case VerifyingEnded():
            return replace(state, verifying=None)
        case _:
            return state


def _faulty(state: State, fact: Fact, pair: int, fault: Fault) -> State:
    known = state.of(pair)
    faults = known.faults if fault in known.faults else (*known.faults, fault)
    marked = _set(state, fact, pair, replace(known, faults=faults, skipped=False))
    marked = replace(marked, called_out=_without(state.called_out, pair))
    return _moved_on(marked, pair) if pair == state.expected and state.verifying is None else marked


def _opened(fact: SessionOpened) -> State:
    if fact.plan_text:
        plan = plan_of(fact.plan_text)
    else:
        plan = straight_sequence(Cable(fact.cable_pairs), fact.first, fact.last)
    state = State(
        plan=plan,
        asking=fact.asking,
        pair_order=fact.pair_order,
        binder_order=fact.binder_order,
        opened=True,
        site=fact.site,
        short_checks=fact.short_checks,
        any_order=fact.any_order,
        unchecked=_checks(fact),
        group=1 if plan.ends[0].cable.groups == 1 else None,
    )
    return state if fact.asking or fact.any_order else _expecting(state, state.next_after(None))


def _checks(fact: SessionOpened) -> tuple[str, ...]:
    if fact.site is None:
        return ()
    return (ALL_IN_ONE,) if fact.short_checks else tuple(check.name for check in checks_for(fact.site))


def _set(state: State, fact: Fact, pair: int, known: PairState) -> State:
    point = UndoPoint(type(fact).__name__, pair, state.pairs, state.expected, state.verifying, state.undo)
    return replace(state, pairs=state.pairs.set(pair, known), undo=point)


def _moved_on(state: State, pair: int) -> State:
    return _expecting(state, pair if state.any_order else state.next_after(pair))


def _tested(state: State, fact: Fact, pair: int, test: PairTest, passed: bool) -> State:
    known = state.of(pair)
    tests = (*((kind, result) for kind, result in known.tests if kind is not test), (test, passed))
    logged = _set(state, fact, pair, replace(known, tests=tests))
    return _testing_on(logged, pair, test)


def _testing_on(state: State, pair: int, test: PairTest) -> State:
    """Go on with the next pair of a test, or with the next test."""
    following = state.tested_after(pair)
    if following is None and test is not tuple(PairTest)[-1]:
        test, following = tuple(PairTest)[tuple(PairTest).index(test) + 1], state.tested_after(None)
    return replace(state, verifying=Verifying(test, following))


def _without(items: tuple[_T, ...], item: _T) -> tuple[_T, ...]:
    return tuple(other for other in items if other != item)


def _expecting(state: State, joint: int | None) -> State:
    """Expect a joint, and be on its cable; in any order only the latter."""
    if joint is None:
        return replace(state, expected=None)
    lead = state.plan.by_number[joint].lead
    expected = None if state.any_order else joint
    return replace(state, expected=expected, end=lead.end, group=state.plan.address(lead).group.number)


def _undone(state: State) -> State:
    point = state.undo
    if point is None:
        return state
    back = replace(state, pairs=point.pairs, undo=point.before, verifying=point.verifying, called_out=())
    return _expecting(back, point.expected)
