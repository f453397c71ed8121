"""The even-count colour code of 25 pairs, and the binder of each group.

Must not know how a colour is spoken or how a cable is built up.
"""

from dataclasses import dataclass
from enum import Enum

PAIRS_PER_GROUP = 25
GROUPS_PER_SUPER_UNIT = 24
"""Violet-slate is left out as a binder so that counting goes in 600s (7 CFR 1755.890)."""


class Tip(Enum):
    """Colours of the first conductor of a pair, in the order of the code."""

    WHITE = "white"
    RED = "red"
    BLACK = "black"
    YELLOW = "yellow"
    VIOLET = "violet"


class Ring(Enum):
    """Colours of the second conductor of a pair, in the order of the code."""

    BLUE = "blue"
    ORANGE = "orange"
    GREEN = "green"
    BROWN = "brown"
    SLATE = "slate"


class Order(Enum):
    """Which colour of two is said first."""

    RING_FIRST = "ring-first"
    TIP_FIRST = "tip-first"


TIPS = tuple(Tip)
RINGS = tuple(Ring)


@dataclass(frozen=True, slots=True)
class Colours:
    """A tip and a ring colour: of a pair inside its group, or of a group's binder."""

    tip: Tip
    ring: Ring


def colours_of(position: int) -> Colours:
    """Give the colours at a position, 1 to 25, of a group.

    Raises:
        ValueError: the position is not 1 to 25.

    """
    if not 1 <= position <= PAIRS_PER_GROUP:
        raise ValueError(f"position in the group must be 1 to {PAIRS_PER_GROUP}, not {position}")
    tip, ring = divmod(position - 1, len(RINGS))
    return Colours(TIPS[tip], RINGS[ring])


def position_of(colours: Colours) -> int:
    """Give the position, 1 to 25, that these colours have in any group."""
    return len(RINGS) * TIPS.index(colours.tip) + RINGS.index(colours.ring) + 1


@dataclass(frozen=True, slots=True)
class ServiceColours:
    """Colours of a service pair of screened cable: both conductors take tip colours."""

    tip: Tip
    ring: Tip


SERVICE_COLOURS: tuple[ServiceColours, ...] = tuple(
    ServiceColours(TIPS[tip], TIPS[ring]) for tip in range(len(TIPS)) for ring in range(tip + 1, len(TIPS))
)[:9]
"""Of service pairs 1 to 9 (7 CFR 1755.890); how those from 10 on are coloured was not found."""


def binder_of(group: int) -> Colours:
    """Give the binder of a group, 1 to 24, inside its super-unit.

    Raises:
        ValueError: the group is not 1 to 24; there is no 25th binder.

    """
    if not 1 <= group <= GROUPS_PER_SUPER_UNIT:
        raise ValueError(f"group in the super-unit must be 1 to {GROUPS_PER_SUPER_UNIT}, not {group}")
    return colours_of(group)


def group_of(binder: Colours) -> int:
    """Give the group, 1 to 24, that a binder marks.

    Raises:
        ValueError: violet-slate, which marks no group.

    """
    group = position_of(binder)
    if group > GROUPS_PER_SUPER_UNIT:
        raise ValueError("violet-slate is not used as a binder")
    return group
