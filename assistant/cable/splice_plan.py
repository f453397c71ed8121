"""What is to be spliced, in which order.

Must not know what has been done already, nor how anything is spoken.
"""

from dataclasses import dataclass

from assistant.cable.makeup import Cable, CableError


@dataclass(frozen=True, slots=True, kw_only=True)
class StraightSequence:
    """Pairs first to last of one cable, each joined to the pair of the same number, lowest first.

    Raises:
        CableError: the range is empty or leaves the cable.

    """

    cable: Cable
    first: int
    last: int

    def __post_init__(self) -> None:
        """Refuse a range that the cable does not have."""
        for pair in (self.first, self.last):
            self.cable.address(pair)
        if self.first > self.last:
            raise CableError(f"the sequence runs from {self.first} to {self.last}: give the lower pair first")

    @property
    def pairs(self) -> range:
        """Every pair of the sequence in the order of the work."""
        return range(self.first, self.last + 1)
