"""From blocks of sound to verdicts: detection, recognisers and judgement put in line.

The same chain serves the live session, the hearing of files and the benchmark. The ears and the
detector come in by their ports. Must not know a device, a thread or the state of the dialogue
beyond what is open.
"""

import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from assistant.hearing.pause import needed_pause_s
from assistant.hearing.together import AllEars, InEars, Worker
from assistant.hearing.tuning import UNTUNED, Tuning
from assistant.hearing.utterance import Endpointer, Endpointing, SpeechChange
from assistant.hearing.verdict import IDEAL, Circumstances, Judgement, Verdict, judge
from assistant.ports import BLOCK_FRAMES, SAMPLE_RATE_HZ, Opinion, Recogniser, Samples, SpeechDetector
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
    opinions: tuple[Opinion, ...] = ()
    """What the verdict was made of."""


def level_db(block: Samples) -> float:
    """Give the level of a block in dB of full scale."""
    power = float(np.mean(np.square(block.astype(np.float64) / FULL_SCALE)))
    return 10 * math.log10(max(power, 1e-10))


class HearingChain:
    """Takes blocks and gives utterances; holds the sound of the open utterance only.

    The ears take the sound of an open utterance as it comes. In a pause they are asked what it would be if it were
    all, and take nothing more until speech goes on. How long the pause must last before the verdict counts is told by
    `pause`.
    """

    def __init__(
        self,
        detector: SpeechDetector,
        ears: Sequence[Recogniser],
        *,
        limits: Endpointing | None = None,
        workers: Sequence[Worker] | None = None,
        paused: Callable[[], None] = lambda: None,
        tuning: Tuning = UNTUNED,
        live: bool = False,
    ) -> None:
        """Take the detector and the ears, the leading ear first, and where each of them works (here, if not told).

        `paused` is told when the ears are asked. With `live`, blocks come as time goes on, and go on being taken while
        the ears work on a pause, so that speech that goes on drops that at once; without, they may come faster, and
        each waits for what the pause before it is to come to.
        """
        self._live = live
        self._detector = detector
        self._ears = AllEars(ears, workers)
        self._told_paused = paused
        self._tuning = tuning
        self._limits = limits or Endpointing()
        self._endpointer = Endpointer(self._limits, BLOCK_S)
        self._kept: deque[Samples] = deque()
        self._first_kept = 0
        self._utterance: InEars | None = None
        self._accepted = 0
        """Block before which the ears have taken all of the utterance."""
        self._needed_s: float | None = None
        """How long this pause must last, by the sound before it; None where that is not known yet."""
        self._scope: Scope | None = None

    def open(self, scope: Scope) -> None:
        """Listen for the sentences of this scope from the next utterance on."""
        if scope != self._scope:
            self._drop()
            self._ears.set_sentences(voice_sentences(scope))
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
        was_paused = self._endpointer.is_paused
        change = self._endpointer.push(self._detector.probability(block), level_db(block))
        if change is SpeechChange.OPENED:
            self._drop()
            self._utterance, self._accepted = self._ears.begin(), self._endpointer.start
        if self._utterance is not None and (not was_paused or change is SpeechChange.RESUMED):
            self._accept(self._utterance)
        if change is SpeechChange.PAUSED and self._utterance is not None:
            self._utterance.ask()
            self._told_paused()
        elif change is SpeechChange.ENDED:
            return self._ended()
        elif self._endpointer.is_paused and self._is_over():
            self._endpointer.finish()
            return self._ended()
        self._trim()
        return None

    def _drop(self) -> None:
        if self._utterance is not None:
            self._utterance.drop()
        self._utterance = self._needed_s = None

    def _accept(self, utterance: InEars) -> None:
        """Give the ears what they have not taken yet."""
        self._needed_s = None
        utterance.accept(self._sound(self._accepted, self._endpointer.position))
        self._accepted = self._endpointer.position

    def _is_over(self) -> bool:
        """Tell whether the pause is long enough for what the words can still become."""
        if not self._endpointer.has_paused(self._limits.sure_pause_s):
            return False
        assert self._utterance is not None
        if self._live and not self._utterance.is_ready():
            return False
        if self._needed_s is None:
            opinions = self._utterance.partial()
            self._needed_s = self._needed_pause_s(self._judged(opinions), opinions)
        return self._endpointer.has_paused(self._needed_s)

    def _sound(self, start: int, end: int) -> Samples:
        """Give the sound from one block to another."""
        wanted = list(self._kept)[max(0, start - self._first_kept) : max(0, end - self._first_kept)]
        return np.concatenate(wanted) if wanted else np.zeros(0, np.int16)

    def _judged(self, opinions: tuple[Opinion, ...]) -> Verdict:
        assert self._scope is not None
        return judge(opinions, self._scope, self._tuning, self._circumstances())

    def _circumstances(self) -> Circumstances:
        return Circumstances(
            speech_s=self._endpointer.speech_blocks * BLOCK_S, over_floor_db=self._endpointer.over_floor_db
        )

    def _needed_pause_s(self, verdict: Verdict, opinions: tuple[Opinion, ...]) -> float:
        assert self._scope is not None
        return needed_pause_s(verdict, opinions, self._scope, self._limits, self._circumstances())

    def _ended(self) -> Utterance:
        """Judge the whole utterance; what was cut short, or is something else than it seemed to be, is asked back."""
        assert self._utterance is not None
        opinions = self._utterance.finish()
        verdict = self._judged(opinions)
        is_over = self._endpointer.has_paused(self._needed_pause_s(verdict, opinions))
        if verdict.judgement is Judgement.ACCEPTED and not is_over:
            verdict = replace(verdict, judgement=Judgement.ASK_BACK)
        sound = self._sound(self._endpointer.start, self._accepted)
        self._drop()
        return Utterance(
            start_s=self._endpointer.start * BLOCK_S,
            end_s=self._endpointer.speech_end * BLOCK_S,
            verdict=verdict,
            sound=sound,
            circumstances=self._circumstances(),
            clipped=bool(sound.size and int(np.abs(sound.astype(np.int32)).max()) >= FULL_SCALE),
            opinions=opinions,
        )

    def _trim(self) -> None:
        if self._endpointer.is_open:
            return
        while len(self._kept) > self._endpointer.blocks_to_keep:
            self._kept.popleft()
            self._first_kept += 1
