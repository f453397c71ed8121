"""The terminal as a row of keys: bytes in, whole keys out, each with what is known of when it was made.

Escape sequences are cut out whole by the grammar of ECMA-48 and named by prompt_toolkit's parser, which by itself
would give the characters of a sequence that it does not know as keys.
"""

import codecs
import contextlib
import os
import re
import select
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Protocol

from assistant.dialogue.messages import Announced, KeyTrouble
from assistant.errors import AssistantError

LastPut = Callable[[], Announced]
"""Gives the announcement that was put last; asked from the thread that reads."""

ESC = "\x1b"
POLL_S = 0.02
"""Time between two looks at the descriptor: a key cannot be dated more exactly."""
READ_BYTES = 4096
ESCAPE_S = 0.1
"""An escape that nothing follows for so long is the key of that name; a sequence comes at once."""
ENDLESS_S = 1.0
"""A paste that neither goes on nor ends for so long is over."""
MOST_SHOWN = 40
"""Characters of a refused key that are kept."""

_SEQUENCE = re.compile(
    r"\x1b\[M.{3}"  # mouse, as X10 has it
    r"|\x1b\[\[."  # function keys of the Linux console
    r"|\x1b(\[(?![M\[])|O)[0-?]*[ -/]*[@-~]"  # control sequences (ECMA-48, 5.4), single shifts with more
    r"|\x1b[ -/]+[0-~]"  # ECMA-35 escape sequences
    r"|\x1b[^\x1b\[OPX\]^_ -/]",  # Alt with a key
    re.DOTALL,
)
_BEGUN = re.compile(r"\x1b(\[(M.{0,2}|\[|[0-?]*[ -/]*)|O[0-?]*[ -/]*|[ -/]*)", re.DOTALL)
_PASTE, _PASTE_END = "\x1b[200~", "\x1b[201~"
_STRING = re.compile(r"\x1b[PX\]^_]")
"""Begins a control string (ECMA-48, 5.6)."""
_STRING_END = re.compile(r"\x1b\\|\x07")
_PASTE_ON, _PASTE_OFF = "\x1b[?2004h", "\x1b[?2004l"

APPLICATION_KEYPAD = {
    "\x1bOM": "\r",
    **{f"\x1bO{chr(0x6A + place)}": character for place, character in enumerate("*+,-./0123456789")},
}
"""Keypad keys in the terminal's application mode (VT100 User Guide, chapter 3, keypad codes; xterm adds * + /)."""


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its character, or why it is refused."""

    sent: str
    """What the terminal sent, the beginning of it where it is long."""
    trouble: KeyTrouble | None = None


class TakesKeys(Protocol):
    """Makes entries of keys. Called from the thread that reads the terminal."""

    def take(self, keys: Sequence[Key], after: Announced, at_s: float) -> None:
        """Take the keys of one read, made after that announcement was put, read at a time of a steady clock."""

    def wait(self, at_s: float) -> None:
        """Learn that no key waits at this time."""


class KeyDecoder:
    """Cuts what a terminal sends into keys; what is begun waits for the next read."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self._decode = codecs.getincrementaldecoder("utf-8")(errors="replace").decode
        self._rest = ""
        self._until: re.Pattern[str] | None = None
        """Ends the paste or control string that is passed over."""
        self._passed = ""
        self._read_at_s = 0.0

    def feed(self, data: bytes, at_s: float) -> list[Key]:
        """Take what was read at this time and give the keys that it completes."""
        self._read_at_s = at_s
        text = self._rest + self._decode(data)
        keys: list[Key] = []
        self._rest = ""
        while text:
            if self._until is not None:
                text = self._passed_over(text, keys)
            elif not text.startswith(ESC):
                keys.append(Key(text[0]))
                text = text[1:]
            elif text.startswith(_PASTE):
                self._until = re.compile(re.escape(_PASTE_END))
                text = text[len(_PASTE) :]
            elif _STRING.match(text):
                self._until = _STRING_END
                text = text[2:]
            elif found := _SEQUENCE.match(text):
                keys.append(_key_of(found.group()))
                text = text[found.end() :]
            elif _BEGUN.fullmatch(text):
                self._rest, text = text, ""
            else:
                broken = max(1, _begun_length(text))
                keys.append(Key(text[:broken], KeyTrouble.UNKNOWN if broken > 1 else None))
                text = text[broken:]
        return keys

    def wait(self, at_s: float) -> list[Key]:
        """Learn that nothing waits at this time; give the key that is therefore complete, if any."""
        quiet_s = at_s - self._read_at_s
        if self._until is not None and quiet_s >= ENDLESS_S:
            return [self._passed_end()]
        if self._rest and quiet_s >= ESCAPE_S:
            rest, self._rest = self._rest, ""
            return [Key(rest, KeyTrouble.UNKNOWN if rest != ESC else None)]
        return []

    def _passed_over(self, text: str, keys: list[Key]) -> str:
        assert self._until is not None
        end = self._until.search(text)
        self._passed = (self._passed + (text[: end.start()] if end else text))[:MOST_SHOWN]
        if end is None:
            self._rest = text[-len(_PASTE_END) + 1 :] if ESC in text[-len(_PASTE_END) + 1 :] else ""
            return ""
        keys.append(self._passed_end())
        return text[end.end() :]

    def _passed_end(self) -> Key:
        passed, self._passed, self._until, self._rest = self._passed, "", None, ""
        return Key(passed, KeyTrouble.UNKNOWN)


