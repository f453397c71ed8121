"""Rules of the verification pass. The assistant tests nothing: it logs what the person says of a test set."""

from assistant.cable.splice_plan import Joint
from assistant.dialogue import sentences, wording
from assistant.dialogue.messages import PairTest, PairTested, ReadingLogged, Step, VerifyingBegun, VerifyingEnded
from assistant.dialogue.resolve import ThePair, resolve_pair
from assistant.dialogue.rules.ends import named
from assistant.dialogue.rules.entry import Entry, announce, announce_again, tell, then
from assistant.dialogue.rules.joints import joint_called, joint_of
from assistant.dialogue.state import State, Verifying
from assistant.words import intents as say
from assistant.words.intents import CallPair


def start_verifying(state: State, entry: Entry) -> Step:
    """Go on where the tests were left, or begin with the first joined pair and the first test that it lacks."""
    intent, left = entry.intent, state.verified_to
    assert isinstance(intent, say.StartVerifying)
    begun = None
    same = left is not None and left.all_tests == intent.all_tests
    if same and left is not None and left.joint is not None and state.of(left.joint).confirmed is not None:
        begun = VerifyingBegun(left.test, left.joint, left.all_tests)
    passes = [tuple(PairTest)] if intent.all_tests else [(test,) for test in PairTest]
    for tests in passes:
        first = state.tested_after(None, tests)
        if begun is None and first is not None:
            begun = VerifyingBegun(tests[0], first, intent.all_tests)
    if begun is None:
        joined = any(state.of(number).confirmed is not None for number in state.plan.to_join)
        return announce_again(state, wording.verified(state) if joined else sentences.NOTHING_JOINED())
    return then(state, begun, told=lambda _: sentences.VERIFYING())


def end_verifying(state: State, _: Entry) -> Step:
    """Leave the testing."""
    ended = VerifyingEnded()
    return then(state, ended, told=wording.verification_left)


def passed_test(state: State, entry: Entry) -> Step:
    """Log that the pair in turn passed the test in turn, or all of them."""
    turn, made = state.verifying, state.joint_in_turn
    assert turn is not None
    if made is None:
        return announce(state)
    return then(state, *_passed([made], turn, entry), told=lambda s: wording.tested(s, made, turn.named))


def _passed(joints: list[Joint], turn: Verifying, entry: Entry) -> list[PairTested]:
    """Give the results of one entry, the first of which carries the others."""
    results = [(made, test) for made in joints for test in turn.tests]
    return [
        PairTested(pair=made.number, test=test, passed=True, by=entry.by, same_entry=index > 0)
        for index, (made, test) in enumerate(results)
    ]


def failed_test(state: State, entry: Entry) -> Step:
    """Log that the pair in turn failed the test in turn, with no fault named; of a run of all tests it tells none."""
    turn, made = state.verifying, state.joint_in_turn
    assert turn is not None
    if made is None:
        return announce(state)
    if turn.all_tests:
        return announce_again(state, sentences.WHICH_TEST_FAILED())
    fact = PairTested(pair=made.number, test=turn.test, passed=False, by=entry.by)
    return then(state, fact, told=lambda s: wording.failed_plainly(s, made, turn.named))


def group_good(state: State, entry: Entry) -> Step:
    """Log that all pairs of the group in turn passed which have no result yet, no fault and no failed test."""
    turn, made = state.verifying, state.joint_in_turn
    assert turn is not None
    if made is None:
        return announce(state)
    group = state.plan.in_group(made.lead.end, state.plan.address(made.lead).group.number)
    lacking = [j for j in group if state.lacks(j.number, turn.tests)]
    good = [j for j in lacking if not state.of(j.number).faults and not state.of(j.number).failed]
    left_out = [j for j in group if state.of(j.number).confirmed is not None and _is_marked(state, j)]
    not_joined = [j for j in group if j.kind.joined and state.of(j.number).left]
    if not good:
        return announce_again(state, wording.no_pair_of_group(state, made, turn.named))
    told = wording.group_tested(state, good, (left_out, not_joined), turn.named)
    return then(state, *_passed(good, turn, entry), told=lambda _: told)


def _is_marked(state: State, made: Joint) -> bool:
    known = state.of(made.number)
    return bool(known.faults) or known.failed


def call_to_test(state: State, entry: Entry) -> Step:
    """Go to the called pair in the same test."""
    assert state.verifying is not None
    call = entry.intent
    assert isinstance(call, CallPair)
    found = resolve_pair(call, state.end_in_work, entry.group(state))
    made = joint_of(state, found.address) if isinstance(found, ThePair) else None
    if made is None or state.of(made.number).confirmed is None or named(state, made, call) is None:
        return announce_again(state, sentences.CALL_A_JOINED_PAIR())
    return then(state, VerifyingBegun(state.verifying.test, made.number, state.verifying.all_tests), told=lambda _: "")


def log_reading(state: State, entry: Entry) -> Step:
    """Log a measurement of the pair named, or of the one in turn; what is in turn stays so."""
    intent = entry.intent
    assert isinstance(intent, say.Measured)
    made = state.joint_in_turn if intent.pair is None else joint_called(state, intent.pair)
    if made is None:
        return announce(state) if intent.pair is None else announce_again(state, wording.outside(state, intent.pair))
    fact = ReadingLogged(
        pair=made.number, number=intent.number, decimals=intent.decimals, unit=intent.unit, by=entry.by
    )
    return Step((fact,)) + tell(wording.reading(state, made, fact))


def log_named_reading(state: State, entry: Entry) -> Step:
    """Log a measurement of the pair named; none is in turn."""
    assert isinstance(entry.intent, say.Measured)
    return announce(state, sentences.NAME_THE_PAIR()) if entry.intent.pair is None else log_reading(state, entry)
