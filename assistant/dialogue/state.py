"""The state of a session, and the fold that makes it from facts.

`evolve` never refuses: the fact has happened.
"""

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, fields, make_dataclass, replace
from enum import Enum
from functools import lru_cache
from itertools import chain
from operator import attrgetter
from typing import Any, TypeVar, assert_never

from immutables import Map

from assistant.cable.makeup import Cable, GroupNumber, Position
from assistant.cable.plan_text import read_plan
from assistant.cable.splice_plan import (
    End,
    JoinKind,
    Joint,
    JointNumber,
    Plan,
    straight_sequence,
    with_joint_added,
    with_pair_replaced,
)
from assistant.dialogue.checks import ALL_IN_ONE, ON_RESUME, checks_for
from assistant.dialogue.messages import (
    NOT_YET,
    USUAL_LOUDNESS,
    USUAL_RATE,
    AnnouncementNumber,
    Answered,
    AsBuiltFact,
    Asked,
    CalledOut,
    CallingDropped,
    CarriedOn,
    Check,
    CheckAnswered,
    DeviceLost,
    EarlierWork,
    EntryFact,
    Fact,
    FaultCleared,
    FaultMarked,
    GroupNamed,
    GroupTaken,
    Held,
    JointAdded,
    LookedUp,
    MicrophoneTroubled,
    Mismatch,
    Missed,
    MovedTo,
    NoteKept,
    PaceSet,
    PairConfirmed,
    PairPutOff,
    PairReplaced,
    PairSkipped,
    PairState,
    PairTest,
    PairTested,
    Question,
    QuestionDropped,
    ReadingLogged,
    Reopened,
    Repeated,
    ReversalTagged,
    Said,
    SessionEnded,
    SessionLeft,
    SessionOpened,
    SessionResumed,
    SessionSettings,
    SoundMissed,
    Talk,
    TalkSet,
    TroubleHeard,
    Undone,
    VerifyingBegun,
    VerifyingEnded,
    WorkBegunAnew,
    WorkFact,
    WorkTakenUp,
)
from assistant.dialogue.modes import Mode, mode_of
from assistant.words.intents import Fault

_T = TypeVar("_T")


UNTOUCHED = PairState()


TESTS = ", ".join(test.value for test in PairTest)


@dataclass(frozen=True, slots=True)
class Verifying:
    """The verification pass: which test, and which joint is in turn."""

    test: PairTest
    joint: JointNumber | None
    """None when all joined pairs have had this test and all others."""
    all_tests: bool = False
    """Every pair has all tests at once; the test is then the first of them."""

    @property
    def tests(self) -> tuple[PairTest, ...]:
        """The tests that the pair in turn is to have now."""
        return tuple(PairTest) if self.all_tests else (self.test,)

    @property
    def named(self) -> str:
        """The same in words: what is tested is always told with the tests that it had."""
        return TESTS if self.all_tests else self.test.value


@dataclass(frozen=True, slots=True)
class AtWork:
    """Who is at work, and in which sitting of the session."""

    person: str = ""
    """Empty where no name was given."""
    sitting: int = 0
    """1 when the session is begun, one more each time it is gone on with."""


