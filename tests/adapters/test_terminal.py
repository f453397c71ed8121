"""What a terminal sends, as keys: whole sequences, pastes, bytes that are none, and when each was made."""

import os
import pty
import sys
import threading
import tty
from collections.abc import Iterator, Sequence
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.adapters import terminal
from assistant.adapters.keypad import Keypad
from assistant.adapters.terminal import ENDLESS_S, ESCAPE_S, Key, KeyDecoder, watch_terminal
from assistant.dialogue.messages import (
    NOT_YET,
    Announced,
    AnnouncementNumber,
    Input,
    KeysPressed,
    KeysRefused,
    KeyTrouble,
)
from assistant.words.keypad import HALF_TYPED_S

UNKNOWN, NUM_LOCK, HELD, TOO_LONG = KeyTrouble.UNKNOWN, KeyTrouble.NUM_LOCK, KeyTrouble.HELD, KeyTrouble.TOO_LONG
FIRST, SECOND = AnnouncementNumber(1), AnnouncementNumber(2)


def told(number: AnnouncementNumber) -> Announced:
    return Announced(number, number)


# what the keypad sends without Num Lock: XTerm Control Sequences, "VT220-Style Function Keys" and "Cursor keys", in
# normal and application mode; linux and rxvt of terminfo for the second Home and End
WITHOUT_NUM_LOCK = [
    *("\x1b[2~", "\x1b[F", "\x1bOF", "\x1b[4~", "\x1b[8~", "\x1b[B", "\x1bOB", "\x1b[6~", "\x1b[D", "\x1bOD", "\x1b[E"),
    *("\x1bOE", "\x1b[C", "\x1bOC", "\x1b[H", "\x1bOH", "\x1b[1~", "\x1b[7~", "\x1b[A", "\x1bOA", "\x1b[5~", "\x1b[3~"),
]
OTHERS = [
    *("\x1bOP", "\x1b[15~", "\x1b[24~", "\x1b[[A", "\x1b[1;5C", "\x1b[5;2~"),  # functions, and with Control or Shift
    *("\x1b1", "\x1b+", "\x1b\r", "\x1bb"),  # with Alt
    *("\x1b[<0;12;11M", "\x1b[M 1+"),  # mouse
    *("\x1b[12;40R", "\x1b[?62;1;2c", "\x1b[1+p", "\x1b[99;99X", "\x1b[49;1:2u", "\x1b]11;rgb:1/1/1\x07"),
    *("\x1bP1+r436f=1\x1b\\", "\x1b(1", "\x1b#3"),
]
# VT100 User Guide, table 3-8 (keypad application mode)
APPLICATION = {f"\x1bO{code}": digit for code, digit in zip("pqrstuvwxy", "0123456789", strict=True)} | {
    "\x1bOM": "\r",
    "\x1bOk": "+",
    "\x1bOm": "-",
    "\x1bOn": ".",
}


def keys_of(*reads: str) -> list[Key]:
    decoder = KeyDecoder()
    found = [key for read in reads for key in decoder.feed(read.encode(), 1.0)]
    return found + decoder.wait(1.0 + ESCAPE_S)


@pytest.mark.parametrize("sequence", WITHOUT_NUM_LOCK, ids=ascii)
def test_keys_without_num_lock_are_no_figures(sequence: str) -> None:
    assert keys_of(sequence) == [Key(sequence, NUM_LOCK)]
    assert keys_of(*sequence) == [Key(sequence, NUM_LOCK)], "byte by byte"


@pytest.mark.parametrize("sequence", OTHERS, ids=ascii)
def test_any_other_sequence_is_one_key_that_is_not_known(sequence: str) -> None:
    for reads in ((sequence,), tuple(sequence)):
        found = keys_of(*reads)
        assert [key.trouble for key in found] == [UNKNOWN], found


@pytest.mark.parametrize(("sequence", "key"), APPLICATION.items(), ids=ascii)
def test_the_keypad_in_application_mode_means_its_figures(sequence: str, key: str) -> None:
    assert keys_of(sequence) == [Key(key)]


def test_escape_alone_is_a_key_and_what_is_broken_off_is_not_known() -> None:
    assert keys_of("\x1b") == [Key("\x1b")]
    assert keys_of("\x1b\x1b") == [Key("\x1b"), Key("\x1b")]
    assert keys_of("\x1b[5") == [Key("\x1b[5", UNKNOWN)]
    assert [key.trouble for key in keys_of("\x1b[5\r")] == [UNKNOWN, None]


