"""Which joint of the plan a call or a turn names."""

from assistant.cable.makeup import Address
from assistant.cable.splice_plan import Joint, Place
from assistant.dialogue.resolve import (
    ThePair,
    resolve_pair,
)
from assistant.dialogue.state import State
from assistant.words.intents import CallPair


def in_turn(state: State) -> Joint | None:
    """Give the joint in turn: to be tested, or to be called."""
    if state.verifying is not None:
        joint = state.verifying.joint
        return None if joint is None else state.plan.by_number[joint]
    return state.expected_joint


def joint_called(state: State, number: int) -> Joint | None:
    """Give the joint of the pair with this number: of the cable in work, else the only one of the others."""
    return joint_named(state, CallPair(number=number))


def joint_named(state: State, call: CallPair) -> Joint | None:
    """Give the joint of a pair that is to be joined: of the cable in work, else the only one of the others."""
    ends = [state.end, *(end for end in range(len(state.plan.ends)) if end != state.end)]
    found = [made for end in ends if (made := _joint_on(state, end, call)) is not None]
    if found and found[0].lead.end == state.end:
        return found[0]
    return found[0] if len(set(found)) == 1 else None


def _joint_on(state: State, end: int, call: CallPair) -> Joint | None:
    group = state.group if end == state.end else None
    found = resolve_pair(call, state.plan.ends[end], group)
    return joint_at(state, Place(end, found.address.pair)) if isinstance(found, ThePair) else None


def joint_of(state: State, address: Address) -> Joint | None:
    """Give the joint of a pair of the cable in work, if it is to be joined."""
    return joint_at(state, Place(state.end, address.pair))


def joint_at(state: State, place: Place) -> Joint | None:
    """Give the joint of a place, if it is to be joined."""
    number = state.plan.at.get(place)
    made = None if number is None else state.plan.by_number[number]
    return made if made is not None and made.kind.joined else None
