"""`keys practice` and `keys card` as a person has them: on a terminal, with a pad."""

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.app.cli import main
from assistant.cable.colour_code import RINGS, TIPS
from assistant.words.keypad import HOLD_S
from tests.app.test_cli import run
from tests.pseudo_terminal import TerminalSession


@pytest.fixture
def practice(tmp_path: Path) -> Iterator[TerminalSession]:
    running = TerminalSession(tmp_path, program=("-m", "assistant"), command=("keys", "practice", "--quiet"))
    running.wait_for("/9 ends")
    yield running
    running.close()


def keys_for(words: str) -> str:
    """Key a pair as the card says: its number, a point before its colours, ring first."""
    number = re.search(r"pair (\d+)", words)
    colours = re.search(r"(blue|orange|green|brown|slate) (white|red|black|yellow|violet)", words)
    keys = number[1] if number else ""
    if colours:
        ring = [ring.value for ring in RINGS].index(colours[1]) + 1
        keys += f".{ring}{[tip.value for tip in TIPS].index(colours[2]) + 1}"
    return f"{keys}\r"


def called(practice: TerminalSession) -> str:
    lines = [
        line for line in re.split(r"[\r\n]+", re.sub(r"\x1b\[[?0-9]*[a-zA-Z]|keys: .*", "", practice.shown)) if line
    ]
    return lines[-1]


def test_a_pair_keyed_right_is_told_so_and_a_wrong_one_comes_again_at_the_end(practice: TerminalSession) -> None:
    time.sleep(0.2)
    for key in keys_for(called(practice)):  # a figure doubled within a tenth of a second is a held key
        practice.type(key)
        time.sleep(2 * HOLD_S)
    practice.wait_for("Right.")
    practice.type(".\x1b[F")
    practice.wait_for("That is no key of an entry")
    practice.type("/9")
    practice.wait_for("1 right, 1 wrong.")
    assert practice.process.wait(20) == 1
    assert not list(practice.folder.iterdir()), "nothing is logged"


def test_without_a_terminal_it_says_so() -> None:
    done = run("keys", "practice")
    assert done.returncode == 2
    assert "standard input is no terminal" in done.stderr


@pytest.mark.parametrize("suffix", [".svg", ".txt"])
def test_the_card_is_written_by_its_suffix(suffix: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / f"card{suffix}"
    assert main(["keys", "card", str(path)]) == 0
    assert "KEYPAD CARD" in path.read_text(encoding="utf-8")
    for wrong, line in ((tmp_path / "card.doc", "give .svg, .pdf or .txt"), (tmp_path / "no" / "card.svg", "written")):
        assert main(["keys", "card", str(wrong)]) == 2
        assert line in capsys.readouterr().err
