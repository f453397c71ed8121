"""Rules that answer and change nothing but, where only questions are answered, what was asked about."""

from typing import assert_never

from assistant.dialogue import sentences, wording
from assistant.dialogue.messages import GroupNamed, LookedUp, Repeated, Speak, Step, TroubleHeard
from assistant.dialogue.resolve import (
    Disagreement,
    Groups,
    Nothing,
    Pairs,
    TheGroup,
    ThePair,
    resolve_group,
    resolve_pair,
)
from assistant.dialogue.rules.entry import Entry, announce_again, put, tell, then
from assistant.dialogue.state import State
from assistant.words import intents as say
from assistant.words.intents import CallGroup, CallPair


def look_up(state: State, entry: Entry) -> Step:
    """Answer a question about a pair or a group; the work stays where it is, and is told of again."""
    intent = entry.intent
    call = intent.call if isinstance(intent, say.Ask) else intent
    if isinstance(call, CallGroup):
        return _look_up_group(state, entry, call)
    assert isinstance(call, CallPair)
    match resolve_pair(call, state.end_in_work, entry.group(state)):
        case ThePair(address):
            return then(state, LookedUp(address.pair), told=lambda s: wording.answer(address, s))
        case Pairs() as several:
            return announce_again(state, wording.answer_many(several, state))
        case Disagreement() as disagreement:
            return tell(wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            return announce_again(state, wording.nothing(nothing, call, state.end_in_work))
        case never:
            assert_never(never)


def _look_up_group(state: State, entry: Entry, call: CallGroup) -> Step:
    match resolve_group(call, state.cable, entry.group(state)):
        case TheGroup(group):
            return then(state, GroupNamed(group.number), told=lambda s: wording.answer_group(group, s))
        case Groups() as several:
            return announce_again(state, wording.answer_groups(several, state))
        case Nothing() as nothing:
            return announce_again(state, wording.nothing(nothing, call, state.end_in_work))
        case never:
            assert_never(never)


def look_up_neighbour(state: State, entry: Entry) -> Step:
    """Answer with the next or previous pair of the one asked about last."""
    step = 1 if isinstance(entry.intent, say.NextPair) else -1
    pair = (state.looked_up or 0) + step
    if not state.cable.has(pair):
        return tell(sentences.NONE_BEFORE() if step < 0 else sentences.NONE_AFTER())
    address = state.cable.address(pair)
    return then(state, LookedUp(address.pair), told=lambda s: wording.answer(address, s))


def say_again(state: State, _: Entry) -> Step:
    """Repeat the last sentence."""
    text = wording.repeated(state)
    return Step((Repeated(text),), (Speak(text),))


def heard_that(state: State, _: Entry) -> Step:
    """Keep that trouble was heard of, and tell what is awaited."""
    return Step((TroubleHeard(),)) + announce_again(state)


def which_group(state: State, _: Entry) -> Step:
    """Tell the group in work."""
    if state.group_in_work is None:
        return tell(sentences.NO_GROUP_YET())
    return tell(wording.answer_group(state.cable.group(state.group_in_work), state))


def where_asked(state: State, _: Entry) -> Step:
    """Tell what was asked about last."""
    if state.looked_up is None:
        return tell(sentences.NOTHING_ASKED_YET())
    return tell(wording.answer(state.cable.address(state.looked_up), state))


def where_am_i(state: State, _: Entry) -> Step:
    """Tell the last entry, and announce the pair in turn with cable and group."""
    return put(state, wording.together(wording.last_entry(state), wording.announcement(state)))


def how_many_left(state: State, _: Entry) -> Step:
    """Tell the counts."""
    return tell(wording.counts(state))


def which_not_called(state: State, _: Entry) -> Step:
    """Tell which pairs were not called."""
    return tell(wording.not_called(state))


def which_faults(state: State, _: Entry) -> Step:
    """List the pairs with a fault, and those that failed a test."""
    return tell(wording.faults(state))


def tell_expected(state: State, _: Entry) -> Step:
    """Tell the pair in turn without confirming anything."""
    return announce_again(state)


def tell_before(state: State, _: Entry) -> Step:
    """Tell the pair before the expected one, and what became of it; then the expected one."""
    joints = state.plan.joints
    turn = len(joints) if state.expected is None else state.plan.turn[state.expected]
    if turn == 0:
        return announce_again(state, sentences.NONE_BEFORE())
    return announce_again(state, wording.before(state, joints[turn - 1]))
