"""`crew` from outside: its forms, its own queries, and one clear line for every kind of bad input."""

import csv
import io
import json
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from assistant.app.cli import main
from assistant.crew.tables import questions
from assistant.dialogue.messages import BEFORE_NUMBERS, Input, KeysPressed, Typed
from assistant.mending import install_command
from assistant.session.record import Record
from tests.crew.shifts import log_bytes
from tests.dialogue.conversation import Conversation, start, utterance

BEGAN = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
DAY: list[tuple[int, Input]] = [
    (60, utterance("pair one blue white", after=BEFORE_NUMBERS)),
    (60, utterance("orange white", after=BEFORE_NUMBERS)),
    (60, utterance("slate violet", after=BEFORE_NUMBERS)),  # a mismatch: three is expected
    (60, utterance("pair three", "ask back", BEFORE_NUMBERS)),
    (60, utterance("yes", after=BEFORE_NUMBERS)),  # three is confirmed by its number, in a minute
    (601, KeysPressed("+", BEFORE_NUMBERS)),  # a pause; four by key
    (600, Typed("undo that", BEFORE_NUMBERS)),  # four is taken back
    (60, utterance("", "ignored", BEFORE_NUMBERS)),
    (60, utterance("four brown white", after=BEFORE_NUMBERS)),
    (60, Typed("redo pair 1", BEFORE_NUMBERS)),
    (60, Typed("go to pair 1", BEFORE_NUMBERS)),
    (60, Typed("1 blue white", BEFORE_NUMBERS)),  # one again, surely
    (60, Typed("mark open pair 2", BEFORE_NUMBERS)),
    (60, Typed("mark short pair 3", BEFORE_NUMBERS)),
    (60, Typed("clear short pair 3", BEFORE_NUMBERS)),
]
"""Seconds after the entry before, and the entry: what a person may count with a finger."""


def the_day() -> list[Record]:
    talk = Conversation(25, person="Ada", microphone="Boom")
    request = start(25, person="Ada", microphone="Boom")
    records = [Record(number=1, at=BEGAN.isoformat(), input=request, facts=tuple(talk.facts))]
    at = BEGAN
    for seconds, came in DAY:
        at += timedelta(seconds=seconds)
        records.append(Record(number=len(records) + 1, at=at.isoformat(), input=came, facts=talk.put(came).facts))
    return records


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "day.jsonl").write_bytes(log_bytes(the_day()))
    return tmp_path / "logs"


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    code = main(["crew", *map(str, arguments)])
    out, err = capsys.readouterr()
    return code, out, err


