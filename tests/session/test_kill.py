"""The program killed in the middle of the work: what it had told is logged, and it goes on where it stood."""

import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path

import pytest

from assistant import __version__
from assistant.dialogue.messages import Attendance, PairConfirmed, ResumeAsked, SessionEnded, SessionResumed
from assistant.session.journal import load
from assistant.session.replay import rebuild
from tests.tables import rows

ROOT = Path(__file__).parents[2]
PAIRS = 25
CALLS = [f"pair {number}" for number in range(1, PAIRS + 1)]
NUMBER_OF = {f"{row['ring']} {row['tip']}".lower(): int(row["pair"]) for row in rows("pair_colours.csv")}
"""The table, not the program, tells which pair a printed line names."""
DEADLINE_S = 60.0

DIES = """
import os, signal, sys
from assistant.app.cli import main

moment, number = sys.argv.pop(1), int(sys.argv.pop(1))
write, fsync, written = os.write, os.fsync, 0

def die():
    os.kill(os.getpid(), signal.SIGKILL)

def dying_write(handle, line):
    global written
    written += 1
    if written == number and moment == "before it is written":
        die()
    if written == number and moment == "half written":
        write(handle, line[: len(line) // 2])
        die()
    return write(handle, line)

def dying_fsync(handle):
    if written == number and moment == "written but not synced":
        die()
    fsync(handle)
    if written == number and moment == "synced but not spoken":
        die()

os.write, os.fsync = dying_write, dying_fsync
sys.exit(main())
"""
"""Runs the program so that it kills itself at one moment of the nth record."""


class Work:
    """One run of `work --typed`, its output in a file, so that what was printed outlives it."""

    def __init__(self, folder: Path, name: str, options: Sequence[str], *, dies: Sequence[str] = ()) -> None:
        self.logs = folder / "logs"
        self._out = folder / f"{name}.txt"
        self._errors = folder / f"{name}.err"
        program = ["-c", DIES, *dies] if dies else ["-m", "assistant"]
        command = [sys.executable, *program, "work", "--typed", "--voice", "print", "--log", str(self.logs), *options]
        with self._out.open("wb") as out, self._errors.open("wb") as errors:
            self.process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=out,
                stderr=errors,
                env=os.environ | {"PYTHONPATH": str(ROOT)},
                cwd=folder,
            )

    def feed(self, calls: Sequence[str], *, pause_s: float = 0.0, leaves: bool = True) -> threading.Thread:
        """Type the calls in a thread of its own, and then leave, or stay until the program is gone."""

        def typing() -> None:
            assert self.process.stdin is not None
            with suppress(BrokenPipeError), self.process.stdin as typed:
                for call in calls:
                    typed.write(f"{call}\n".encode())
                    typed.flush()
                    time.sleep(pause_s)
                if not leaves:
                    self.process.wait()

        thread = threading.Thread(target=typing, daemon=True)
        thread.start()
        return thread

    def printed(self) -> str:
        return self._out.read_text(encoding="utf-8")

    def errors(self) -> str:
        return self._errors.read_text(encoding="utf-8")

    def confirmed(self) -> list[int]:
        """Give the pairs that were told to be confirmed, in their order."""
        told = re.findall(r"^< [^.]*?, (\w+ \w+), confirmed\.", self.printed(), re.MULTILINE)
        return [NUMBER_OF[colours] for colours in told]

    def wait(self) -> int:
        return self.process.wait(timeout=DEADLINE_S)

    def wait_until_confirmed(self, count: int) -> None:
        end = time.monotonic() + DEADLINE_S
        while len(self.confirmed()) < count:
            assert time.monotonic() < end, f"{self.printed()}{self.errors()}"
            assert self.process.poll() is None, self.errors()
            time.sleep(0.001)

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        assert self.wait() == -signal.SIGKILL


