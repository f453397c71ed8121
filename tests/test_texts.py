"""Text from outside: well-formed where it comes in, harmless where it goes out. Against Python's own codecs."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.app.cli import main
from assistant.texts import harmless, well_formed
from tests.account.sessions import TWO_WAYS, Session

ANY = st.text(st.characters(codec=None) | st.sampled_from("\ud800\udcff\x1b\x07\x9b\u202e"))
HOSTILE = "\x1b]0;taken\x07\x1b[2J\x1b]52;c;aGk=\x07\x9b2J\u202e"
"""Sets the title, clears the screen, writes the clipboard (ECMA-48, XTerm control sequences), turns the writing."""


@given(ANY)
def test_what_comes_in_can_be_written_and_good_text_stays(text: str) -> None:
    made = well_formed(text)
    made.encode("utf-8")
    assert well_formed(made) == made
    if not any("\ud800" <= sign <= "\udfff" for sign in text):
        assert made == text


@given(st.text(st.characters(codec="utf-16")))
def test_halves_that_meet_are_one_sign(text: str) -> None:
    halves = json.loads(json.dumps(text)) if text else text
    assert well_formed(halves) == text


@given(ANY)
def test_what_goes_out_has_no_control_sign_but_line_ends(text: str) -> None:
    shown = harmless(text)
    assert len(shown) == len(text)
    assert all(sign.isprintable() or sign == "\n" for sign in shown)
    shown.encode("utf-8")


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    """Give a log with a name, a place and a note that try to steer the terminal, and bytes that are no text."""
    session = Session(TWO_WAYS, person=f"Ada{HOSTILE}\udcff", place=f"pole{HOSTILE}\ud800")
    return session.typed("yes", f"note {HOSTILE}\udce4", "1 blue white").write(tmp_path / "a.jsonl")


def steers(text: str) -> bool:
    return any(not (sign.isprintable() or sign == "\n") for sign in text)


@pytest.mark.parametrize("command", [["replay"], ["replay", "--check"], ["report", "-o", "x.json"]])
def test_no_command_lets_a_log_steer_the_terminal(
    command: list[str], hostile: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(hostile.parent)
    assert main([command[0], str(hostile), *command[1:]]) == 0
    out, err = capsys.readouterr()
    assert out
    assert not steers(out + err)


@pytest.mark.parametrize("suffix", ["html", "csv", "json", "pdf"])
def test_every_form_of_a_log_with_bytes_that_are_no_text_is_made(suffix: str, hostile: Path) -> None:
    out = hostile.with_name(f"x.{suffix}")
    assert main(["report", str(hostile), "-o", str(out)]) == 0
    if suffix != "pdf":
        out.read_text(encoding="utf-8")


def test_a_log_whose_name_is_no_text_is_reported(hostile: Path) -> None:
    named = hostile.with_name("b\udcff.jsonl")
    hostile.rename(named)
    for suffix in ("html", "csv", "json"):
        assert main(["report", str(named), "-o", str(named.with_name(f"x.{suffix}"))]) == 0


def test_the_title_of_a_plan_does_not_steer_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = tmp_path / "a.toml"
    plan.write_text(TWO_WAYS.replace("Elm Road", "Elm\\u001B]0;taken\\u0007\\u001B[2J"))
    for form in ([], ["--card"], ["--csv"]):
        main(["plan", str(plan), *form])
        out, err = capsys.readouterr()
        assert out + err
        assert not steers(out + err)


def test_the_live_session_does_not_let_them_through(tmp_path: Path) -> None:
    plan = tmp_path / "a.toml"
    plan.write_text(TWO_WAYS.replace("Elm Road", "Elm\\u001B]0;taken\\u0007").replace('site = "aerial"\n', ""))
    command = [sys.executable, "-m", "assistant", "work", str(plan), "--typed", "--voice", "print"]
    ran = subprocess.run(
        [*command, "--log", str(tmp_path / "logs"), "--person", b"Ada\xff\x1b[2J"],
        input=f"note {HOSTILE}\n1 blue white\n".encode() + b"\xff\xfe\n",
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert b"blue white, confirmed" in ran.stdout
    assert not steers(ran.stdout.decode() + ran.stderr.decode())
    (log,) = (tmp_path / "logs").glob("*.jsonl")
    assert json.loads(log.read_text().splitlines()[0])["input"]["person"] == "Ada\N{REPLACEMENT CHARACTER}\x1b[2J"


def test_a_name_that_is_too_long_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    command = ["work", "--cable", "6", "--typed", "--voice", "print", "--log", str(tmp_path / "logs")]
    with pytest.raises(SystemExit) as left:
        main([*command, "--place", "x" * 201])
    assert left.value.code == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "--place: has 201 characters; give at most 200" in line
    assert not (tmp_path / "logs").exists()
