"""The only loop: inbox -> decide -> journal -> evolve -> effects.

This thread alone owns the state and the journal. What is logged is logged before it is spoken.
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import assert_never

from assistant.app.inbox import Inbox
from assistant.app.log_watch import LogLook, LogWatch
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import (
    AnnouncementNumber,
    DeviceFailed,
    Effect,
    Heard,
    Input,
    KeysPressed,
    KeysRefused,
    Quit,
    RecordNote,
    Show,
    Speak,
    SpeechEnded,
    StartTimer,
    StopAsked,
    TimedOut,
    TroubleHeard,
    Typed,
)
from assistant.dialogue.scope import scope_of
from assistant.dialogue.state import State, fold
from assistant.errors import AssistantError
from assistant.ports import Clock, KeptSounds, Screen, Voice
from assistant.session.journal import Journal
from assistant.session.record import Record
from assistant.words.vocabulary import Scope

TONE_SHOWN = "[confirmed] "
"""What stands on the screen for the tone."""
MOST_LAG_S = 1.0
"""Logging a step and making its first sound take far less; what takes longer is no measure of the next time."""
LAST_WORDS_S = 30.0
"""How long the end of speech is waited for when the session ends."""


@dataclass(frozen=True, slots=True)
class Listening:
    """One opening of the ear."""

    scope: Scope
    """What is listened for."""
    after: AnnouncementNumber
    """The announcement that had been put when it opened."""
    opening: int
    """How often the ear has been opened so far."""


class ListeningGate:
    """Whether the assistant listens now, and for what; shared by the loop and the hearing thread.

    Listening ends with each utterance and while the assistant speaks; the loop opens it again.
    """

    def __init__(self) -> None:
        """Begin closed."""
        self._changed = threading.Condition()
        self._listening: Listening | None = None
        self._openings = 0
        self._note = False
        self._over = False

    @property
    def listening(self) -> Listening | None:
        """What is listened for, and since when; None while not listening."""
        with self._changed:
            return self._listening

    def open(self, scope: Scope, after: AnnouncementNumber) -> None:
        """Listen for these sentences; where there is listening already, it goes on as it was opened."""
        with self._changed:
            if self._listening is None:
                self._openings += 1
                self._listening = Listening(scope, after, self._openings)
            else:
                self._listening = replace(self._listening, scope=scope)
            self._changed.notify_all()

    def open_for_note(self) -> None:
        """Record the next speech instead of listening for sentences; without a hearing thread nothing comes."""
        with self._changed:
            self._note = True
            self._changed.notify_all()

    def take_note_wish(self) -> bool:
        """Tell whether a note is to be recorded now, once."""
        with self._changed:
            wanted, self._note = self._note, False
            return wanted

    def shut(self) -> None:
        """Do not listen."""
        with self._changed:
            self._listening = None

    def end(self) -> None:
        """Release whoever waits; the session is over."""
        with self._changed:
            self._over = True
            self._listening = None
            self._changed.notify_all()

    def wait_open(self) -> bool:
        """Wait until there is listening; False when the session is over."""
        with self._changed:
            self._changed.wait_for(lambda: self._listening is not None or self._note or self._over)
            return not self._over


@dataclass(slots=True)
class Feeds:
    """Counts the sources of input that come to an end; when the last has, the session is left."""

    inbox: Inbox
    reason: str = "end of input"
    _open: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self) -> None:
        """Count one more."""
        with self._lock:
            self._open += 1

    def done(self) -> None:
        """Count one less, and leave the session with the last."""
        with self._lock:
            self._open -= 1
            last = self._open == 0
        if last:
            self.inbox.put(StopAsked(self.reason))


class Loop:
    """Runs one session."""

    def __init__(
        self,
        *,
        state: State,
        records: int,
        journal: Journal,
        inbox: Inbox,
        voice: Voice,
        screen: Screen,
        clock: Clock,
        ear: ListeningGate,
        sounds: KeptSounds | None = None,
    ) -> None:
        """Take the state to begin from, with the number of records already in the journal."""
        self.state = state
        self.records = records
        self.after_record: Callable[[State, int], None] = lambda state, number: None
        """Is told the state after each further record, and its number."""
        self._log = LogWatch(journal, clock, inbox.put_own)
        self._inbox = inbox
        self._floor = inbox.floor
        self._voice = voice
        self._screen = screen
        self._clock = clock
        self._ear = ear
        self._sounds = sounds
        self._speaking = 0
        self._begun_at_s = clock.steady_s()
        """When the last sentence began."""
        self._timer: StartTimer | None = None
        self._fired_at_s = 0.0
        """When the last timer ran out."""
        self._lag_s = 0.0
        """Time from there to the beginning of the sentence that it led to."""
        self._timed = False
        """Whether the next sentence is the one that a timer led to, with nothing said before it."""
        self._note_wanted = False
        self._quitting = False
        self._stopped = False

    def run(self) -> State:
        """Take inputs until the session is ended or left, and give its last state.

        Raises:
            JournalError: the session is left, and the log cannot be written; what was not logged was said to be so.
            AssistantError: the screen cannot be written.

        """
        try:
            while not (self._quitting and (self._speaking == 0 or self._stopped)):
                self._take(self._next())
        finally:
            self._ear.end()
            self._floor.end()
        if self._log.failure is not None:
            raise self._log.failure
        return self.state

    def stop(self, reason: str) -> None:
        """Leave the session now, whatever is being said. Takes no lock: a signal handler may call it."""
        self._stopped = True
        self._inbox.put_own(StopAsked(reason))

    def _next(self) -> Input | LogLook:
        if self._speaking == 0 and self._inbox.is_empty:
            self._floor.rest()
        came = self._inbox.get(LAST_WORDS_S if self._quitting else None)
        self._floor.work()
        if came is None:
            self._speaking = 0
            return SpeechEnded()
        return came

    def _take(self, came: Input | LogLook) -> None:
        if isinstance(came, SpeechEnded):
            self._speaking = max(0, self._speaking - 1)
        elif isinstance(came, LogLook):
            self._tell_of_log(self._log.look())
        elif not self._quitting:
            self._step(came)
        if self._speaking == 0 and not self._quitting:
            self._when_silent()

    def _when_silent(self) -> None:
        """Start what waits for the end of speech: a note, the pace, or listening."""
        if self._note_wanted:
            self._note_wanted = False
            self._ear.open_for_note()
            return
        if self._timer is not None:
            wanted, self._timer = self._timer, None
            passed_s = self._clock.steady_s() - self._begun_at_s
            wait_s = max(0.0, wanted.seconds - passed_s - self._lag_s)
            self._clock.call_after(wait_s, lambda: self._timer_ran_out(wanted))
        self._ear.open(scope_of(self.state), self._floor.last_put().told)

    def _timer_ran_out(self, timer: StartTimer) -> None:
        self._fired_at_s = self._clock.steady_s()
        self._inbox.put_own(TimedOut(timer.joint))

    def _step(self, came: Input) -> None:
        self._timed = isinstance(came, TimedOut) and self._speaking == 0
        step = decide(self.state, came)
        if any(isinstance(fact, TroubleHeard) for fact in step.facts):
            self._log.heard()
        if isinstance(came, Heard) and came.sound_sha256:
            self._keep_sound(came.sound_sha256, recorded=bool(step.facts))
        if step.facts:
            at = self._clock.now().isoformat(timespec="milliseconds")
            up = self._clock.uptime()
            record = Record(number=self.records + 1, at=at, input=came, facts=step.facts, uptime=up)
            counts, told = self._log.append(record)
            if not counts:
                self._tell_of_log(told)
                self._quitting = self._quitting or isinstance(came, StopAsked)
                return
            self.records += 1
            self.state = fold(step.facts, self.state)
            self._tune_voice()
            self._carry_out(step.effects, interrupt=isinstance(came, KeysPressed | KeysRefused | Typed))
            self._tell_of_log(told)
            self.after_record(self.state, self.records)
            return
        self._carry_out(step.effects, interrupt=isinstance(came, KeysPressed | KeysRefused | Typed))

    def _tune_voice(self) -> None:
        self._voice.tune(words_a_minute=self.state.words_a_minute, loudness=self.state.loudness)

    def _tell_of_log(self, told: list[str]) -> None:
        self._carry_out(tuple(Speak(text) for text in told), interrupt=False)

    def _keep_sound(self, sha256: str, *, recorded: bool) -> None:
        """Write the sound before its record, so that no record names a sound that a crash lost."""
        assert self._sounds is not None
        if not recorded:
            self._sounds.drop(sha256)
            return
        try:
            self._sounds.keep(sha256, self.records + 1)
        except AssistantError as error:
            self._inbox.put_own(DeviceFailed("keeping of sound", str(error)))

    def _carry_out(self, effects: tuple[Effect, ...], *, interrupt: bool) -> None:
        for effect in effects:
            match effect:
                case Speak():
                    self._show(f"< {TONE_SHOWN if effect.tone else ''}{effect.text}")
                    if not self._stopped:
                        self._say(effect, interrupt=interrupt)
                    interrupt = False
                case Show(line):
                    self._show(line)
                case StartTimer():
                    self._timer = effect
                case RecordNote():
                    self._note_wanted = True
                case Quit():
                    self._quitting = True
                case never:
                    assert_never(never)

    def _say(self, sentence: Speak, *, interrupt: bool) -> None:
        self._ear.shut()
        self._speaking += 1
        timed, self._timed = self._timed, False

        def begun() -> None:
            self._begun_at_s = self._clock.steady_s()
            if timed:
                self._lag_s = min(MOST_LAG_S, self._begun_at_s - self._fired_at_s)
            if sentence.announcement is not None:
                self._floor.begin(sentence.announcement)

        def told() -> None:
            if sentence.announcement is not None:
                self._floor.put(sentence.announcement)

        self._voice.say(sentence.text, tone=sentence.tone, begun=begun, told=told, interrupt=interrupt)

    def _show(self, line: str) -> None:
        try:
            self._screen.show(line)
        except (AssistantError, BrokenPipeError):
            if not self._stopped:  # the terminal may be what was hung up
                raise
