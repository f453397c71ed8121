"""The loop with everything around it in memory: log, then speak; listen only when silent; never wait for itself."""

import itertools
import signal
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from assistant.app import loop as module
from assistant.app.inbox import Inbox
from assistant.app.loop import Feeds, ListeningGate, Loop
from assistant.dialogue.messages import (
    NOT_YET,
    Announced,
    AnnouncementNumber,
    Input,
    KeysPressed,
    PairConfirmed,
    Show,
    Speak,
    SpeechEnded,
    StartTimer,
    Step,
    StopAsked,
    TimedOut,
    Typed,
)
from assistant.dialogue.state import State, initial
from assistant.errors import AssistantError
from assistant.ports import Told, Uptime, untold
from assistant.session.journal import Health, MemoryJournal
from assistant.session.place import Cause, JournalError, PlaceTrouble
from assistant.session.record import Record
from tests.dialogue.conversation import start


def typed(text: str) -> Typed:
    return Typed(text, NOT_YET)


class Tape:
    """Clock, screen, voice and journal that write what happens, in order, on one tape."""

    def __init__(self, inbox: Inbox, *, fail_at: int = 0, ends: bool = True, screen_fails: bool = False) -> None:
        self.events: list[str] = []
        self.journal = MemoryJournal()
        self.interrupts: list[bool] = []
        self.begun: list[Told] = []
        self.told: list[Told] = []
        self.time_s = 100.0
        self.alarms: list[tuple[float, Callable[[], None]]] = []
        self._inbox = inbox
        self._fail_at = fail_at
        self._ends = ends
        self.screen_fails = screen_fails
        self.health_now = Health(())
        self.tries = 0

    def now(self) -> datetime:
        return datetime(2026, 1, 1, tzinfo=UTC)

    def uptime(self) -> Uptime:
        return Uptime("start", self.time_s)

    def steady_s(self) -> float:
        return self.time_s

    def call_after(self, seconds: float, call: Callable[[], None]) -> None:
        self.alarms.append((seconds, call))

    def show(self, line: str) -> None:
        if self.screen_fails:
            raise AssistantError("screen: gone")
        self.events.append(f"show {line}")

    def tune(self, *, words_a_minute: int, loudness: int) -> None:
        self.tuned = (words_a_minute, loudness)

    def say(
        self, text: str, *, tone: bool = False, begun: Told = untold, told: Told = untold, interrupt: bool = False
    ) -> None:
        self.events.append(f"say {text}")
        self.interrupts.append(interrupt)
        self.begun.append(begun)
        self.told.append(told)
        if self._ends:
            begun()
            told()
            self._inbox.put_own(SpeechEnded())

    def append(self, record: Record) -> None:
        if record.number == self._fail_at:
            raise JournalError("log: cannot be written (no space); free some space")
        self.journal.append(record)
        self.events.append(f"log {record.number}")

    @property
    def health(self) -> Health:
        return self.health_now

    def try_again(self) -> bool:
        self.tries += 1
        return not self._fail_at

    def have_space(self) -> None:
        self._fail_at = 0

    def close(self) -> None:
        self.events.append("close")


def new_loop(tape: Tape, inbox: Inbox, ear: ListeningGate | None = None) -> Loop:
    ear = ear or ListeningGate()
    return Loop(state=initial(), records=0, journal=tape, inbox=inbox, voice=tape, screen=tape, clock=tape, ear=ear)


def run(inputs: list[Input], **options: object) -> tuple[Tape, Loop, ListeningGate]:
    inbox = Inbox()
    tape, ear = Tape(inbox, **options), ListeningGate()  # type: ignore[arg-type]
    for came in inputs:
        inbox.put(came)
    loop = new_loop(tape, inbox, ear)
    loop.run()
    return tape, loop, ear


def test_a_pair_is_logged_before_it_is_said_or_shown_as_confirmed() -> None:
    tape, _, _ = run([start(), typed("blue white"), StopAsked("over")])
    said = next(i for i, event in enumerate(tape.events) if event.startswith("say One, blue white, confirmed"))
    logged = tape.events.index("log 2")
    shown = next(i for i, event in enumerate(tape.events) if event.startswith("show < One"))
    assert logged < shown < said


def test_what_cannot_be_logged_is_never_said() -> None:
    inbox = Inbox()
    tape = Tape(inbox, fail_at=2)
    for came in (start(), typed("blue white")):
        inbox.put(came)
    inbox.put(StopAsked("over"))
    loop = new_loop(tape, inbox)
    with pytest.raises(JournalError, match="free some space"):
        loop.run()
    assert not any("confirmed" in event for event in tape.events)
    assert loop.state.of(1).confirmed is None


