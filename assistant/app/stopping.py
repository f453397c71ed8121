"""The signals to stop: a session is left in order when one comes, and at the latest after a moment in any way.

What was announced is on the disk before it is said, so that an end without order loses nothing that was told.
"""

import os
import signal
import threading
from collections.abc import Callable
from types import FrameType

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
ORDERLY_S = 0.7
"""Time for an orderly end: a stop is obeyed within a second even where a disk or a library does not return."""
LAST_ACTS_S = 0.1
EXIT_BY_SIGNAL = 128
"""Exit code of a program that a signal ended is this and its number, as shells tell it."""


class StopSignals:
    """While entered, a signal to stop ends the program: by `SystemExit`, or as `hand_over` says.

    The kernel hands the number of a signal to a pipe, whatever the main thread does; a thread reads it there and
    ends the program if that does not end by itself.
    """

    def __init__(self, exit_now: Callable[[int], object] = os._exit) -> None:
        """Take what ends the program on the spot."""
        self._exit_now = exit_now
        self._stop: Callable[[str], None] | None = None
        self._over = threading.Event()
        self._last_acts: list[Callable[[], None]] = []
        self._before: list[object] = []

    def __enter__(self) -> "StopSignals":
        """Take the signals, in the main thread only."""
        if threading.current_thread() is not threading.main_thread():
            return self
        self._told, self._tell = os.pipe()
        os.set_blocking(self._tell, False)
        self._wakeup_before = signal.set_wakeup_fd(self._tell, warn_on_full_buffer=False)
        self._before = [signal.signal(number, self._take) for number in SIGNALS]
        threading.Thread(target=self._watch, name="stop", daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        """Give the signals back."""
        self._over.set()
        if not self._before:
            return
        for number, handler in zip(SIGNALS, self._before, strict=True):
            signal.signal(number, handler)  # type: ignore[arg-type]
        signal.set_wakeup_fd(self._wakeup_before)
        os.close(self._tell)

    def hand_over(self, stop: Callable[[str], None]) -> None:
        """Let this end the program from now on, given the name of the signal; it runs in the signal handler."""
        self._stop = stop

    def at_end(self, act: Callable[[], None]) -> None:
        """Have this done before the program is ended on the spot."""
        self._last_acts.append(act)

    def _act(self) -> None:
        for act in self._last_acts:
            act()

    def _take(self, number: int, _: FrameType | None) -> None:
        if self._stop is None:
            raise SystemExit(EXIT_BY_SIGNAL + number)
        self._stop(signal.Signals(number).name)

    def _watch(self) -> None:
        while told := os.read(self._told, 1):
            if told[0] in SIGNALS and not self._over.wait(ORDERLY_S):
                acts = threading.Thread(target=self._act, daemon=True)
                acts.start()
                acts.join(LAST_ACTS_S)  # a terminal that takes no more characters holds them up for ever
                self._exit_now(EXIT_BY_SIGNAL + told[0])
        os.close(self._told)
