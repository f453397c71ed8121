"""The keypad: raw keys from a terminal, or a file of keys, as whole entries."""

import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

from assistant.dialogue.messages import Input, KeysPressed
from assistant.errors import AssistantError
from assistant.words.keypad import press


class Keypad:
    """Composes entries key by key and puts each into the inbox."""

    def __init__(self, put: Callable[[Input], None], echo: TextIO | None = None) -> None:
        """Take the inbox, and where to echo keys."""
        self._put = put
        self._echo = echo
        self._pending = ""

    def take(self, key: str) -> None:
        """Take one key as the terminal sends it."""
        keyed = press(self._pending, key)
        self._pending = keyed.pending
        if keyed.entry is not None:
            self._show("\r\x1b[K")
            self._put(KeysPressed(keyed.entry))
        elif keyed.refused:
            self._show("\a")
        else:
            self._show(f"\r\x1b[Kkeys: {self._pending}" if self._pending else "\r\x1b[K")

    def take_all(self, keys: str) -> None:
        """Take several keys."""
        for key in keys:
            self.take(key)

    def _show(self, text: str) -> None:
        if self._echo is not None:
            self._echo.write(text)
            self._echo.flush()


def watch_terminal(keypad: Keypad, stop: threading.Event) -> None:
    """Read keys from the terminal without waiting for Enter until `stop` is set.

    Raises:
        AssistantError: standard input is no terminal.

    """
    import select
    import termios
    import tty

    if not sys.stdin.isatty():
        raise AssistantError("keypad: standard input is no terminal; start the assistant in one, or use --keys FILE")
    before = termios.tcgetattr(sys.stdin)
    try:
        tty.setcbreak(sys.stdin)
        while not stop.is_set():
            if select.select([sys.stdin], [], [], 0.1)[0]:
                keypad.take(sys.stdin.read(1))
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)


def read_keys(path: Path) -> str:
    """Read a file of keys: every character is a key, a line end is Enter only where a line is an entry.

    A line that starts with # is a remark. The line end itself is the Enter key, unless the line is
    already a whole entry without it.

    Raises:
        AssistantError: the file cannot be read, or a line is no entry.

    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise AssistantError(f"{path}: cannot be read ({error}); give a text file of keys") from error
    keys = ""
    for number, line in enumerate(lines, 1):
        if not line.startswith("#"):
            keys += _keys_of_line(path, number, line.strip())
    return keys


def _keys_of_line(path: Path, number: int, line: str) -> str:
    pending = ""
    for key in line:
        keyed = press(pending, key)
        if keyed.refused:
            raise AssistantError(
                f"{path}: line {number}: key {key!r} cannot stand here; see splice-assistant words --card"
            )
        pending = keyed.pending
    if line and not pending:
        return line
    if press(pending, "\n").entry is None:
        raise AssistantError(f"{path}: line {number}: {line!r} is no whole entry; see splice-assistant words --card")
    return line + "\n"
