"""How pairs, joints, groups and numbers are called, in speech and in print. Must not decide anything."""

from assistant.cable.colour_code import Colours, Order, ServiceColours
from assistant.cable.counts import CalledNumber
from assistant.cable.makeup import Address, Group
from assistant.cable.splice_plan import End, Joint, JointNumber
from assistant.dialogue.state import State
from assistant.words.intents import Fault, Reason, Tried
from assistant.words.numbers import spoken
from assistant.words.vocabulary import FAULT_WORDS

MOST_LISTED = 4
AND = "and"
OTHER_SIDE = "the other side"
"""In place of the name of an end, where a straight sequence has only one."""


def colours(pair: Colours | ServiceColours, order: Order) -> str:
    """Name two colours in the order that is wanted; a service pair is always named tip first."""
    if order is Order.RING_FIRST and isinstance(pair, Colours):
        return f"{pair.ring.value} {pair.tip.value}"
    return f"{pair.tip.value} {pair.ring.value}"


def pair(address: Address, state: State, end: End | None = None) -> str:
    """Name a pair by number and colours: the two together show a slip of either.

    The number is that of the count; colours that no source gives are left out.
    """
    end = end or state.end_in_work
    in_count = spoken(end.called(address.pair)[1])
    number = f"service pair {spoken(address.position)}" if address.group.service else in_count
    if address.colours is None:
        return f"{number}, colours as the cable shows"
    return f"{number}, {colours(address.colours, end.order or state.settings.pair_order)}"


def joint(made: Joint, state: State, before: Joint | None = None) -> str:
    """Name a joint by the pair that is called, and the other pairs where they are called otherwise.

    Where the work goes on side by side with the joint before, only colours that differ are named.
    """
    lead_address, lead_end = state.plan.address(made.lead), state.plan.end_of(made.lead)
    told = [pair(lead_address, state, lead_end)]
    goes_on = before is not None and _side_by_side(state, before, made)
    for place in made.places[1:]:
        end, address = state.plan.end_of(place), state.plan.address(place)
        same_colours = address.colours == lead_address.colours
        if goes_on and not same_colours and address.colours is not None:
            told.append(f"to {end.name}, {colours(address.colours, end.order or state.settings.pair_order)}")
        elif not goes_on and not state.plan.called_alike(made.lead, place):
            count = end.called(place.position)[0]
            called = pair(address, state, end)
            named = called if address.group.service else f"pair {called}"
            where = [f"to {end.name}", count, group(address.group, state, end=end), named]
            told.append(", ".join(part for part in where if part))
    return "; ".join(told)


def _side_by_side(state: State, before: Joint, made: Joint) -> bool:
    """Tell whether every pair of a joint is the next one, in the same group, of the joint before."""
    return len(before.places) == len(made.places) and all(
        old.end == new.end
        and new.position == old.position + 1
        and state.plan.address(old).group.number == state.plan.address(new).group.number
        for old, new in zip(before.places, made.places, strict=True)
    )


def far(made: Joint, state: State) -> str:
    """Name the pair of the far side of a joint that a call can name, by its colours and end."""
    places = state.plan.far_of(made)
    shown = [(state.plan.end_of(place), state.plan.address(place)) for place in places]
    return ", ".join(
        f"to {end.name or OTHER_SIDE}, {colours(address.colours, end.order or state.settings.pair_order)}"
        for end, address in shown
        if address.colours is not None
    )


def lead_and_far(made: Joint, state: State) -> str:
    """Name the pair of a joint that is called, and the one of its far side where that is coloured otherwise."""
    own = state.plan.address(made.lead).colours
    differs = any(state.plan.address(place).colours != own for place in state.plan.far_of(made))
    return f"{lead(made, state)}; {far(made, state)}" if differs else lead(made, state)


def fault(kind: Fault) -> str:
    """Name a fault as it is marked and cleared."""
    return FAULT_WORDS[kind][0]


def put_off_for(reason: Reason, tried: Tried | None) -> str:
    """Say why a pair is left for another day, and what was tried on it."""
    return f"{reason.value} after {tried.value}" if tried else reason.value


def binder(group: Group, order: Order) -> str:
    """Name a group's binder; empty where the cable carries none or its colours are not known."""
    return f"binder {colours(group.binder, order)}" if group.binder else ""


def super_unit(group: Group) -> str:
    """Name a super-unit; by number where its colour is not known; empty where the cable has only one."""
    if group.super_unit_binder:
        return f"super unit {group.super_unit_binder.value}"
    return f"super unit {spoken(group.super_unit)}" if group.super_unit > 1 else ""


def group(group: Group, state: State, *, end: End | None = None, super_unit_too: bool = True) -> str:
    """Name a group by number and binder, with its super-unit where there are several."""
    if group.service:
        return "service pairs"
    end = end or state.end_in_work
    order = end.order or state.settings.binder_order
    parts = [super_unit(group) if super_unit_too else ""]
    parts += [f"group {spoken(group.in_super_unit)}", binder(group, order)]
    return ", ".join(part for part in parts if part)


def run(first: int, last: int) -> str:
    """Say a run of numbers."""
    return spoken(first) if first == last else f"{spoken(first)} through {spoken(last)}"


def pairs_in_runs(runs: list[tuple[int, int]]) -> str:
    """Name runs of pairs, a noun before each."""
    return listed([f"pair {run(*found)}" if found[0] == found[1] else f"pairs {run(*found)}" for found in runs], AND)


def numbered(numbers: list[CalledNumber]) -> str:
    """Name pairs by their numbers, a noun before each so that no two run together."""
    return listed([f"pair {spoken(number)}" for number in numbers], AND)


def multi_unit(address: Address) -> str:
    """Name a multi-unit by number and binder."""
    binder_colour = f", binder {address.multi_unit_binder.value}" if address.multi_unit_binder else ""
    return f"multi unit {spoken(address.multi_unit)}{binder_colour}"


def lead(made: Joint, state: State) -> str:
    """Name the pair of a joint that is called."""
    return pair(state.plan.address(made.lead), state, state.plan.end_of(made.lead))


def called_number(state: State, number: JointNumber) -> CalledNumber:
    """Give the number by which the pair of a joint is called."""
    place = state.plan.by_number[number].lead
    return state.plan.end_of(place).called(place.position)[1]


def listed(names: list[str], last: str = "or") -> str:
    """List names, the first few of many with how many there are, with a word before the last."""
    if len(names) > MOST_LISTED:
        return f"{', '.join(names[:MOST_LISTED])} and more, total {spoken(len(names))}"
    return f" {last} ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
