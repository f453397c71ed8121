"""The typed console and the screen: lines of words in, lines of text out."""

import io
import sys
import threading
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Protocol, TextIO

from assistant.adapters.terminal import MOST_SHOWN, READ_BYTES, Key
from assistant.dialogue.messages import Announced, AnnouncementNumber, Input, KeysRefused, KeyTrouble, StopAsked, Typed
from assistant.errors import AssistantError
from assistant.ports import Uptime
from assistant.texts import harmless
from assistant.words.keypad import CLEAR, ERASE

LONGEST_LINE = 1000
"""Characters, or bytes of a pipe; a note is shorter."""
ENTER = ("\r", "\n")
ERASE_LINE = "\x15"
"""Ctrl-U."""
END = "\x04"
"""Ctrl-D; at the beginning of a line it ends the input."""
Put = Callable[[Input], None]


class RawReader(Protocol):
    """Where bytes come from, as they come."""

    def read(self, size: int, /) -> bytes | None:
        """Give at most so many bytes, at least one, none at the end."""


class PipedLines:
    """Puts the lines of a pipe or a file into the inbox, each when all that the one before led to is done."""

    def __init__(self, put: Put, turn: Callable[[], AnnouncementNumber | None], pipe: RawReader | None = None) -> None:
        """Take the inbox and where lines come from; `turn` waits and gives what was put last, None when it is over.

        Raises:
            AssistantError: standard input is closed.

        """
        if pipe is None and sys.stdin is None:
            raise AssistantError("work: standard input is closed; --typed reads words from it, give it a pipe or file")
        self._put = put
        self._turn = turn
        # unbuffered: a program must not end while a thread waits in the buffer of standard input
        self._pipe = pipe or io.FileIO(sys.stdin.fileno(), closefd=False)
        self._read = b""
        self._ended = False

    def run(self) -> None:
        """Put each line that is not empty into the inbox until the input ends."""
        while (after := self._turn()) is not None:
            line = self._next()
            if line is None:
                return
            self._put(line if isinstance(line, KeysRefused) else Typed(line, after))

    def _next(self) -> str | KeysRefused | None:
        """Give the next line that is not empty, what is told of one that is too long, or None at the end."""
        while not self._ended or self._read:
            line, too_long = self._line()
            text = line.decode("utf-8", errors="replace").strip()
            if too_long:
                return KeysRefused(text[:MOST_SHOWN], KeyTrouble.TOO_LONG)
            if text:
                return text
        return None

    def _line(self) -> tuple[bytes, bool]:
        """Give the next line, or the beginning of one that is too long, and whether it is."""
        beginning = b""
        while True:
            line, end, rest = self._read.partition(b"\n")
            if len(line) > LONGEST_LINE and not beginning:
                beginning = line
            if end or self._ended:
                self._read = rest
                return beginning or line, bool(beginning)
            if beginning:
                self._read = b""
            data = self._pipe.read(READ_BYTES)
            self._ended = not data
            self._read += data or b""


class TypedLines:
    """Composes lines of the keys of a terminal, to know when each was begun, and puts them into the inbox."""

    def __init__(self, put: Put, echo: Callable[[str], None] = lambda _: None) -> None:
        """Take the inbox, and where to echo what is typed."""
        self._put = put
        self._echo = echo
        self._line = ""
        self._begun_after = Announced()

    def take(self, keys: Sequence[Key], after: Announced, at_s: float) -> None:
        """Take the keys of one read; behind one that is refused, nothing of the read counts."""
        for key in keys:
            if key.trouble is not None:
                self._refuse(key.sent, key.trouble)
                return
            if len(self._line) >= LONGEST_LINE and key.sent not in ENTER:
                self._refuse(self._line, KeyTrouble.TOO_LONG)
                return
            self._taken(key.sent, after)
        self._echo(f"\r\x1b[K{self._line}")

    def wait(self, at_s: float) -> None:
        """Do nothing: a line that is half typed is seen on the screen."""

    def _taken(self, character: str, after: Announced) -> None:
        if character in ENTER:
            line, self._line = self._line.strip(), ""
            if line:
                self._put(Typed(line, self._begun_after.told, self._begun_after.begun))
            return
        if not self._line:
            self._begun_after = after
            if character == END:
                self._put(StopAsked("end of input"))
                return
        if character in ERASE:
            self._line = self._line[:-1]
        elif character in (*CLEAR, ERASE_LINE):
            self._line = ""
        else:
            self._line += character

    def _refuse(self, keys: str, trouble: KeyTrouble) -> None:
        self._line = ""
        self._echo("\r\x1b[K\a")
        self._put(KeysRefused(keys[:MOST_SHOWN], trouble))


class TerminalScreen:
    """Prints lines."""

    def __init__(self, out: TextIO | None = None) -> None:
        """Take where to print.

        Raises:
            AssistantError: standard output is closed.

        """
        if out is None and sys.stdout is None:
            raise AssistantError("screen: standard output is closed; start the assistant in a terminal, or with a file")
        self._out = out or sys.stdout
        self._clear = "\r\x1b[K" if self._out.isatty() else ""
        """Takes away what the keypad echoes on the line."""

    def show(self, line: str) -> None:
        """Print one line at once.

        Raises:
            AssistantError: it cannot be written.
            BrokenPipeError: nobody reads it any more.

        """
        try:
            print(f"{self._clear}{harmless(line)}", file=self._out, flush=True)
        except BrokenPipeError:
            raise
        except OSError as error:
            raise AssistantError(
                f"screen: standard output cannot be written ({error.strerror}); what was logged is safe, free some "
                "space and go on with work --resume"
            ) from error


def _boot() -> str:
    """Give what tells this start of the machine from others; empty where the system has no such thing."""
    if not hasattr(time, "CLOCK_BOOTTIME"):
        return ""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()[:8]
    except (OSError, UnicodeDecodeError):
        return ""


_BOOT = _boot()


class SystemClock:
    """The time of this machine."""

    def now(self) -> datetime:
        """Give the local time with its zone."""
        return datetime.now().astimezone()

    def uptime(self) -> Uptime | None:
        """Give the time since the start of the machine, from Linux's kernel."""
        if not _BOOT:
            return None
        return Uptime(_BOOT, round(time.clock_gettime(time.CLOCK_BOOTTIME), 3))

    def steady_s(self) -> float:
        """Give the seconds since some moment."""
        return time.monotonic()

    def call_after(self, seconds: float, call: Callable[[], None]) -> None:
        """Call back from a thread of its own."""
        timer = threading.Timer(seconds, call)
        timer.daemon = True
        timer.start()
