"""Logs that share a splice: what `crew` counts is what a report and a check of the same logs say."""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from assistant.app.cli import main
from assistant.session.journal import DEMO_FOLDER
from tests.account.sessions import NINE, TWO_WAYS, Session


def monday() -> Session:
    return Session(TWO_WAYS, person="one", place="pole 7").typed("yes", "1 blue white", "mark short", "3 green white")


def tuesday() -> Session:
    session = Session(TWO_WAYS, at=NINE + timedelta(days=1), person="two", place="pole 7")
    return session.typed("yes", "go to pair 2", "2 orange white", "go to pair 4", "4 brown white", "mark wet")


def crew(folder: Path, capsys: pytest.CaptureFixture[str]) -> tuple[dict[str, list[dict[str, object]]], str]:
    assert main(["crew", str(folder), "--json"]) == 0
    out, errors = capsys.readouterr()
    found: dict[str, list[dict[str, object]]] = json.loads(out)
    return found, errors


def tally(folder: Path, *logs: Path) -> dict[str, int]:
    out = folder / "x.json"
    assert main(["report", *map(str, logs), "-o", str(out)]) == 0
    found: dict[str, int] = json.loads(out.read_text())["tally"]
    return found


def test_a_joint_of_a_splice_counts_once_and_as_the_report_has_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    logs = [monday().write(tmp_path / "a.jsonl"), tuesday().write(tmp_path / "b.jsonl")]
    reported = tally(tmp_path, *logs)
    capsys.readouterr()
    found, _ = crew(tmp_path, capsys)
    (splice,) = found["splices"]
    assert splice == {
        "splice": "Elm Road, pole 7",
        "logs": 2,
        "to_join": 20,
        "confirmed": reported["confirmed"],
        "joined_faulty": reported["joined_faulty"],
        "faulty": reported["faulty"],
        "left_unfinished": reported["open"] + reported["skipped"],
    }
    assert (reported["confirmed"], reported["joined_faulty"], reported["faulty"]) == (3, 1, 1)
    assert sum(int(str(row["confirmed"])) for row in found["overview"]) == reported["confirmed"]
    assert [(row["person"], row["confirmed"], row["joined_faulty"]) for row in found["by_person"]] == [
        ("one", 2, 0),
        ("two", 1, 1),
    ]


def test_copies_count_once_and_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session = monday()
    session.write(tmp_path / "early.jsonl")
    session.typed("4 brown white").write(tmp_path / "late.jsonl")
    alone, _ = crew_of(tmp_path / "alone", session, capsys)
    found, errors = crew(tmp_path, capsys)
    assert found["splices"][0]["confirmed"] == alone["splices"][0]["confirmed"] == 3
    assert found["pairs_per_hour"] == alone["pairs_per_hour"]
    assert "early.jsonl is the beginning of late.jsonl" in errors


def crew_of(
    folder: Path, session: Session, capsys: pytest.CaptureFixture[str]
) -> tuple[dict[str, list[dict[str, object]]], str]:
    """Roll up one log alone, in a folder that is gone afterwards."""
    folder.mkdir()
    session.write(folder / "late.jsonl")
    found = crew(folder, capsys)
    (folder / "late.jsonl").unlink()
    return found


def test_a_log_that_both_carried_on_counts_its_beginning_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monday().typed("4 brown white").write(tmp_path / "a.jsonl")
    monday().typed("skip pair", "5 slate white").write(tmp_path / "b.jsonl")
    found, errors = crew(tmp_path, capsys)
    assert found["splices"][0]["confirmed"] == 4, "1 and 3 of the beginning, 4 of the one, 5 of the other"
    assert "are one log up to record 5" in errors
    assert sum(int(str(row["pairs"])) for row in found["pairs_per_hour"]) == 4


def test_a_damaged_log_counts_as_far_as_it_is_proven_and_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "a.jsonl"
    log.write_bytes(monday().typed("4 brown white").data().replace(b"3 green", b"3 greem"))
    reported = tally(tmp_path, log)
    capsys.readouterr()
    found, errors = crew(tmp_path, capsys)
    assert found["splices"][0]["confirmed"] == reported["confirmed"] == 2, "3 is lost"
    assert "a.jsonl: record 5 is lost" in errors
    assert main(["replay", "--check", str(log)]) == 1
    assert f"{reported['confirmed']} confirmed, 1 faulty" in capsys.readouterr().out


def test_logs_of_other_places_are_other_splices(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for place in ("pole 14", "pole 15"):
        Session(cable=25, place=place).typed("1 blue white").write(tmp_path / f"{place}.jsonl")
    found, _ = crew(tmp_path, capsys)
    assert [(row["splice"], row["confirmed"], row["left_unfinished"]) for row in found["splices"]] == [
        ("pairs 1 to 25 of 25, pole 14", 1, 24),
        ("pairs 1 to 25 of 25, pole 15", 1, 24),
    ]


def test_a_demonstration_is_no_work(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    monday().write(tmp_path / "a.jsonl")
    before, _ = crew(tmp_path, capsys)
    (tmp_path / DEMO_FOLDER).mkdir()
    Session(cable=50).typed("1 blue white").write(tmp_path / DEMO_FOLDER / "session.jsonl")
    assert crew(tmp_path, capsys)[0] == before
