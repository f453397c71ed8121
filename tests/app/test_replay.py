"""`replay` from outside: the session as it went, its checks, its inputs again, its sound forgotten."""

import json
from pathlib import Path

import numpy as np
import pytest

from assistant.adapters.kept_sound import FlacFolder, sound_name, sounds_folder
from assistant.app.cli import main
from assistant.dialogue.messages import BEFORE_NUMBERS, EarReading, Heard
from tests.account.sessions import NINE, TWO_WAYS, Session
from tests.dialogue.conversation import resume

PARTS = ("straight-50-pair", "keypad-25-pair", "questions", "aerial-50-plan", "transfer-keys", "main-900-plan")
DEMOS = Path(__file__).parents[2] / "demo_sessions"


def replay(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, list[str]]:
    code = main(["replay", *map(str, arguments)])
    return code, capsys.readouterr().out.splitlines()


@pytest.fixture
def log(tmp_path: Path) -> Path:
    session = Session(TWO_WAYS).typed("yes", "1 blue white", "pair 9 brown red", "2 orange white", "undo that")
    return session.typed("mark wet", "3 green white").write(tmp_path / "a.jsonl")


def heard(words: str, sound_sha256: str = "") -> Heard:
    reading = EarReading(ear="test", words=words, margin=5.0, likelihood_ratio=0.0, confidence=None)
    after = BEFORE_NUMBERS
    return Heard(judgement="accepted", words=words, readings=(reading,), after=after, sound_sha256=sound_sha256)


