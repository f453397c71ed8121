"""The questions that come with the program, and answers printed as tables, CSV or JSON."""

import csv
import io
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from importlib.resources import files
from typing import Any

from assistant.crew.database import QueryResult
from assistant.texts import REPLACED, csv_cell, harmless

GAP = "  "
MOST_WIDE = 100
"""Signs in a line of a table."""
MOST_TEXT = 44
"""Signs of a text in a table; longer ones stand in full in --csv and --json."""


@dataclass(frozen=True, slots=True)
class FigureQuery:
    """A query with its name."""

    name: str
    title: str
    """What it asks: the first line of its comment."""
    query: str


def questions() -> tuple[FigureQuery, ...]:
    """Give the questions that come with the program, by name."""
    found = [path for path in (files("assistant.crew") / "queries").iterdir() if path.name.endswith(".sql")]
    return tuple(question(path.name[:-4], path.read_text("utf-8")) for path in sorted(found, key=lambda p: p.name))


def question(name: str, query: str) -> FigureQuery:
    """Give a query the title that its first line has, where that is a comment."""
    first = query.lstrip().split("\n", 1)[0].strip()
    return FigureQuery(name, first.removeprefix("--").strip() if first.startswith("--") else name, query)


def as_tables(answers: Iterable[tuple[FigureQuery, QueryResult]]) -> str:
    """Print answers for people: numbers to the right, a line below the heads."""
    return "\n\n".join(f"{clean(asked.title)}\n\n{_table(answer)}" for asked, answer in answers)


def _table(answer: QueryResult) -> str:
    """Give a table; where a line would have more than `MOST_WIDE` signs, the first column with the others in turn."""
    heads = [clean(column).split("_") for column in answer.columns]
    rows = [[_cell(value) for value in row] for row in answer.rows]
    widths = []
    for at, head in enumerate(heads):
        widest = max((len(row[at]) for row in rows), default=0)
        widths.append(max(min(widest, MOST_TEXT), *(len(word) for word in head)))
    right = [any(isinstance(row[at], int | float | Decimal) for row in answer.rows) for at in range(len(heads))]
    blocks: list[list[int]] = [[0]]
    for at in range(1, len(heads)):
        if sum(widths[one] + len(GAP) for one in blocks[-1]) + widths[at] > MOST_WIDE and len(blocks[-1]) > 1:
            blocks.append([0])
        blocks[-1].append(at)
    return "\n\n".join(_block(block, heads, rows, widths, right) for block in blocks)


def _block(
    columns: list[int], heads: list[list[str]], rows: list[list[str]], widths: list[int], right: list[bool]
) -> str:
    high = max(len(heads[at]) for at in columns)

    def line(cells: Sequence[str]) -> str:
        placed = (
            cells[at].rjust(widths[at]) if right[at] else _shortened(cells[at], widths[at]).ljust(widths[at])
            for at in columns
        )
        return GAP.join(placed).rstrip()

    tops = [[head[at - high] if at - high >= -len(head) else "" for head in heads] for at in range(high)]
    body = [line(row) for row in rows] or ["(none)"]
    return "\n".join([*map(line, tops), GAP.join("-" * widths[at] for at in columns), *body])


def _shortened(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "\N{HORIZONTAL ELLIPSIS}"


def _cell(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, datetime):
        return value.isoformat(" ", "minutes")
    return clean(f"{value:,}" if isinstance(value, int) and not isinstance(value, bool) else str(value))


def clean(text: str) -> str:
    """Keep text from a log to one line, and from steering the terminal."""
    return harmless(text).replace("\n", REPLACED)


def as_csv(answers: Sequence[tuple[FigureQuery, QueryResult]]) -> str:
    """Print answers as CSV; several are set apart by an empty line, each below its name."""
    return "\n".join(_csv(answer, asked.name if len(answers) > 1 else "") for asked, answer in answers)


def _csv(answer: QueryResult, name: str) -> str:
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    if name:
        rows.writerow([name])
    rows.writerow(answer.columns)
    rows.writerows([csv_cell(value) for value in row] for row in answer.rows)
    return text.getvalue()


def as_json(answers: Iterable[tuple[FigureQuery, QueryResult]]) -> str:
    """Print answers as one object: name of the question -> rows, each an object; times as ISO 8601."""
    found = {
        asked.name: [
            {column: _plain(value) for column, value in zip(answer.columns, row, strict=True)} for row in answer.rows
        ]
        for asked, answer in answers
    }
    return json.dumps(found, default=str)


def _plain(value: Any) -> Any:
    return value.isoformat(timespec="milliseconds") if isinstance(value, datetime) else value
