"""Where an utterance starts and ends, from speech probabilities block by block.

At a short pause the utterance *may* be over: what was heard so far is decoded then, and whoever
listens decides. What cannot go on ("orange violet") ends there; what can ("four", "four seven")
waits for the long pause, so that a digit string cut in two never passes as a shorter number.
Must not know sound, only its probabilities.
"""

from collections import deque
from dataclasses import dataclass
from enum import Enum


@dataclass(frozen=True, slots=True, kw_only=True)
class Endpointing:
    """Limits, in seconds unless named otherwise; measured with Silero on 32 ms blocks."""

    on_probability: float = 0.5
    off_probability: float = 0.35
    onset_s: float = 0.09
    """Speech must last this long to open an utterance."""
    before_s: float = 1.5
    """Sound kept from before the opening: in noise the detector misses first words, and what is cut off there can
    be a figure. 57 human calls with number and colours at 10 and 5 dB, the likeliest sentence: with 0.6 s 39 right,
    with 1.5 s 47."""
    decode_pause_s: float = 0.16
    """The ears are asked after this pause; speech that goes on drops it."""
    sure_pause_s: float = 0.26
    """Ends words that nothing can follow and that are sure; longer than the closure of a stop inside of a word."""
    short_pause_s: float = 0.42
    """Ends words that nothing can follow."""
    middle_pause_s: float = 0.6
    """Ends words that only colours or a second name can follow."""
    unsure_pause_s: float = 0.9
    """Ends what is not accepted: asking back earlier would talk into the rest of the call."""
    figures_pause_s: float = 1.0
    """Ends a number that more figures can follow. Between words 0.6 s apart the detector sees up to 0.99 s without
    speech in quiet (104 pauses of people), 0.99 at 10 dB (110), 1.18 at 5 dB (91): it misses soft beginnings and
    ends."""
    more_in_noise_s: float = 0.2
    """On top of the last and of the middle pause, in noise; with a pause of 0.9 s "four five", "five" became 45."""
    long_pause_s: float = 1.2
    """Ends everything."""
    longest_s: float = 9.0
    level_memory_s: float = 10.0
    """Time over which the floor of the level is looked for."""
    look_back_s: float = 1.5
    """How far before its opening an utterance may begin: the detector can miss a first word altogether."""
    look_back_gap_s: float = 0.4
    """Longest silence that is bridged on the way back."""
    louder_db: float = 10.0
    """A block this much over the floor of the level may belong to the utterance."""


class SpeechChange(Enum):
    """What a block changes."""

    NOTHING = "nothing"
    OPENED = "opened"
    PAUSED = "paused"
    RESUMED = "resumed"
    ENDED = "ended"


class Endpointer:
    """Follows one stream of blocks; positions are counted in blocks since the start."""

    def __init__(self, limits: Endpointing, block_s: float) -> None:
        """Take the limits and the length of a block in seconds."""
        self._limits = limits
        self._block_s = block_s
        self.position = 0
        """Blocks seen."""
        self.start = 0
        """First block of the utterance that is open or has just ended, sound before it included."""
        self.speech_end = 0
        """Block after its last speech so far."""
        self._open = False
        self._paused = False
        self._onset = 0
        self._floor_db: float | None = None
        self._last_end = 0
        self._loud: deque[bool] = deque(maxlen=self._blocks(limits.look_back_s))
        self._levels: deque[float] = deque(maxlen=self._blocks(limits.level_memory_s))
        self._speech: deque[bool] = deque(maxlen=self.blocks_to_keep)
        self._speech_start = 0

    @property
    def is_open(self) -> bool:
        """Tell whether an utterance is open."""
        return self._open

    @property
    def is_paused(self) -> bool:
        """Tell whether an open utterance pauses."""
        return self._open and self._paused

    def has_paused(self, seconds: float) -> bool:
        """Tell whether there has been no speech for so long."""
        return self.position - self.speech_end >= self._blocks(seconds)

    @property
    def speech_blocks(self) -> int:
        """Blocks from the first speech of the utterance to the last."""
        return max(0, self.speech_end - self._speech_start)

    @property
    def over_floor_db(self) -> float:
        """Level of the loud parts of the utterance over the floor of the last seconds: what the noise leaves."""
        loud = sorted(list(self._levels)[-max(1, self.position - self.start) :])
        floor = sorted(self._levels)
        return loud[int(0.9 * (len(loud) - 1))] - floor[int(0.15 * (len(floor) - 1))]

    @property
    def blocks_to_keep(self) -> int:
        """How many past blocks an opening may reach back to."""
        least = self._blocks(self._limits.before_s) + self._blocks(self._limits.onset_s) + 2
        return least + self._blocks(self._limits.look_back_s)

    def finish(self) -> None:
        """Close the utterance at a pause, since it cannot go on."""
        self._open = self._paused = False
        self._onset = 0
        self._last_end = self.speech_end

    def push(self, probability: float, level_db: float) -> SpeechChange:
        """Take the speech probability and the level of the next block."""
        self.position += 1
        self._levels.append(level_db)
        self._speech.append(probability >= self._limits.off_probability)
        self._follow_floor(level_db)
        return self._while_open(probability) if self._open else self._while_closed(probability)

    def _while_closed(self, probability: float) -> SpeechChange:
        speech = probability >= self._limits.on_probability
        self._onset = self._onset + 1 if speech else max(0, self._onset - 1)
        if self._onset < self._blocks(self._limits.onset_s):
            return SpeechChange.NOTHING
        begins = min(self.position - self._onset, self._looked_back())
        self.start = max(0, self._last_end, begins - self._blocks(self._limits.before_s))
        self.speech_end = self.position
        self._speech_start = self._first_speech()
        self._open, self._paused = True, False
        return SpeechChange.OPENED

    def _while_open(self, probability: float) -> SpeechChange:
        if probability >= self._limits.off_probability:
            self.speech_end = self.position
        too_long = self.position - self.start >= self._blocks(self._limits.longest_s)
        if self.has_paused(self._limits.long_pause_s) or too_long:
            self.finish()
            return SpeechChange.ENDED
        if self._paused and self.speech_end == self.position:
            self._paused = False
            return SpeechChange.RESUMED
        if not self._paused and self.has_paused(self._limits.decode_pause_s):
            self._paused = True
            return SpeechChange.PAUSED
        return SpeechChange.NOTHING

    def _follow_floor(self, level_db: float) -> None:
        """Let the floor fall fast and rise by about 1 dB a second."""
        if self._floor_db is None:
            self._floor_db = level_db
        step = min(level_db - self._floor_db, 0.03) if level_db > self._floor_db else 0.3 * (level_db - self._floor_db)
        self._floor_db += step
        self._loud.append(level_db > self._floor_db + self._limits.louder_db)

    def _first_speech(self) -> int:
        known = self.position - len(self._speech)
        return next((at for at, speech in enumerate(self._speech, known) if speech and at >= self.start), self.start)

    def _looked_back(self) -> int:
        """Give the first block of the sound that leads up to here without a long gap."""
        first = at = self.position
        for loud in reversed(self._loud):
            at -= 1
            if loud:
                first = at
            elif first - at > self._blocks(self._limits.look_back_gap_s):
                break
        return first

    def _blocks(self, seconds: float) -> int:
        return max(1, round(seconds / self._block_s))
