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
    rows = [[_cell(value) for value in row] for row in answer.rows]
    heads = [clean(column).replace("_", " ") for column in answer.columns]
    widths = [max(len(row[index]) for row in [heads, *rows]) for index in range(len(heads))]
    right = [any(isinstance(row[index], int | float | Decimal) for row in answer.rows) for index in range(len(heads))]

    def line(cells: Sequence[str]) -> str:
        placed = (
            cell.rjust(width) if at_right else cell.ljust(width)
            for cell, width, at_right in zip(cells, widths, right, strict=True)
        )
        return GAP.join(placed).rstrip()

    body = [line(row) for row in rows] or ["(none)"]
    return "\n".join([line(heads), GAP.join("-" * width for width in widths), *body])


def _cell(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, datetime):
        return value.isoformat(" ", "seconds")
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