@dataclass(frozen=True, slots=True)
class UndoPoint:
    """What to go back to when the last entry is taken back."""

    fact: EntryFact
    """The fact that made the change."""
    pair: JointNumber
    same_entry: bool
    """Whether the point before it belongs to the same entry."""
    plan: Plan
    pairs: Map[JointNumber, PairState]
    expected: JointNumber | None
    verifying: Verifying | None
    at_work: "AtWork"
    """Who made the entry, and in which sitting."""
    before: "UndoPoint | None"


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
        return self.dead + self.spare + self.joined + self.not_joined

    @property
    def joined(self) -> int:
        """Joints that are made, those with a fault outstanding among them."""
        return self.confirmed + self.joined_faulty

    @property
    def not_joined(self) -> int:
        """Joints that wait to be made, faulty and skipped ones among them."""
        return self.open + self.skipped + self.faulty


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """All that the rules need to know; rebuilt from the facts alone."""

    plan: Plan
    settings: SessionSettings = field(default_factory=SessionSettings)
    opened: bool = False
    earlier: EarlierWork | None = None
    """What earlier logs of the splice come to, where the work goes on with them, or may."""
    undecided: bool = False
    """Whether it is still to be said that the work goes on with them, or begins anew."""
    ended: bool = False
    held: bool = False
    question: Question | None = None
    announcement: AnnouncementNumber = NOT_YET
    """Number of the current announcement or question: one more whenever that changes on which an entry would act
    that names nothing."""
    group_since: AnnouncementNumber = NOT_YET
    """The first announcement at which the group was in work that is in work now."""
    expected: JointNumber | None = None
    """The joint whose pair is to be called next; None when none is left, or when there is no order."""
    pairs: Map[JointNumber, PairState] = field(default_factory=Map)
    """What is known of joints, by their numbers."""
    looked_up: Position | None = None
    """Asked about last, where only questions are answered."""
    asked_group: GroupNumber | None = None
    """The group asked about last, where only questions are answered."""
    end: int = 0
    """Index of the end in hand."""
    taken_group: GroupNumber | None = None
    """In any order: the group in which colours alone count; None where they must carry theirs."""
    unchecked: tuple[str, ...] = ()
    """Checks that are still to be asked before the work."""
    pace_s: float = 0.0
    """Seconds between pairs that are called out; 0 when none are."""
    called_out: tuple[JointNumber, ...] = ()
    """Joints called out and not yet confirmed."""
    entries_since_calling: int = 0
    """Facts that can be taken back, since pairs were last begun to be called out."""
    verifying: Verifying | None = None
    verified_to: Verifying | None = None
    """Where the verification was left, to go on from there."""
    at_work: AtWork = AtWork()
    hears: bool = False
    """Whether there is a microphone, or a recording in its place."""
    kept_last: bool = False
    """Whether the last entry was a note or a reading, which stay: to take something back would take what was before."""
    last_said: str = ""
    talk: Talk = Talk.FULL
    words_a_minute: int = USUAL_RATE
    """Rate of speech."""
    loudness: int = USUAL_LOUDNESS
    """Of speech, in percent of the usual."""
    reads_back: bool = True
    """Whether the next confirmed pair is read back also in brief talk: something came between it and the last."""
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
    def joint_in_turn(self) -> Joint | None:
        """The joint on which an entry acts that names none: to be tested, or to be called."""
        if self.verifying is not None:
            joint = self.verifying.joint
            return None if joint is None else self.plan.by_number[joint]
        return self.expected_joint

    @property
    def group_in_work(self) -> GroupNumber | None:
        """The group in which colours alone count, in the end in hand; None where they must carry theirs.

        It is that of the pair in turn, never one that was merely asked about or last called. Where only questions
        are answered it is the one asked about; nothing is logged there.
        """
        if self.cable.groups == 1:
            return GroupNumber(1)
        if self.settings.asking:
            return self.asked_group
        made = self.joint_in_turn
        if made is not None and made.lead.end == self.end:
            return self.plan.address(made.lead).group.number
        return self.taken_group

    @property
    def mode(self) -> Mode:
        """What the session is doing."""
        if self.ended or not self.opened:
            return Mode.ENDED
        if self.question is not None:
            return mode_of(self.question)
        if self.held:
            return Mode.HOLDING
        return self.base_mode

    @property
    def base_mode(self) -> Mode:
        """What the session does when no question is open and it is not held."""
        if self.verifying is not None:
            return Mode.VERIFYING
        if self.settings.asking:
            return Mode.ASKING
        if self.settings.any_order:
            return Mode.ANY_ORDER
        return Mode.CALLING if self.pace_s or self.called_out else Mode.FOLLOWING

    def of(self, joint: JointNumber) -> PairState:
        """Give what is known of a joint."""
        return self.pairs.get(joint, UNTOUCHED)

    def left(self) -> tuple[JointNumber, ...]:
        """List the joints that wait to be made, skipped and faulty ones included, in the order of the work."""
        return tuple(joint for joint in self.plan.to_join if self.of(joint).left)

    def with_standing(self, standing: Standing) -> tuple[JointNumber, ...]:
        """List the joints that stand so, in the order of the work."""
        return tuple(joint.number for joint in self.plan.joints if self.standing(joint) is standing)

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
        return Standing.SKIPPED if known.skipped or known.put_off else Standing.OPEN

    def module_of(self, joint: Joint) -> tuple[Joint, ...]:
        """Give the joints of the same group that wait, from this one on in the order of the work.

        Those marked faulty wait to be called by themselves.
        """
        group = self.plan.address(joint.lead).group.number
        turn = self.plan.turn
        return tuple(
            j
            for j in self.plan.in_group(joint.lead.end, group)
            if j.kind.joined
            and self.of(j.number).left
            and not self.of(j.number).faults
            and self.of(j.number).put_off is None
            and turn[j.number] >= turn[joint.number]
        )

    def tested_after(self, joint: JointNumber | None, tests: tuple[PairTest, ...]) -> JointNumber | None:
        """Give the next joined pair without a result of one of these tests: further on, then from the start.

        Where there are several, one that failed any of them is done: its fault comes first.
        """
        joints = self.plan.joints
        turn = -1 if joint is None else self.plan.turn[joint]
        for index in chain(range(turn + 1, len(joints)), range(turn + 1)):
            if self.lacks(joints[index].number, tests):
                return joints[index].number
        return None

    def lacks(self, joint: JointNumber, tests: tuple[PairTest, ...]) -> bool:
        """Tell whether a joined pair still lacks a result of these tests."""
        known = self.of(joint)
        made = {test for test, _ in known.tests}
        failed = len(tests) > 1 and known.failed
        return known.confirmed is not None and not failed and any(test not in made for test in tests)

    def next_after(self, joint: JointNumber | None) -> JointNumber | None:
        """Give the joint to expect after this one, or the first.

        First those further on, then those passed over by a jump, then the skipped ones, then the faulty ones; never
        one that is left for another day.
        """
        joints = self.plan.joints
        turn = -1 if joint is None else self.plan.turn[joint]
        kinds: dict[int, JointNumber] = {}
        known_of = self.pairs.get
        for one in map(joints.__getitem__, chain(range(turn + 1, len(joints)), range(turn + 1))):
            known = known_of(one.number, UNTOUCHED)
            if known.confirmed is not None or not one.kind.joined or known.put_off:
                continue
            if known.fresh:
                return one.number
            kinds.setdefault(2 if known.faults else 1, one.number)
        return kinds[min(kinds)] if kinds else None


