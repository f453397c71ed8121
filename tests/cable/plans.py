"""A hypothesis strategy for plan texts that can be followed: several ends, counts off the boundary, all kinds."""

from dataclasses import dataclass

from hypothesis import strategies as st

KINDS_OF_TWO = ("straight", "transfer", "half-tap")
PLACES_OF = {"branch": 3, "dead": 1, "spare": 1}
STARTS = (0, 1, 10, 76, 110, 333)
"""First number of a count; 0 where pairs are called by position."""
SCREENED = (28, 54)


@dataclass(frozen=True)
class Sheath:
    """One end as the plan gives it."""

    name: str
    pairs: int
    screened: bool
    counts: tuple[tuple[str, int, int], ...]
    """Name, first number and length of each count, from the first position on."""

    @property
    def lines(self) -> list[str]:
        found = ["", "[[end]]", f'name = "{self.name}"', f"pairs = {self.pairs}"]
        if self.counts:
            texts = [f"{name} {first}-{first + length - 1}" for name, first, length in self.counts]
            found.append(f'count = "{"; ".join(texts)}"')
        return [*found, "screened = true"] if self.screened else found

    def places(self, positions: list[int]) -> str:
        """Write positions by the one count that they are in, else as positions of the sheath."""
        before = 0
        for name, first, length in self.counts:
            if all(before < position <= before + length for position in positions):
                return f"{self.name} {name} {_listed([first + position - before - 1 for position in positions])}"
            before += length
        return f"{self.name} pairs {_listed(positions)}"


def _listed(numbers: list[int]) -> str:
    return ", ".join(map(str, numbers))


@st.composite
def sheaths(draw: st.DrawFn, name: str, two_counts: bool) -> Sheath:
    """Give an end with no count, one, or two that may have the same numbers and need not fill it."""
    screened = draw(st.integers(0, 4)) == 0
    pairs = draw(st.sampled_from(SCREENED)) if screened else draw(st.integers(3, 60))
    start = draw(st.sampled_from(STARTS))
    if not start:
        return Sheath(name, pairs, screened, ())
    if two_counts and draw(st.booleans()):
        first = draw(st.integers(1, pairs - 1))
        second = draw(st.integers(1, pairs - first))
        other = draw(st.sampled_from(STARTS[1:]))
        return Sheath(name, pairs, screened, (("oak", start, first), ("elm", other, second)))
    return Sheath(name, pairs, screened, (("oak", start, pairs),))


@st.composite
def plan_texts(draw: st.DrawFn, one_lead: bool = False, two_counts: bool = True) -> str:
    """Give a random plan whose pairs are each used once, with at least one joint to be made.

    With `one_lead` all joints are called on the first end. With `two_counts` a sheath may carry two.
    """
    names = [f"end{index}" for index in range(draw(st.integers(2, 4)))]
    ends = [draw(sheaths(name, two_counts)) for name in names]
    order = draw(st.sampled_from(["listed", "ascending", "descending"]))
    work = draw(st.sampled_from(["single", "module"]))
    lines = ['title = "Random"', f'order = "{order}"', f'joints = "{work}"']
    for end in ends:
        lines += end.lines
        lines += ['naming = "tip-first"'] if draw(st.booleans()) else []
    free = [draw(st.permutations(range(1, end.pairs + 1))) for end in ends]
    joined: list[str] = []
    kinds = st.sampled_from([*KINDS_OF_TWO, "branch", "dead", "spare"])
    for kind in ["straight", *draw(st.lists(kinds, max_size=7))]:
        wanted = PLACES_OF.get(kind, 2)
        turn = [0, *draw(st.permutations(range(1, len(ends))))] if one_lead else draw(st.permutations(range(len(ends))))
        taken_from = [end for end in turn if free[end]][:wanted]
        if len(taken_from) < wanted or (one_lead and taken_from[0] != 0):
            continue
        length = draw(st.integers(1, min(6, *(len(free[end]) for end in taken_from))))
        lines += ["", "[[join]]", f'kind = "{kind}"']
        for key, index in zip(("from", "to", "branch"), taken_from, strict=False):
            taken, free[index] = list(free[index][:length]), free[index][length:]
            lines.append(f'{key} = "{ends[index].places(taken)}"')
            if kind not in ("dead", "spare"):
                joined.append(ends[index].places(taken[:1]))
        lines += ['reason = "cut off"'] if kind == "dead" and draw(st.booleans()) else []
    for place in draw(st.lists(st.sampled_from(joined), max_size=2, unique=True)):
        lines += ["", "[[protect]]", f'pairs = "{place}"', 'reason = "alarm circuit"']
    return "\n".join(lines) + "\n"
