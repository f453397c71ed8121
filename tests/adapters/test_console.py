"""Typed lines: from a pipe one at a time, from a terminal as old as their first key."""

import io
from pathlib import Path

import pytest

from assistant.adapters.console import LONGEST_LINE, PipedLines, TerminalScreen, TypedLines
from assistant.adapters.keypad import KeysFile
from assistant.adapters.terminal import Key, KeyDecoder
from assistant.dialogue.messages import (
    Announced,
    AnnouncementNumber,
    Input,
    KeysPressed,
    KeysRefused,
    KeyTrouble,
    StopAsked,
    Typed,
)
from assistant.errors import AssistantError

FIRST, SECOND = AnnouncementNumber(1), AnnouncementNumber(2)


class Turns:
    """Gives the turn once for each announcement, then the session is over."""

    def __init__(self, *announcements: int) -> None:
        self._left = [AnnouncementNumber(number) for number in announcements]
        self.asked = 0

    def __call__(self) -> AnnouncementNumber | None:
        self.asked += 1
        return self._left.pop(0) if self._left else None


class Pipe(io.BytesIO):
    """Gives a few bytes at a time, as a pipe may."""

    def read(self, size: int | None = -1, /) -> bytes:
        return super().read(min(size or 0, self.at_once))

    at_once = 3


def piped(data: bytes, *announcements: int) -> list[Input]:
    came: list[Input] = []
    pipe = Pipe(data)
    pipe.at_once = 3 if len(data) < 10_000 else 4096
    PipedLines(came.append, Turns(*announcements), pipe).run()
    return came


def test_each_line_of_a_pipe_waits_for_its_turn_and_answers_what_was_put_then() -> None:
    assert piped(b"yes\n\n  no \n", 1, 2, 3) == [Typed("yes", FIRST), Typed("no", SECOND)]
    assert piped(b"yes\nno\n", 1) == [Typed("yes", FIRST)], "the session is over"
    assert piped(b"no end", 1, 2) == [Typed("no end", FIRST)]


def test_a_line_without_end_is_refused_whole_and_the_next_one_is_taken() -> None:
    came = piped(b"yes " * 1_300_000 + b"\nno\n", 1, 2, 3)
    assert came == [KeysRefused("yes " * 10, KeyTrouble.TOO_LONG), Typed("no", SECOND)]
    assert piped(b"x" * 5_000_000, 1, 2) == [KeysRefused("x" * 40, KeyTrouble.TOO_LONG)]
    assert piped(b"y" * (LONGEST_LINE - 1) + b"\n", 1, 2) == [Typed("y" * (LONGEST_LINE - 1), FIRST)]


def test_a_byte_that_is_no_text_is_no_end_of_the_session() -> None:
    assert piped(b"\xff\nno\n", 1, 2, 3) == [Typed("\N{REPLACEMENT CHARACTER}", FIRST), Typed("no", SECOND)]


def typed(*reads: tuple[str, AnnouncementNumber]) -> list[Input]:
    came: list[Input] = []
    lines, decoder = TypedLines(came.append), KeyDecoder()
    for text, after in reads:
        lines.take(decoder.feed(text.encode(), 1.0), Announced(after, after), 1.0)
        lines.take(decoder.wait(2.0), Announced(after, after), 2.0)
    return came


def test_a_typed_line_is_as_old_as_its_first_key() -> None:
    assert typed(("y", FIRST), ("es\r", SECOND), ("no\r", SECOND)) == [
        Typed("yes", FIRST, FIRST),
        Typed("no", SECOND, SECOND),
    ]


def test_a_typed_line_can_be_mended() -> None:
    assert typed(("nox\x7f\x7f\x7fyes\r", FIRST)) == [Typed("yes", FIRST, FIRST)]
    assert typed(("no\x15yes\r", FIRST)) == [Typed("yes", FIRST, FIRST)]
    assert typed(("no", FIRST), ("\x1b", FIRST), ("yes\r", SECOND)) == [Typed("yes", SECOND, SECOND)]
    assert typed(("\x04", FIRST)) == [StopAsked("end of input")]


def test_what_is_pasted_or_no_text_is_refused_with_the_line() -> None:
    assert typed(("con", FIRST), ("\x1b[200~firm\r\x1b[201~", FIRST), ("\r", FIRST)) == [
        KeysRefused("firm\r", KeyTrouble.UNKNOWN)
    ]
    assert typed(("ye\x1b[As\r", FIRST)) == [KeysRefused("\x1b[A", KeyTrouble.NUM_LOCK)]
    assert typed(("y" * (LONGEST_LINE + 1), FIRST)) == [KeysRefused("y" * 40, KeyTrouble.TOO_LONG)]


def test_keys_of_a_file_wait_for_their_turns(tmp_path: Path) -> None:
    (tmp_path / "keys").write_text("# a remark\n+-\n47\n")
    came: list[Input] = []
    turns = Turns(1, 2, 2, 3)
    KeysFile(tmp_path / "keys", came.append, turns).run()
    assert came == [KeysPressed("+", FIRST), KeysPressed("-", SECOND), KeysPressed("47\n", SECOND)]
    assert turns.asked == 3


class Unwritable(io.StringIO):
    def write(self, _: str) -> int:
        raise OSError(28, "No space left on device")


class Unread(io.StringIO):
    def write(self, _: str) -> int:
        raise BrokenPipeError(32, "Broken pipe")


def test_a_screen_that_cannot_be_written_is_one_clear_line() -> None:
    with pytest.raises(AssistantError, match=r"cannot be written \(No space left on device\)"):
        TerminalScreen(Unwritable()).show("x")
    with pytest.raises(BrokenPipeError):
        TerminalScreen(Unread()).show("x")


def test_the_keys_of_one_read_are_taken_in_order() -> None:
    came: list[Input] = []
    TypedLines(came.append).take([Key(character) for character in "a\rb\r"], Announced(FIRST, FIRST), 1.0)
    assert came == [Typed("a", FIRST, FIRST), Typed("b", FIRST, FIRST)]