_Draft = make_dataclass("_Draft", [one.name for one in fields(State)], slots=True)
"""A state that is not frozen yet: the same places for the same fields."""
_all_fields = attrgetter(*(one.name for one in fields(State)))


def _with(state: State, **changes: object) -> State:
    """Give a state with some fields changed, as `replace` does, in a fifth of the time: a log has many facts."""
    made: Any = _Draft(*_all_fields(state))
    for name, value in changes.items():
        setattr(made, name, value)
    made.__class__ = State  # frozen from here on; Python allows it, since the places are the same
    found: State = made
    return found


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
    """Give the state after a fact, with the number of the announcement that it makes current."""
    after = _evolve(state, fact)
    if isinstance(fact, _READ_BACK_AFTER) and not after.reads_back:
        after = _with(after, reads_back=True)
    if isinstance(fact, _LEAVES_THE_TURN):
        return after  # most facts of a long log; what an entry would act on need not be compared
    if after.end != state.end and not isinstance(fact, GroupTaken):
        after = _with(after, taken_group=None)  # it was of the other cable
    if not isinstance(fact, _TURNS_AWAY) and after.undo is state.undo and _acted_on(after) == _acted_on(state):
        return after
    number = AnnouncementNumber(state.announcement + 1)
    anew = isinstance(fact, SessionOpened | SessionResumed | WorkTakenUp)
    moved = anew or (after is not state and _place_in_work(after) != _place_in_work(state))
    return _with(after, announcement=number, group_since=number if moved else after.group_since)


