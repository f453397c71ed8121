"""Each question on logs of shifts by chance, against the same figures counted in plain Python; and from Parquet."""

import importlib.util
import json
import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

import pytest

from assistant.crew.database import TABLES, Database, QueryResult, of_logs, of_parquet
from assistant.crew.tables import questions
from assistant.dialogue.messages import Check, Fact, Undone
from assistant.dialogue.state import State, evolve, initial
from assistant.session.record import Record
from assistant.session.replay import ENTRIES
from tests.account.sessions import TWO_WAYS
from tests.account.sessions import Session as TypedSession
from tests.bench.distributed import plain
from tests.crew.plain import COUNTS, Session
from tests.crew.shifts import log_bytes, shift

SHIFTS = 70
MUST_RUN = "SPLICE_ASSISTANT_ENGINES"
"""Environment variable under which a missing engine is a failure."""
QUESTIONS = {question.name: question for question in questions()}


@dataclass(frozen=True)
class Rolled:
    """A folder of logs with what is in it, loaded in both ways."""

    sessions: dict[str, Session]
    logs: Database
    parquet: Database
    folder: Path
    """Of the Parquet."""


@pytest.fixture(scope="module")
def rolled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rolled]:
    folder, kept = tmp_path_factory.mktemp("logs"), tmp_path_factory.mktemp("parquet")
    sessions: dict[str, Session] = {}
    for seed in range(SHIFTS):
        records = shift(seed, 300 if seed % 8 == 0 else 60)
        path = folder / f"week {seed % 3}" / f"{seed:02}.jsonl"
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(log_bytes(records))
        sessions[str(path.relative_to(folder))] = Session(records)
    with of_logs(folder, kept) as (logs, loaded), of_parquet(kept) as parquet:
        assert (loaded.logs, loaded.left_out) == (SHIFTS, ())
        assert loaded.records == sum(len(session.records) for session in sessions.values())
        yield Rolled(sessions, logs, parquet, kept)


def ask(database: Database, name: str) -> QueryResult:
    return database.ask(QUESTIONS[name].query, name)


def test_every_question_is_counted_here() -> None:
    assert set(QUESTIONS) == set(COUNTS)


@pytest.mark.parametrize("name", sorted(COUNTS))
def test_a_question_is_answered_as_counted_in_plain_python(name: str, rolled: Rolled) -> None:
    answer, counted = ask(rolled.logs, name).rows, COUNTS[name](rolled.sessions)
    assert len(answer) == len(counted) > 2
    for row, expected in zip(answer, counted, strict=True):
        assert len(row) == len(expected)
        for found, wanted in zip(row, expected, strict=True):
            if isinstance(wanted, float):
                assert found == pytest.approx(wanted, abs=0.050001), (row, expected)  # rounded to a tenth
            else:
                assert found == wanted, (row, expected)


@pytest.mark.parametrize("name", sorted(COUNTS))
def test_the_same_query_on_parquet_gives_equal_rows(name: str, rolled: Rolled) -> None:
    assert ask(rolled.parquet, name) == ask(rolled.logs, name)


@pytest.mark.parametrize("name", sorted(COUNTS))
def test_the_same_query_on_another_engine_gives_equal_rows(name: str, rolled: Rolled) -> None:
    """SQLite knows nothing of DuckDB's own words; times are text there, true and false are 1 and 0."""
    with closing(sqlite3.connect(":memory:")) as other:
        for table in TABLES:
            found = rolled.parquet.ask(f"SELECT * FROM {table}", table)
            other.execute(f"CREATE TABLE {table} ({', '.join(found.columns)})")
            marks = ", ".join("?" * len(found.columns))
            rows = [[plain(value) for value in row] for row in found.rows]
            other.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)
        rows_there = other.execute(QUESTIONS[name].query).fetchall()
    assert_equal_rows(rows_there, ask(rolled.parquet, name))


