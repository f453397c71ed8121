"""Real processes told to stop at any moment: they end at once, and what was announced is in the log."""

import os
import signal
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from assistant.app.stopping import EXIT_BY_SIGNAL, LAST_ACTS_S, ORDERLY_S, StopSignals
from assistant.dialogue.messages import PairConfirmed, StopAsked
from tests.pseudo_terminal import ROOT, TerminalSession

SIGNALS = [signal.SIGTERM, signal.SIGHUP, signal.SIGINT]
AT_ONCE_S = 10.0
"""On a busy machine; the program takes no longer than `ORDERLY_S`, what holds it up here would last a minute."""

Start = Callable[..., TerminalSession]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Start sessions that do not outlive the test."""
    sessions: list[TerminalSession] = []

    def start_one(*options: str, held_up: str = "") -> TerminalSession:
        program = ("-c", f"import time\n{held_up}\nfrom assistant.__main__ import main\nmain()") if held_up else ()
        sessions.append(TerminalSession(tmp_path, *options, **({"program": program} if program else {})))
        return sessions[-1]

    yield start_one
    for session in sessions:
        session.close()


def confirmed(session: TerminalSession) -> list[int]:
    return [fact.pair for record in session.records() for fact in record.facts if isinstance(fact, PairConfirmed)]


@pytest.mark.parametrize("number", SIGNALS)
def test_a_session_that_waits_is_left_in_order_and_the_terminal_is_put_back(
    start: Start, number: signal.Signals
) -> None:
    session = start("--cable", "25")
    before = termios.tcgetattr(session.master)[3]
    session.wait_for("Next one, blue white")
    session.type("1\r")
    session.wait_for("One, blue white, confirmed")
    assert not termios.tcgetattr(session.master)[3] & termios.ICANON
    assert session.stop(number) < AT_ONCE_S
    assert session.process.returncode == 0
    assert session.records()[-1].input == StopAsked(number.name)
    assert confirmed(session) == [1]
    assert termios.tcgetattr(session.master)[3] == before
    assert "\x1b[?2004l" in session.shown, "pastes are told no more"


def test_a_terminal_that_is_closed_leaves_the_session_in_order(start: Start) -> None:
    session = start("--cable", "25")
    session.wait_for("Next one, blue white")
    session.hang_up()
    assert session.process.wait(AT_ONCE_S) == 0
    assert isinstance(session.records()[-1].input, StopAsked)


# a library or a device that does not return; a disk that takes for ever from the third record on
HELD_UP = {
    "the disk": "import os\nfsync, count = os.fsync, []\n"
    "def slow(handle):\n    count.append(1)\n    fsync(handle)\n    time.sleep(60 * (len(count) > 4))\nos.fsync = slow",
    "a sentence": "import assistant.adapters.voice_pyttsx3 as voice\nrender = voice.SpeechRenderer.render\n"
    "def slow(self, text, *more):\n    time.sleep(60 * ('confirmed' in text))\n    return render(self, text, *more)\n"
    "voice.SpeechRenderer.render = slow",
}


@pytest.mark.parametrize("number", SIGNALS)
def test_a_stop_is_obeyed_while_the_disk_does_not_return(start: Start, number: signal.Signals) -> None:
    """Records: 1 opens; the folder and the log are synced as well, so that the fifth sync is of pair 3 or sooner."""
    session = start("--cable", "25", held_up=HELD_UP["the disk"])
    before = termios.tcgetattr(session.master)[3]
    session.wait_for("Next one, blue white")
    for pair in (1, 2, 3, 4):
        session.type(f"{pair}\r")
        time.sleep(0.3)
    told = session.shown.count(", confirmed.")
    assert 0 < told < 4, "the disk holds it up"
    assert session.stop(number) < AT_ONCE_S
    assert session.process.returncode == EXIT_BY_SIGNAL + number
    assert confirmed(session)[:told] == list(range(1, told + 1)), "what was announced is logged"
    assert termios.tcgetattr(session.master)[3] == before


def test_a_stop_is_obeyed_while_a_sentence_is_rendered(start: Start, tmp_path: Path) -> None:
    session = start("--cable", "25", "--voice", f"wav:{tmp_path / 'a.wav'}", held_up=HELD_UP["a sentence"])
    session.wait_for("Next one, blue white")
    session.type("1\r")
    session.wait_for("One, blue white, confirmed")
    assert session.stop(signal.SIGTERM) < AT_ONCE_S
    assert confirmed(session) == [1]


@pytest.mark.parametrize("number", SIGNALS)
def test_a_stop_is_obeyed_while_models_are_loaded(start: Start, tmp_path: Path, number: signal.Signals) -> None:
    slow = "import assistant.app.ears as ears\nears.load = lambda *_: (print('LOADING', flush=True), time.sleep(60))"
    session = start("--cable", "25", "--audio", str(_silence(tmp_path)), held_up=slow)
    session.wait_for("LOADING")
    assert session.stop(number) < AT_ONCE_S
    assert session.process.returncode == EXIT_BY_SIGNAL + number
    assert "Traceback" not in session.shown


@pytest.mark.parametrize("moment_s", [0.15, 0.3, 0.45, 0.6])
@pytest.mark.parametrize("number", SIGNALS)
def test_a_stop_during_the_first_imports_is_quiet(tmp_path: Path, number: signal.Signals, moment_s: float) -> None:
    """Python itself takes some hundredths of a second to start, in which nothing of ours runs."""
    trace = "import sys\nsys.setswitchinterval(1e-4)\nprint('GO', flush=True)\nfrom assistant.__main__ import main\n"
    process = subprocess.Popen(
        [sys.executable, "-c", f"{trace}sys.exit(main())", "work", "--cable", "25", "--log", str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
        env={**os.environ, "PULSE_SERVER": "unix:/nowhere"},
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"GO\n"
    time.sleep(moment_s)
    process.send_signal(number)
    _, errors = process.communicate(timeout=AT_ONCE_S)
    assert b"Traceback" not in errors
    assert process.returncode in (EXIT_BY_SIGNAL + number, -number, 0, 2)


def test_a_stop_goes_before_a_thousand_lines_that_wait(tmp_path: Path) -> None:
    """It once waited in the same full queue, and only SIGKILL helped."""
    arguments = ["work", "--typed", "--cable", "25", "--voice", "print", "--log", str(tmp_path)]
    process = subprocess.Popen(
        [sys.executable, "-m", "assistant", *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=ROOT,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(b"where am i\n" * 3000)
    process.stdin.flush()
    while b"Nothing is entered yet" not in process.stdout.readline():
        pass
    process.send_signal(signal.SIGTERM)
    process.stdout.read()
    assert process.wait(AT_ONCE_S) == 0
    process.stdin.close()
    process.stdout.close()


@pytest.mark.parametrize("number", SIGNALS)
def test_a_stop_is_obeyed_in_order_while_a_pipe_gives_nothing(tmp_path: Path, number: signal.Signals) -> None:
    """A thread that waited in the buffer of standard input once made the interpreter abort at its end."""
    arguments = ["work", "--typed", "--cable", "25", "--voice", "print", "--log", str(tmp_path)]
    process = subprocess.Popen(
        [sys.executable, "-m", "assistant", *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=ROOT,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(b"where am i\n")
    process.stdin.flush()
    while b"Nothing is entered yet" not in process.stdout.readline():
        pass
    time.sleep(0.3)
    process.send_signal(number)
    assert process.wait(AT_ONCE_S) == 0
    _, errors = process.communicate()
    assert errors == b""


def test_a_last_act_that_does_not_return_keeps_nothing_from_ending() -> None:
    """A terminal that takes no more characters does that."""
    codes: list[int] = []
    ended = threading.Event()

    def exit_now(code: int) -> None:
        codes.append(code)
        ended.set()

    with StopSignals(exit_now) as stops:
        stops.hand_over(lambda _: None)
        stops.at_end(threading.Event().wait)
        signal.raise_signal(signal.SIGTERM)
        assert ended.wait(AT_ONCE_S)
    assert codes == [EXIT_BY_SIGNAL + signal.SIGTERM]


def test_the_time_for_an_orderly_end_leaves_the_second_that_is_promised() -> None:
    assert ORDERLY_S + LAST_ACTS_S < 1.0


def _silence(folder: Path) -> Path:
    import soundfile

    soundfile.write(folder / "silence.wav", [0.0] * 16000, 16000)
    return folder / "silence.wav"
