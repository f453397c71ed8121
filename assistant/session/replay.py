"""From records back to the state of the session, and through today's rules again. Must not know files.

Where records are lost, or a later version wrote what is not known here, a joint that they may have changed
is not taken for confirmed: it has to be called again.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

from assistant.cable.splice_plan import ChangeError, JointNumber
from assistant.dialogue import messages as m
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import Fact
from assistant.dialogue.state import State, evolve, initial
from assistant.errors import AssistantError
from assistant.session.record import LaterInput, Record, RecordsLost
from assistant.session.salvage import LoadedLog, with_doubts

ENTRIES = (
    m.PairConfirmed,
    m.FaultMarked,
    m.FaultCleared,
    m.Reopened,
    m.PairSkipped,
    m.MovedTo,
    m.PairTested,
    m.PairReplaced,
    m.JointAdded,
    m.PairPutOff,
    m.ReversalTagged,
)
"""Facts that `undone` takes back, one at a time."""
WORK = (*(kind for kind in ENTRIES if kind is not m.JointAdded), m.CalledOut, m.VerifyingBegun, m.ReadingLogged)
"""Facts that name a joint which is there already."""
MOST_IN_ONE_RECORD = 25
"""Joints that one record can confirm: those of a module."""


class HistoryError(AssistantError):
    """Records that no session can have written, whole though they are; the text is one line."""


def steps(records: Iterable[Record], begun: State | None = None) -> Iterator[tuple[State, Record, State]]:
    """Give each record with the states before and after it; `begun` is the state before the first, where it is known.

    Raises:
        HistoryError: a record cannot follow those before it: the log was forged, or its beginning is lost.

    """
    state, patchy = begun or initial(), False
    for record in records:
        before = state
        patchy = patchy or isinstance(record.input, RecordsLost) or bool(record.later)
        if patchy and not state.opened and not any(isinstance(fact, m.SessionOpened) for fact in record.facts):
            raise HistoryError(
                "its beginning is lost or of a later version, so that nobody can tell which cable it was; "
                "give a copy of the log with it"
            )
        try:
            state = _after(before, record, patchy=patchy)
        except HistoryError:
            raise
        except Exception as error:
            raise forged(record, error) from error
        yield before, record, state


def _after(state: State, record: Record, *, patchy: bool) -> State:
    """Give the state after a record; patchy says that not everything before it is known."""
    if isinstance(record.input, RecordsLost):
        return in_doubt(state, record.input.doubtful)
    for fact in record.facts:
        if isinstance(fact, m.Undone) and not _is_last(state, fact):
            if not patchy:
                raise ValueError(f"it takes back an entry of joint {fact.pair}, which is not the last")
            state = in_doubt(state, (fact.pair,))
        elif patchy and isinstance(fact, WORK) and fact.pair not in state.plan.by_number:
            continue  # of a joint that came to be in what is lost
        elif patchy and isinstance(fact, m.PairReplaced | m.JointAdded):
            state = _built_or_in_doubt(state, fact)
        else:
            state = evolve(state, fact)
    if record.later:
        state = in_doubt(state, tuple(fact.pair for fact in record.later if fact.pair is not None))
    return state


def _built_or_in_doubt(state: State, fact: m.PairReplaced | m.JointAdded) -> State:
    """Build otherwise, where what is lost allows it; else what it names has to be called again."""
    try:
        return evolve(state, fact)
    except ChangeError:
        return in_doubt(state, (fact.pair,))


def _is_last(state: State, fact: m.Undone) -> bool:
    return state.undo is not None and state.undo.pair == fact.pair


def in_doubt(state: State, joints: Iterable[JointNumber]) -> State:
    """Give the state in which these joints have to be called again; their faults stay, and nothing can be undone."""
    pairs = state.pairs
    for joint in joints:
        known = pairs.get(joint)
        if known is not None:
            pairs = pairs.set(joint, replace(known, confirmed=None, tests=()))
    state = replace(state, pairs=pairs, undo=None, question=None, called_out=(), verifying=None)
    expected = state.next_after(None)
    if state.expected is None and expected is not None and state.opened and not state.settings.asking:
        return replace(evolve(state, m.MovedTo(expected)), undo=None)
    return state


def settled(log: LoadedLog) -> LoadedLog:
    """Name, in a damaged log, the joints that have to be called again because of what is lost."""
    if not log.damages:
        return log
    try:
        return with_doubts(log, dict(_doubts(log.records)))
    except HistoryError:
        return log  # whoever walks through it is told


def _doubts(records: tuple[Record, ...]) -> Iterator[tuple[int, tuple[JointNumber, ...]]]:
    """Give, for each gap, the joints that the lost records may have changed.

    A lost record may have taken back an entry before it, so that as many of the last records with entries
    are in doubt as are lost. What was passed over between the entries around the gap was made in it. A
    lost record can name any other pair too, as "redo pair three"; that cannot be known, and is told.
    """
    recent: list[tuple[JointNumber, ...]] = []
    for index, (before, record, _) in enumerate(steps(records)):
        if isinstance(record.input, RecordsLost):
            lost = record.last_number - record.number + 1
            last = [joint for entry in recent[-lost:] for joint in entry]
            passed = _passed_over(before, records[index + 1 :], lost)
            yield record.number, tuple(sorted({*last, *passed}))
            recent = []
        touched = tuple(fact.pair for fact in record.facts if isinstance(fact, ENTRIES))
        if touched:
            recent.append(touched)


def _passed_over(before: State, behind: tuple[Record, ...], lost: int) -> Iterator[JointNumber]:
    """Give the joints in turn before the gap, up to the first that is entered behind it."""
    if before.expected is None:
        return
    entered = next((fact.pair for record in behind for fact in record.facts if isinstance(fact, ENTRIES)), None)
    turn = before.plan.turn
    if entered is not None and turn.get(entered, -1) >= turn[before.expected]:
        most, end = lost * MOST_IN_ONE_RECORD, turn[entered]
    else:
        most, end = lost, len(before.plan.joints)
    for joint in before.plan.joints[turn[before.expected] : end]:
        if joint.kind.joined and before.of(joint.number).left and most:
            most -= 1
            yield joint.number


@contextmanager
def refusing_forgery(record: Record) -> Iterator[None]:
    """Turn whatever a forged record breaks into one line.

    Raises:
        HistoryError: the record cannot follow those before it.

    """
    try:
        yield
    except AssistantError:
        raise
    except Exception as error:
        raise forged(record, error) from error


def forged(record: Record, error: Exception) -> HistoryError:
    """Make the line for it: whatever a forged record breaks, it means the same."""
    return HistoryError(
        f"record {record.number} cannot follow those before it ({type(error).__name__}: {error}); "
        "no session wrote this, restore the log from a copy"
    )


def rebuild(records: Iterable[Record], begun: State | None = None) -> State:
    """Fold all facts of the records into the state they left, from the beginning or from a state before them.

    Raises:
        HistoryError: a record cannot follow those before it.

    """
    state = begun or initial()
    for _, _, state in steps(records, begun):  # noqa: B007 (the last one is wanted)
        pass
    return state


@dataclass(frozen=True, slots=True)
class Difference:
    """A record whose input comes to other facts today."""

    before: State
    record: Record
    today: tuple[Fact, ...]


def rerun(records: Iterable[Record]) -> Iterator[Difference]:
    """Send each recorded input through today's rules, in the state its record was made in.

    What is lost, or was written by a later version, cannot be sent.

    Raises:
        HistoryError: a record cannot follow those before it.

    """
    for before, record, _ in steps(records):
        if isinstance(record.input, RecordsLost | LaterInput) or record.later:
            continue
        with refusing_forgery(record):
            today = decide(before, record.input).facts
        if today != record.facts:
            yield Difference(before, record, today)
