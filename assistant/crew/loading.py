"""Logs -> tables: lines are read by DuckDB itself, plans by our own reader, the rest is SQL in `steps`."""

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.crew.logs import FoundLog, JointRow, LeftOut, cabling, roll_up, without_half_characters
from assistant.dialogue.tags import FACT_TAGS
from assistant.errors import AssistantError
from assistant.session.replay import ENTRIES

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

_PATTERN_MARKS = frozenset("*?[]{}\\")
"""Characters by which DuckDB takes a path for a pattern."""
_TABLES = """
CREATE TEMP TABLE files (
    path VARCHAR, log VARCHAR, first_own BIGINT, last BIGINT, records BIGINT, splice VARCHAR, to_join BIGINT
);
CREATE TEMP TABLE standings (
    splice VARCHAR, joint BIGINT, kind VARCHAR, standing VARCHAR, log VARCHAR, confirmed_in BIGINT, how VARCHAR,
    ends VARCHAR, channel VARCHAR, person VARCHAR, faults_left BIGINT
);
CREATE TEMP TABLE entry_tags (tag VARCHAR);
CREATE TEMP TABLE cables (
    cable BIGINT, title VARCHAR, plan_text VARCHAR, cable_pairs BIGINT, first_pair BIGINT, last_pair BIGINT
);
CREATE TEMP TABLE runs (cable BIGINT, first_joint BIGINT, last_joint BIGINT, kind VARCHAR, joined BOOLEAN);
"""
_JOINT_COLUMNS = {
    "splice": "VARCHAR",
    "joint": "BIGINT",
    "kind": "VARCHAR",
    "standing": "VARCHAR",
    "log": "VARCHAR",
    "confirmed_in": "BIGINT",
    "how": "VARCHAR",
    "ends": "VARCHAR",
    "channel": "VARCHAR",
    "person": "VARCHAR",
    "faults_left": "BIGINT",
}
_INCOMPLETE = """
SELECT files.log FROM files LEFT JOIN lines ON lines.log = files.log
    AND lines.input.tag IS DISTINCT FROM 'records-lost'
GROUP BY files.log, files.records HAVING count(lines.number) < files.records
"""


@dataclass(frozen=True, slots=True)
class LoadedTables:
    """What was found in a folder of logs."""

    logs: int
    records: int
    left_out: tuple[LeftOut, ...]
    told: tuple[str, ...]
    """What must be known of the logs, a line each."""


class Loading:
    """Makes the tables on a connection."""

    def __init__(self, connection: "DuckDBPyConnection", work: Path) -> None:
        """Take a connection without tables, and a folder for copies of logs that cannot be read as they lie."""
        self._connection = connection
        self._work = work
        self._copies = 0
        self._kept: dict[str, tuple[bytes, ...]] = {}

    def load(self, folder: Path) -> LoadedTables:
        """Load all logs below a folder.

        Raises:
            AssistantError: there is no folder, or no log in it that can be counted on.

        """
        self._connection.execute(_TABLES)
        splices = list(roll_up(folder))
        left_out = [one for splice in splices for one in splice.left_out]
        logs = {log.name: log for splice in splices for log in splice.logs}
        self._kept = {name: lines for splice in splices for name, lines in splice.lines.items()}
        if logs:
            left_out += self._lines(logs)
        counted = len(logs) - sum(one.path in {log.path for log in logs.values()} for one in left_out)
        if not counted:
            first = left_out[0]
            raise AssistantError(f"{folder}: none of its logs can be counted on; the first, {first.path}, {first.why}")
        self._joints(row for splice in splices for row in splice.joints)
        self._connection.execute(_step("2_openings"))
        self._cables()
        tags = [[FACT_TAGS[entry]] for entry in ENTRIES]
        self._connection.executemany("INSERT INTO entry_tags VALUES (?)", tags)
        self._connection.execute(_step("3_tables"))
        told = tuple(line for splice in splices for line in splice.told)
        return LoadedTables(counted, self._number("SELECT count(*) FROM records"), tuple(left_out), told)

    def _joints(self, rows: Iterable[JointRow]) -> None:
        """Take how the joints stand, as the walk gave it."""
        path = self._work / "joints.ndjson"
        path.write_text("".join(json.dumps(asdict(row)) + "\n" for row in rows), encoding="ascii")
        if path.stat().st_size:
            columns = ", ".join(f"{name}: '{kind}'" for name, kind in _JOINT_COLUMNS.items())
            self._connection.execute(
                f"INSERT INTO standings SELECT * FROM read_ndjson($path, columns = {{{columns}}})",  # noqa: S608
                {"path": str(path)},
            )

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
        fields = ("name", "first", "last", "count", "splice", "to_join")
        columns = [[path for path, _ in logs], *([getattr(log, field) for _, log in logs] for field in fields)]
        kinds = ("VARCHAR", "VARCHAR", "BIGINT", "BIGINT", "BIGINT", "VARCHAR", "BIGINT")
        self._connection.execute(
            f"INSERT INTO files SELECT {', '.join(f'unnest(?::{kind}[])' for kind in kinds)}",
            columns,
        )
        self._connection.execute(into + _step("1_lines"), {"paths": columns[0]})

    def _readable(self, log: FoundLog) -> str:
        """Give a path that DuckDB reads exactly the whole records from."""
        path = str(log.path.absolute())
        plain = path.isprintable() and not _PATTERN_MARKS & set(path)
        return path if plain and log.is_plain else self._copy(log)

    def _copy(self, log: FoundLog) -> str:
        """Copy the whole records of a log in clean text."""
        self._copies += 1
        path = self._work / f"{self._copies}.jsonl"
        with path.open("wb") as target:
            for line in self._kept.get(log.name) or log.path.read_bytes().splitlines(keepends=True):
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