TROUBLE = PlaceTrouble(Path("log"), Cause.FULL, "no space")


def said_of_log(tape: Tape) -> list[str]:
    return [event for event in tape.events if event.startswith("say") and "log" in event]


def let_pass(loop: Loop, inbox: Inbox) -> None:
    """Take all that is in the inbox."""
    while not inbox.is_empty:
        loop._take(loop._next())


def test_a_log_that_cannot_be_written_is_said_again_until_it_can_and_the_work_goes_on() -> None:
    inbox = Inbox()
    tape = Tape(inbox, fail_at=2)
    loop = new_loop(tape, inbox)
    inbox.put(start())
    let_pass(loop, inbox)
    tape.health_now = Health((), (TROUBLE,))
    inbox.put(typed("blue white"))
    let_pass(loop, inbox)
    stopped = "say Nothing is logged. The log cannot be written: the disk is full."
    assert said_of_log(tape) == [stopped]
    for _ in range(2):
        (_, look), *tape.alarms = tape.alarms
        look()
        let_pass(loop, inbox)
    assert said_of_log(tape) == [stopped] * 3
    assert tape.tries == 2
    tape.have_space()
    tape.health_now = Health((Path("log"),))
    tape.alarms.pop()[1]()
    let_pass(loop, inbox)
    assert said_of_log(tape)[-1] == "say The log had trouble. It is written again."
    inbox.put(typed("blue white"))
    let_pass(loop, inbox)
    assert loop.state.of(1).confirmed is not None
    assert tape.alarms == [], "nothing more to look after"


def test_one_log_of_two_that_fails_is_said_until_it_is_said_to_be_heard() -> None:
    inbox = Inbox()
    tape = Tape(inbox)
    loop = new_loop(tape, inbox)
    inbox.put(start())
    let_pass(loop, inbox)
    tape.health_now = Health((Path("log"),), (TROUBLE,))
    inbox.put(typed("blue white"))
    let_pass(loop, inbox)
    one_left = "say One of the two logs cannot be written: the disk is full. The other goes on. Say, I heard that."
    assert said_of_log(tape) == [one_left]
    assert loop.state.of(1).confirmed is not None, "the other log has it"
    tape.alarms.pop()[1]()
    let_pass(loop, inbox)
    assert said_of_log(tape) == [one_left] * 2
    inbox.put(typed("orange white"))
    let_pass(loop, inbox)
    tape.alarms.pop()[1]()
    let_pass(loop, inbox)
    assert said_of_log(tape) == [one_left] * 3, "a call is no sign that it was heard"
    inbox.put(typed("i heard that"))
    let_pass(loop, inbox)
    tape.alarms.pop()[1]()
    let_pass(loop, inbox)
    assert said_of_log(tape) == [one_left] * 3
    tape.health_now = Health((Path("log"), Path("copy")), (), mended=1)
    tape.alarms.pop()[1]()
    let_pass(loop, inbox)
    assert said_of_log(tape)[-1] == "say The log had trouble. It is written again."


def test_a_slow_disk_is_said_once() -> None:
    inbox = Inbox()
    tape = Tape(inbox)
    tape.health_now = Health((Path("log"),), slow_s=1.0)
    loop = new_loop(tape, inbox)
    for came in (start(), typed("blue white"), typed("orange white")):
        inbox.put(came)
    let_pass(loop, inbox)
    assert said_of_log(tape) == ["say The disk of the log is slow."]


def test_the_record_has_the_input_with_its_facts_and_the_time() -> None:
    tape, _, _ = run([start(), typed("blue white"), StopAsked("over")])
    record = tape.journal.records[1]
    assert record.input == typed("blue white")
    assert isinstance(record.facts[0], PairConfirmed)
    assert record.at == "2026-01-01T00:00:00.000+00:00"
    assert [r.number for r in tape.journal.records] == [1, 2, 3]


def test_the_ear_is_shut_while_the_assistant_speaks_and_open_afterwards() -> None:
    inbox = Inbox()
    tape, ear = Tape(inbox, ends=False), ListeningGate()
    loop = new_loop(tape, inbox, ear)
    thread = threading.Thread(target=loop.run, daemon=True)
    thread.start()
    inbox.put(start())
    while not tape.interrupts:
        pass
    assert ear.listening is None
    inbox.put_own(SpeechEnded())
    assert ear.wait_open()
    assert ear.listening is not None
    inbox.put(StopAsked("over"))
    thread.join(5)
    assert not thread.is_alive()
    assert not ear.wait_open()


