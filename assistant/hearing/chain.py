"""From blocks of sound to verdicts: detection, recognisers and judgement put in line.

The same chain serves the live session, the hearing of files and the benchmark. The ears and the
detector come in by their ports. Must not know a device, a thread or the state of the dialogue
beyond what is open.
"""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from assistant.hearing.second_ear import second_opinion
from assistant.hearing.tuning import UNTUNED, Tuning
from assistant.hearing.utterance import Endpointer, Endpointing, SpeechChange
from assistant.hearing.verdict import IDEAL, Circumstances, Judgement, Verdict, judge
from assistant.ports import BLOCK_FRAMES, SAMPLE_RATE_HZ, Opinion, Recogniser, Samples, SpeechDetector
from assistant.words.numbers import NUMBER_WORDS
from assistant.words.vocabulary import Scope, voice_sentences

BLOCK_S = BLOCK_FRAMES / SAMPLE_RATE_HZ
FULL_SCALE = 32767


@dataclass(frozen=True, slots=True, kw_only=True)
class Utterance:
    """One stretch of speech and the verdict on it; times in seconds since the chain began."""

    start_s: float
    end_s: float
    verdict: Verdict
    sound: Samples
    clipped: bool
    """Whether the sound reached full scale."""
    circumstances: Circumstances = IDEAL


def level_db(block: Samples) -> float:
    """Give the level of a block in dB of full scale."""
    power = float(np.mean(np.square(block.astype(np.float64) / FULL_SCALE)))
    return 10 * math.log10(max(power, 1e-10))


class Pending(Protocol):
    """A decoding under way."""

    def result(self) -> tuple[Opinion, ...]:
        """Wait for the result and give it."""

    def drop(self) -> None:
        """Tell that the result is not wanted; it may still be asked for, and be empty."""


Decode = Callable[[tuple[Recogniser, ...], Samples], Pending]
"""Begins to decode an utterance by all ears; returns at once."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """A decoding that was done on the spot."""

    opinions: tuple[Opinion, ...]

    def result(self) -> tuple[Opinion, ...]:
        """Give the result."""
        return self.opinions

    def drop(self) -> None:
        """Do nothing: it is done."""


def decode_here(ears: tuple[Recogniser, ...], sound: Samples) -> Pending:
    """Decode one ear after the other, at once."""
    leading = ears[0].decode(sound)
    return Decoded((leading, *(second_opinion(ear, sound, ears[0].name, lambda: leading) for ear in ears[1:])))


class HearingChain:
    """Takes blocks and gives utterances; holds the sound of the open utterance only.

    Decoding begins early in a pause. How long the pause must last before the verdict counts depends on
    what can still follow the words: nothing, colours only, or more figures.
    """

    def __init__(
        self,
        detector: SpeechDetector,
        ears: tuple[Recogniser, ...],
        *,
        limits: Endpointing | None = None,
        decode: Decode = decode_here,
        paused: Callable[[], None] = lambda: None,
        tuning: Tuning = UNTUNED,
    ) -> None:
        """Take the detector and the ears, the leading ear first; `paused` is told when decoding begins."""
        self._detector = detector
        self._ears = ears
        self._decode = decode
        self._told_paused = paused
        self._tuning = tuning
        self._limits = limits or Endpointing()
        self._endpointer = Endpointer(self._limits, BLOCK_S)
        self._kept: deque[Samples] = deque()
        self._first_kept = 0
        self._pending: Pending | None = None
        self._verdict: Verdict | None = None
        self._scope: Scope | None = None

    def open(self, scope: Scope) -> None:
        """Listen for the sentences of this scope from the next utterance on."""
        if scope != self._scope:
            if self._pending is not None:
                self._pending.drop()
                self._pending.result()  # sentences change only between decodings
            self._drop()
            for ear in self._ears:
                ear.set_sentences(voice_sentences(scope))
            self._scope = scope

    def forget(self) -> None:
        """Drop the open utterance, as after a time in which nothing was listened to."""
        self._endpointer.finish()
        self._detector.reset()
        self._drop()

    def push(self, block: Samples) -> Utterance | None:
        """Take one block of `BLOCK_FRAMES` frames; give the utterance that it ends, if any."""
        if self._scope is None:
            raise RuntimeError("open comes before push")
        self._kept.append(block)
        change = self._endpointer.push(self._detector.probability(block), level_db(block))
        if change is SpeechChange.PAUSED:
            self._pending = self._decode(self._ears, self._sound())
            self._told_paused()
        elif change in (SpeechChange.RESUMED, SpeechChange.OPENED):
            self._drop()
        elif change is SpeechChange.ENDED:
            return self._ended(self._judged())
        elif self._endpointer.is_paused:
            return self._ended_early()
        self._trim()
        return None

    def _drop(self) -> None:
        if self._pending is not None:
            self._pending.drop()
        self._pending = self._verdict = None

    def _ended_early(self) -> Utterance | None:
        """End the utterance when the pause is long enough for what the words can still become."""
        quiet_s = self._endpointer.quiet_blocks * BLOCK_S
        if quiet_s < self._limits.short_pause_s:
            return None
        verdict = self._judged()
        if quiet_s < self._needed_pause_s(verdict):
            return None
        self._endpointer.finish()
        return self._ended(verdict)

    def _sound(self) -> Samples:
        start, end = self._endpointer.start, self._endpointer.sound_end
        wanted = list(self._kept)[max(0, start - self._first_kept) : max(0, end - self._first_kept)]
        return np.concatenate(wanted) if wanted else np.zeros(0, np.int16)

    def _judged(self) -> Verdict:
        """Wait for the decoding of this pause, and judge it once."""
        assert self._scope is not None
        if self._verdict is None:
            pending = self._pending or self._decode(self._ears, self._sound())
            self._verdict = judge(pending.result(), self._scope, self._tuning, self._circumstances())
        return self._verdict

    def _circumstances(self) -> Circumstances:
        return Circumstances(
            speech_s=self._endpointer.speech_blocks * BLOCK_S, over_floor_db=self._endpointer.over_floor_db
        )

    def _needed_pause_s(self, verdict: Verdict) -> float:
        """Give the pause after which these words are all: the more can follow, the longer."""
        assert self._scope is not None
        if verdict.judgement is not Judgement.ACCEPTED:
            return self._limits.long_pause_s
        automaton = voice_sentences(self._scope).automaton
        following = automaton.following(automaton.after(verdict.words.split()))
        if not following:
            return self._limits.short_pause_s
        return self._limits.long_pause_s if following.keys() & NUMBER_WORDS else self._limits.middle_pause_s

    def _ended(self, verdict: Verdict) -> Utterance:
        sound = self._sound()
        self._drop()
        return Utterance(
            start_s=self._endpointer.start * BLOCK_S,
            end_s=self._endpointer.speech_end * BLOCK_S,
            verdict=verdict,
            sound=sound,
            circumstances=self._circumstances(),
            clipped=bool(sound.size and int(np.abs(sound.astype(np.int32)).max()) >= FULL_SCALE),
        )

    def _trim(self) -> None:
        if self._endpointer.is_open:
            return
        while len(self._kept) > self._endpointer.blocks_to_keep:
            self._kept.popleft()
            self._first_kept += 1