_TURNS_AWAY = (LookedUp, GroupNamed, Mismatch, SessionResumed, Asked)
"""Facts after which the pair in turn is no longer the one told of last, or a question is put anew."""
_LEAVES_THE_TURN = (Said, Missed, Repeated, NoteKept, ReadingLogged, TroubleHeard, DeviceLost, SoundMissed)
"""Facts that change nothing on which an entry acts."""


def _place_in_work(state: State) -> object:
    return state.end, state.group_in_work


_READ_BACK_AFTER = (
    *(SessionOpened, SessionResumed, CarriedOn, MovedTo, Undone, Mismatch, Asked, Reopened, VerifyingEnded, TalkSet),
    *(FaultMarked, FaultCleared, PairSkipped, CallingDropped, DeviceLost, MicrophoneTroubled, SoundMissed),
    *(PairReplaced, JointAdded, PairPutOff, ReversalTagged),
)
"""Breaks, jumps, doubts: behind them a pair is read back whole, whatever the talk."""


def _acted_on(state: State) -> object:
    """Give that on which an entry acts that names nothing."""
    return state.mode, state.question, state.expected, state.verifying, state.called_out, state.end, state.taken_group


def _evolve(state: State, fact: Fact) -> State:
    match fact:
        case SessionOpened():
            return _opened(fact)
        case SessionResumed():
            unchecked = _checks_on_resume(state) if state.settings.site else ()
            at_work = AtWork(fact.who.person, state.at_work.sitting + 1)
            state = _with(state, hears=bool(fact.who.microphone), at_work=at_work)
            fresh = _with(state, held=False, question=None, pace_s=0.0, called_out=(), taken_group=None)
            return _with(fresh, unchecked=unchecked)
        case EarlierWork():
            return _with(state, earlier=fact, undecided=True)
        case WorkTakenUp():
            return _taken_up(state)
        case WorkBegunAnew():
            return _with(state, earlier=None, undecided=False, question=None)
        case SessionEnded():
            return _with(state, ended=True, question=None)
        case Undone():
            return _undone(state)
        case LookedUp(pair=pair) if state.settings.asking:
            return _with(state, looked_up=pair, asked_group=state.cable.address(pair).group.number)
        case GroupNamed(group=group) if state.settings.asking:
            return _with(state, asked_group=group, looked_up=None)
        case GroupTaken(end=end, group=group):
            return _with(state, end=end, taken_group=group)
        case Asked(question=question):
            return _with(state, question=question)
        case Answered() | QuestionDropped():
            return _with(state, question=None)
        case CheckAnswered(check=check, done=True):
            return _with(state, unchecked=_without(state.unchecked, check), question=None)
        case Held():
            return _with(state, held=True, question=None)
        case CarriedOn():
            return _with(state, held=False)
        case TalkSet(talk=talk, words_a_minute=rate, loudness=loudness):
            return _with(state, talk=talk, words_a_minute=rate, loudness=loudness)
        case Said(text=text):
            return _with(state, last_said=text)
        case NoteKept() | ReadingLogged():
            return _with(state, kept_last=True)
        case Missed():
            return _with(state, kept_last=False)
        case LookedUp() | GroupNamed():
            return state
        case (
            SessionLeft()
            | Mismatch()
            | Repeated()
            | TroubleHeard()
            | DeviceLost()
            | MicrophoneTroubled()
            | SoundMissed()
            | CheckAnswered()
        ):
            return state
        case work:
            return _evolve_work(state, work)