def _begun_length(text: str) -> int:
    found = _BEGUN.match(text)
    return found.end() if found else 1


def _key_of(sequence: str) -> Key:
    if sequence in APPLICATION_KEYPAD:
        return Key(APPLICATION_KEYPAD[sequence])
    return Key(sequence[:MOST_SHOWN], KeyTrouble.NUM_LOCK if _is_navigation(sequence) else KeyTrouble.UNKNOWN)


@cache
def _is_navigation(sequence: str) -> bool:
    """Tell whether it is a key that a keypad sends with Num Lock off: an arrow, Home, End, a page, Insert, Delete."""
    from prompt_toolkit.input.vt100_parser import Vt100Parser
    from prompt_toolkit.key_binding.key_processor import KeyPress
    from prompt_toolkit.keys import Keys

    if sequence in ("\x1b[E", "\x1bOE"):  # the middle of the keypad, which the parser passes over
        return True
    pressed: list[KeyPress] = []
    Vt100Parser(pressed.append).feed_and_flush(sequence)
    navigation = (Keys.Home, Keys.End, Keys.PageUp, Keys.PageDown, Keys.Insert, Keys.Delete)
    return len(pressed) == 1 and pressed[0].key in (*navigation, Keys.Up, Keys.Down, Keys.Left, Keys.Right)


def watch_terminal(
    takes: TakesKeys,
    last_put: LastPut,
    stop: threading.Event,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Read keys from the terminal without waiting for Enter until `stop` is set or the terminal is gone.

    Keys that come in one read were made at any time since the descriptor was last seen empty, so that
    they are given the announcement that had been put before that look.

    Raises:
        AssistantError: standard input is no terminal.

    """
    if sys.stdin is None or not sys.stdin.isatty():
        raise AssistantError("keypad: standard input is no terminal; start the assistant in one, or use --keys FILE")
    handle = sys.stdin.fileno()
    decoder = KeyDecoder()
    after = Announced()
    while not stop.is_set():
        put_before = last_put()
        if select.select([handle], [], [], POLL_S)[0]:
            try:
                data = os.read(handle, READ_BYTES)
            except OSError:  # the terminal was hung up
                return
            if not data:
                return
            at_s = clock()
            keys = decoder.feed(data, at_s)
        else:
            after, at_s = put_before, clock()
            keys = decoder.wait(at_s)
            takes.wait(at_s)
        if keys:
            takes.take(keys, after, at_s)


@contextlib.contextmanager
def raw_terminal(at_end: Callable[[Callable[[], None]], object]) -> Iterator[None]:
    """Let the terminal give every key at once, and tell pastes from keys.

    `at_end` is given what puts the terminal back, for when the program is ended from outside.
    """
    import termios
    import tty

    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)

    def put_back() -> None:
        with contextlib.suppress(termios.error, OSError):  # the terminal may be gone
            termios.tcsetattr(handle, termios.TCSANOW, before)
            _write(_PASTE_OFF)

    at_end(put_back)
    try:
        tty.setcbreak(handle)
        modes = termios.tcgetattr(handle)
        modes[0] &= ~termios.IXON  # or Ctrl-S would hold up all that is shown, and so the session
        termios.tcsetattr(handle, termios.TCSANOW, modes)
        _write(_PASTE_ON)
        yield
    finally:
        put_back()


def echo(text: str) -> None:
    """Show what is being typed on the last line of the screen, if it is one."""
    with contextlib.suppress(OSError):  # what cannot be echoed can be typed all the same
        _write(text)


def _write(text: str) -> None:
    """Write past the buffer of standard output, in which no thread may wait when the program ends."""
    if sys.stdout.isatty():
        os.write(sys.stdout.fileno(), text.encode())