def test_day_and_person_stand_where_they_change(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session = Session(cable=25, person="one").typed("1 blue white", "2 orange white").left()
    session.put(resume(person="two"), after_s=60).typed("3 green white").typed("4 brown white", after_s=15 * 3600)
    _, lines = replay(capsys, session.write(tmp_path / "a.jsonl"))
    headings = {line: lines[at + 1] for at, line in enumerate(lines) if line.startswith("-- ")}
    assert list(headings) == ["-- 2026-11-25, one", "-- 2026-11-25, two", "-- 2026-11-26, two"]
    assert headings["-- 2026-11-26, two"].endswith("> 4 brown white [typed]")
    _, some = replay(capsys, tmp_path / "a.jsonl", "--from", "2026-11-26")
    assert some[0] == "-- 2026-11-26, two"


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"", "is empty; give the log of a session"),
        (b"\n", "is empty; give the log of a session"),
        (b"hello\nworld\n", "it is no log of this program"),
        (b'{"a": 1}\n', "it is no log of this program"),
        (b"\xff\x00\x1b" * 99, "it is no log of this program"),
    ],
)
@pytest.mark.parametrize("how", [[], ["--check"], ["--rerun"], ["--forget-sound"]])
def test_empty_and_foreign_files_are_called_so(
    content: bytes, line: str, how: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "x.jsonl").write_bytes(content)
    assert main(["replay", str(tmp_path / "x.jsonl"), *how]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert line in err
    assert len(err.splitlines()) == 1


def test_all_that_was_said_comes_back_word_for_word(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, lines = replay(capsys, log)
    said = [text for record in log.read_text().splitlines() for text in _said(json.loads(record))]
    assert code == 0
    assert [line.split("  < ")[1] for line in lines if "  < " in line] == said
    assert "09:00:30  > 1 blue white [typed]" in lines


def _said(record: dict[str, object]) -> list[str]:
    facts = record["facts"]
    assert isinstance(facts, list)
    return [fact["text"] for fact in facts if fact["tag"] in ("said", "repeated")]


@pytest.mark.parametrize(
    ("only", "came"),
    [
        (["mismatches"], ["pair 9 brown red"]),
        (["faults"], ["mark wet"]),
        (["corrections"], ["undo that"]),
        (["corrections", "faults"], ["undo that", "mark wet"]),
        (["notes"], []),
    ],
)
def test_only_what_is_asked_for(
    only: list[str], came: list[str], log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, lines = replay(capsys, log, "--only", *only)
    assert [line.split("  > ")[1].removesuffix(" [typed]") for line in lines if "  > " in line] == came
    assert lines or not came


@pytest.mark.parametrize(
    ("limits", "first", "last"),
    [
        (["--from", "2"], "pair 9 brown red", "3 green white"),
        (["--to", "1"], "(a session begins)", "1 blue white"),
        (["--from", "09:00:40", "--to", "09:00:50"], "pair 9 brown red", "2 orange white"),
        (["--from", "2026-11-25T09:01:00+00:00"], "undo that", "3 green white"),
        (["--from", "2026-11-25 09:01"], "undo that", "3 green white"),
        (["--from", "2026-11-25", "--to", "2026-11-25"], "(a session begins)", "3 green white"),
    ],
)
def test_from_and_to(limits: list[str], first: str, last: str, log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, lines = replay(capsys, log, *limits)
    came = [line.split("  > ")[1].removesuffix(" [typed]") for line in lines if "  > " in line]
    assert came[0] == first
    assert came[-1] == last


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["--from", "99"], "pair 99 is in no step"),
        (["--from", "23:59"], "no step is at or after 23:59"),
        (["--to", "00:01"], "no step is at or before 00:01"),
        (["--from", "noon"], "'noon' is no pair and no time"),
        (["--speed", "-1"], "--speed must be more than 0"),
        (["--key", "k.pem"], "--key goes with --check"),
    ],
)
def test_limits_that_mean_nothing_are_one_line(
    arguments: list[str], line: str, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["replay", str(log), *arguments]) == 2
    errors = capsys.readouterr().err.splitlines()
    assert len(errors) == 1
    assert line in errors[0]


def test_speed_waits_between_steps_and_never_sits_through_a_pause(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    waits: list[float] = []
    monkeypatch.setattr("assistant.app.replay.time.sleep", waits.append)
    log = Session(cable=25).typed("1 blue white", after_s=2).typed("2 orange white", after_s=4000)
    replay(capsys, log.write(tmp_path / "a.jsonl"), "--speed", "4")
    assert waits == [0.0, 0.5, 5.0]


def test_check_tells_a_whole_log(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, lines = replay(capsys, log, "--check")
    assert code == 0
    assert lines[0].startswith("8 records, the chain of checksums holds, last ")
    assert lines[1] == "2 confirmed, 1 faulty, 17 left; not ended, it can be taken up again"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda lines: [*lines[:2], lines[2].replace(b"blue", b"slate"), *lines[3:]], "line 3 record 3 was changed"),
        (lambda lines: [*lines[:2], *lines[3:]], "line 3 is record 4: 1 before it is lost or moved"),
        (lambda lines: [*lines[:3], lines[2], *lines[3:]], "line 4 is record 3 again, or of another log"),
        (
            lambda lines: [*lines[:2], lines[3], lines[2], *lines[4:]],
            "line 3 is record 4: 1 before it is lost or moved",
        ),
        (lambda lines: [*lines[:-1], lines[-1].replace(b"3 green", b"3 slate")], "line 8 record 8 was changed"),
    ],
)
def test_check_names_the_line_that_was_changed(change, told, log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log.write_bytes(b"".join(change(log.read_bytes().splitlines(keepends=True))))
    code, lines = replay(capsys, log, "--check")
    assert code == 1
    assert told in lines[0]


def test_a_last_line_that_was_cut_off_does_not_count_and_is_told(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log.write_bytes(log.read_bytes()[:-9])
    code, lines = replay(capsys, log, "--check")
    assert code == 0
    assert lines[0].startswith("7 records, the chain")
    assert "bytes of a last line that was cut off" in lines[2]


@pytest.mark.parametrize("name", PARTS)
def test_rerun_of_the_shown_sessions_finds_no_difference(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert replay(capsys, DEMOS / name / "session.jsonl", "--rerun") == (
        0,
        ["no difference: today's rules come to the same"],
    )


def test_rerun_shows_what_today_would_be_otherwise(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from dataclasses import replace

    from assistant.dialogue.messages import Said

    session = Session(cable=25).typed("1 blue white")
    session.records[1] = replace(session.records[1], facts=(*session.records[1].facts[:-1], Said("As it was then.")))
    code, lines = replay(capsys, session.write(tmp_path / "a.jsonl"), "--rerun")
    assert code == 1
    assert lines[0] == "record 2: 1 blue white"
    assert "  - {'text': 'As it was then.', 'tag': 'said'}" in lines
    assert any(line.startswith("  + {'text': 'One, blue white, confirmed.") for line in lines)


def with_sound(folder: Path) -> Path:
    log = folder / "a.jsonl"
    sounds = FlacFolder(log)
    session = Session(cable=25, keeps_sound=True)
    for words in ("one blue white", "two orange white"):
        checksum = sounds.take(np.random.default_rng(1).integers(-99, 99, 9000, dtype=np.int16))
        session.put(heard(words, checksum))
        sounds.keep(checksum, len(session.records))
    return session.write(log)


def test_kept_sounds_are_checked_and_can_be_forgotten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = with_sound(tmp_path)
    before = log.read_bytes()
    assert "2 sounds are as recorded" in replay(capsys, log, "--check")[1]
    (sounds_folder(log) / sound_name(2)).write_bytes(b"other")
    code, lines = replay(capsys, log, "--check")
    assert code == 1
    assert any(line.endswith("000002.flac: the sound was changed") for line in lines)
    assert replay(capsys, log, "--forget-sound") == (0, [f"{log}: 2 sound files removed"])
    assert not sounds_folder(log).exists()
    assert log.read_bytes() == before
    code, lines = replay(capsys, log, "--check")
    assert code == 0
    assert "0 sounds are as recorded, 2 lost or forgotten" in lines


def test_the_start_says_that_sound_is_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, lines = replay(capsys, with_sound(tmp_path))
    assert any("Every utterance is kept as sound with the log." in line for line in lines)
    _, lines = replay(capsys, Session(cable=25, at=NINE).write(tmp_path / "b.jsonl"))
    assert not any("kept as sound" in line for line in lines)