def _evolve_work(state: State, fact: WorkFact) -> State:
    """Give the state after a fact about a joint, the pace or the tests."""
    match fact:
        case PairConfirmed(pair=pair, how=how):
            done = _set(
                state, fact, pair, replace(state.of(pair), confirmed=how, skipped=False, put_off=None, tried=None)
            )
            called_out = () if how is Check.MODULE else _without(state.called_out, pair)
            single = how is not Check.MODULE and pair in state.called_out and pair != state.expected
            done = _with(done, called_out=called_out, reads_back=False)
            return done if single else _moved_on(done, pair)
        case FaultMarked(pair=pair, fault=fault):
            return _faulty(state, fact, pair, fault)
        case FaultCleared(pair=pair, fault=fault):
            return _mended(state, fact, pair, fault)
        case Reopened(pair=pair):
            opened = _set(state, fact, pair, _opened_again(state.of(pair)))
            if state.verifying is not None and state.verifying.joint == pair:
                opened = _testing_on(opened, pair, state.verifying.test)
            return _in_hand(opened, pair)
        case PairSkipped(pair=pair):
            skipped = _set(state, fact, pair, replace(state.of(pair), skipped=True))
            return _moved_on(_with(skipped, called_out=_without(state.called_out, pair)), pair)
        case MovedTo(pair=pair):
            moved = _with(_set(state, fact, pair, state.of(pair)), pace_s=0.0, called_out=())
            return _expecting(moved, pair)
        case CalledOut(pair=pair):
            return _with(state, called_out=(*_without(state.called_out, pair), pair))
        case PaceSet(seconds=seconds):
            if seconds == 0 or state.pace_s:
                return _with(state, pace_s=seconds)
            return _with(state, pace_s=seconds, called_out=(), entries_since_calling=0)
        case CallingDropped():
            return _with(state, pace_s=0.0, called_out=())
        case PairTested(pair=pair, test=test, passed=passed):
            return _tested(state, fact, pair, test, passed)
        case VerifyingBegun(test=test, pair=pair, all_tests=all_tests):
            at_end = state.plan.by_number[pair].lead.end
            begun = Verifying(test, pair, all_tests)
            return _with(state, verifying=begun, end=at_end, pace_s=0.0, called_out=())
        case PairReplaced() | JointAdded() | PairPutOff() | ReversalTagged():
            return _built(state, fact)
        case VerifyingEnded():
            left = _with(state, verifying=None, verified_to=state.verifying)
            return _expecting(left, left.expected)
        case never:
            assert_never(never)


def _opened_again(known: PairState) -> PairState:
    return PairState(faults=known.faults, reversed_on_purpose=known.reversed_on_purpose)


def _built(state: State, fact: AsBuiltFact) -> State:
    """Give the state in which something is built otherwise than planned.

    Raises:
        ChangeError: it cannot be: a pair would be in two joints. No rule makes such a fact.

    """
    match fact:
        case PairPutOff(pair=pair, reason=reason, tried=tried):
            known = replace(state.of(pair), put_off=reason, tried=tried)
            off = _set(state, fact, pair, known)
            off = _with(off, called_out=_without(state.called_out, pair))
            return _moved_on(off, pair) if pair == state.expected else off
        case ReversalTagged(pair=pair, tagged=tagged):
            known = state.of(pair)
            faults = _without(known.faults, Fault.REVERSAL) if tagged else known.faults
            return _set(state, fact, pair, replace(known, faults=faults, reversed_on_purpose=tagged))
        case PairReplaced(pair=pair, number=number):
            plan = _built_plan(state.plan, fact)
        case JointAdded(pair=pair):
            number, plan = pair, _built_plan(state.plan, fact)
        case never:
            assert_never(never)
    changed = _set(state, fact, pair, state.of(pair))
    fresh = changed.pairs.delete(number) if number in changed.pairs else changed.pairs
    return _in_hand(_with(changed, plan=plan, pairs=fresh), number)


