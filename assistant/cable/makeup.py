"""How a cable of N pairs is built up: super-units of 600, groups of 25, and the address of a pair.

Source: 7 CFR 1755.890. Must not know words, plans or files.
"""

from dataclasses import dataclass

from assistant.cable.colour_code import (
    GROUPS_PER_SUPER_UNIT,
    PAIRS_PER_GROUP,
    RINGS,
    TIPS,
    Colours,
    Ring,
    Tip,
    binder_of,
    colours_of,
    position_of,
)

PAIRS_PER_SUPER_UNIT = PAIRS_PER_GROUP * GROUPS_PER_SUPER_UNIT
SUPER_UNIT_BINDERS: tuple[Tip | Ring, ...] = (*TIPS, *RINGS)
"""Binder of each super-unit in turn: the tip colours, then the ring colours."""
LARGEST_CABLE = PAIRS_PER_SUPER_UNIT * len(SUPER_UNIT_BINDERS)


class CableError(ValueError):
    """A cable size, a pair or a range that cannot be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Where a group of pairs stands in its cable."""

    number: int
    """1 upward through the whole cable."""
    in_super_unit: int
    """1 to 24."""
    binder: Colours | None
    """None where the cable is one group and carries no binder."""
    super_unit: int
    """1 to 10."""
    super_unit_binder: Tip | Ring | None
    """None where the cable has only one super-unit and carries no such binder."""
    first: int
    """Its lowest pair."""
    last: int
    """Its highest pair; a cable may end inside a group."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """The full address of one pair in a cable."""

    pair: int
    position: int
    """1 to 25 in the group."""
    colours: Colours
    group: Group


@dataclass(frozen=True, slots=True)
class Cable:
    """A cable of 1 to 6000 pairs in groups of 25 and super-units of 600.

    Raises:
        CableError: the size is out of range.

    """

    pairs: int

    def __post_init__(self) -> None:
        """Refuse a size that no source gives colours for."""
        if not 1 <= self.pairs <= LARGEST_CABLE:
            raise CableError(f"a cable has 1 to {LARGEST_CABLE} pairs, not {self.pairs}")

    @property
    def groups(self) -> int:
        """Number of groups, the last of which may be short."""
        return -(-self.pairs // PAIRS_PER_GROUP)

    @property
    def super_units(self) -> int:
        """Number of super-units, the last of which may be short."""
        return -(-self.pairs // PAIRS_PER_SUPER_UNIT)

    def has(self, pair: int) -> bool:
        """Tell whether the cable has this pair."""
        return 1 <= pair <= self.pairs

    def group(self, number: int) -> Group:
        """Describe a group, counted from 1 through the whole cable.

        Raises:
            CableError: the cable has no such group.

        """
        if not 1 <= number <= self.groups:
            raise CableError(f"a {self.pairs}-pair cable has groups 1 to {self.groups}, not {number}")
        super_unit, index = divmod(number - 1, GROUPS_PER_SUPER_UNIT)
        return Group(
            number=number,
            in_super_unit=index + 1,
            binder=binder_of(index + 1) if self.groups > 1 else None,
            super_unit=super_unit + 1,
            super_unit_binder=SUPER_UNIT_BINDERS[super_unit] if self.super_units > 1 else None,
            first=(number - 1) * PAIRS_PER_GROUP + 1,
            last=min(number * PAIRS_PER_GROUP, self.pairs),
        )

    def address(self, pair: int) -> Address:
        """Give the full address of a pair.

        Raises:
            CableError: the cable has no such pair.

        """
        if not self.has(pair):
            raise CableError(f"a {self.pairs}-pair cable has pairs 1 to {self.pairs}, not {pair}")
        group, index = divmod(pair - 1, PAIRS_PER_GROUP)
        return Address(pair=pair, position=index + 1, colours=colours_of(index + 1), group=self.group(group + 1))

    def groups_marked(self, *, in_super_unit: int | None = None, super_unit: int | None = None) -> tuple[int, ...]:
        """List the groups that a place in the super-unit, a super-unit, or both leave possible."""
        return tuple(
            number
            for number in range(1, self.groups + 1)
            if (in_super_unit is None or (number - 1) % GROUPS_PER_SUPER_UNIT + 1 == in_super_unit)
            and (super_unit is None or (number - 1) // GROUPS_PER_SUPER_UNIT + 1 == super_unit)
        )

    def pair_in(self, group: int, colours: Colours) -> int | None:
        """Give the pair of these colours in a group, or None where the cable ends before it."""
        pair = (group - 1) * PAIRS_PER_GROUP + position_of(colours)
        return pair if 1 <= group <= self.groups and self.has(pair) else None
