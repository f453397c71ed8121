"""The only loop: inbox -> decide -> journal -> evolve -> effects.

This thread alone owns the state and the journal. What is logged is logged before it is spoken.
"""

import queue
import threading
from dataclasses import dataclass, field

from assistant.dialogue.machine import decide
from assistant.dialogue.messages import (
    DeviceFailed,
    Effect,
    Heard,
    Input,
    KeysPressed,
    Quit,
    RecordNote,
    Show,
    Speak,
    SpeechEnded,
    StartTimer,
    StopAsked,
    TimedOut,
    Typed,
)
from assistant.dialogue.scope import scope_of
from assistant.dialogue.state import State, fold
from assistant.errors import AssistantError
from assistant.ports import Clock, KeptSounds, Screen, Voice
from assistant.session.journal import Journal
from assistant.session.record import Record
from assistant.words.vocabulary import Scope

INBOX_SIZE = 1000
LAST_WORDS_S = 30.0
"""How long the end of speech is waited for when the session ends."""


class ListeningGate:
    """Whether the assistant listens now, and for what; shared by the loop and the hearing thread.

    Listening ends with each utterance and while the assistant speaks; the loop opens it again.
    """

    def __init__(self) -> None:
        """Begin closed."""
        self._changed = threading.Condition()
        self._scope: Scope | None = None
        self._note = False
        self._over = False

    @property
    def scope(self) -> Scope | None:
        """What is listened for; None while not listening."""
        with self._changed:
            return self._scope

    def open(self, scope: Scope) -> None:
        """Listen for these sentences."""
        with self._changed:
            self._scope = scope
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
            self._scope = None

    def end(self) -> None:
        """Release whoever waits; the session is over."""
        with self._changed:
            self._over = True
            self._scope = None
            self._changed.notify_all()

    def wait_open(self) -> bool:
        """Wait until there is listening; False when the session is over."""
        with self._changed:
            self._changed.wait_for(lambda: self._scope is not None or self._note or self._over)
            return not self._over


@dataclass(slots=True)
class Feeds:
    """Counts the sources of input that come to an end; when the last has, the session is left."""

    inbox: "queue.Queue[Input]"
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
        inbox: "queue.Queue[Input]",
        voice: Voice,
        screen: Screen,
        clock: Clock,
        ear: ListeningGate,
        sounds: KeptSounds | None = None,
    ) -> None:
        """Take the state to begin from, with the number of records already in the journal."""
        self.state = state
        self._records = records
        self._journal = journal
        self._inbox = inbox
        self._voice = voice
        self._screen = screen
        self._clock = clock
        self._ear = ear
        self._sounds = sounds
        self._speaking = 0
        self._timer: StartTimer | None = None
        self._note_wanted = False
        self._quitting = False

    def run(self) -> State:
        """Take inputs until the session is ended or left, and give its last state.

        Raises:
            JournalError: the log cannot be written; nothing that failed to be logged was spoken.

        """
        try:
            while not (self._quitting and self._speaking == 0):
                self._take(self._next())
        finally:
            self._ear.end()
        return self.state

    def _next(self) -> Input:
        if not self._quitting:
            return self._inbox.get()
        try:
            return self._inbox.get(timeout=LAST_WORDS_S)
        except queue.Empty:
            self._speaking = 0
            return SpeechEnded()

    def _take(self, came: Input) -> None:
        if isinstance(came, SpeechEnded):
            self._speaking = max(0, self._speaking - 1)
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
            timer = threading.Timer(wanted.seconds, self._inbox.put, (TimedOut(wanted.joint),))
            timer.daemon = True
            timer.start()
        self._ear.open(scope_of(self.state))

    def _step(self, came: Input) -> None:
        step = decide(self.state, came)
        if isinstance(came, Heard) and came.sound_sha256:
            self._keep_sound(came.sound_sha256, recorded=bool(step.facts))
        if step.facts:
            self._records += 1
            at = self._clock.now().isoformat(timespec="milliseconds")
            self._journal.append(Record(number=self._records, at=at, input=came, facts=step.facts))
            self.state = fold(step.facts, self.state)
        self._carry_out(step.effects, interrupt=isinstance(came, KeysPressed | Typed))

    def _keep_sound(self, sha256: str, *, recorded: bool) -> None:
        """Write the sound before its record, so that no record names a sound that a crash lost."""
        assert self._sounds is not None
        if not recorded:
            self._sounds.drop(sha256)
            return
        try:
            self._sounds.keep(sha256, self._records + 1)
        except AssistantError as error:
            self._inbox.put(DeviceFailed("keeping of sound", str(error)))

    def _carry_out(self, effects: tuple[Effect, ...], *, interrupt: bool) -> None:
        for effect in effects:
            match effect:
                case Speak(text):
                    self._ear.shut()
                    self._speaking += 1
                    self._screen.show(f"< {text}")
                    self._voice.say(text, interrupt=interrupt)
                    interrupt = False
                case Show(line):
                    self._screen.show(line)
                case StartTimer():
                    self._timer = effect
                case RecordNote():
                    self._note_wanted = True
                case Quit():
                    self._quitting = True
