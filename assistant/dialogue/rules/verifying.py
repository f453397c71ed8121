"""Rules of the verification pass. The assistant tests nothing: it logs what the person says of a test set."""

from assistant.dialogue import wording
from assistant.dialogue.messages import (
    FaultMarked,
    PairTest,
    PairTested,
    ReadingLogged,
    Step,
    VerifyingBegun,
    VerifyingEnded,
)
from assistant.dialogue.resolve import (
    ThePair,
    resolve_pair,
)
from assistant.dialogue.rules.entry import Entry, tell, then
from assistant.dialogue.rules.following import mark_fault
from assistant.dialogue.rules.joints import in_turn, joint_of
from assistant.dialogue.state import State
from assistant.words import intents as say
from assistant.words.intents import CallPair


def start_verifying(state: State, _: Entry) -> Step:
    """Begin with the first joined pair and the first test."""
    first = state.tested_after(None)
    if first is None:
        return tell("No pair is joined yet.")
    begun = VerifyingBegun(next(iter(PairTest)), first)
    return then(state, begun, told=lambda s: f"{wording.VERIFYING} {wording.in_turn(s)}")


def end_verifying(state: State, _: Entry) -> Step:
    """Leave the testing."""
    ended = VerifyingEnded()
    return then(state, ended, told=lambda s: f"{wording.verified(state)} {wording.where_next(s)}")


def passed_test(state: State, entry: Entry) -> Step:
    """Log that the pair in turn passed."""
    assert state.verifying is not None
    made = in_turn(state)
    if made is None:
        return tell(wording.verified(state))
    fact = PairTested(pair=made.number, test=state.verifying.test, passed=True, by=entry.by)
    return then(state, fact, told=lambda s: wording.tested(s, made, fact.test, passed=True))


def failed_test(state: State, entry: Entry) -> Step:
    """Log the fault that a test showed, on the pair in turn or the one named."""
    intent = entry.intent
    assert isinstance(intent, say.MarkFault)
    assert state.verifying is not None
    made = in_turn(state)
    if intent.pair is not None or made is None:
        return mark_fault(state, entry)
    marked = FaultMarked(pair=made.number, fault=intent.fault, by=entry.by)
    failed = PairTested(pair=made.number, test=state.verifying.test, passed=False, by=entry.by)
    return then(state, marked, failed, told=lambda s: wording.tested(s, made, failed.test, passed=False))


def call_to_test(state: State, entry: Entry) -> Step:
    """Go to the called pair in the same test."""
    assert state.verifying is not None
    call = entry.intent
    assert isinstance(call, CallPair)
    found = resolve_pair(call, state.end_in_work, None if call.number is not None else state.group)
    made = joint_of(state, found.address) if isinstance(found, ThePair) else None
    if made is None or state.of(made.number).confirmed is None:
        return tell(f"{wording.NOT_LOGGED} Call a pair that is joined. {wording.in_turn(state)}")
    return then(state, VerifyingBegun(state.verifying.test, made.number), told=wording.in_turn)


def log_reading(state: State, entry: Entry) -> Step:
    """Log a measurement of the pair in turn."""
    intent = entry.intent
    assert isinstance(intent, say.Measured)
    made = in_turn(state)
    if made is None:
        return tell(wording.verified(state) if state.verifying else wording.expected(state))
    fact = ReadingLogged(pair=made.number, number=intent.number, unit=intent.unit, by=entry.by)
    return Step((fact,)) + tell(wording.reading(state, made, fact))


def tell_in_turn(state: State, _: Entry) -> Step:
    """Tell which pair is to be tested."""
    return tell(wording.in_turn(state))
