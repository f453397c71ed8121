"""How a cable is built up: super-units, multi-units, groups, units, service pairs; the address of a pair.

Sources: 7 CFR 1755.890 for groups, 600-pair super-units and service pairs. Units inside a group,
multi-units and 300-pair super-units are common practice, no source. Colours that no source gives are
None: they are never guessed. Must not know words, plans or files.
"""

from dataclasses import dataclass, field
from typing import NewType

from assistant.cable.colour_code import (
    GROUPS_PER_SUPER_UNIT,
    PAIRS_PER_GROUP,
    RINGS,
    SERVICE_COLOURS,
    TIPS,
    Colours,
    Ring,
    ServiceColours,
    Tip,
    binder_of,
    colours_of,
    position_of,
)

Position = NewType("Position", int)
"""Place of a pair in its sheath, 1 upward; fixes its colours. Not the number by which the pair is called."""
GroupNumber = NewType("GroupNumber", int)
"""Number of a group, 1 upward through the whole cable. Not its number inside the super-unit."""

PAIRS_PER_SUPER_UNIT = PAIRS_PER_GROUP * GROUPS_PER_SUPER_UNIT
SUPER_UNIT_BINDERS: tuple[Tip | Ring, ...] = (*TIPS, *RINGS)
"""Binder of each 600-pair super-unit in turn: the tip colours, then the ring colours."""
LARGEST_CABLE = PAIRS_PER_SUPER_UNIT * len(SUPER_UNIT_BINDERS)
SERVICE_PAIRS = {24: 4, 50: 4, 100: 6, 150: 8, 200: 10, 300: 14, 400: 18}
"""Carrier pairs of a screened cable -> its service pairs (7 CFR 1755.890)."""
UNITS = ((8, 8, 9), (12, 13))
"""Ways in which a group is laid up in units that carry its binder."""
MULTI_UNITS = (50, 100)
"""Pairs of a multi-unit, where a core has them."""


class CableError(ValueError):
    """A cable size, a make-up, a pair or a range that cannot be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Makeup:
    """What a core shows besides its groups; the plan says so, since makes differ.

    Raises:
        CableError: no core is built so.

    """

    units: tuple[int, ...] = ()
    """Pairs of each unit of a group; empty where groups are whole."""
    multi_unit: int = 0
    """Pairs of a multi-unit; 0 where there are none."""
    super_unit: int = PAIRS_PER_SUPER_UNIT
    screened: bool = False
    """Whether a screen parts the core, and service pairs lie beside the carrier pairs."""

    def __post_init__(self) -> None:
        """Refuse what was never described."""
        if self.units and self.units not in UNITS:
            raise CableError("a group of 25 is laid up as 8+8+9 or 12+13")
        if self.multi_unit and self.multi_unit not in MULTI_UNITS:
            raise CableError("multi-units have 50 or 100 pairs")
        if self.super_unit not in (PAIRS_PER_SUPER_UNIT, PAIRS_PER_SUPER_UNIT // 2):
            raise CableError("super-units have 600 or 300 pairs")


PLAIN = Makeup()


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Where a group of pairs stands in its cable; the service pairs of screened cable are one, too."""

    number: GroupNumber
    """1 upward through the whole cable."""
    in_super_unit: int
    """1 to 24, or to 12 in 300-pair super-units; 0 for service pairs."""
    binder: Colours | None
    """None where the cable is one group and carries no binder, or where its colours are not known."""
    super_unit: int
    """1 upward."""
    super_unit_binder: Tip | Ring | None
    """None where the cable has only one super-unit, or where its colour is not known."""
    first: Position
    """Its lowest pair."""
    last: Position
    """Its highest pair; a cable may end inside a group."""

    @property
    def service(self) -> bool:
        """Whether these are the service pairs."""
        return self.in_super_unit == 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """The full address of one pair in a cable."""

    pair: Position
    position: int
    """1 to 25 in the group, or the number of the service pair."""
    colours: Colours | ServiceColours | None
    """None where no source gives them."""
    group: Group
    unit: int = 0
    """1 upward inside the group; 0 where groups are whole."""
    multi_unit: int = 0
    """1 upward inside the super-unit; 0 where there are none."""
    multi_unit_binder: Tip | Ring | None = None