def _faulty(state: State, fact: FaultMarked, pair: JointNumber, fault: Fault) -> State:
    known = state.of(pair)
    faults = known.faults if fault in known.faults else (*known.faults, fault)
    marked = _set(state, fact, pair, replace(known, faults=faults, skipped=False))
    marked = _with(marked, called_out=_without(state.called_out, pair))
    return _moved_on(marked, pair) if pair == state.expected and state.verifying is None else marked


def _mended(state: State, fact: FaultCleared, pair: JointNumber, fault: Fault) -> State:
    """Give the state in which a fault is mended: what the pair was tested for before counts no more."""
    known = state.of(pair)
    mended = _set(state, fact, pair, replace(known, faults=_without(known.faults, fault), tests=()))
    if known.confirmed is None:
        return _in_hand(mended, pair)
    if state.verifying is not None and state.verifying.joint is None:
        return _testing_on(mended, pair, state.verifying.test)
    return mended


def plan_for(settings: SessionSettings) -> Plan:
    """Give the plan of a session: the one it was given, or the straight sequence that its settings name."""
    if settings.plan_text:
        return plan_of(settings.plan_text)
    return straight_sequence(Cable(settings.cable_pairs), settings.first, settings.last)


def _opened(fact: SessionOpened) -> State:
    settings = fact.settings
    state = State(
        plan=plan_for(settings),
        settings=settings,
        opened=True,
        at_work=AtWork(fact.who.person, 1),
        hears=bool(fact.who.microphone),
        unchecked=_checks(settings),
        talk=settings.talk,
        words_a_minute=settings.words_a_minute,
        loudness=settings.loudness,
    )
    return state if settings.asking or settings.any_order else _expecting(state, state.next_after(None))


def _taken_up(state: State) -> State:
    """Give the state in which all is known that the earlier logs come to; nothing of it can be taken back here.

    Raises:
        ChangeError: what was built otherwise cannot be. No rule makes such a fact.

    """
    earlier = state.earlier
    if earlier is None:
        return state
    plan = state.plan
    for built in earlier.built:
        plan = _built_plan(plan, built)
    numbers = sorted(plan.by_number)
    pairs = {
        number: run.known
        for run in earlier.joints
        for number in numbers[bisect_left(numbers, run.first) : bisect_right(numbers, run.last)]
    }
    taken = _with(state, plan=plan, pairs=Map(pairs), undecided=False, question=None)
    if state.settings.asking or state.settings.any_order:
        return taken
    was = earlier.expected
    waits = was in plan.by_number and plan.by_number[was].kind.joined and taken.of(was).left
    return _expecting(taken, was if waits else taken.next_after(None))


def _built_plan(plan: Plan, fact: AsBuiltFact) -> Plan:
    """Give the plan with a spare used, or a joint added."""
    match fact:
        case PairReplaced(old=old, new=new, number=number):
            return with_pair_replaced(plan, old, new, number)
        case JointAdded(pair=number, places=places):
            return with_joint_added(plan, Joint(number=number, kind=JoinKind.STRAIGHT, places=places))
        case PairPutOff() | ReversalTagged():
            return plan
    assert_never(fact)


def _checks(settings: SessionSettings) -> tuple[str, ...]:
    if settings.site is None:
        return ()
    return (ALL_IN_ONE,) if settings.short_checks else tuple(check.name for check in checks_for(settings.site))


def _checks_on_resume(state: State) -> tuple[str, ...]:
    """Ask what was not answered before the interruption, and for voltage in any case."""
    asked_with_others = ON_RESUME in state.unchecked or ALL_IN_ONE in state.unchecked
    return state.unchecked if asked_with_others else (*state.unchecked, ON_RESUME)


