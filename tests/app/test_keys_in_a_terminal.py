"""The keypad of a live session in a terminal: what once confirmed pairs that nobody meant."""

import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.dialogue.messages import KeysRefused, KeyTrouble, PairConfirmed
from tests.pseudo_terminal import TerminalSession

APART_S = 1.0
"""Longer than a key has to rest to be pressed anew."""


@pytest.fixture
def session(tmp_path: Path) -> Iterator[TerminalSession]:
    """A session on 25 pairs that waits for the first."""
    running = TerminalSession(tmp_path, "--cable", "25")
    running.wait_for("Next one, blue white")
    time.sleep(0.2)  # it looks for keys from then on
    yield running
    running.close()


def came_of(session: TerminalSession, *writes: str | bytes) -> tuple[list[int], list[KeyTrouble]]:
    """Type these, one write after the other, and give the pairs that were confirmed and what was refused."""
    for keys in writes:
        session.type(keys)
        time.sleep(APART_S)
    session.stop(signal.SIGTERM)
    records = session.records()
    confirmed = [fact.pair for record in records for fact in record.facts if isinstance(fact, PairConfirmed)]
    return confirmed, [record.input.trouble for record in records if isinstance(record.input, KeysRefused)]


def test_keys_without_num_lock_confirm_nothing_and_are_told(session: TerminalSession) -> None:
    """Once PgUp, which is the 9 key, and Enter confirmed five: the 5 of its sequence."""
    writes = ["\x1b[F\r", "\x1b[B\r", "\x1b[4~\r", "\x1b[1~", "\r", "\x1b[15~\r"]
    confirmed, refused = came_of(session, *writes)
    assert confirmed == []
    assert refused == [*[KeyTrouble.NUM_LOCK] * 4, KeyTrouble.UNKNOWN]


def test_many_keys_in_one_write_act_once_and_at_once(session: TerminalSession) -> None:
    session.type("+++++")
    session.wait_for("One, blue white, confirmed", 5.0)
    time.sleep(APART_S)
    session.type("2\r")
    session.wait_for("Two, orange white, confirmed", 5.0)
    assert came_of(session, "/1", "++++++++++") == ([1, 2, 3], [])


def test_keys_that_were_made_while_it_was_held_up_confirm_nothing_that_was_announced_later(
    session: TerminalSession,
) -> None:
    """Once the keys of a stall were held back and confirmed pair after pair with the next harmless key."""
    session.process.send_signal(signal.SIGSTOP)
    for keys in ("1\r", "+", "/1", "+"):
        session.type(keys)
        time.sleep(0.1)
    session.process.send_signal(signal.SIGCONT)
    session.wait_for("One, blue white, confirmed")
    time.sleep(APART_S)
    confirmed, _ = came_of(session, "/1", "/1")
    assert confirmed == [1], "it was named; the rest was made before two was announced"


def test_a_held_plus_key_confirms_one_pair(session: TerminalSession) -> None:
    for _ in range(40):
        session.type("+")
        time.sleep(0.033)
    assert came_of(session, "/1") == ([1], [])


@pytest.mark.parametrize("paste", ["+\r" * 1500, "1\r2\r3\r"])
def test_a_paste_is_refused_whole_in_one_answer(session: TerminalSession, paste: str) -> None:
    assert came_of(session, f"\x1b[200~{paste}\x1b[201~") == ([], [KeyTrouble.UNKNOWN])


def test_a_byte_that_is_no_text_ends_nothing(session: TerminalSession) -> None:
    assert came_of(session, b"\xff", "1\r") == ([1], [KeyTrouble.UNKNOWN])


def test_ctrl_s_holds_nothing_up(session: TerminalSession) -> None:
    """It stopped all output for ever, and with it the answers and the end of the session."""
    session.type("\x13")
    time.sleep(APART_S)
    session.type("1\r")
    session.wait_for("One, blue white, confirmed", 10.0)
    assert came_of(session, "/1") == ([1], [KeyTrouble.UNKNOWN])


def test_typed_words_in_a_terminal_answer_what_was_told_before_they_were_begun(tmp_path: Path) -> None:
    session = TerminalSession(tmp_path, "--cable", "25", "--typed")
    try:
        session.wait_for("Next one, blue white")
        time.sleep(0.2)
        session.process.send_signal(signal.SIGSTOP)
        session.type("blue white\rconfirm\r")
        session.process.send_signal(signal.SIGCONT)
        session.wait_for("One, blue white, confirmed")
        assert came_of(session, "orange white\r", "confirm\r") == ([1, 2, 3], [])
    finally:
        session.close()


@pytest.fixture
def with_a_foot_switch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TerminalSession]:
    file = tmp_path / "settings.toml"
    file.write_text('[keys]\nF13 = "+"\n')
    monkeypatch.setenv("SPLICE_ASSISTANT_SETTINGS", str(file))
    (tmp_path / "log").mkdir()
    running = TerminalSession(tmp_path / "log", "--cable", "25")
    running.wait_for("Next one, blue white")
    time.sleep(0.2)
    yield running
    running.close()


def test_a_foot_switch_is_the_key_that_it_stands_for_and_held_acts_once(with_a_foot_switch: TerminalSession) -> None:
    """F13 as terminals send it (xterm, Control Sequences: CSI 25 ~ in the VT220 style)."""
    session = with_a_foot_switch
    assert "Keys: F13 is + (" in session.shown
    for _ in range(30):
        session.type("\x1b[25~")
        time.sleep(0.04)
    session.wait_for("One, blue white, confirmed", 5.0)
    time.sleep(APART_S)
    session.type("\x1b[25~")
    session.wait_for("Two, orange white, confirmed", 5.0)
    assert came_of(session, "\x1b[26~", "\x1b[6~", "b") == (
        [1, 2],
        [KeyTrouble.UNKNOWN, KeyTrouble.NUM_LOCK, KeyTrouble.UNKNOWN],
    )
