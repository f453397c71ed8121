"""Logs -> tables: lines are read by DuckDB itself, plans by our own reader, the rest is SQL in `steps`."""

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.crew.logs import FoundLog, LeftOut, cabling, check_all, without_half_characters
from assistant.dialogue import messages
from assistant.dialogue.tags import FACT_TAGS
from assistant.errors import AssistantError

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

ENTRIES = (
    messages.PairConfirmed,
    messages.FaultMarked,
    messages.FaultCleared,
    messages.Reopened,
    messages.PairSkipped,
    messages.MovedTo,
    messages.PairTested,
)
"""Facts that `undone` takes back, one at a time."""
_PATTERN_MARKS = frozenset("*?[]{}\\")
"""Characters by which DuckDB takes a path for a pattern."""
_TABLES = """
CREATE TEMP TABLE files (path VARCHAR, log VARCHAR, records BIGINT);
CREATE TEMP TABLE entry_tags (tag VARCHAR);
CREATE TEMP TABLE cables (
    cable BIGINT, title VARCHAR, plan_text VARCHAR, cable_pairs BIGINT, first_pair BIGINT, last_pair BIGINT
);
CREATE TEMP TABLE runs (cable BIGINT, first_joint BIGINT, last_joint BIGINT, kind VARCHAR, joined BOOLEAN);
"""
_INCOMPLETE = """
SELECT files.log FROM files LEFT JOIN lines ON lines.log = files.log
GROUP BY files.log, files.records HAVING count(lines.number) < files.records
"""


@dataclass(frozen=True, slots=True)
class LoadedTables:
    """What was found in a folder of logs."""

    logs: int
    records: int
    left_out: tuple[LeftOut, ...]


class Loading:
    """Makes the tables on a connection."""

    def __init__(self, connection: "DuckDBPyConnection", work: Path) -> None:
        """Take a connection without tables, and a folder for copies of logs that cannot be read as they lie."""
        self._connection = connection
        self._work = work
        self._copies = 0

    def load(self, folder: Path) -> LoadedTables:
        """Load all logs below a folder.

        Raises:
            AssistantError: there is no folder, or no log in it that can be counted on.

        """
        found = list(check_all(folder))
        left_out = [one for one in found if isinstance(one, LeftOut)]
        logs = {one.name: one for one in found if isinstance(one, FoundLog)}
        for name in [name for name, log in logs.items() if not log.records]:
            left_out.append(LeftOut(logs.pop(name).path, "holds no whole record"))
        if logs:
            self._connection.execute(_TABLES)
            left_out += self._lines(logs)
        counted = len(found) - len(left_out)
        if not counted:
            first = left_out[0]
            raise AssistantError(f"{folder}: none of its logs can be counted on; the first, {first.path}, {first.why}")
        self._connection.execute(_step("2_openings"))
        self._cables()
        tags = [[FACT_TAGS[entry]] for entry in ENTRIES]
        self._connection.executemany("INSERT INTO entry_tags VALUES (?)", tags)
        self._connection.execute(_step("3_tables"))
        return LoadedTables(counted, self._number("SELECT count(*) FROM records"), tuple(left_out))

    def _lines(self, logs: dict[str, FoundLog]) -> list[LeftOut]:
        """Read all lines; logs with lines that cannot be read are tried once more, in clean text, or left out."""
        self._read("CREATE TEMP TABLE lines AS ", [(self._readable(log), log) for log in logs.values()])
        again = self._incomplete()
        self._forget(again)
        if again:
            self._read("INSERT INTO lines ", [(self._copy(logs[name]), logs[name]) for name in again])
        bad = self._incomplete()
        self._forget(bad)
        return [LeftOut(logs[name].path, "has lines that are no JSON, though their checksums fit") for name in bad]

    def _incomplete(self) -> list[str]:
        return sorted(str(name) for (name,) in self._connection.execute(_INCOMPLETE).fetchall())

    def _forget(self, names: list[str]) -> None:
        self._connection.execute("DELETE FROM lines WHERE log IN (SELECT unnest(?::VARCHAR[]))", [names])
        self._connection.execute("DELETE FROM files WHERE log IN (SELECT unnest(?::VARCHAR[]))", [names])

    def _read(self, into: str, logs: list[tuple[str, FoundLog]]) -> None:
        columns = ([path for path, _ in logs], [log.name for _, log in logs], [log.records for _, log in logs])
        self._connection.execute(
            "INSERT INTO files SELECT unnest(?::VARCHAR[]), unnest(?::VARCHAR[]), unnest(?::BIGINT[])", list(columns)
        )
        self._connection.execute(into + _step("1_lines"), {"paths": columns[0]})

    def _readable(self, log: FoundLog) -> str:
        """Give a path that DuckDB reads exactly the whole records from."""
        path = str(log.path.absolute())
        plain = path.isprintable() and not _PATTERN_MARKS & set(path)
        return path if plain and not log.torn else self._copy(log)

    def _copy(self, log: FoundLog) -> str:
        """Copy the whole records of a log in clean text."""
        self._copies += 1
        path = self._work / f"{self._copies}.jsonl"
        with log.path.open("rb") as source, path.open("wb") as target:
            left = log.length
            for line in source:
                left -= len(line)
                if left < 0:
                    break
                target.write(without_half_characters(line))
        return str(path)

    def _cables(self) -> None:
        """Read every plan once, and keep which of its joints are of which kind."""
        began = self._connection.execute(
            "SELECT DISTINCT plan_text, cable_pairs, first_pair, last_pair FROM openings ORDER BY ALL"
        ).fetchall()
        cables, runs = [], []
        for number, one in enumerate(began):
            found = cabling(*one)
            cables.append((number, found.title, *one))
            runs += [(number, run.first, run.last, run.kind, run.joined) for run in found.runs]
        if cables:
            self._connection.executemany("INSERT INTO cables VALUES (?, ?, ?, ?, ?, ?)", cables)
        if runs:
            self._connection.executemany("INSERT INTO runs VALUES (?, ?, ?, ?, ?)", runs)

    def _number(self, query: str) -> int:
        row = self._connection.execute(query).fetchone()
        assert row is not None
        return int(row[0])


def _step(name: str) -> str:
    return (files("assistant.crew") / "steps" / f"{name}.sql").read_text(encoding="utf-8")
