"""What is made of the parser: completion as a shell does it, and the manual page as its formatter reads it."""

import argparse
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant.adapters.tones import Sound
from assistant.app.cli import EXIT_CODES, command_parser, main
from assistant.app.demo import SCRIPT, Caller, WatchedScreen
from assistant.ports import BLOCK_FRAMES


def commands(parser: argparse.ArgumentParser) -> Iterator[argparse.ArgumentParser]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                yield inner
                yield from commands(inner)


def completed(script: Path, *words: str) -> list[str]:
    """Complete the last of these words, as bash would behind Tab (bash(1), Programmable Completion)."""
    line = (
        f"source {script}; COMP_WORDS=({' '.join(words)!s}); COMP_CWORD={len(words) - 1}; "
        f"_shtab_splice_assistant splice-assistant {words[-1]} {words[-2]}; printf '%s\\n' \"${{COMPREPLY[@]}}\""
    )
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=True)
    return done.stdout.split()


def test_bash_completes_commands_and_their_options(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", "bash"]) == 0
    script = tmp_path / "completion"
    script.write_text(capsys.readouterr().out)
    assert set(completed(script, "splice-assistant", "wo")) == {"work", "words"}
    assert completed(script, "splice-assistant", "work", "--loud") == ["--loudness"]
    assert completed(script, "splice-assistant", "key", "tr") == ["trust"]


@pytest.mark.parametrize("shell", ["zsh", "tcsh"])
def test_the_other_shells_get_every_command(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    made = capsys.readouterr().out
    assert all(command.prog.split()[-1] in made for command in commands(command_parser()))


def test_the_manual_page_has_every_command_and_option(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["manual"]) == 0
    page = capsys.readouterr().out.replace("\\-", "-")
    assert EXIT_CODES in page
    for command in commands(command_parser()):
        assert f".SS {command.prog.partition(' ')[2]}\n" in page
        for action in command._actions:
            assert all(name in page for name in action.option_strings if name not in ("-h", "--help"))


@pytest.mark.skipif(shutil.which("groff") is None, reason="groff is not installed")
def test_the_manual_page_has_no_fault_that_groff_knows(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["manual"]) == 0
    page = capsys.readouterr().out
    done = subprocess.run(
        ["groff", "-man", "-Tutf8", "-ww", "-z"], input=page, capture_output=True, text=True, check=True
    )
    assert done.stderr == ""


def test_every_exit_code_is_told_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    shown = " ".join(capsys.readouterr().out.split())
    assert " ".join(EXIT_CODES.split()) in shown


def test_a_call_of_the_demonstration_is_played_when_the_assistant_has_spoken() -> None:
    """The first block is taken then; the rest is heard as it was played."""
    played: list[Sound] = []
    caller = Caller(WatchedScreen(), SCRIPT[:1], play=played.append)
    blocks = caller.blocks()
    taken = [next(blocks)]
    assert not played
    taken.append(next(blocks))
    (sound,) = played
    assert sound.seconds > 1.0
    assert np.array_equal(np.concatenate(taken), sound.samples[: 2 * BLOCK_FRAMES])
    caller.close()
