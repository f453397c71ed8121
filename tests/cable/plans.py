"""A hypothesis strategy for plan texts that can be followed: several ends, counts off the boundary, all kinds."""

from hypothesis import strategies as st

KINDS_OF_TWO = ("straight", "transfer", "half-tap")


@st.composite
def plan_texts(draw: st.DrawFn) -> str:
    """Give a random plan whose pairs are each used once."""
    sizes = draw(st.lists(st.integers(3, 60), min_size=2, max_size=4))
    starts = [draw(st.sampled_from([0, 1, 10, 76, 110, 333])) for _ in sizes]
    lines = ['title = "Random"', f'order = "{draw(st.sampled_from(["listed", "ascending", "descending"]))}"']
    for index, (size, start) in enumerate(zip(sizes, starts, strict=True)):
        lines += ["", "[[end]]", f'name = "end{index}"', f"pairs = {size}"]
        if start:
            lines.append(f'count = "count{index} {start}-{start + size - 1}"')
    free = [draw(st.permutations(range(1, size + 1))) for size in sizes]
    used: list[str] = []
    for _ in range(draw(st.integers(1, 8))):
        kind = draw(st.sampled_from([*KINDS_OF_TWO, "branch", "dead", "spare"]))
        wanted = {"branch": 3, "dead": 1, "spare": 1}.get(kind, 2)
        ends = [end for end in draw(st.permutations(range(len(sizes)))) if free[end]][:wanted]
        if len(ends) < wanted:
            continue
        length = draw(st.integers(1, min(6, *(len(free[end]) for end in ends))))
        lines += ["", "[[join]]", f'kind = "{kind}"']
        for key, end in zip(("from", "to", "branch"), ends, strict=False):
            taken, free[end] = free[end][:length], free[end][length:]
            lines.append(f'{key} = "{_places(end, taken, starts[end])}"')
            if key == "from" and kind not in ("dead", "spare"):
                used.append(_places(end, taken[:1], starts[end]))
    if not used:
        taken, free[0] = free[0][:1], free[0][1:]
        other, free[1] = free[1][:1], free[1][1:]
        if not taken or not other:
            return draw(plan_texts())
        lines += ["", "[[join]]", 'kind = "straight"', f'from = "{_places(0, taken, starts[0])}"']
        lines.append(f'to = "{_places(1, other, starts[1])}"')
        used.append(_places(0, taken, starts[0]))
    for place in draw(st.lists(st.sampled_from(used), max_size=2, unique=True)):
        lines += ["", "[[protect]]", f'pairs = "{place}"', 'reason = "alarm circuit"']
    return "\n".join(lines) + "\n"


def _places(end: int, positions: "list[int] | tuple[int, ...]", start: int) -> str:
    numbers = [p + start - 1 for p in positions] if start else positions
    return f"end{end} {f'count{end}' if start else 'pairs'} {', '.join(map(str, numbers))}"
