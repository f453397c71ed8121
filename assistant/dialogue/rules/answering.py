"""Rules that answer and change nothing but what was asked about."""

from assistant.dialogue import wording
from assistant.dialogue.messages import (
    GroupNamed,
    LookedUp,
    Repeated,
    Speak,
    Step,
)
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
from assistant.dialogue.rules.entry import Entry, tell, then
from assistant.dialogue.state import State
from assistant.words import intents as say
from assistant.words.intents import CallGroup, CallPair


def look_up(state: State, entry: Entry) -> Step:
    """Answer a question about a pair or a group."""
    intent = entry.intent
    call = intent.call if isinstance(intent, say.Ask) else intent
    if isinstance(call, CallGroup):
        return look_up_group(state, call)
    assert isinstance(call, CallPair)
    match resolve_pair(call, state.end_in_work, state.group):
        case ThePair(address):
            return then(state, LookedUp(address.pair), told=lambda s: wording.answer(address, s))
        case Pairs() as several:
            return tell(wording.answer_many(several, state))
        case Disagreement() as disagreement:
            return tell(wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, call, state.end_in_work))


def look_up_group(state: State, call: CallGroup) -> Step:
    """Answer a question about a group."""
    match resolve_group(call, state.cable, state.group):
        case TheGroup(group):
            return then(state, GroupNamed(group.number), told=lambda s: wording.answer_group(group, s))
        case Groups() as several:
            return tell(wording.answer_groups(several, state))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, call, state.end_in_work))


def look_up_neighbour(state: State, entry: Entry) -> Step:
    """Answer with the next or previous pair of the one asked about last."""
    step = 1 if isinstance(entry.intent, say.NextPair) else -1
    pair = (state.looked_up or 0) + step
    if not state.cable.has(pair):
        return tell("There is none before the first pair." if step < 0 else "There is none after the last pair.")
    address = state.cable.address(pair)
    return then(state, LookedUp(pair), told=lambda s: wording.answer(address, s))


def say_again(state: State, _: Entry) -> Step:
    """Repeat the last sentence."""
    text = wording.repeated(state)
    return Step((Repeated(text),), (Speak(text),))


def which_group(state: State, _: Entry) -> Step:
    """Tell the group in work."""
    if state.group is None:
        return tell("No group is in work yet.")
    return tell(wording.answer_group(state.cable.group(state.group), state))


def where_am_i(state: State, _: Entry) -> Step:
    """Tell the place."""
    return tell(wording.place(state))


def how_many_left(state: State, _: Entry) -> Step:
    """Tell the counts."""
    return tell(wording.counts(state))


def which_faults(state: State, _: Entry) -> Step:
    """List the pairs with a fault, and those that failed a test."""
    return tell(wording.faults(state))


def tell_expected(state: State, _: Entry) -> Step:
    """Tell the next pair of the sequence without confirming anything."""
    return tell(wording.next_pair(state))


def tell_before(state: State, _: Entry) -> Step:
    """Tell the pair before the expected one, and what became of it."""
    joints = state.plan.joints
    turn = len(joints) if state.expected is None else state.plan.turn[state.expected]
    if turn == 0:
        return tell("There is none before the first pair.")
    return tell(wording.before(state, joints[turn - 1]))