def _set(state: State, fact: EntryFact, pair: JointNumber, known: PairState) -> State:
    point = undo_point(fact, state.plan, state.pairs, state.expected, state.verifying, state.at_work, state.undo)
    entries = state.entries_since_calling + 1
    return _with(state, pairs=state.pairs.set(pair, known), undo=point, kept_last=False, entries_since_calling=entries)


def undo_point(
    fact: EntryFact,
    plan: Plan,
    pairs: Map[JointNumber, PairState],
    expected: JointNumber | None,
    verifying: Verifying | None,
    at_work: AtWork,
    before: UndoPoint | None,
) -> UndoPoint:
    """Give the point to go back to when this entry is taken back, from what was before it."""
    return UndoPoint(
        fact=fact,
        pair=fact.pair,
        same_entry=isinstance(fact, PairConfirmed | FaultMarked | PairTested) and fact.same_entry,
        plan=plan,
        pairs=pairs,
        expected=expected,
        verifying=verifying,
        at_work=at_work,
        before=before,
    )


def _moved_on(state: State, pair: JointNumber) -> State:
    return state if state.settings.any_order else _expecting(state, state.next_after(pair))


def _in_hand(state: State, pair: JointNumber) -> State:
    """Expect the pair that is in the hand now; in the middle of other things only after them."""
    if state.verifying is not None:
        return _with(state, expected=None if state.settings.any_order else pair)
    return _expecting(_with(state, pace_s=0.0, called_out=()), pair)


def _tested(state: State, fact: PairTested, pair: JointNumber, test: PairTest, passed: bool) -> State:
    known = state.of(pair)
    tests = (*((kind, result) for kind, result in known.tests if kind is not test), (test, passed))
    logged = _set(state, fact, pair, replace(known, tests=tests))
    turn = state.verifying
    if turn is not None and (turn.joint != pair or test not in turn.tests or logged.lacks(pair, turn.tests)):
        return logged  # of another pair or another test than the one in turn, or not yet all of them
    return _testing_on(logged, pair, test)


def _testing_on(state: State, pair: JointNumber, test: PairTest) -> State:
    """Go on with the next pair of a test, or with the next test that any pair lacks."""
    tests, all_tests = tuple(PairTest), state.verifying is not None and state.verifying.all_tests
    if all_tests:
        test, following = tests[0], state.tested_after(pair, tests)
    else:
        following = state.tested_after(pair, (test,))
        for other in (*tests[tests.index(test) + 1 :], *tests):
            if following is not None:
                break
            test, following = other, state.tested_after(None, (other,))
    end = state.end if following is None else state.plan.by_number[following].lead.end
    return _with(state, verifying=Verifying(test, following, all_tests), end=end)


def _without(items: tuple[_T, ...], item: _T) -> tuple[_T, ...]:
    return tuple(other for other in items if other != item)


def _expecting(state: State, joint: JointNumber | None) -> State:
    """Expect a joint, and have its cable in hand; in any order the hand stays where it was put."""
    if joint is None or state.settings.any_order:
        return _with(state, expected=None)
    return _with(state, expected=joint, end=state.plan.by_number[joint].lead.end)


def _undone(state: State) -> State:
    point = state.undo
    if point is None:
        return state
    since = state.entries_since_calling
    called_out = _without(state.called_out, point.pair) if since else ()
    back = _with(
        state,
        plan=point.plan,
        pairs=point.pairs,
        undo=point.before,
        called_out=called_out,
        entries_since_calling=max(0, since - 1),
    )
    if state.verifying is not None:
        end = state.end
        if point.verifying is not None and point.verifying.joint is not None:
            end = state.plan.by_number[point.verifying.joint].lead.end
        return _with(back, verifying=point.verifying, expected=point.expected, end=end)
    return _with(_expecting(back, point.expected), verified_to=point.verifying or state.verified_to)
