"""Joints side by side as one line: what a card, a record on paper and a page show in place of each joint."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from assistant.account.sides import Side
from assistant.cable.colour_code import PAIRS_PER_GROUP
from assistant.cable.splice_plan import Joint

Placed = tuple[Joint, tuple[Side, ...]]
"""A joint with its pairs in words."""


@dataclass(frozen=True, slots=True)
class Span:
    """Pairs of one end that go on one by one."""

    first: Side
    last: Side

    @property
    def numbers(self) -> str:
        """Their numbers, as in 7 or 1-25."""
        one = self.first.number == self.last.number
        return str(self.first.number) if one else f"{self.first.number}-{self.last.number}"

    @property
    def named(self) -> str:
        """End, count and numbers."""
        return " ".join(part for part in (self.first.end, self.first.count, self.numbers) if part)

    @property
    def colours(self) -> str:
        """Colours of the first and the last pair."""
        one = self.first.number == self.last.number
        return self.first.colours if one else f"{self.first.colours} .. {self.last.colours}"

    @property
    def group(self) -> str:
        """Group and binder; of a run through several groups the first and the last."""
        first, last = _group(self.first), _group(self.last)
        return first if first == last else f"{first} .. {last}"

    @property
    def whole_group(self) -> bool:
        """Whether it is all 25 pairs of one group."""
        return self.last.position - self.first.position == PAIRS_PER_GROUP - 1 and self.first.group == self.last.group


def _group(side: Side) -> str:
    return f"group {side.group} {side.binder}".strip() if side.group else "service"


def runs(
    placed: Sequence[Placed], also: Callable[[int], object] = lambda _: None, *, in_group: bool = False
) -> Iterator[range]:
    """Give joints of one kind and reason whose pairs go on one by one at all ends, as runs of indices.

    Args:
        placed: joints in the order of the work.
        also: what must be alike as well, by index.
        in_group: end a run with its group.

    """

    def key(index: int) -> tuple[object, ...]:
        joint, sides = placed[index]
        steps = tuple(
            (s.end, s.count, s.number - index, s.position - index, s.group if in_group else s.group == 0) for s in sides
        )
        return joint.kind, joint.reason, joint.protect, steps, also(index)

    for _, run in groupby(range(len(placed)), key):
        indices = list(run)
        yield range(indices[0], indices[-1] + 1)


def spans(first: Placed, last: Placed) -> tuple[Span, ...]:
    """Give what the ends of a run have, the end that is called first."""
    return tuple(Span(start, stop) for start, stop in zip(first[1], last[1], strict=True))


def in_words(ends: Sequence[Span]) -> str:
    """Name a run at all ends, with groups and colours where they are not those of the end before."""
    parts, shown = [], ""
    for span in ends:
        where = f" [{span.group}: {span.colours}]"
        parts.append(f"{span.named}{where if where != shown else ''}")
        shown = where
    return " = ".join(parts)


def why(joint: Joint) -> str:
    """Say what a plan adds to a joint: that it is protected and for what, or a reason."""
    return f"PROTECTED: {joint.protect}" if joint.protect else joint.reason
