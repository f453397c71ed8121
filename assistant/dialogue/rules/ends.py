"""Rules for the far side of a joint: whether the colours called for it are those of the plan, and what they would join.

A call that names both sides checks both, since one of them must fit the other. Colours of the far side alone name a
joint only where they cannot be taken for a pair of the side that is called (`Plan.by_far_side`).
"""

from dataclasses import dataclass

from assistant.cable.colour_code import Colours
from assistant.cable.splice_plan import Joint, Place
from assistant.dialogue.messages import Check, Ends
from assistant.dialogue.rules.entry import Entry
from assistant.dialogue.state import State
from assistant.words.intents import CallPair


@dataclass(frozen=True, slots=True)
class Named:
    """How a call named a joint, as a confirmation keeps it."""

    how: Check
    ends: Ends = Ends.NEAR
    far_ends: tuple[int, ...] = ()


def check_of(call: CallPair) -> Check:
    """Tell how surely a call names its pair; a service pair is named as by its number."""
    if call.number is None:
        return Check.COLOURS if call.colours is not None else Check.NUMBER
    return Check.NUMBER if call.colours is None else Check.NUMBER_AND_COLOURS


def named(state: State, made: Joint, call: CallPair) -> Named | None:
    """Tell how a call names the joint of its pair; None where the far side that it names is not that of the joint."""
    if call.far is None:
        return Named(check_of(call))
    far = state.plan.far_of(made)
    fits = bool(far) and all(state.plan.address(place).colours == call.far for place in far)
    return Named(check_of(call), Ends.BOTH, _ends(made, far)) if fits else None


def named_from_far(state: State, entry: Entry, call: CallPair) -> tuple[Joint, Named] | None:
    """Give the joint that colours of its far side alone name; they count in the group in work, as any colours alone."""
    alone = call == CallPair(colours=call.colours)
    if not alone or call.colours is None or entry.group(state) is None:
        return None
    number = state.plan.by_far_side(state.end).get(call.colours)
    if number is None:
        return None
    made = state.plan.by_number[number]
    return made, Named(Check.COLOURS, Ends.FAR, _ends(made, state.plan.far_of(made)))


def called_far(state: State, made: Joint, colours: Colours) -> tuple[Place, ...]:
    """Give the pairs of these colours where the far side of a joint lies: in the same group of the same end."""
    plan = state.plan
    found = []
    for place in plan.far_of(made) or made.places[1:]:
        position = plan.end_of(place).cable.pair_in(plan.address(place).group.number, colours)
        if position is not None:
            found.append(Place(place.end, position))
    return tuple(found)


def _ends(made: Joint, far: tuple[Place, ...]) -> tuple[int, ...]:
    return tuple(place.end for place in far if place != made.lead)