def assert_equal_rows(rows_there: Sequence[Sequence[object]], answer: QueryResult) -> None:
    rows_here = [tuple(plain(value) for value in row) for row in answer.rows]
    assert len(rows_there) == len(rows_here)
    for there, here in zip(rows_there, rows_here, strict=True):
        assert len(there) == len(here)
        for value, wanted in zip(there, here, strict=True):
            assert value == (pytest.approx(wanted, abs=0.100001) if isinstance(wanted, float) else wanted)


@pytest.mark.engines
def test_the_same_queries_on_a_distributed_engine_give_equal_rows(rolled: Rolled) -> None:
    """Sail, with a driver and two workers, takes Spark's SQL and the files as they are."""
    if importlib.util.find_spec("pysail") is None or importlib.util.find_spec("pyspark") is None:
        if MUST_RUN in os.environ:
            pytest.fail("the distributed engine is to be asked, and the extra 'engines' is missing")
        pytest.skip("the extra 'engines' is not installed")
    command = [sys.executable, "-m", "tests.bench.distributed", str(rolled.folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(done.stdout.splitlines()[-1])["questions"]
    assert set(found) == set(QUESTIONS)
    for name, there in found.items():
        assert_equal_rows(there["rows"], ask(rolled.parquet, name))


def test_the_shifts_have_all_that_is_counted(rolled: Rolled) -> None:
    """What never happens in them would be counted right by any query."""
    rows = {name: ask(rolled.logs, name).rows for name in QUESTIONS}
    assert {row[0] for row in rows["pairs_per_hour"]} >= {"straight", "transfer", "half-tap", "(after the last pair)"}
    assert sum(row[2] for row in rows["pairs_per_hour"]) > 0
    assert {row[1] for row in rows["how_confirmed"]} == {check.value for check in Check}
    assert {row[1] for row in rows["ends_named"]} >= {"near", "both", "none"}
    assert all(any(row[column] for row in rows["mismatches_and_faults"]) for column in range(1, 7))
    assert all(all(row[column] for row in rows["hearing_by_microphone"]) for column in range(1, 7))
    assert all(any(row[column] for row in rows["asked_back_by_person"]) for column in range(1, 8))
    assert all(any(row[column] for row in rows["overview"]) for column in range(6, 11))
    assert {row[11] for row in rows["overview"]} == {"yes", "no"}
    assert any(session.opened.settings.asking for session in rolled.sessions.values())
    assert any("(not given)" in row for row in rows["overview"])


def depth(state: State) -> int:
    """Give how many entries can be undone."""
    found, point = 0, state.undo
    while point is not None:
        found, point = found + 1, point.before
    return found


def test_entries_are_the_facts_that_can_be_undone(rolled: Rolled) -> None:
    seen: set[type[Fact]] = set()
    words = (
        "1 blue white",
        "use spare pair 12 for pair 2",
        "yes",
        "add a joint pair 11",
        "yes",
        "put off no access pair 3",
        "yes",
        "mark reversal pair 4",
        "tag reversal pair 4",
    )
    as_built = TypedSession(cable=12, last=10).typed(*words, "yes").records
    for records in [as_built, *(session.records for session in rolled.sessions.values())]:
        state = initial()
        for fact in facts_of(records):
            after = evolve(state, fact)
            if not isinstance(fact, Undone) and state.opened:
                assert (depth(after) == depth(state) + 1) == isinstance(fact, ENTRIES), fact
                seen.add(type(fact))
            state = after
    assert seen >= set(ENTRIES)
    assert seen <= set(get_args(Fact))


def test_what_was_built_otherwise_counts_as_what_it_is(tmp_path: Path) -> None:
    """Worked out by hand: two joints were made, one of them with a spare in place of a bad pair."""
    words = ("yes", "1 blue white", "use spare pair 23 for pair 2 cable one", "yes", "23 green violet")
    TypedSession(TWO_WAYS, place="pole 7").typed(*words).write(tmp_path / "a.jsonl")
    with of_logs(tmp_path, None) as (logs, _):
        rows = ask(logs, "how_confirmed").rows
    assert [(row[0], row[2]) for row in rows] == [("transfer", 2)]


def facts_of(records: list[Record]) -> Iterator[Fact]:
    return (fact for record in records for fact in record.facts)
