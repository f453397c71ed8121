"""Rules of the verification pass. The assistant tests nothing: it logs what the person says of a test set."""

from assistant.dialogue import sentences, wording
from assistant.dialogue.messages import PairTest, PairTested, ReadingLogged, Step, VerifyingBegun, VerifyingEnded
from assistant.dialogue.resolve import ThePair, resolve_pair
from assistant.dialogue.rules.entry import Entry, announce, announce_again, tell, then
from assistant.dialogue.rules.joints import joint_of
from assistant.dialogue.state import State
from assistant.words import intents as say
from assistant.words.intents import CallPair


def start_verifying(state: State, _: Entry) -> Step:
    """Go on where the tests were left, or begin with the first joined pair and the first test that it lacks."""
    left = state.verified_to
    begun = None
    if left is not None and left.joint is not None and state.of(left.joint).confirmed is not None:
        begun = VerifyingBegun(left.test, left.joint)
    for test in PairTest:
        first = state.tested_after(None, test)
        if begun is None and first is not None:
            begun = VerifyingBegun(test, first)
    if begun is None:
        joined = any(state.of(number).confirmed is not None for number in state.plan.to_join)
        return announce_again(state, wording.verified(state) if joined else sentences.NOTHING_JOINED())
    return then(state, begun, told=lambda _: sentences.VERIFYING())


def end_verifying(state: State, _: Entry) -> Step:
    """Leave the testing."""
    ended = VerifyingEnded()
    return then(state, ended, told=wording.verification_left)


def passed_test(state: State, entry: Entry) -> Step:
    """Log that the pair in turn passed."""
    assert state.verifying is not None
    made = state.joint_in_turn
    if made is None:
        return announce(state)
    fact = PairTested(pair=made.number, test=state.verifying.test, passed=True, by=entry.by)
    return then(state, fact, told=lambda s: wording.tested(s, made, fact.test))


def call_to_test(state: State, entry: Entry) -> Step:
    """Go to the called pair in the same test."""
    assert state.verifying is not None
    call = entry.intent
    assert isinstance(call, CallPair)
    found = resolve_pair(call, state.end_in_work, entry.group(state))
    made = joint_of(state, found.address) if isinstance(found, ThePair) else None
    if made is None or state.of(made.number).confirmed is None:
        return announce_again(state, sentences.CALL_A_JOINED_PAIR())
    return then(state, VerifyingBegun(state.verifying.test, made.number), told=lambda _: "")


def log_reading(state: State, entry: Entry) -> Step:
    """Log a measurement of the pair in turn."""
    intent = entry.intent
    assert isinstance(intent, say.Measured)
    made = state.joint_in_turn
    if made is None:
        return announce(state)
    fact = ReadingLogged(pair=made.number, number=intent.number, unit=intent.unit, by=entry.by)
    return Step((fact,)) + tell(wording.reading(state, made, fact))
