"""Rules about faults: a pair may be faulty and joined, or faulty and not joined."""

from dataclasses import replace

from assistant.cable.counts import CalledNumber
from assistant.cable.splice_plan import Joint
from assistant.dialogue import sentences, wording
from assistant.dialogue.messages import (
    BuildOtherwise,
    Channel,
    Check,
    Fact,
    FaultCleared,
    FaultMarked,
    Mismatch,
    PairConfirmed,
    PairTest,
    PairTested,
    ReversalTagged,
    Step,
)
from assistant.dialogue.rules.entry import Entry, announce, announce_again, ask, put, then
from assistant.dialogue.rules.joints import joint_called
from assistant.dialogue.state import State, evolve
from assistant.words import intents as say
from assistant.words.intents import Fault

TEST_OF: dict[Fault, PairTest] = {
    Fault.OPEN: PairTest.CONTINUITY,
    Fault.GROUND: PairTest.GROUND,
    Fault.SHORT: PairTest.SHORT,
    Fault.CROSS: PairTest.SHORT,
}
"""The test that shows a fault (common practice, no source). The other faults are found by none of the three: marking
one fails no test."""


def mark(state: State, entry: Entry) -> Step:
    """Log a fault of the pair named, or of the expected one, which is then passed over."""
    intent = entry.intent
    assert isinstance(intent, say.MarkFault)
    made = _named(state, intent.pair)
    if made is None:
        return _no_pair(state, intent.pair)
    if _is_meant_so(state, made, intent.fault):
        return announce_again(state, wording.tagged_already(state, made))
    failed = _failed_test(state, entry, made, intent.fault)
    marked_already = intent.fault in state.of(made.number).faults
    if marked_already and not failed:
        return announce_again(state, wording.mark_again(state, made))
    other = None if intent.other is None else joint_called(state, intent.other)
    if intent.other is not None and other is None:
        return announce_again(state, wording.outside(state, intent.other))
    if other is made:
        return announce_again(state, sentences.NAME_TWO_PAIRS())
    facts: list[Fact] = [replace(fact, same_entry=not marked_already) for fact in failed]
    if not marked_already:
        facts = [*_marked(state, entry, made, intent.fault, other), *facts]
    return then(state, *facts, told=lambda s: _told(state, s, made, intent, other), before=_passed(state, made))


def _is_meant_so(state: State, made: Joint, fault: Fault) -> bool:
    """Tell whether what looks like a fault is on purpose, and tagged."""
    return fault is Fault.REVERSAL and state.of(made.number).reversed_on_purpose


def _marked(state: State, entry: Entry, made: Joint, fault: Fault, other: Joint | None) -> list[FaultMarked]:
    """Mark the pair, and with a fault between two pairs the other as well: neither is good."""
    if other is None:
        return [FaultMarked(pair=made.number, fault=fault, by=entry.by)]
    marked = FaultMarked(pair=made.number, fault=fault, by=entry.by, other=other.number)
    if fault in state.of(other.number).faults:
        return [marked]
    return [marked, replace(marked, pair=other.number, other=made.number, same_entry=True)]


def _told(state: State, after: State, made: Joint, intent: say.MarkFault, other: Joint | None) -> str:
    test = TEST_OF.get(intent.fault)
    told = wording.marked(after, made, intent.fault, other)
    if state.verifying is not None and test is not None and state.of(made.number).confirmed:
        told = wording.failed(after, made, test, intent.fault)
    return wording.together(told, "" if _passed(state, made) is None else wording.where_done(after, made))


def _passed(state: State, made: Joint) -> Joint | None:
    """Give the joint if the work passes it by, so that what follows is told from there."""
    return made if state.verifying is None and made.number == state.expected else None


def _failed_test(state: State, entry: Entry, made: Joint, fault: Fault) -> list[PairTested]:
    """In a verification, the test that the fault belongs to is failed, whichever test is in turn."""
    test = TEST_OF.get(fault)
    if state.verifying is None or test is None or state.of(made.number).confirmed is None:
        return []
    return [PairTested(pair=made.number, test=test, passed=False, by=entry.by)]


def _named(state: State, number: CalledNumber | None) -> Joint | None:
    return state.joint_in_turn if number is None else joint_called(state, number)


def _no_pair(state: State, number: CalledNumber | None) -> Step:
    if number is None:
        return announce(state)
    return announce_again(state, wording.outside(state, number))


def joined_faulty(state: State, entry: Entry) -> Step:
    """Log in one entry that the expected pair is joined and has a fault; of a joined pair, only the fault."""
    intent = entry.intent
    assert isinstance(intent, say.JoinedFaulty)
    made = _named(state, intent.pair)
    if made is None:
        return _no_pair(state, intent.pair)
    if state.of(made.number).confirmed is not None:
        marking = say.MarkFault(fault=intent.fault, pair=intent.pair)
        return mark(state, Entry(intent=marking, call=entry.call, by=entry.by, after=entry.after))
    if not state.settings.any_order and made.number != state.expected:
        address = state.plan.address(made.lead)
        expected = None if state.expected_joint is None else state.expected_joint.lead.position
        kept = Mismatch(expected=expected, heard=(address.pair,), call=entry.call)
        return Step((kept,)) + put(evolve(state, kept), wording.mismatch(state, address))
    if _is_meant_so(state, made, intent.fault):
        return announce_again(state, wording.tagged_already(state, made))
    if made.protect:
        return announce_again(state, wording.call_protected_first(state, made))
    how = Check.NUMBER if intent.pair is not None else Check.KEY if entry.by is Channel.KEYS else Check.WORD
    faults = state.of(made.number).faults
    facts: list[Fact] = [
        PairConfirmed(pair=made.number, how=how, by=entry.by, asked_back=entry.asked_back),
        FaultMarked(pair=made.number, fault=intent.fault, by=entry.by, same_entry=True),
    ]
    return then(
        state,
        *(facts if intent.fault not in faults else facts[:1]),
        told=lambda s: wording.confirmed(s, made),
        before=made,
    )


def clear(state: State, entry: Entry) -> Step:
    """Log that a fault is mended; a pair that is not joined is in the hand now, and expected next."""
    intent = entry.intent
    assert isinstance(intent, say.ClearFault)
    made = _named(state, intent.pair)
    if made is not None and _is_meant_so(state, made, intent.fault):
        return ask(state, BuildOtherwise(ReversalTagged(pair=made.number, tagged=False, by=entry.by)))
    if made is None or intent.fault not in state.of(made.number).faults:
        return announce_again(state, wording.no_such_fault(state, made, intent.fault))
    tested = bool(state.of(made.number).tests)
    fact = FaultCleared(pair=made.number, fault=intent.fault, by=entry.by)
    return then(state, fact, told=lambda s: wording.cleared(s, made, intent.fault, tested=tested))


def name_the_pair(state: State, entry: Entry) -> Step:
    """Refuse a fault without a pair, where none is in turn; take one with a pair."""
    intent = entry.intent
    assert isinstance(intent, say.MarkFault | say.ClearFault | say.JoinedFaulty)
    if intent.pair is None:
        return announce(state, sentences.NAME_THE_PAIR())
    rules = {say.MarkFault: mark, say.ClearFault: clear, say.JoinedFaulty: joined_faulty}
    return rules[type(intent)](state, entry)
