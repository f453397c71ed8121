"""The state of a session, and the fold that makes it from facts.

`evolve` never refuses: the fact has happened.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from enum import Enum
from itertools import chain

from immutables import Map

from assistant.cable.makeup import LARGEST_CABLE, Cable
from assistant.cable.splice_plan import StraightSequence
from assistant.dialogue.messages import (
    Answered,
    Asked,
    CarriedOn,
    Check,
    Fact,
    FaultMarked,
    GroupNamed,
    Held,
    LookedUp,
    MovedTo,
    Order,
    PairConfirmed,
    PairSkipped,
    Question,
    QuestionDropped,
    Said,
    SessionEnded,
    SessionOpened,
    SessionResumed,
    Undone,
)
from assistant.words.intents import Fault


class Mode(Enum):
    """What the session is doing; every rule belongs to one mode."""

    ASKING = "asking"
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

    @property
    def left(self) -> bool:
        """Whether it still waits to be joined."""
        return self.confirmed is None and not self.faults


UNTOUCHED = PairState()


@dataclass(frozen=True, slots=True)
class UndoPoint:
    """What to go back to when the last entry is taken back."""

    entry: str
    pair: int
    pairs: Map[int, PairState]
    expected: int | None
    before: "UndoPoint | None"


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """All that the rules need to know; rebuilt from the facts alone."""

    sequence: StraightSequence
    asking: bool = False
    pair_order: Order = Order.RING_FIRST
    binder_order: Order = Order.RING_FIRST
    opened: bool = False
    ended: bool = False
    held: bool = False
    question: Question | None = None
    expected: int | None = None
    """The pair to be called next; None when none is left, or when only asking."""
    pairs: Map[int, PairState] = field(default_factory=Map)
    looked_up: int | None = None
    group: int | None = None
    """Group being worked or asked about, through the whole cable."""
    last_said: str = ""
    undo: UndoPoint | None = field(default=None, compare=False, repr=False)

    @property
    def cable(self) -> Cable:
        """The cable in hand."""
        return self.sequence.cable

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
        return Mode.ASKING if self.asking else Mode.FOLLOWING

    def of(self, pair: int) -> PairState:
        """Give what is known of a pair."""
        return self.pairs.get(pair, UNTOUCHED)

    def left(self) -> tuple[int, ...]:
        """List the pairs of the sequence that wait to be joined, skipped ones included."""
        return tuple(pair for pair in self.sequence.pairs if self.of(pair).left)

    def next_after(self, pair: int) -> int | None:
        """Give the pair to expect after this one.

        First those further on, then those passed over by a jump, then the skipped ones.
        """
        run = self.sequence
        later, earlier = range(max(pair + 1, run.first), run.last + 1), range(run.first, min(pair, run.last) + 1)
        fresh = (p for p in chain(later, earlier) if self.of(p).left and not self.of(p).skipped)
        again = (p for p in chain(later, earlier) if self.of(p).left)
        return next(fresh, None) or next(again, None)


def initial() -> State:
    """Give the state before any fact."""
    return State(sequence=StraightSequence(cable=Cable(LARGEST_CABLE), first=1, last=LARGEST_CABLE))


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
        case PairConfirmed(pair=pair, how=how):
            known = state.of(pair)
            return _moved_on(_set(state, fact, pair, replace(known, confirmed=how, skipped=False)), pair)
        case FaultMarked(pair=pair, fault=fault):
            known = state.of(pair)
            faults = known.faults if fault in known.faults else (*known.faults, fault)
            marked = _set(state, fact, pair, replace(known, faults=faults, skipped=False))
            return _moved_on(marked, pair) if pair == state.expected else marked
        case PairSkipped(pair=pair):
            return _moved_on(_set(state, fact, pair, replace(state.of(pair), skipped=True)), pair)
        case MovedTo(pair=pair):
            return _expecting(_set(state, fact, pair, state.of(pair)), pair)
        case Undone():
            return _undone(state)
        case LookedUp(pair=pair):
            return replace(state, looked_up=pair, group=state.cable.address(pair).group.number)
        case GroupNamed(group=group):
            return replace(state, group=group, looked_up=None) if state.asking else state
        case Asked(question=question):
            return replace(state, question=question)
        case Answered() | QuestionDropped():
            return replace(state, question=None)
        case Held():
            return replace(state, held=True, question=None)
        case CarriedOn():
            return replace(state, held=False)
        case Said(text=text):
            return replace(state, last_said=text)
        case SessionResumed():
            return replace(state, held=False, question=None)
        case SessionEnded():
            return replace(state, ended=True, question=None)
        case _:
            return state


def _opened(fact: SessionOpened) -> State:
    cable = Cable(fact.cable_pairs)
    state = State(
        sequence=StraightSequence(cable=cable, first=fact.first, last=fact.last),
        asking=fact.asking,
        pair_order=fact.pair_order,
        binder_order=fact.binder_order,
        opened=True,
        group=1 if cable.groups == 1 else None,
    )
    return state if fact.asking else _expecting(state, fact.first)


def _set(state: State, fact: Fact, pair: int, known: PairState) -> State:
    point = UndoPoint(type(fact).__name__, pair, state.pairs, state.expected, state.undo)
    return replace(state, pairs=state.pairs.set(pair, known), undo=point)


def _moved_on(state: State, pair: int) -> State:
    return _expecting(state, state.next_after(pair))


def _expecting(state: State, pair: int | None) -> State:
    group = state.cable.address(pair).group.number if pair is not None else state.group
    return replace(state, expected=pair, group=group)


def _undone(state: State) -> State:
    point = state.undo
    if point is None:
        return state
    return _expecting(replace(state, pairs=point.pairs, undo=point.before), point.expected)