def test_keys_and_typed_words_interrupt_the_voice() -> None:
    tape, _, _ = run([start(), KeysPressed("+", NOT_YET), typed("orange white"), StopAsked("over")])
    assert tape.interrupts == [False, True, True]


def test_the_session_is_left_when_the_last_feed_has_ended() -> None:
    inbox = Inbox()
    feeds = Feeds(inbox)
    feeds.begin()
    feeds.begin()
    feeds.done()
    assert inbox.is_empty
    feeds.done()
    assert inbox.get() == StopAsked("end of input")


def tells(announcements: dict[str, int], **timers: float) -> Callable[[State, Input], Step]:
    """A stand-in for the rules: says what is typed, as the announcement of that number, and sets its timer."""

    def decided(_: State, came: Input) -> Step:
        if isinstance(came, StopAsked):
            return Step(effects=(module.Quit(),))
        if not isinstance(came, Typed):
            return Step()
        number = announcements.get(came.text)
        speak = Speak(came.text, None if number is None else AnnouncementNumber(number))
        timer = (StartTimer(timers[came.text], 7),) if came.text in timers else ()
        return Step(effects=(Show(came.text), speak, *timer))

    return decided


class Running:
    """A loop in a thread of its own, with a voice whose sentences begin and end when the test says."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, rules: Callable[[State, Input], Step]) -> None:
        monkeypatch.setattr(module, "decide", rules)
        self.inbox = Inbox()
        self.tape = Tape(self.inbox, ends=False)
        self.ear = ListeningGate()
        self.loop = new_loop(self.tape, self.inbox, self.ear)
        self.thread = threading.Thread(target=self.loop.run, daemon=True)
        self.thread.start()

    def type(self, text: str) -> None:
        said = len(self.tape.begun)
        self.inbox.put(typed(text))
        until(lambda: len(self.tape.begun) > said)

    def end(self) -> None:
        self.loop.stop("over")
        self.thread.join(5)
        assert not self.thread.is_alive()


def until(holds: Callable[[], bool]) -> None:
    waiting = threading.Event()
    for _ in range(500):
        if holds():
            return
        waiting.wait(0.01)
    pytest.fail("it never came")


def test_an_announcement_is_put_when_its_sentence_was_told_to_its_end_and_not_before(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    running = Running(monkeypatch, tells({"first": 1, "second": 2}))
    running.type("first")
    assert running.inbox.floor.last_put() == Announced(), "it is queued, not begun"
    running.tape.begun[0]()
    assert running.inbox.floor.last_put() == Announced(NOT_YET, AnnouncementNumber(1)), "it is being told"
    running.tape.told[0]()
    first = Announced(AnnouncementNumber(1), AnnouncementNumber(1))
    assert running.inbox.floor.last_put() == first
    running.type("second")
    running.inbox.put_own(SpeechEnded())
    running.inbox.put_own(SpeechEnded())
    until(lambda: running.ear.listening is not None)
    assert running.inbox.floor.last_put() == first, "the second was dropped before it began: it was never put"
    assert running.ear.listening is not None
    assert running.ear.listening.after == 1, "who speaks now answers the first"
    running.end()


def test_the_pace_counts_from_the_beginning_of_the_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """A call every 3 s, of which the sentence takes 1.7 s: the rest is a pause of 1.3 s. None where it takes longer."""
    running = Running(monkeypatch, tells({}, short=3.0, long=3.0))
    for text, lasts_s, pause_s in (("short", 1.7, 1.3), ("long", 7.0, 0.0)):
        running.type(text)
        running.tape.begun[-1]()
        running.tape.time_s += lasts_s
        running.inbox.put_own(SpeechEnded())
        until(lambda: bool(running.tape.alarms))
        seconds, _ = running.tape.alarms.pop()
        assert seconds == pytest.approx(pause_s)
    running.end()


def test_what_lies_between_the_alarm_and_the_sentence_is_taken_off_the_next_pause(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Calls are to begin every 3 s though logging a step and making its sound take 0.4 s each time."""

    def rules(_: State, came: Input) -> Step:
        if isinstance(came, StopAsked):
            return Step(effects=(module.Quit(),))
        calls = isinstance(came, TimedOut | Typed)
        return Step(effects=(Speak("call"), StartTimer(3.0, 7))) if calls else Step()  # type: ignore[arg-type]

    running = Running(monkeypatch, rules)
    tape, begun_at_s = running.tape, []
    running.type("call")
    for number in range(1, 5):
        tape.time_s += 0.4
        tape.begun[-1]()
        begun_at_s.append(tape.time_s)
        tape.time_s += 1.0
        running.inbox.put_own(SpeechEnded())
        until(lambda: bool(tape.alarms))
        seconds, ring = tape.alarms.pop()
        tape.time_s += seconds
        ring()
        until(lambda so_far=number: len(tape.begun) > so_far)  # type: ignore[misc]
    gaps = [later - earlier for earlier, later in itertools.pairwise(begun_at_s)]
    assert gaps == pytest.approx([3.4, 3.0, 3.0]), "what it takes is known from the first time on"
    running.end()


