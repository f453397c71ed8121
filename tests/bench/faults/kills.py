"""kill -9 at any moment, on a real process and a real file: what was announced on its output is in the log."""

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from assistant.session.journal import salvage
from tests.bench.faults.outcome import Outcome

CHILD = """
import sys
from pathlib import Path
from assistant.session.journal import FileJournal
from tests.session.test_journal import confirmed

path, copy = Path(sys.argv[1]), Path(sys.argv[2])
journal = FileJournal.create(path, copy)
for number in range(1, 100000):
    journal.append(confirmed(number))
    print(number, flush=True)
"""
ROOT = Path(__file__).parents[3]


def kills(times: int, *, seed: int = 6) -> Outcome:
    """Kill the process that writes a log and its copy, so many times."""
    outcome, chance = Outcome("kill -9 of the process"), random.Random(seed)
    for _ in range(times):
        with tempfile.TemporaryDirectory() as name:
            path, copy = Path(name) / "logs" / "a.jsonl", Path(name) / "card" / "a.jsonl"
            with (Path(name) / "out").open("wb") as out:
                child = subprocess.Popen(
                    [sys.executable, "-c", CHILD, str(path), str(copy)],
                    stdout=out,
                    env=os.environ | {"PYTHONPATH": str(ROOT)},
                )
                while not (Path(name) / "out").stat().st_size and child.poll() is None:
                    time.sleep(0.005)
                time.sleep(chance.random() * 0.2)
                child.send_signal(signal.SIGKILL)
                child.wait()
            announced = int((Path(name) / "out").read_bytes().split(b"\n")[-2])
            found = [salvage(one) for one in (path, copy)]
            outcome.note("announced", announced)
            if any(log.damages for log in found):
                outcome.take("a log is damaged")
            else:
                least = min(len(log.records) for log in found)
                outcome.take("" if least >= announced else f"{announced - least} announced are lost")
    return outcome
