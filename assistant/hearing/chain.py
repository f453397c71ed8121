"""From blocks of sound to verdicts: detection, recognisers and judgement put in line.

The same chain serves the live session, the hearing of files and the benchmark. The ears and the
detector come in by their ports. Must not know a device, a thread or the state of the dialogue
beyond what is open.
"""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from assistant.hearing.evidence import Opinion
from assistant.hearing.utterance import Change, Endpointer, Endpointing
from assistant.hearing.verdict import Judgement, Verdict, judge
from assistant.ports import BLOCK_FRAMES, SAMPLE_RATE_HZ, Recogniser, Samples, SpeechDetector
from assistant.words.grammar import Automaton
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


def level_db(block: Samples) -> float:
    """Give the level of a block in dB of full scale."""
    power = float(np.mean(np.square(block.astype(np.float64) / FULL_SCALE)))
    return 10 * math.log10(max(power, 1e-10))


class HearingChain:
    """Takes blocks and gives utterances; holds the sound of the open utterance only."""

    def __init__(
        self,
        detector: SpeechDetector,
        ears: tuple[Recogniser, ...],
        *,
        limits: Endpointing | None = None,
        decode_all: Callable[[tuple[Recogniser, ...], Samples], tuple[Opinion, ...]] | None = None,
    ) -> None:
        """Take the detector and the ears, the leading ear first."""
        self._detector = detector
        self._ears = ears
        self._decode_all = decode_all or (lambda ears, sound: tuple(ear.decode(sound) for ear in ears))
        self._endpointer = Endpointer(limits or Endpointing(), BLOCK_S)
        self._kept: deque[Samples] = deque()
        self._first_kept = 0
        self._verdict: Verdict | None = None
        self._scope: Scope | None = None

    def open(self, scope: Scope) -> None:
        """Listen for the sentences of this scope from the next utterance on."""
        if scope != self._scope:
            for ear in self._ears:
                ear.set_sentences(voice_sentences(scope))
            self._scope = scope

    def forget(self) -> None:
        """Drop the open utterance, as after a time in which nothing was listened to."""
        self._endpointer.finish()
        self._detector.reset()
        self._verdict = None

    def push(self, block: Samples) -> Utterance | None:
        """Take one block of `BLOCK_FRAMES` frames; give the utterance that it ends, if any."""
        self._kept.append(block)
        change = self._endpointer.push(self._detector.probability(block), level_db(block))
        if change is Change.NOTHING:
            self._trim()
            return None
        if change is Change.PAUSED:
            self._verdict = self._judged()
            if self._can_go_on(self._verdict):
                return None
            self._endpointer.finish()
            return self._ended(self._verdict)
        if change is Change.ENDED:
            return self._ended(self._verdict or self._judged())
        self._verdict = None
        return None

    def _sound(self) -> Samples:
        start, end = self._endpointer.start, self._endpointer.sound_end
        wanted = list(self._kept)[max(0, start - self._first_kept) : max(0, end - self._first_kept)]
        return np.concatenate(wanted) if wanted else np.zeros(0, np.int16)

    def _judged(self) -> Verdict:
        if self._scope is None:
            raise RuntimeError("open comes before push")
        return judge(self._decode_all(self._ears, self._sound()), self._scope)

    def _can_go_on(self, verdict: Verdict) -> bool:
        """Tell whether waiting may change the verdict: no clear sentence yet, or one that can go on."""
        if verdict.judgement is not Judgement.ACCEPTED or self._scope is None:
            return True
        automaton: Automaton = voice_sentences(self._scope).automaton
        return bool(automaton.following(automaton.after(verdict.words.split())))

    def _ended(self, verdict: Verdict) -> Utterance:
        sound = self._sound()
        self._verdict = None
        return Utterance(
            start_s=self._endpointer.start * BLOCK_S,
            end_s=self._endpointer.speech_end * BLOCK_S,
            verdict=verdict,
            sound=sound,
            clipped=bool(sound.size and int(np.abs(sound.astype(np.int32)).max()) >= FULL_SCALE),
        )

    def _trim(self) -> None:
        if self._endpointer.is_open:
            return
        while len(self._kept) > self._endpointer.blocks_to_keep:
            self._kept.popleft()
            self._first_kept += 1