def test_the_alarm_of_the_pace_comes_in_as_the_time_out_of_its_joint(monkeypatch: pytest.MonkeyPatch) -> None:
    came: list[Input] = []
    rules = tells({}, call=3.0)

    def noted(state: State, one: Input) -> Step:
        came.append(one)
        return rules(state, one)

    running = Running(monkeypatch, noted)
    running.type("call")
    running.inbox.put_own(SpeechEnded())
    until(lambda: bool(running.tape.alarms))
    running.tape.alarms[0][1]()
    until(lambda: TimedOut(7) in came)
    running.end()


def test_who_enters_without_a_hand_waits_until_all_is_done_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    running = Running(monkeypatch, tells({"first": 1}))
    floor = running.inbox.floor
    assert floor.turn() == NOT_YET
    running.type("first")
    turns: list[int | None] = []
    waiting = threading.Thread(target=lambda: turns.append(floor.turn()), daemon=True)
    waiting.start()
    waiting.join(0.2)
    assert turns == [], "the sentence is not over"
    running.tape.told[0]()
    running.inbox.put_own(SpeechEnded())
    waiting.join(5)
    assert turns == [1]
    running.end()
    assert floor.turn() is None


def test_a_full_inbox_keeps_the_loop_from_nothing() -> None:
    """The end of speech once went through the same queue, and the loop waited for itself for ever."""
    inbox = Inbox(2)
    tape = Tape(inbox)
    loop = new_loop(tape, inbox)
    inbox.put_own(start())
    thread = threading.Thread(target=loop.run, daemon=True)

    def pour() -> None:
        for _ in range(50):
            inbox.put(typed("where am i"))
        inbox.put(StopAsked("over"))

    pouring = threading.Thread(target=pour, daemon=True)
    pouring.start()
    thread.start()
    thread.join(20)
    assert not thread.is_alive()
    assert len(tape.journal.records) == 52
    pouring.join(5)
    assert not pouring.is_alive()


def test_a_stop_goes_before_all_that_waits_and_waits_for_no_speech() -> None:
    inbox = Inbox()
    tape = Tape(inbox, ends=False)
    loop = new_loop(tape, inbox)
    inbox.put_own(start())
    for _ in range(100):
        inbox.put(typed("where am i"))
    loop.stop("SIGTERM")
    loop.run()
    assert [type(record.input).__name__ for record in tape.journal.records] == ["StartAsked", "StopAsked"]


def test_a_signal_handler_may_stop_the_loop_while_the_loop_waits_in_its_inbox() -> None:
    inbox = Inbox()
    loop = new_loop(Tape(inbox), inbox)
    before = signal.signal(signal.SIGUSR1, lambda *_: loop.stop("SIGUSR1"))
    try:
        main = threading.main_thread().ident
        assert main is not None
        threading.Timer(0.2, lambda: signal.pthread_kill(main, signal.SIGUSR1)).start()
        loop.run()
    finally:
        signal.signal(signal.SIGUSR1, before)
    assert loop.state == initial()


def test_a_screen_that_fails_ends_the_session_but_not_its_orderly_end() -> None:
    inbox = Inbox()
    tape = Tape(inbox, screen_fails=True)
    inbox.put_own(start())
    with pytest.raises(AssistantError, match="gone"):
        new_loop(tape, inbox).run()
    assert len(tape.journal.records) == 1, "it was logged before it could not be shown"
    inbox = Inbox()
    tape = Tape(inbox, screen_fails=True)
    loop = new_loop(tape, inbox)
    inbox.put_own(start())
    loop.stop("SIGHUP")
    loop.run()
    assert [type(record.input).__name__ for record in tape.journal.records] == ["StartAsked", "StopAsked"]


def test_an_ear_that_is_open_stays_as_it_was_opened() -> None:
    ear = ListeningGate()
    scope = module.scope_of(initial())
    ear.open(scope, AnnouncementNumber(1))
    first = ear.listening
    ear.open(scope, AnnouncementNumber(2))
    assert ear.listening == first, "speech may have begun before the second"
    ear.shut()
    ear.open(scope, AnnouncementNumber(3))
    assert first is not None
    assert ear.listening is not None
    assert (ear.listening.after, ear.listening.opening) == (3, first.opening + 1)
