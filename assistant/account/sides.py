"""One pair of a joint in words for reading: end, count, number, colours, group."""

from dataclasses import dataclass

from assistant.cable.colour_code import Colours, Order, ServiceColours
from assistant.cable.splice_plan import Place, Plan
from assistant.dialogue import naming


@dataclass(frozen=True, slots=True)
class Side:
    """One pair of a joint, in words for reading."""

    end: str
    count: str
    number: int
    position: int
    colours: str
    group: int
    """Through the whole cable; 0 for service pairs."""
    binder: str

    def __str__(self) -> str:
        """Name it for a reader."""
        named = " ".join(part for part in (self.end, self.count, str(self.number)) if part)
        return f"{named} {self.colours}".strip()


def side(plan: Plan, place: Place, order: Order) -> Side:
    """Describe one pair of a joint."""
    end, address = plan.end_of(place), plan.address(place)
    count, number = end.called(place.position)
    group = address.group
    return Side(
        end=end.name,
        count="service" if group.service else count or "pair",
        number=address.position if group.service else number,
        position=place.position,
        colours=_colours(address.colours, end.order or order),
        group=0 if group.service else group.number,
        binder=_colours(group.binder, end.order or order) if group.binder else "",
    )


def _colours(pair: Colours | ServiceColours | None, order: Order) -> str:
    return naming.colours(pair, order) if pair else ""
