"""The commands from outside: answers, and one clear line for every kind of bad input."""

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.app.cli import main
from assistant.session.journal import load
from tests.tables import rows

HELP = (
    "",
    "work",
    "plan",
    "ask",
    "hear",
    "words",
    "models",
    "tune",
    "settings",
    "devices",
    "keys",
    "check",
    "demo",
    "crew",
)


def run(*arguments: str, stdin: str = "", timeout: float = 60) -> subprocess.CompletedProcess[str]:
    """Run the command as a person would, with no terminal and no sound card."""
    return subprocess.run(
        [sys.executable, "-m", "assistant", *arguments],
        input=stdin,
        capture_output=True,
        text=True,
        timeout=timeout,
        check=False,
        env={**os.environ, "PULSE_SERVER": "unix:/nowhere", "SPLICE_ASSISTANT_MODELS": "/nowhere"},
    )


def ask(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, object]]:
    code = main(["ask", *arguments, "--json"])
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return code, found


@pytest.mark.parametrize("command", HELP)
def test_every_command_has_help(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main([*filter(None, [command]), "--help"])
    assert left.value.code == 0
    assert "usage" in capsys.readouterr().out


@pytest.mark.parametrize("row", rows("pair_colours.csv"), ids=lambda row: row["pair"])
def test_ask_by_colours_in_both_orders(row: dict[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """ANSI/ICEA S-80-576-2002 colour table as reproduced."""
    for text in (f"{row['ring']} {row['tip']}", f"{row['tip']} {row['ring']}"):
        code, found = ask(capsys, text, "--cable", "25")
        assert code == 0
        answer = found["answer"]
        assert isinstance(answer, dict)
        assert (answer["pair"], answer["tip"], answer["ring"]) == (
            int(row["pair"]),
            row["tip"].lower(),
            row["ring"].lower(),
        )
        assert answer["next"] == (int(row["pair"]) + 1 if row["pair"] != "25" else None)


def test_ask_gives_the_full_address(capsys: pytest.CaptureFixture[str]) -> None:
    """Pair 2713 by 7 CFR 1755.890: violet super-unit, 13th group, black-green."""
    _, found = ask(capsys, "twenty seven thirteen")
    assert found["understood"] == {"intent": "pair", "number": 2713}
    assert found["answer"] == {
        "pair": 2713,
        "tip": "black",
        "ring": "green",
        "group": 13,
        "binder": "black-green",
        "super_unit": "violet",
        "group_in_cable": 109,
        "next": 2714,
    }


def test_colours_without_a_group_list_the_candidates(capsys: pytest.CaptureFixture[str]) -> None:
    code, found = ask(capsys, "slate violet", "--cable", "100")
    assert code == 0
    answer = found["answer"]
    assert isinstance(answer, dict)
    assert answer["pair"] is None
    assert [candidate["pair"] for candidate in answer["candidates"]] == [25, 50, 75, 100]


@pytest.mark.parametrize(
    ("text", "understood"),
    [
        ("binder orange white", {"intent": "group", "binder": "white-orange"}),
        ("group three slate violet", {"intent": "pair", "tip": "violet", "ring": "slate", "group": 3}),
        ("go to pair 12", {"intent": "go-to", "of": "pair", "number": 12}),
        ("mark ground pair 7", {"intent": "mark-fault", "fault": "ground", "pair": 7}),
        ("undo that", {"intent": "undo"}),
    ],
)
def test_what_was_understood(text: str, understood: dict[str, object], capsys: pytest.CaptureFixture[str]) -> None:
    assert ask(capsys, text)[1]["understood"] == understood


PLAN = "demo_sessions/plans/aerial-50-straight.toml"
BAD: list[tuple[list[str], str]] = [
    (["ask", "pair 1", "--cable", "0"], "a cable has 1 to 6000 pairs, not 0"),
    (["ask", "pair 1", "--cable", "6001"], "a cable has 1 to 6000 pairs, not 6001"),
    (["ask", "pair 0", "--cable", "50"], "There is no pair zero"),
    (["ask", "pair 51", "--cable", "50"], "There is no pair five one"),
    (["ask", "seven green red"], "Green red is eight"),
    (["ask", "sausage"], "'sausage' is not understood"),
    (["work", "--typed", "--voice", "print"], "--cable"),
    (["work", "--typed", "--cable", "50", "--from", "0"], "not 0"),
    (["work", "--typed", "--cable", "50", "--from", "40", "--to", "51"], "not 51"),
    (["work", "--typed", "--cable", "50", "--from", "40", "--to", "30"], "lower pair first"),
    (["work", "--typed", "--cable", "5", "--keys", "k"], "--typed stands alone"),
    (["work", "--cable", "5", "--keys", "/nowhere/keys"], "/nowhere/keys: cannot be read"),
    (["work", "--cable", "5", "--audio", "/nowhere/a.wav"], "/nowhere/a.wav: there is no such file"),
    (["work", "--typed", "--cable", "5", "--voice", "loud"], "'loud' is not speaker, print or wav:FILE"),
    (["work", "--typed", "--cable", "5", "--voice", "wav:/nowhere/a.wav"], "/nowhere/a.wav: cannot be written"),
    (["work", "--typed", "--resume", "/nowhere/log"], "/nowhere/log: cannot be opened"),
    (["work", "--typed", "--resume", "--cable", "5"], "leave out the plan, --place"),
    (["work", "--typed", "--resume", "--talk", "full"], "leave out --talk, --rate, --loudness, --order"),
    (["work", "--typed", "--cable", "5", "--loudness", "0"], "--loudness: 0 cannot be; give 25 to 400"),
    (["work", "--typed", "--cable", "5", "--rate", "251"], "--rate: 251 cannot be; give 120 to 250"),
    (["work", "--typed", "--cable", "5", "--rate", "fast"], "--rate: 'fast' cannot be; give 120 to 250"),
    (["work", "--typed", "--cable", "5", "--talk", "little"], "--talk: 'little' cannot be; give full or brief"),
    (["work", "--typed", "--cable", "5", "--place", "x" * 201], "--place: has 201 characters"),
    (["work", "--typed", "--cable", "5", "--tal", "brief"], "'--tal' is not known here; did you mean --talk"),
    (["wrok", "--cable", "5"], "there is no command 'wrok'; did you mean work"),
    (["key", "nwe"], "key: there is no command 'nwe'; did you mean new"),
    (["work", "/nowhere/plan.toml", "--typed"], "/nowhere/plan.toml: cannot be read"),
    (["plan", "/nowhere/plan.toml"], "/nowhere/plan.toml: cannot be read"),
    (["plan", "README.md"], r"README.md: line \d+, column \d+: this is no TOML"),
    (["work", PLAN, "--typed", "--cable", "5"], "leave out --cable"),
    (["work", "--cable", "5", "--voice", "print"], "PortAudio|microphone"),
    (["devices", "--try"], "PortAudio|microphone: none is found"),
    (["hear", "/nowhere/a.wav", "--ears", "sphinx"], "/nowhere/a.wav: there is no such file"),
    (["hear", "/nowhere/a.wav", "--ears", "elephant"], "'elephant' is no set of ears"),
    (["hear", "/nowhere/a.wav", "--ears", "vosk", "--vosk-model", "/nowhere"], "/nowhere: is no Vosk model"),
    (["hear", "/nowhere/a.wav", "--ears", "vosk"], "no Vosk model is here"),
    (["models", "fetch", "elephant"], "no such model"),
    (["models", "import", "vosk-small-en-us", "/nowhere/m.zip"], "/nowhere/m.zip: there is no such file"),
]


@pytest.mark.parametrize(
    ("arguments", "line"), BAD, ids=lambda value: " ".join(value) if isinstance(value, list) else ""
)
def test_bad_input_gets_one_clear_line(arguments: list[str], line: str, tmp_path: Path) -> None:
    if arguments[0] == "work":
        arguments = [*arguments, "--log", str(tmp_path)]
    done = run(*arguments)
    assert done.returncode != 0
    errors = done.stderr.strip().splitlines()
    errors = [error for error in errors if not error.startswith("Ears: ")]
    assert len(errors) == 1, done.stderr
    assert errors[0].startswith("splice-assistant: ")
    assert re.search(line, errors[0])
    assert list(tmp_path.iterdir()) == []


def test_broken_sound_is_named_and_the_next_file_is_heard(tmp_path: Path) -> None:
    broken, empty, good = tmp_path / "broken.wav", tmp_path / "empty.wav", tmp_path / "good.wav"
    broken.write_bytes(b"RIFF this is no sound")
    soundfile.write(empty, np.zeros(0, np.int16), 16000)
    soundfile.write(good, np.zeros((48000, 2), np.int16), 48000)
    done = run("hear", str(broken), str(empty), str(good), "--json", "--ears", "sphinx")
    assert done.returncode == 2
    assert f"{broken}: cannot be read as sound" in done.stderr
    assert f"{empty}: holds no sound" in done.stderr
    heard = json.loads(done.stdout)
    assert (heard["file"], heard["audio_s"], heard["utterances"]) == (str(good), 1.0, [])


def test_a_typed_session_from_a_pipe_can_be_resumed(tmp_path: Path) -> None:
    arguments = ["work", "--typed", "--voice", "print", "--log", str(tmp_path)]
    done = run(*arguments, "--cable", "25", stdin="blue white\norange white\nbrown white\n")
    assert done.returncode == 0
    assert "Two, orange white, confirmed. Next three, green white." in done.stdout
    again = run(*arguments, "--resume", stdin="green white\nfinish\nyes\n")
    assert "Resumed. Check for voltage again. Total done: two. Next three, green white." in again.stdout
    assert "Three, green white, confirmed. Next four, brown white." in again.stdout
    over = run(*arguments, "--resume", stdin="")
    assert over.returncode != 0
    assert "holds no unfinished session" in over.stderr
    (log,) = tmp_path.glob("*.jsonl")
    assert len(load(log).records) == 9


def test_the_beginning_of_a_longer_log_is_not_offered_to_go_on_with(tmp_path: Path) -> None:
    """As is left where another program took the log away, put it back, and the session went on in a new file."""
    arguments = ["work", "--typed", "--voice", "print", "--log", str(tmp_path)]
    run(*arguments, "--cable", "25", stdin="blue white\norange white\n")
    (log,) = tmp_path.glob("*.jsonl")
    beginning = log.read_bytes()
    again = log.with_name(f"{log.stem}-again2.jsonl")
    log.rename(again)
    over = run(*arguments, "--resume", stdin="green white\nfinish\nyes\n")
    assert "Three, green white, confirmed" in over.stdout
    for left in (beginning, beginning + b'{"sum":"torn', b"".join(beginning.splitlines(keepends=True)[:2])):
        log.write_bytes(left)
        refused = run(*arguments, "--resume", stdin="blue white\n")
        assert refused.returncode != 0
        assert f"{log.name}: is the beginning of {again.name}, in which the session went on" in refused.stderr
        assert log.read_bytes() == left
    again.unlink()
    alone = run(*arguments, "--resume", stdin="")
    assert "Resumed." in alone.stdout, "a log without a longer one is offered, as ever"


def test_equal_copies_in_one_folder_are_both_unfinished(tmp_path: Path) -> None:
    arguments = ["work", "--typed", "--voice", "print", "--log", str(tmp_path)]
    run(*arguments, "--cable", "25", stdin="blue white\n")
    (log,) = tmp_path.glob("*.jsonl")
    (tmp_path / "copy.jsonl").write_bytes(log.read_bytes())
    assert "Resumed." in run(*arguments, "--resume", stdin="").stdout


def test_a_damaged_log_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    arguments = ["work", "--typed", "--voice", "print", "--log", str(tmp_path)]
    run(*arguments, "--cable", "25", stdin="blue white\norange white\n")
    (log,) = tmp_path.glob("*.jsonl")
    damaged = log.read_bytes().replace(b"blue white", b"blue black", 1)
    log.write_bytes(damaged)
    done = run(*arguments, "--resume", stdin="green white\n")
    assert done.returncode != 0
    assert re.search(r"line \d+ is damaged", done.stderr)
    assert len(done.stderr.strip().splitlines()) == 1
    assert log.read_bytes() == damaged


def test_a_torn_log_is_resumed_and_the_loss_is_said(tmp_path: Path) -> None:
    arguments = ["work", "--typed", "--voice", "print", "--log", str(tmp_path)]
    run(*arguments, "--cable", "25", stdin="blue white\norange white\n")
    (log,) = tmp_path.glob("*.jsonl")
    whole = log.read_bytes()
    log.write_bytes(whole[:-40])
    done = run(*arguments, "--resume", stdin="where am i\n")
    assert done.returncode == 0
    assert "The last entry was cut off and is not counted." in done.stdout
    assert log.with_name(log.name + ".torn1").exists()


def test_keys_from_a_file(tmp_path: Path) -> None:
    keys = tmp_path / "keys.txt"
    keys.write_text("# a remark\n1.11\n.21\n+\n/1\n")
    done = run("work", "--cable", "25", "--keys", str(keys), "--voice", "print", "--log", str(tmp_path))
    assert done.returncode == 0
    assert "Three, green white, confirmed." in done.stdout
    keys.write_text("1.11\n1.9\n")
    done = run("work", "--cable", "25", "--keys", str(keys), "--voice", "print", "--log", str(tmp_path))
    assert done.returncode != 0
    assert "line 2" in done.stderr


def test_a_plan_as_table_json_csv_and_card(capsys: pytest.CaptureFixture[str]) -> None:
    path = "demo_sessions/plans/transfer-screened.toml"
    assert main(["plan", path]) == 0
    shown = capsys.readouterr()
    assert "old dock 7 (orange red, group 1)  =  feeder weir 107 (orange red, group 1)  PROTECTED: alarm" in shown.out
    assert "old: 10 pairs are in no join: pairs 91-100 of the sheath" in shown.err
    assert main(["plan", path, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found["joints"]) == 129
    assert found["joints"][85]["sides"][0] == {
        "end": "new",
        "count": "service",
        "number": 1,
        "position": 101,
        "colours": "white red",
        "group": 0,
        "binder": "",
    }
    assert main(["plan", path, "--csv"]) == 0
    lines = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(lines) == 2 * 89 + 40
    assert lines[0]["colours"] == "blue white"
    assert main(["plan", path, "--card", "--order", "tip-first"]) == 0
    card = capsys.readouterr().out
    assert len(card.splitlines()) <= 60
    assert "It does not test for voltage" in card
    assert "white blue .. red blue" in card


def test_a_plan_is_followed_and_resumed(tmp_path: Path) -> None:
    options = ["--typed", "--voice", "print", "--log", str(tmp_path)]
    done = run("work", PLAN, *options, "--short-checks", stdin="yes\nblue white\n")
    assert "One, blue white, confirmed. Next two, orange white." in done.stdout
    again = run("work", "--resume", *options, stdin="yes\norange white\n")
    assert "Are shield and pairs checked for voltage with a known good detector?" in again.stdout
    assert "Two, orange white, confirmed. Next three, green white." in again.stdout


def test_a_fault_of_the_program_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("assistant.words.render.table", lambda: 1 // 0)
    assert main(["words"]) == 70
    error = capsys.readouterr().err
    assert error.startswith("splice-assistant: this is a fault of the program (ZeroDivisionError")
    assert len(error.splitlines()) == 1
    assert "work --resume" in error


def test_answers_can_be_written_to_a_sound_file(tmp_path: Path) -> None:
    sound = tmp_path / "answers.wav"
    done = run(
        *("work", "--typed", "--cable", "25", "--log", str(tmp_path / "log"), "--voice", f"wav:{sound}"),
        stdin="blue white\n",
    )
    assert done.returncode == 0, done.stderr
    samples, rate_hz = soundfile.read(sound)
    assert 4 < len(samples) / rate_hz < 30
    assert np.sqrt(np.mean(samples**2)) > 0.01


def test_words_for_people_programs_and_the_keypad(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["words"]) == 0
    table = capsys.readouterr().out
    assert main(["words", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert main(["words", "--card"]) == 0
    card = capsys.readouterr().out
    card_words = " ".join(card.split())
    for entry in listed:
        assert entry["help"] in table
        assert all(example in table for example in entry["say"])
        assert entry["intent"] == "mark-fault" or entry["help"] in card_words
    assert max(len(line) for line in card.splitlines()) <= 80


def test_check_tells_what_works_and_what_does_not(tmp_path: Path) -> None:
    done = run("check", "--log", str(tmp_path))
    lines = done.stdout.splitlines()
    assert done.returncode == 1, "nothing is heard here"
    assert all(line.startswith(("works ", "FAILS ")) for line in lines[:-1])
    assert re.fullmatch(r"Work by voice would not run, for want of: .*microphone, speaker\. By keypad .*", lines[-1])
    assert any(line.startswith("works  log folder") for line in lines)
    assert any(line.startswith("FAILS  microphone") for line in lines)
    assert any(line.startswith("FAILS  terminal, optional") for line in lines)
    blocked = run("check", "--log", "/proc/nowhere")
    assert blocked.returncode == 1
    assert "for want of: log folder" in blocked.stdout
    assert "By keypad" not in blocked.stdout


def shell(line: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a line of shell in which $PROGRAM is the command."""
    return subprocess.run(
        ["bash", "-c", line.replace("$PROGRAM", f"{sys.executable} -m assistant")],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env={**os.environ, "PULSE_SERVER": "unix:/nowhere", **environment},
    )


STREAMS = [
    ("$PROGRAM words >&-", 2, "standard output is closed"),
    ("$PROGRAM words >/dev/full", 1, "No space left on device"),
    ("$PROGRAM ask 'blue white' >/dev/full", 1, "No space left on device"),
    ("$PROGRAM work --cable 5 --typed --voice print --log $LOG <&-", 2, "standard input is closed"),
    ("echo blue white | $PROGRAM work --cable 5 --typed --voice print --log $LOG >&-", 2, "standard output is closed"),
    ("echo blue white | $PROGRAM work --cable 5 --typed --voice print --log $LOG >/dev/full", 2, "work --resume"),
    ("$PROGRAM work --cable 5 --voice print --log $LOG <&-", 2, "PortAudio|microphone"),
]


@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize(("line", "code", "told"), STREAMS, ids=[line for line, _, _ in STREAMS])
def test_closed_and_full_streams_get_one_clear_line(
    line: str, code: int, told: str, unbuffered: str, tmp_path: Path
) -> None:
    done = shell(line, LOG=str(tmp_path), PYTHONUNBUFFERED=unbuffered)
    assert done.returncode == code, done.stderr
    (error,) = done.stderr.splitlines()
    assert error.startswith("splice-assistant: ")
    assert re.search(told, error)


@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize(
    "line",
    [
        "$PROGRAM words --json | head -c 1",
        "yes where am i | head -5000 | $PROGRAM work --cable 5 --typed --voice print --log $LOG | head -2",
    ],
)
def test_a_reader_that_leaves_is_no_fault(line: str, unbuffered: str, tmp_path: Path) -> None:
    done = shell(line, LOG=str(tmp_path), PYTHONUNBUFFERED=unbuffered)
    assert done.stderr == ""
    assert done.stdout


def test_a_script_of_any_length_is_worked_through(tmp_path: Path) -> None:
    """With 1,000 lines or more the loop once waited in its own full inbox for ever."""
    lines = 1500
    done = run(
        *("work", "--typed", "--cable", "25", "--voice", "print", "--log", str(tmp_path / "typed")),
        stdin="where am i\n" * lines,
    )
    assert done.returncode == 0
    assert done.stdout.count("Nothing is entered yet") == lines
    keys = tmp_path / "keys.txt"
    keys.write_text("/1\n" * lines)
    done = run("work", "--cable", "25", "--keys", str(keys), "--voice", "print", "--log", str(tmp_path / "keys"))
    assert done.returncode == 0
    assert done.stdout.count("Nothing is entered yet") == lines


def test_a_byte_that_is_no_text_and_a_line_of_megabytes_end_nothing(tmp_path: Path) -> None:
    (tmp_path / "lines").write_bytes(b"\xff\nblue white\n" + b"x" * 5_000_000 + b"\norange white\n")
    line = f"$PROGRAM work --cable 5 --typed --voice print --log {tmp_path}/log <{tmp_path}/lines"
    done = shell(line, PYTHONIOENCODING="utf-8:strict")
    assert (done.returncode, done.stderr) == (0, "")
    assert "One, blue white, confirmed" in done.stdout
    assert "Two, orange white, confirmed" in done.stdout
    assert len(done.stdout) < 10_000


def test_a_sound_file_whose_header_claims_gigabytes_is_one_clear_line(tmp_path: Path) -> None:
    path = tmp_path / "claims.flac"
    soundfile.write(path, np.zeros(16000, np.int16), 16000)
    data = bytearray(path.read_bytes())
    data[21:26] = bytes([data[21] | 0x0F]) + b"\xff" * 4
    path.write_bytes(data)
    done = run("hear", str(path), "--ears", "sphinx")
    assert done.returncode == 2
    assert "more than is read at once" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 2, "and the line of the ears"