@pytest.mark.parametrize(
    "text", ["1\r2\r3\r", "+" * 5000, "\x1b[5~+\r", "", "\x1b]1+\x07"], ids=lambda t: ascii(t)[:12]
)
def test_a_paste_is_refused_whole_in_one(text: str) -> None:
    (key,) = keys_of(f"\x1b[200~{text}\x1b[201~")
    assert key.trouble is UNKNOWN
    (key,) = keys_of(*f"\x1b[200~{text[:40]}\x1b[201~")
    assert key.trouble is UNKNOWN


def test_a_paste_without_an_end_does_not_swallow_keys_for_ever() -> None:
    decoder = KeyDecoder()
    assert decoder.feed(b"\x1b[200~47", 1.0) == []
    assert [key.trouble for key in decoder.wait(1.0 + ENDLESS_S)] == [UNKNOWN]
    assert decoder.feed(b"4", 3.0) == [Key("4")]


def test_bytes_that_are_no_text_are_keys_that_are_not_known() -> None:
    assert KeyDecoder().feed(b"\xff", 1.0) == [Key("\N{REPLACEMENT CHARACTER}")]


@given(st.binary(max_size=60), st.lists(st.integers(0, 60)))
def test_whatever_comes_never_raises_and_nothing_waits_for_ever(data: bytes, cuts: list[int]) -> None:
    decoder, edges = KeyDecoder(), sorted({0, len(data), *(cut for cut in cuts if cut < len(data))})
    for start, end in pairwise(edges):
        decoder.feed(data[start:end], 1.0)
    decoder.wait(5.0)
    decoder.wait(5.0)
    assert decoder.feed(b"", 9.0) == [], "nothing is kept for ever"


# --- the keypad ------------------------------------------------------------------------------------


def entered(*reads: tuple[str, AnnouncementNumber, float]) -> list[Input]:
    came: list[Input] = []
    keypad, decoder = Keypad(came.append), KeyDecoder()
    for text, after, at_s in reads:
        keypad.take(decoder.feed(text.encode(), at_s), told(after), at_s)
        keypad.take(decoder.wait(at_s + ESCAPE_S), told(after), at_s + ESCAPE_S)
    return came


@pytest.mark.parametrize(("sequence", "trouble"), [("\x1b[5~", NUM_LOCK), ("\x1b[15~", UNKNOWN), ("\x1b5", UNKNOWN)])
def test_a_refused_key_clears_what_was_half_typed_and_takes_the_rest_of_the_read_with_it(
    sequence: str, trouble: KeyTrouble
) -> None:
    """PgUp (9 without Num Lock) and Enter once confirmed pair 5, F5 and Enter pair 15."""
    assert entered((f"{sequence}\r", FIRST, 1.0)) == [KeysRefused(sequence, trouble)]
    came = entered(("4", FIRST, 1.0), (sequence, FIRST, 2.0), ("7\r", FIRST, 3.0))
    assert came == [KeysRefused(sequence, trouble), KeysPressed("7\r", FIRST, FIRST)]


def test_a_refused_key_that_is_held_is_answered_once() -> None:
    came = entered(*(("\x1b[5~", FIRST, 1.0 + 0.04 * n) for n in range(50)))
    assert came == [KeysRefused("\x1b[5~", NUM_LOCK)]
    came = entered(("\x1b[5~", FIRST, 1.0), ("\x1b[5~+", FIRST, 1.3))
    assert came == [KeysRefused("\x1b[5~", NUM_LOCK)], "nor does anything behind it in the read count"


def test_one_write_of_many_plus_keys_is_one_press() -> None:
    assert entered(("+" * 10, FIRST, 1.0)) == [KeysPressed("+", FIRST, FIRST)]


def test_figure_and_enter_in_one_write_act_at_once() -> None:
    assert entered(("1\r", FIRST, 1.0)) == [KeysPressed("1\r", FIRST, FIRST)]


def test_a_held_figure_is_refused_once_and_counts_for_nothing() -> None:
    came = entered(*(("5", FIRST, 1.0 + 0.03 * n) for n in range(30)), ("\r", FIRST, 2.0))
    assert came == [KeysRefused("55", HELD), KeysPressed("\r", FIRST, FIRST)]


def test_an_entry_is_as_old_as_its_first_key() -> None:
    came = entered(("4", FIRST, 1.0), ("7", SECOND, 1.2), ("\r", SECOND, 1.4), ("+", SECOND, 2.0))
    assert came == [KeysPressed("47\r", FIRST, FIRST), KeysPressed("+", SECOND, SECOND)]


