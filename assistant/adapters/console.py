"""The typed console and the screen: lines of words in, lines of text out."""

import io
import sys
from collections.abc import Callable
from datetime import datetime
from typing import TextIO

from assistant.dialogue.messages import Input, Typed


class Console:
    """Reads lines, from a person or from a pipe, as typed entries."""

    def __init__(self, put: Callable[[Input], None], lines: TextIO | None = None) -> None:
        """Take the inbox and where lines come from."""
        self._put = put
        if lines is None and isinstance(sys.stdin, io.TextIOWrapper):
            sys.stdin.reconfigure(errors="replace")
        self._lines = lines or sys.stdin

    def run(self) -> None:
        """Put each line that is not empty into the inbox until the input ends."""
        for line in self._lines:
            if line.strip():
                self._put(Typed(line.strip()))


class TerminalScreen:
    """Prints lines."""

    def __init__(self, out: TextIO | None = None) -> None:
        """Take where to print."""
        self._out = out or sys.stdout
        self._clear = "\r\x1b[K" if self._out.isatty() else ""
        """Takes away what the keypad echoes on the line."""

    def show(self, line: str) -> None:
        """Print one line at once."""
        print(f"{self._clear}{line}", file=self._out, flush=True)


class SystemClock:
    """The time of this machine."""

    def now(self) -> datetime:
        """Give the local time with its zone."""
        return datetime.now().astimezone()