def test_a_day_counted_by_hand(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The working time is 5, 10 and 5 minutes up to the last confirmation, and 3 more; the pause does not count."""
    code, out, err = run(capsys, folder, "--json")
    found = json.loads(out)
    assert (code, err) == (0, "Logs: 1, records: 16\n")
    assert found["pairs_per_hour"] == [
        {"kind": "(after the last pair)", "pairs": 0, "made_again": 0, "hours": 0.05, "pairs_per_hour": None},
        {"kind": "straight", "pairs": 4, "made_again": 1, "hours": 0.33, "pairs_per_hour": 12.0},
    ]
    assert [(row["how"], row["pairs"], row["percent_of_kind"]) for row in found["how_confirmed"]] == [
        ("number+colours", 2, 50.0),
        ("colours", 1, 25.0),
        ("number", 1, 25.0),
    ]
    assert found["mismatches_and_faults"] == [
        {
            "kind": "straight",
            "pairs": 4,
            "mismatches": 1,
            "mismatches_per_thousand": 250.0,
            "faults": 2,
            "faults_per_thousand": 500.0,
            "faults_left": 1,
        }
    ]
    assert [list(row.values()) for row in found["hearing_by_microphone"]] == [["Boom", 1, 7, 71.4, 14.3, 14.3, 0.0]]
    assert [list(row.values()) for row in found["asked_back_by_person"]] == [["Ada", 4, 7, 1, 1, 0, 0, 14.3]]
    (log,) = found["overview"]
    assert (log["first_utc"], log["last_utc"]) == ("2026-03-02T08:00:00.000", "2026-03-02T08:33:01.000")
    assert (log["hours"], log["confirmed"], log["joined_faulty"], log["faulty"]) == (0.38, 3, 1, 0)
    (splice,) = found["splices"]
    assert (splice["to_join"], splice["confirmed"], splice["left_unfinished"]) == (25, 3, 21)
    assert (log["cable"], log["place"]) == ("25-pair cable, pairs 1 to 25", "(not given)")


def test_a_table_is_at_most_a_hundred_signs_wide_and_loses_no_column(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / f"{'a long name ' * 9}.jsonl").write_bytes(
        (folder / "day.jsonl").read_bytes().replace(b"Ada", b"Bo " * 30)
    )
    (folder / "day.jsonl").rename(folder / f"{'another name ' * 9}.jsonl")
    out = run(capsys, folder)[1]
    assert max(map(len, out.splitlines())) <= 100
    for name in json.loads(run(capsys, folder, "--json")[1])["overview"][0]:
        assert all(word in out for word in name.split("_")), name


def test_the_csv_has_whole_seconds_of_utc_and_no_cell_that_is_computed(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    query = tmp_path / "mine.sql"
    query.write_text("SELECT opened_at_utc, '=1+1' AS text, ended, chr(8238) || 'x' AS turned FROM sessions")
    out = run(capsys, folder, "--sql", query, "--csv")[1]
    assert out == "opened_at_utc,text,ended,turned\n2026-03-02T08:00:00Z,'=1+1,false,x\n"


def test_no_bar_of_progress_is_printed_between_the_rows(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    query = tmp_path / "mine.sql"
    query.write_text("SELECT current_setting('enable_progress_bar') AS bar")
    assert run(capsys, folder, "--sql", query, "--csv")[1] == "bar\nfalse\n"


def test_the_help_says_what_a_query_can_reach(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["crew", "--help"])
    assert "no file, no network and no setting" in " ".join(capsys.readouterr().out.split())


def test_tables_and_csv_say_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, text = run(capsys, folder)[1], run(capsys, folder, "--csv")[1]
    for question in questions():
        assert question.title in table
    blocks = [list(csv.reader(io.StringIO(block))) for block in text.split("\n\n")]
    assert [block[0] for block in blocks] == [[question.name] for question in questions()]
    assert all(len({len(row) for row in block[1:]}) == 1 for block in blocks)
    assert next(block for block in blocks if block[0] == ["pairs_per_hour"])[3] == [
        "straight",
        "4",
        "1",
        "0.33",
        "12.0",
    ]


def test_from_parquet_prints_the_same(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = tmp_path / "kept" / "here"
    code, out, err = run(capsys, folder, "--parquet", kept)
    assert (code, err) == (0, f"Logs: 1, records: 16\nParquet: {kept}\n")
    assert sorted(path.name for path in kept.iterdir()) == [
        f"{table}.parquet" for table in ("facts", "joints", "records", "sessions")
    ]
    assert run(capsys, kept, "--from-parquet") == (0, out, "")


def test_a_query_of_ones_own(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    query = tmp_path / "mine.sql"
    query.write_text("-- Facts by name\nSELECT tag, COUNT(*) AS n FROM facts WHERE taken_back GROUP BY tag;\n")
    assert run(capsys, folder, "--sql", query, "--csv")[1] == "tag,n\npair-confirmed,1\n"
    assert run(capsys, folder, "--sql", query)[1].startswith("Facts by name\n")


@pytest.mark.parametrize(
    ("query", "wrong"),
    [
        ("SELECT", "cannot be run"),
        ("SELECT * FROM nowhere", "nowhere"),
        ("", "is not one SELECT"),
        ("SELECT 1; SELECT 2", "is not one SELECT"),
        ("DROP TABLE facts", "is not one SELECT"),
        ("COPY facts TO 'out.csv'", "is not one SELECT"),
        ("INSTALL httpfs", "is not one SELECT"),
        ("ATTACH 'other.db'", "is not one SELECT"),
        ("SELECT * FROM read_text('/etc/hostname')", "cannot be run"),
        ("SELECT * FROM read_csv('https://example.org/a.csv')", "cannot be run"),
        ("SELECT 1 / 'a'", "cannot be run"),
    ],
)
def test_a_query_that_cannot_be_run_is_one_line(
    query: str, wrong: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "mine.sql"
    path.write_text(query)
    code, out, err = run(capsys, folder, "--sql", path)
    assert (code, out) == (2, "")
    last = err.splitlines()[-1]
    assert last.startswith(f"splice-assistant: {path}: ")
    assert wrong in last
    assert len(err.splitlines()) == 2  # after the line of what was read


def test_logs_that_do_not_count_are_named_on_stderr(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = run(capsys, folder)[1]
    headless = (folder / "day.jsonl").read_bytes().split(b"\n", 1)[1]
    (folder / "bad.jsonl").write_bytes(headless)
    code, out, err = run(capsys, folder)
    assert (code, out) == (0, before)
    assert err.splitlines()[0].startswith(
        f"splice-assistant: crew: left out of the figures: {folder / 'bad.jsonl'}: its beginning is lost"
    )


def test_bad_folders_are_one_line(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    half = tmp_path / "half"
    half.mkdir()
    for table in ("sessions", "records", "facts"):
        (half / f"{table}.parquet").write_bytes(b"PAR1 no")
    no_text = tmp_path / "a.sql"
    no_text.write_bytes(b"\xff")
    for arguments, wrong in (
        ([empty], f"{empty}: holds no log (*.jsonl)"),
        ([tmp_path / "nowhere"], "is no folder"),
        ([folder / "day.jsonl"], "is no folder"),
        ([empty, "--from-parquet"], "there is no such file; write it with crew DIR --parquet"),
        ([half, "--from-parquet"], "sessions.parquet: cannot be read"),
        ([folder, "--parquet", folder / "sub"], "lies in the folder of the logs"),
        ([folder, "--parquet", folder], "lies in the folder of the logs"),
        ([folder, "--parquet", no_text], f"{no_text}: cannot be written"),
        ([folder, "--sql", tmp_path / "none.sql"], "none.sql: cannot be read"),
        ([folder, "--sql", no_text], "is no text in UTF-8"),
    ):
        code, out, err = run(capsys, *arguments)
        assert (code, out) == (2, ""), arguments
        assert err.count("\n") == 1
        assert err.startswith("splice-assistant: ")
        assert wrong in err
    assert [path.name for path in folder.iterdir()] == ["day.jsonl"]


def test_parquet_of_other_tables_is_one_line(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = tmp_path / "kept"
    run(capsys, folder, "--parquet", kept)
    (kept / "facts.parquet").write_bytes((kept / "sessions.parquet").read_bytes())
    code, out, err = run(capsys, kept, "--from-parquet")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "cannot be run" in err


def test_without_duckdb_it_says_what_to_install(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "duckdb", None)
    for more in ((), ("--from-parquet",)):
        code, out, err = run(capsys, folder, *more)
        assert (code, out) == (2, "")
        assert err == f"splice-assistant: crew: DuckDB is not here; {install_command('office')}\n"


def test_text_from_a_log_cannot_steer_the_terminal(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    talk = Conversation(25, person="\x1b[2J\nAda")
    request = start(25, person="\x1b[2J\nAda")
    record = Record(number=1, at=BEGAN.isoformat(), input=request, facts=tuple(talk.facts))
    (folder / "odd.jsonl").write_bytes(log_bytes([record]))
    out = run(capsys, folder)[1]
    assert "\x1b" not in out
    assert "\ufffd[2J\ufffdAda" in out
