"""What the loop and the adapters agree on, with units and threads."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from assistant.words.grammar import Sentences

SAMPLE_RATE_HZ = 16_000
"""Rate of all sound that is heard: mono, 16-bit signed."""
BLOCK_FRAMES = 512
"""Frames of one block, 32 ms, as the speech detector takes them."""

Samples = NDArray[np.int16]
"""Mono sound at `SAMPLE_RATE_HZ` where it is heard; a voice names its own rate."""


StillWanted = Callable[[], bool]
"""Tells whether a result is still wanted; asked from the thread that works on it."""


def always() -> bool:
    """Want it to the end."""
    return True


@dataclass(frozen=True, slots=True)
class Candidate:
    """A sentence that the utterance may be."""

    words: str
    score: float
    """Log probability in nats; 0 where the ear gives none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnfittedHearing:
    """What the model makes of the same sound as it was before it was fitted to our sentences.

    A fitted model hears our words where there are none; this one has no such leaning.
    """

    free_words: str
    """What it hears when any words are allowed."""
    free_score: float
    """Log probability of `free_words`, nats."""
    best_score: float
    """Log probability of the first candidate, nats."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opinion:
    """What one ear makes of one utterance: evidence, no judgement."""

    ear: str
    candidates: tuple[Candidate, ...] = ()
    """Best first; empty where the ear heard none of the open sentences."""
    free_words: str = ""
    """What it hears when any words are allowed."""
    free_score: float | None = None
    """Log probability of `free_words` in nats; None where the ear has no free search."""
    confidence: float | None = None
    """Lowest word confidence, 0 to 1, where the ear gives one."""
    unfitted: UnfittedHearing | None = None
    """Of a fitted ear; None where it found no sentence."""


class Hearing(Protocol):
    """One utterance in one ear, as its sound comes. Called from the ear's own thread only."""

    def accept(self, sound: Samples) -> None:
        """Take what sounds next, any number of frames, and do what can be done before the end."""

    def partial(self, wanted: StillWanted = always) -> Opinion:
        """Tell what the sound so far would be if it were all; more may follow.

        When it is not wanted any more, an empty opinion will do: speech went on, and more is to be taken.
        """

    def finish(self, wanted: StillWanted = always) -> Opinion:
        """Tell what the whole utterance may be; nothing is accepted after it.

        It costs nothing more where `partial` was asked before and no sound came since, if the ear can say it then.
        """


@runtime_checkable
class ChoosingHearing(Hearing, Protocol):
    """In an ear that can also tell which of a few sentences it is; asked after an ear that gives scores."""

    def choose(self, sentences: Sequence[str]) -> Opinion:
        """Tell which of these sentences the sound so far is; at least one, of words that were set before."""


class Recogniser(Protocol):
    """One ear: gives evidence, never an intent."""

    name: str

    def set_sentences(self, sentences: Sentences) -> None:
        """Take the sentences of the next utterances; called only between utterances.

        Raises:
            AssistantError: the recogniser's model lacks some of the words; the text names them.

        """

    def hear(self) -> Hearing:
        """Begin with a new utterance; one before it that was not finished is given up.

        Raises:
            RuntimeError: no sentences were set.

        """


class SpeechDetector(Protocol):
    """Tells speech from other sound. Keeps state from block to block."""

    def probability(self, block: Samples) -> float:
        """Give the probability, 0 to 1, that a block of `BLOCK_FRAMES` frames holds speech."""

    def reset(self) -> None:
        """Forget all blocks so far."""


class AudioSource(Protocol):
    """Where sound comes from: a microphone, or a file fed as if it were one."""

    name: str
    """Name of the device or the file, for the record."""
    waits: bool
    """Whether sound waits while it is not listened to, as a file does; a microphone goes on."""

    def blocks(self) -> Iterator[Samples]:
        """Give blocks of `BLOCK_FRAMES` frames until the sound ends or `close` is called.

        Raises:
            AssistantError: the device failed.

        """

    def pass_over(self) -> None:
        """Drop what came in and was not taken yet, where sound does not wait. Called from the thread of `blocks`."""

    def close(self) -> None:
        """End `blocks`; may be called from any thread, more than once."""

    @property
    def lost_frames(self) -> int:
        """Frames that came faster than they were taken, since the last time this was asked."""


Told = Callable[[], None]
"""Called when a sentence begins to be spoken, or has been spoken to its end; from any thread."""


def untold() -> None:
    """Leave it untold."""


class Voice(Protocol):
    """Speaks. Called from the loop's thread only."""

    def tune(self, *, words_a_minute: int, loudness: int) -> None:
        """Speak what comes next at this rate, and this loud: in percent of the usual."""

    def say(
        self, text: str, *, tone: bool = False, begun: Told = untold, told: Told = untold, interrupt: bool = False
    ) -> None:
        """Begin to speak and return at once; exactly one `SpeechEnded` follows for each call.

        With `tone`, the tone that stands for "confirmed" comes first.

        `begun` is called once when this sentence begins, and `told` when it has been spoken to its end; both at once
        where nothing is spoken aloud, and neither when the sentence is dropped before it began. One that is cut off
        is not told. With `interrupt` all sentences before this one are dropped or cut off.
        """

    def close(self) -> None:
        """Stop speaking and free the device."""


class Notes(Protocol):
    """Keeps spoken notes. Called from the hearing thread."""

    def keep(self, name: str, sound: Samples) -> str:
        """Write a note, durably, and give the SHA-256 of its file.

        Raises:
            AssistantError: it cannot be written.

        """


class KeptSounds(Protocol):
    """Keeps the sound of utterances. `take` is called from the hearing thread, the rest from the loop's."""

    def take(self, sound: Samples) -> str:
        """Hold an utterance and give the SHA-256 of the file that it will be."""

    def keep(self, sha256: str, record: int) -> None:
        """Write what is held, durably, for the record of this number.

        Raises:
            AssistantError: it cannot be written.

        """

    def drop(self, sha256: str) -> None:
        """Let go of what is held."""


class Screen(Protocol):
    """Shows lines of text. Called from the loop's thread only."""

    def show(self, line: str) -> None:
        """Show one line below the others.

        Raises:
            AssistantError: it cannot be shown.
            BrokenPipeError: nobody reads it any more.

        """


MOST_UPTIME_S = 1e10
"""Seconds since the start of a machine that are believed: three hundred years."""


@dataclass(frozen=True, slots=True)
class Uptime:
    """A reading of the clock that nobody sets: it counts from the start of the machine, through its sleep too."""

    boot: str
    """Which start of which machine; readings of other starts cannot be compared."""
    seconds: float


class Clock(Protocol):
    """The time; used by loop and adapters, never in the pure core."""

    def now(self) -> datetime:
        """Give the time of day, with its time zone."""

    def uptime(self) -> Uptime | None:
        """Give the time since the start of the machine; None where the system does not tell it."""

    def steady_s(self) -> float:
        """Give the seconds of a clock that nobody sets."""

    def call_after(self, seconds: float, call: Callable[[], None]) -> None:
        """Call back after so many seconds, from any thread, unless the program is over by then."""