@dataclass(frozen=True, slots=True)
class Cable:
    """A cable of 1 to 6000 pairs in groups of 25.

    Raises:
        CableError: the size is out of range, or the make-up does not fit it.

    """

    pairs: int
    """All pairs, the service pairs of screened cable included."""
    makeup: Makeup = field(default=PLAIN)

    def __post_init__(self) -> None:
        """Refuse a size that no source gives colours for."""
        if not 1 <= self.pairs <= LARGEST_CABLE:
            raise CableError(f"a cable has 1 to {LARGEST_CABLE} pairs, not {self.pairs}")
        if self.makeup.screened and self.pairs not in _SCREENED_TOTALS:
            sizes = ", ".join(str(size) for size in _SCREENED_TOTALS)
            raise CableError(f"screened cable has {sizes} pairs with its service pairs, not {self.pairs}")

    @property
    def carrier_pairs(self) -> int:
        """Pairs in groups of 25: all but the service pairs."""
        return _SCREENED_TOTALS[self.pairs] if self.makeup.screened else self.pairs

    @property
    def service_pairs(self) -> int:
        """Service pairs, which are numbered on behind the others."""
        return self.pairs - self.carrier_pairs

    @property
    def groups(self) -> int:
        """Number of groups, the last of which may be short; service pairs are not among them."""
        return -(-self.carrier_pairs // PAIRS_PER_GROUP)

    @property
    def groups_per_super_unit(self) -> int:
        """Groups of a whole super-unit."""
        return self.makeup.super_unit // PAIRS_PER_GROUP

    @property
    def super_units(self) -> int:
        """Number of super-units, the last of which may be short."""
        return -(-self.carrier_pairs // self.makeup.super_unit)

    def has(self, pair: int) -> bool:
        """Tell whether the cable has this pair."""
        return 1 <= pair <= self.pairs

    def group(self, number: int) -> Group:
        """Describe a group, counted from 1 through the whole cable; one more is the service pairs.

        Raises:
            CableError: the cable has no such group.

        """
        if number == self.groups + 1 and self.service_pairs:
            return self._service_group(number)
        if not 1 <= number <= self.groups:
            raise CableError(f"a {self.pairs}-pair cable has groups 1 to {self.groups}, not {number}")
        super_unit, index = divmod(number - 1, self.groups_per_super_unit)
        return Group(
            number=GroupNumber(number),
            in_super_unit=index + 1,
            binder=binder_of(index + 1) if self.groups > 1 and self._is_known(super_unit) else None,
            super_unit=super_unit + 1,
            super_unit_binder=SUPER_UNIT_BINDERS[super_unit] if self._has_super_unit_binders else None,
            first=Position((number - 1) * PAIRS_PER_GROUP + 1),
            last=Position(min(number * PAIRS_PER_GROUP, self.carrier_pairs)),
        )

    def address(self, pair: int) -> Address:
        """Give the full address of a pair.

        Raises:
            CableError: the cable has no such pair.

        """
        if not self.has(pair):
            raise CableError(f"a {self.pairs}-pair cable has pairs 1 to {self.pairs}, not {pair}")
        if pair > self.carrier_pairs:
            number = pair - self.carrier_pairs
            colours = SERVICE_COLOURS[number - 1] if number <= len(SERVICE_COLOURS) else None
            return Address(pair=Position(pair), position=number, colours=colours, group=self.group(self.groups + 1))
        group, index = divmod(pair - 1, PAIRS_PER_GROUP)
        described = self.group(group + 1)
        return Address(
            pair=Position(pair),
            position=index + 1,
            colours=colours_of(index + 1),
            group=described,
            unit=self._unit_of(index),
            multi_unit=self._multi_unit_of(pair),
            multi_unit_binder=self._multi_unit_binder(described),
        )

    def groups_marked(
        self, *, in_super_unit: int | None = None, super_unit: int | None = None
    ) -> tuple[GroupNumber, ...]:
        """List the groups that a place in the super-unit, a super-unit, or both leave possible."""
        each = self.groups_per_super_unit
        return tuple(
            GroupNumber(number)
            for number in range(1, self.groups + 1)
            if (in_super_unit is None or (number - 1) % each + 1 == in_super_unit)
            and (super_unit is None or (number - 1) // each + 1 == super_unit)
        )

    def pair_in(self, group: GroupNumber, colours: Colours) -> Position | None:
        """Give the pair of these colours in a group, or None where the cable ends before it."""
        pair = (group - 1) * PAIRS_PER_GROUP + position_of(colours)
        return Position(pair) if 1 <= group <= self.groups and pair <= self.carrier_pairs else None

    @property
    def _has_super_unit_binders(self) -> bool:
        return self.super_units > 1 and self.makeup.super_unit == PAIRS_PER_SUPER_UNIT

    def _is_known(self, super_unit: int) -> bool:
        """Whether a source gives the group binders: not beyond the first 300-pair super-unit."""
        return self.makeup.super_unit == PAIRS_PER_SUPER_UNIT or super_unit == 0

    def _service_group(self, number: int) -> Group:
        return Group(
            number=GroupNumber(number),
            in_super_unit=0,
            binder=None,
            super_unit=1,
            super_unit_binder=None,
            first=Position(self.carrier_pairs + 1),
            last=Position(self.pairs),
        )

    def _unit_of(self, index: int) -> int:
        behind = 0
        for number, pairs in enumerate(self.makeup.units, 1):
            behind += pairs
            if index < behind:
                return number
        return 0

    def _multi_unit_of(self, pair: int) -> int:
        if not self.makeup.multi_unit:
            return 0
        return (pair - 1) % self.makeup.super_unit // self.makeup.multi_unit + 1

    def _multi_unit_binder(self, group: Group) -> Tip | Ring | None:
        """White in the first 600, as described; that the next carry their super-unit's colour is inferred."""
        if not self.makeup.multi_unit or self.makeup.super_unit != PAIRS_PER_SUPER_UNIT:
            return None
        return SUPER_UNIT_BINDERS[group.super_unit - 1]


_SCREENED_TOTALS = {carrier + service: carrier for carrier, service in SERVICE_PAIRS.items()}