def test_what_was_half_typed_is_cleared_after_a_while_and_told() -> None:
    came: list[Input] = []
    keypad = Keypad(came.append)
    keypad.take([Key("4")], told(FIRST), 1.0)
    keypad.wait(HALF_TYPED_S)
    assert came == []
    keypad.wait(1.0 + HALF_TYPED_S)
    assert came == [KeysRefused("4", TOO_LONG)]
    keypad.wait(1.0 + 2 * HALF_TYPED_S)
    assert len(came) == 1
    # the process was stopped meanwhile, so that nobody waited
    assert entered(("4", FIRST, 1.0), ("7\r", FIRST, 1.0 + HALF_TYPED_S)) == [KeysRefused("4", TOO_LONG)]


def test_keys_that_cannot_stand_behind_each_other_are_refused_with_what_was_typed() -> None:
    assert entered(("4", FIRST, 1.0), ("/", FIRST, 1.5), ("x", FIRST, 2.0)) == [
        KeysRefused("4/", UNKNOWN),
        KeysRefused("x", UNKNOWN),
    ]


# --- the descriptor --------------------------------------------------------------------------------


class Taken:
    """Keeps what it is given, and tells of each look at the empty descriptor."""

    def __init__(self) -> None:
        self.keys: list[tuple[str, AnnouncementNumber]] = []
        self.looked = threading.Semaphore(0)

    def take(self, keys: Sequence[Key], after: AnnouncementNumber, at_s: float) -> None:
        self.keys.append(("".join(key.sent for key in keys), after))

    def wait(self, at_s: float) -> None:
        self.looked.release()


@pytest.fixture
def typist(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A terminal as standard input; gives the descriptor to type into."""
    master, slave = pty.openpty()
    with open(slave, encoding="utf-8") as stdin:
        tty.setraw(slave)
        monkeypatch.setattr(sys, "stdin", stdin)
        yield master
    os.close(master)


def test_keys_are_as_old_as_the_last_look_at_an_empty_descriptor(typist: int) -> None:
    """Keys that wait while the program is held up were made before what it says next."""
    taken, stop, put = Taken(), threading.Event(), [FIRST]
    os.write(typist, b"0")

    def last_put() -> Announced:
        return told(put[0])

    thread = threading.Thread(target=watch_terminal, args=(taken, last_put, stop), daemon=True)
    thread.start()
    for _ in range(3):
        assert taken.looked.acquire(timeout=5)
    os.write(typist, b"+")
    put[0] = SECOND
    assert taken.looked.acquire(timeout=5)
    for _ in range(2):
        while taken.looked.acquire(blocking=False):
            pass
        assert taken.looked.acquire(timeout=5)
    os.write(typist, b"-----")
    assert taken.looked.acquire(timeout=5)
    stop.set()
    thread.join(5)
    assert taken.keys[0] == ("0", told(NOT_YET)), "it was typed before anybody looked"
    assert taken.keys[-1] == ("-----", told(SECOND)), "all that was written is read at once"
    assert taken.keys[1][0] == "+"


@pytest.mark.parametrize("sees_it", [True, False])
def test_keys_during_a_stall_are_as_old_as_the_stall(
    typist: int, monkeypatch: pytest.MonkeyPatch, sees_it: bool
) -> None:
    """The program is held up right before or right after a look at the descriptor; the key comes meanwhile."""
    taken, stop, put, stall = Taken(), threading.Event(), [FIRST], threading.Event()
    looked = terminal.select.select

    def stalled(*arguments: object) -> object:
        found = looked(*arguments)  # type: ignore[arg-type]
        if put[0] == FIRST and taken.looked._value > 2:  # a few looks, then the program is held up
            os.write(typist, b"+")
            put[0] = SECOND
            stall.set()
            return looked(*arguments) if sees_it else found  # type: ignore[arg-type]
        return found

    monkeypatch.setattr(terminal.select, "select", stalled)
    thread = threading.Thread(target=watch_terminal, args=(taken, lambda: told(put[0]), stop), daemon=True)
    thread.start()
    assert stall.wait(5)
    while not taken.keys:
        assert taken.looked.acquire(timeout=5)
    stop.set()
    thread.join(5)
    assert taken.keys == [("+", told(FIRST))]


def test_a_terminal_that_is_gone_ends_the_reading(typist: int, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*_: object) -> bytes:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(terminal.os, "read", gone)
    os.write(typist, b"1")
    watch_terminal(Taken(), lambda: told(FIRST), threading.Event())