Start = Callable[..., Work]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Start runs that do not outlive the test."""
    runs: list[Work] = []

    def start_one(name: str, *options: str, dies: Sequence[str] = ()) -> Work:
        runs.append(Work(tmp_path, name, options, dies=dies))
        return runs[-1]

    yield start_one
    for run in runs:
        run.process.kill()
        run.wait()


def the_log(folder: Path) -> Path:
    (log,) = (folder / "logs").glob("*.jsonl")
    return log


def logged(log: Path) -> list[int]:
    return [fact.pair for one in load(log).records for fact in one.facts if isinstance(fact, PairConfirmed)]


def goes_on(start: Start, folder: Path, torn: int) -> str:
    """Resume the one log, do the rest of the work, check that all of it is whole, and give what was printed."""
    log = the_log(folder)
    before = load(log)
    done = logged(log)
    assert done == list(range(1, len(done) + 1))
    assert len(before.torn) == torn

    again = start("again", "--resume")
    typing = again.feed([*CALLS[len(done) :], "finish"])
    assert again.wait() == 0, again.errors()
    typing.join()
    assert again.errors() == ""
    assert again.confirmed() == list(range(len(done) + 1, PAIRS + 1)), "it goes on with the pair that was expected"

    after = load(log)
    assert the_log(folder) == log, "no second log was begun"
    assert after.records[: len(before.records)] == before.records
    assert after.torn == b""
    resumed = after.records[len(before.records)]
    assert resumed.input == ResumeAsked(torn, Attendance(app_version=__version__))
    assert resumed.facts[0] == SessionResumed(Attendance(app_version=__version__))
    assert logged(log) == list(range(1, PAIRS + 1)), "every pair once"
    assert SessionEnded(confirmed=PAIRS, faulty=0, left=0) in after.records[-1].facts
    assert rebuild(after.records).ended
    return again.printed()


@pytest.mark.parametrize("seed", range(4))
def test_what_was_told_before_the_kill_is_logged_and_the_work_goes_on(start: Start, tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    killed = start("killed", "--cable", str(PAIRS))
    # half of the runs as fast as it goes, half at a pace that leaves time between the calls
    typing = killed.feed(CALLS, pause_s=rng.choice([0.0, 0.004]), leaves=False)
    killed.wait_until_confirmed(rng.randint(1, PAIRS - 8))  # far from the end, so that most kills fall into the work
    time.sleep(rng.uniform(0.0, 0.004))
    killed.kill()
    typing.join()

    told = killed.confirmed()
    assert told, "the kill came after the first answer"
    log = the_log(tmp_path)
    found = logged(log)
    assert found[: len(told)] == told, "what was told is logged"
    assert len(found) <= len(told) + 1, "only the last one can be logged and not told yet"
    goes_on(start, tmp_path, torn=len(load(log).torn))


@pytest.mark.parametrize(
    ("moment", "counts"),
    [
        ("before it is written", False),
        ("half written", False),
        ("written but not synced", True),  # the process died, not the machine: the kernel has the line
        ("synced but not spoken", True),
    ],
)
def test_a_kill_at_every_moment_of_one_record(start: Start, tmp_path: Path, moment: str, counts: bool) -> None:
    # record 1 opens the session, so that record 8 confirms pair 7
    killed = start("killed", "--cable", str(PAIRS), dies=[moment, "8"])
    typing = killed.feed(CALLS)
    assert killed.wait() == -signal.SIGKILL, killed.errors()
    typing.join()

    assert killed.confirmed() == [1, 2, 3, 4, 5, 6], "pair 7 was not told"
    log = the_log(tmp_path)
    assert logged(log) == [1, 2, 3, 4, 5, 6, 7][: 7 if counts else 6]
    torn = load(log).torn
    assert bool(torn) == (moment == "half written")
    printed = goes_on(start, tmp_path, torn=len(torn))
    assert ("cut off" in printed) == bool(torn), "a torn line is told, and only that"
    if torn:
        assert log.with_name(f"{log.name}.torn1").read_bytes() == torn
