"""The published tables under `tests/data/reference`, as rows; each file names its source in its first lines."""

import csv
from pathlib import Path

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    """Read a table, whose first lines are remarks; refuses an empty one, so that no check passes on nothing."""
    lines = (DATA / "reference" / name).read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# source:"), f"{name} names no source"
    found = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert found, f"{name} has no rows"
    return found
