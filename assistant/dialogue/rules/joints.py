"""Which joint of the plan a call names."""

from typing import assert_never

from assistant.cable.counts import CalledNumber
from assistant.cable.makeup import Address, GroupNumber
from assistant.cable.splice_plan import Joint, Place
from assistant.dialogue.resolve import Disagreement, Nothing, Pairs, ThePair, resolve_pair
from assistant.dialogue.state import State
from assistant.words.intents import CallPair


def joint_called(state: State, number: CalledNumber) -> Joint | None:
    """Give the joint of the pair with this number: of the cable in work, else the only one of the others."""
    return joint_named(state, CallPair(number=number), state.group_in_work)


def joint_named(state: State, call: CallPair, group: GroupNumber | None) -> Joint | None:
    """Give the joint that a call names by the pair that is called for it, never by a pair of its far side.

    What the cable in work has is meant, be it to be joined or not. Only a number or a service pair that it
    does not have at all may be the only one of the other cables; colours alone never leave it. They count in
    `group`.
    """
    match resolve_pair(call, state.end_in_work, group):
        case ThePair(address):
            return joint_of(state, address)
        case Nothing() if call.number is not None or call.service is not None:
            others = (end for end in range(len(state.plan.ends)) if end != state.end)
            found = [made for end in others if (made := _joint_on(state, end, call)) is not None]
            return found[0] if len(found) == 1 else None
        case Nothing() | Pairs() | Disagreement():
            return None
        case never:
            assert_never(never)


def _joint_on(state: State, end: int, call: CallPair) -> Joint | None:
    found = resolve_pair(call, state.plan.ends[end], None)
    return joint_at(state, Place(end, found.address.pair)) if isinstance(found, ThePair) else None


def joint_of(state: State, address: Address) -> Joint | None:
    """Give the joint that is to be made by calling this pair of the cable in work."""
    return joint_at(state, Place(state.end, address.pair))


def joint_at(state: State, place: Place) -> Joint | None:
    """Give the joint that is to be made by calling this pair; none where it is only the far side of one."""
    number = state.plan.at.get(place)
    made = None if number is None else state.plan.by_number[number]
    return made if made is not None and made.kind.joined and made.lead == place else None
