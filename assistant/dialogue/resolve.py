"""What a call means in a cable: which pair, which pairs, or why none.

Must not know what is expected; a call is resolved in the same way whatever comes next.
"""

from dataclasses import dataclass
from enum import Enum

from assistant.cable.colour_code import GROUPS_PER_SUPER_UNIT, Colours, group_of, position_of
from assistant.cable.makeup import SUPER_UNIT_BINDERS, Address, Cable, Group, GroupNumber, Position
from assistant.cable.splice_plan import End
from assistant.words.intents import CallGroup, CallPair


class Why(Enum):
    """Why a call names nothing in this cable."""

    NO_SUCH_PAIR = "no such pair"
    NO_SUCH_SERVICE_PAIR = "no such service pair"
    NO_SUCH_GROUP = "no such group"
    NO_25TH_BINDER = "violet-slate is no binder"
    NO_SUCH_SUPER_UNIT = "no such super-unit"
    GROUP_ENDS_BEFORE = "the group ends before these colours"
    GROUP_AND_BINDER_DISAGREE = "group number and binder disagree"


@dataclass(frozen=True, slots=True)
class ThePair:
    """Exactly this pair."""

    address: Address


@dataclass(frozen=True, slots=True)
class Pairs:
    """Any of these pairs: colours without a group."""

    addresses: tuple[Address, ...]


@dataclass(frozen=True, slots=True)
class TheGroup:
    """Exactly this group."""

    group: Group


@dataclass(frozen=True, slots=True)
class Groups:
    """Any of these groups."""

    groups: tuple[Group, ...]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """The number is one pair, the colours are another's."""

    number: Address
    colours: Colours
    pair_of_colours: Position | None
    """The pair with these colours in the group of the number, if the cable has it."""


@dataclass(frozen=True, slots=True)
class Nothing:
    """No pair or group of this cable."""

    why: Why


def resolve_pair(call: CallPair, end: End, group: GroupNumber | None) -> ThePair | Pairs | Disagreement | Nothing:
    """Find the pair of an end that a call names; `group` is the group in work, used where none is said.

    Addresses are of positions in the sheath; a number is one of the count that the end carries.
    """
    cable = end.cable
    if call.service is not None:
        known = 1 <= call.service <= cable.service_pairs
        position = Position(cable.carrier_pairs + call.service)
        return ThePair(end.address(position)) if known else Nothing(Why.NO_SUCH_SERVICE_PAIR)
    if call.number is not None:
        return _by_number(call, end, group)
    assert call.colours is not None, "a call has a number or colours"
    if call.group is None:
        in_work = group is not None and group <= cable.groups
        groups = (group,) if in_work and group is not None else cable.groups_marked()
    else:
        found = resolve_group(call.group, cable, group)
        if isinstance(found, Nothing):
            return found
        groups = (found.group.number,) if isinstance(found, TheGroup) else tuple(g.number for g in found.groups)
    pairs = [cable.pair_in(number, call.colours) for number in groups]
    addresses = tuple(cable.address(pair) for pair in pairs if pair is not None)
    if not addresses:
        return Nothing(Why.GROUP_ENDS_BEFORE)
    return ThePair(addresses[0]) if len(addresses) == 1 else Pairs(addresses)


def _by_number(call: CallPair, end: End, group: GroupNumber | None) -> ThePair | Pairs | Disagreement | Nothing:
    assert call.number is not None
    addresses = tuple(end.address(position) for position in end.positions_of(call.number))
    if len(addresses) > 1 and group is not None:
        addresses = tuple(a for a in addresses if a.group.number == group) or addresses
    if not addresses:
        return Nothing(Why.NO_SUCH_PAIR)
    if call.colours is not None and not any(a.colours == call.colours for a in addresses):
        other = end.cable.pair_in(addresses[0].group.number, call.colours)
        return Disagreement(addresses[0], call.colours, other)
    if call.colours is not None:
        addresses = tuple(a for a in addresses if a.colours == call.colours)
    return ThePair(addresses[0]) if len(addresses) == 1 else Pairs(addresses)


def resolve_group(call: CallGroup, cable: Cable, group: GroupNumber | None) -> TheGroup | Groups | Nothing:
    """Find the group that a call names; where several super-units have it, that of the group in work."""
    number = call.number
    if call.binder is not None:
        if position_of(call.binder) > GROUPS_PER_SUPER_UNIT:
            return Nothing(Why.NO_25TH_BINDER)
        binder_number = group_of(call.binder)
        if number is not None and number != binder_number:
            return Nothing(Why.GROUP_AND_BINDER_DISAGREE)
        number = binder_number
    super_unit = None if call.super_unit is None else SUPER_UNIT_BINDERS.index(call.super_unit) + 1
    if super_unit is not None and super_unit > cable.super_units:
        return Nothing(Why.NO_SUCH_SUPER_UNIT)
    found = cable.groups_marked(in_super_unit=number, super_unit=super_unit)
    if len(found) > 1 and super_unit is None and group is not None:
        here = cable.group(group).super_unit
        found = tuple(g for g in found if cable.group(g).super_unit == here) or found
    if not found:
        return Nothing(Why.NO_SUCH_GROUP)
    groups = tuple(cable.group(number) for number in found)
    return TheGroup(groups[0]) if len(groups) == 1 else Groups(groups)
