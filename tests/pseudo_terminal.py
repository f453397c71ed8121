"""The live session as a process on a pseudo-terminal of its own: what a person at a keypad has."""

import os
import pty
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from assistant.session.journal import load
from assistant.session.record import Record

ROOT = Path(__file__).parents[1]
START_WITHIN_S = 60.0
OBEYED_WITHIN_S = 20.0
"""When a test gives up; how long a stop took is measured."""


class TerminalSession:
    """One run of `work` in a terminal; keys go in, all that is shown comes out."""

    def __init__(
        self,
        folder: Path,
        *options: str,
        program: Sequence[str] = ("-m", "assistant"),
        command: Sequence[str] | None = None,
    ) -> None:
        """Start it with its log in this folder; without sound, so that the keypad is left. Or start another command."""
        self.folder = folder
        self.master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, *program, *(command or ("work", "--voice", "print", "--log", str(folder), *options))],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            cwd=ROOT,
            env={**os.environ, "PULSE_SERVER": "unix:/nowhere", "TERM": "xterm"},
            start_new_session=True,
        )
        os.close(slave)
        self._shown = bytearray()
        self._over = threading.Event()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        while not self._over.is_set():
            if select.select([self.master], [], [], 0.05)[0]:
                try:
                    self._shown += os.read(self.master, 65536)
                except OSError:  # the other side is closed
                    return

    @property
    def shown(self) -> str:
        """All that was shown so far."""
        return bytes(self._shown).decode("utf-8", errors="replace")

    def type(self, keys: str | bytes) -> None:
        """Write keys into the terminal, in one write."""
        os.write(self.master, keys.encode() if isinstance(keys, str) else keys)

    def wait_for(self, text: str, within_s: float = START_WITHIN_S, *, count: int = 1) -> None:
        """Wait until this was shown so often."""
        end = time.monotonic() + within_s
        while self.shown.count(text) < count:
            if time.monotonic() > end or self.process.poll() is not None:
                raise AssertionError(f"{text!r} was not shown {count} times; shown was: {self.shown[-2000:]}")
            time.sleep(0.01)

    def stop(self, number: signal.Signals) -> float:
        """Send a signal, wait for the end, and give how long it took in seconds."""
        began = time.monotonic()
        self.process.send_signal(number)
        self.process.wait(OBEYED_WITHIN_S)
        return time.monotonic() - began

    def hang_up(self) -> None:
        """Close the terminal, as a window is closed."""
        self._over.set()
        self._reader.join(5)
        os.close(self.master)
        self.master = -1

    def close(self) -> None:
        """Leave nothing behind."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.kill()
        self.process.wait(OBEYED_WITHIN_S)
        if self.master >= 0:
            self.hang_up()

    def records(self) -> tuple[Record, ...]:
        """Give all records of its log."""
        (log,) = self.folder.glob("*.jsonl")
        return load(log).records
