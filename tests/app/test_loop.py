"""The loop with everything around it in memory: log, then speak; listen only when silent."""

import queue
import threading
from datetime import UTC, datetime

import pytest

from assistant.app.loop import Feeds, ListeningGate, Loop
from assistant.dialogue.messages import Input, KeysPressed, PairConfirmed, SpeechEnded, StopAsked, Typed
from assistant.dialogue.state import initial
from assistant.session.journal import JournalError, MemoryJournal
from assistant.session.record import Record
from tests.dialogue.conversation import start


class Tape:
    """Clock, screen, voice and journal that write what happens, in order, on one tape."""

    def __init__(self, inbox: "queue.Queue[Input]", *, fail_at: int = 0, ends: bool = True) -> None:
        self.events: list[str] = []
        self.journal = MemoryJournal()
        self.interrupts: list[bool] = []
        self._inbox = inbox
        self._fail_at = fail_at
        self._ends = ends

    def now(self) -> datetime:
        return datetime(2026, 1, 1, tzinfo=UTC)

    def show(self, line: str) -> None:
        self.events.append(f"show {line}")

    def say(self, text: str, *, interrupt: bool = False) -> None:
        self.events.append(f"say {text}")
        self.interrupts.append(interrupt)
        if self._ends:
            self._inbox.put(SpeechEnded())

    def append(self, record: Record) -> None:
        if record.number == self._fail_at:
            raise JournalError("log: cannot be written (no space)")
        self.journal.append(record)
        self.events.append(f"log {record.number}")

    def close(self) -> None:
        self.events.append("close")


def run(inputs: list[Input], **options: object) -> tuple[Tape, Loop, ListeningGate]:
    inbox: queue.Queue[Input] = queue.Queue()
    tape, ear = Tape(inbox, **options), ListeningGate()  # type: ignore[arg-type]
    for came in inputs:
        inbox.put(came)
    loop = Loop(state=initial(), records=0, journal=tape, inbox=inbox, voice=tape, screen=tape, clock=tape, ear=ear)
    loop.run()
    return tape, loop, ear


def test_a_pair_is_logged_before_it_is_said_or_shown_as_confirmed() -> None:
    tape, _, _ = run([start(), Typed("blue white"), StopAsked("over")])
    said = next(i for i, event in enumerate(tape.events) if event.startswith("say One, blue white, confirmed"))
    logged = tape.events.index("log 2")
    shown = next(i for i, event in enumerate(tape.events) if event.startswith("show < One"))
    assert logged < shown < said


def test_what_cannot_be_logged_is_never_said() -> None:
    inbox: queue.Queue[Input] = queue.Queue()
    tape = Tape(inbox, fail_at=2)
    for came in (start(), Typed("blue white")):
        inbox.put(came)
    loop = Loop(
        state=initial(), records=0, journal=tape, inbox=inbox, voice=tape, screen=tape, clock=tape, ear=ListeningGate()
    )
    with pytest.raises(JournalError):
        loop.run()
    assert not any("confirmed" in event for event in tape.events)
    assert loop.state.of(1).confirmed is None


def test_the_record_has_the_input_with_its_facts_and_the_time() -> None:
    tape, _, _ = run([start(), Typed("blue white"), StopAsked("over")])
    record = tape.journal.records[1]
    assert record.input == Typed("blue white")
    assert isinstance(record.facts[0], PairConfirmed)
    assert record.at == "2026-01-01T00:00:00.000+00:00"
    assert [r.number for r in tape.journal.records] == [1, 2, 3]


def test_the_ear_is_shut_while_the_assistant_speaks_and_open_afterwards() -> None:
    inbox: queue.Queue[Input] = queue.Queue()
    tape, ear = Tape(inbox, ends=False), ListeningGate()
    loop = Loop(state=initial(), records=0, journal=tape, inbox=inbox, voice=tape, screen=tape, clock=tape, ear=ear)
    thread = threading.Thread(target=loop.run, daemon=True)
    thread.start()
    inbox.put(start())
    while not tape.interrupts:
        pass
    assert ear.scope is None
    inbox.put(SpeechEnded())
    assert ear.wait_open()
    assert ear.scope is not None
    inbox.put(StopAsked("over"))
    thread.join(5)
    assert not thread.is_alive()
    assert not ear.wait_open()


def test_keys_and_typed_words_interrupt_the_voice() -> None:
    tape, _, _ = run([start(), KeysPressed("+"), Typed("orange white"), StopAsked("over")])
    assert tape.interrupts == [False, True, True]


def test_the_session_is_left_when_the_last_feed_has_ended() -> None:
    inbox: queue.Queue[Input] = queue.Queue()
    feeds = Feeds(inbox)
    feeds.begin()
    feeds.begin()
    feeds.done()
    assert inbox.empty()
    feeds.done()
    assert inbox.get_nowait() == StopAsked("end of input")
