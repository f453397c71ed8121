"""What is to be spliced: ends of cable, the joints between them, and the order of the work.

Must not know what has been done already, how anything is spoken, or the text of a plan file.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from functools import cached_property
from typing import NewType

from assistant.cable.colour_code import PAIRS_PER_GROUP, Colours, Order, colours_of
from assistant.cable.counts import CalledNumber, Count
from assistant.cable.makeup import Address, Cable, CableError, GroupNumber, Position

JointNumber = NewType("JointNumber", int)
"""Name of a joint in the log: the pair in a straight sequence, else counted in the order of the work."""


class Site(Enum):
    """Kind of place where the splice is; it decides which cautions are asked."""

    AERIAL = "aerial"
    BURIED = "buried"
    MANHOLE = "manhole"
    CABINET = "cabinet"


class JoinKind(Enum):
    """What is done with pairs (names: common practice, no source)."""

    STRAIGHT = "straight"
    TRANSFER = "transfer"
    BRANCH = "branch"
    HALF_TAP = "half-tap"
    DEAD = "dead"
    SPARE = "spare"

    @property
    def joined(self) -> bool:
        """Whether conductors are joined; a pair that is not is told of and accounted for, never called."""
        return self not in (JoinKind.DEAD, JoinKind.SPARE)


class JointWork(Enum):
    """How joints are made."""

    SINGLE = "single"
    MODULE = "module"


@dataclass(frozen=True)
class End:
    """One end of cable at the splice."""

    name: str
    """Empty for the only cable of a straight sequence."""
    cable: Cable
    counts: tuple[Count, ...] = ()
    """Counts that the sheath carries, from its first pair on; empty where pairs are called by position."""
    gauge_awg: int | None = None
    order: Order | None = None
    """Naming order of this end, where the plan sets one."""

    @cached_property
    def _runs(self) -> tuple[tuple[int, Count], ...]:
        """Each count with the position of its first number."""
        found, position = [], 1
        for count in self.counts:
            found.append((position, count))
            position += len(count.run)
        return tuple(found)

    @cached_property
    def offsets(self) -> frozenset[int]:
        """Number less position, modulo 25, of each count; 0 where pairs are called by position."""
        of_counts = frozenset((count.run.first - first) % PAIRS_PER_GROUP for first, count in self._runs)
        counted = sum(len(count.run) for count in self.counts)
        return of_counts if counted >= self.cable.carrier_pairs else of_counts | {0}

    def called(self, position: Position) -> tuple[str, CalledNumber]:
        """Give the count name and number by which the pair at a position is called.

        The name is empty where the position is in no count; the number is then the position.
        """
        for first, count in self._runs:
            if first <= position < first + len(count.run):
                return count.name, CalledNumber(count.run.first + position - first)
        return "", CalledNumber(position)

    def positions_of(self, number: CalledNumber, count: str | None = None) -> tuple[Position, ...]:
        """Give the positions that a number may mean, in one count or in any of this end.

        A position that is in no count is called by its own number; service pairs have names of their own.
        """
        if not self.counts:
            return (Position(number),) if self.cable.has(number) else ()
        found = tuple(
            Position(first + number - c.run.first)
            for first, c in self._runs
            if c.run.first <= number <= c.run.last and count in (None, c.name)
        )
        itself = Position(number)
        uncounted = count is None and 1 <= number <= self.cable.carrier_pairs and self.called(itself) == ("", number)
        return (*found, itself) if uncounted else found

    def address(self, position: int) -> Address:
        """Give the address of a position; see `Cable.address`."""
        found = self._addresses.get(position)
        if found is None:
            found = self._addresses[position] = self.cable.address(position)
        return found

    @cached_property
    def _addresses(self) -> dict[int, Address]:
        """Addresses that were asked for already: each is asked for many times in a session."""
        return {}


@dataclass(frozen=True, slots=True)
class Place:
    """A pair of one end."""

    end: int
    """Index of the end in the plan."""
    position: Position


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """Pairs of two or three ends joined to one another, or one pair that is left as it is."""

    number: JointNumber
    kind: JoinKind
    places: tuple[Place, ...]
    """The pair that is called comes first."""
    reason: str = ""
    """Why a pair is dead or spare, where the plan says so."""
    protect: str = ""
    """Why the pair must be protected; empty where it need not."""

    @property
    def lead(self) -> Place:
        """The pair that is called."""
        return self.places[0]


@dataclass(frozen=True)
class Plan:
    """All joints of one splice, in the order of the work."""

    title: str
    ends: tuple[End, ...]
    joints: tuple[Joint, ...]
    site: Site | None = None
    work: JointWork = JointWork.SINGLE

    @property
    def is_sequence(self) -> bool:
        """Whether it is the pairs of one cable in turn, made without a plan file."""
        return not self.ends[0].name

    @cached_property
    def by_number(self) -> dict[JointNumber, Joint]:
        """Each joint by its number."""
        return {joint.number: joint for joint in self.joints}

    @cached_property
    def turn(self) -> dict[JointNumber, int]:
        """Number of a joint -> its index in the order of the work."""
        return {joint.number: index for index, joint in enumerate(self.joints)}

    @cached_property
    def at(self) -> dict[Place, JointNumber]:
        """Place -> number of the joint that it is in."""
        return {place: joint.number for joint in self.joints for place in joint.places}

    @cached_property
    def to_join(self) -> tuple[JointNumber, ...]:
        """Numbers of the joints to be made, in the order of the work."""
        return tuple(joint.number for joint in self.joints if joint.kind.joined)

    def end_of(self, place: Place) -> End:
        """Give the end that a place is in."""
        return self.ends[place.end]

    def address(self, place: Place) -> Address:
        """Give the address of a place in its cable."""
        return self.ends[place.end].address(place.position)

    def called_alike(self, one: Place, other: Place) -> bool:
        """Tell whether two pairs have the same count, number, group and colours."""
        ends, addresses = [self.end_of(p) for p in (one, other)], [self.address(p) for p in (one, other)]
        return (
            ends[0].called(one.position) == ends[1].called(other.position)
            and addresses[0].group.number == addresses[1].group.number
            and addresses[0].colours == addresses[1].colours
        )

    @cached_property
    def sides_differ(self) -> bool:
        """Whether any joint is called otherwise on a far side than on the side that is called."""
        joined = (joint for joint in self.joints if joint.kind.joined)
        return any(not self.called_alike(joint.lead, place) for joint in joined for place in joint.places[1:])

    def far_of(self, joint: Joint) -> tuple[Place, ...]:
        """Give the pairs that the colours of a joint's far side mean, all of them coloured alike.

        Of several far ends those count that are coloured otherwise than the called pair: what goes straight on needs
        no name. None where two of these differ: one pair of colours cannot mean both. In a straight sequence it is the
        same pair on the other side.
        """
        mates, own = joint.places[1:] or joint.places, self.address(joint.lead).colours
        named = tuple(place for place in mates if self.address(place).colours != own) or mates
        return named if len({self.address(place).colours for place in named}) == 1 else ()

    def by_far_side(self, end: int) -> Mapping[Colours, JointNumber]:
        """Give the joints called from an end that the colours of their far side alone name without doubt.

        There are some only where no pair of that cable has any of these colours, called for or not, and no two joints
        share them: else a wrong pair of the one side could pass for the right one of the other.
        """
        return self._by_far_side[end]

    @cached_property
    def _by_far_side(self) -> tuple[Mapping[Colours, JointNumber], ...]:
        return tuple(self._named_from_far(end) for end in range(len(self.ends)))

    def _named_from_far(self, end: int) -> Mapping[Colours, JointNumber]:
        cable, found = self.ends[end].cable, dict[Colours, JointNumber]()
        own = {colours_of(position) for position in range(1, min(cable.carrier_pairs, PAIRS_PER_GROUP) + 1)}
        for joint in self.joints:
            if joint.lead.end != end or not joint.kind.joined:
                continue
            for colours in {self.address(place).colours for place in self.far_of(joint)}:
                if not isinstance(colours, Colours) or colours in own or colours in found:
                    return {}
                found[colours] = joint.number
        return found

    def in_group(self, end: int, group: GroupNumber) -> tuple[Joint, ...]:
        """List the joints whose called pair lies in a group of an end, in the order of the work."""
        return self._groups.get((end, group), ())

    @cached_property
    def _groups(self) -> dict[tuple[int, GroupNumber], tuple[Joint, ...]]:
        found: dict[tuple[int, GroupNumber], list[Joint]] = {}
        for joint in self.joints:
            key = (joint.lead.end, self.address(joint.lead).group.number)
            found.setdefault(key, []).append(joint)
        return {key: tuple(joints) for key, joints in found.items()}


def straight_sequence(cable: Cable, first: int, last: int) -> Plan:
    """Plan pairs first to last of one cable, each joined to the pair of the same number, lowest first.

    Raises:
        CableError: the range is empty or leaves the cable.

    """
    for pair in (first, last):
        cable.address(pair)
    if first > last:
        raise CableError(f"the sequence runs from {first} to {last}: give the lower pair first")
    joints = tuple(
        Joint(number=JointNumber(pair), kind=JoinKind.STRAIGHT, places=(Place(0, Position(pair)),))
        for pair in range(first, last + 1)
    )
    return Plan(title="", ends=(End("", cable),), joints=joints)


class ChangeError(ValueError):
    """A change of a plan that would leave a pair in two joints, or that names what is not there."""


def free_number(plan: Plan, places: tuple[Place, ...]) -> JointNumber:
    """Give the number for a new joint: of a straight sequence the pair, else that of a spare it takes, or a new one."""
    if plan.is_sequence:
        return JointNumber(places[0].position)
    taken = next((number for place in places if (number := plan.at.get(place)) is not None), None)
    return JointNumber(max(plan.by_number) + 1) if taken is None else taken


def is_free(plan: Plan, place: Place) -> bool:
    """Tell whether a pair is there, and in no joint or only kept as a spare."""
    number = plan.at.get(place)
    there = 0 <= place.end < len(plan.ends) and plan.end_of(place).cable.has(place.position)
    return there and (number is None or plan.by_number[number].kind is JoinKind.SPARE)


def with_pair_replaced(plan: Plan, old: Place, new: Place, number: JointNumber) -> Plan:
    """Give the plan in which a free pair of the same end is joined in place of another one, which is left dead.

    The joint that is then to be made has this number; what was its number before stays with the pair that is left.

    Raises:
        ChangeError: that one is not to be joined, or the other is not free.

    """
    held = plan.by_number.get(plan.at.get(old, JointNumber(0)))
    if held is None or not held.kind.joined:
        raise ChangeError("the pair to be replaced is in no joint")
    made = replace(held, number=number, places=tuple(new if place == old else place for place in held.places))
    left = replace(held, kind=JoinKind.DEAD, places=(old,), reason=REPLACED, protect="")
    if old.end != new.end:
        raise ChangeError("the two pairs are of two ends")
    return _with_joint(plan, made, (new,), held, left)


REPLACED = "replaced"
"""Why a pair is dead that another one was used in place of."""


def with_joint_added(plan: Plan, joint: Joint) -> Plan:
    """Give the plan with one more joint, last in the order of the work, of pairs that are free.

    Raises:
        ChangeError: a pair is not free.

    """
    return _with_joint(plan, joint, joint.places, None, None)


def _with_joint(plan: Plan, made: Joint, new: tuple[Place, ...], held: Joint | None, left: Joint | None) -> Plan:
    if len(set(new)) != len(new) or not all(is_free(plan, place) for place in new):
        raise ChangeError("a pair is joined already, dead, or not there")
    taken = {plan.at.get(place) for place in new}
    if made.number in plan.by_number and made.number not in taken:
        raise ChangeError(f"joint {made.number} is there already")
    joints: list[Joint] = []
    for joint in plan.joints:
        if joint is held and left is not None:
            joints += [left, made]
        elif joint.number not in taken:
            joints.append(joint)
    return replace(plan, joints=tuple(joints if held is not None else [*joints, made]))


def unjoined(plan: Plan) -> dict[str, tuple[Position, ...]]:
    """Give, for each end, the positions that are in no join of the plan."""
    used: dict[int, set[Position]] = {index: set() for index in range(len(plan.ends))}
    for joint in plan.joints:
        for place in joint.places:
            used[place.end].add(place.position)
    return {
        end.name: tuple(Position(p) for p in range(1, end.cable.pairs + 1) if Position(p) not in used[index])
        for index, end in enumerate(plan.ends)
    }


def in_runs(numbers: Iterable[int]) -> list[tuple[int, int]]:
    """Give ascending numbers as runs (first, last)."""
    runs: list[tuple[int, int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], number)
        else:
            runs.append((number, number))
    return runs
