"""Short sounds that we make ourselves, and how loud a sound is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.ports import Samples

FULL_SCALE = 32767
TICK_HZ, TICK_S, TICK_LEVEL = 880.0, 0.06, 0.1
LOGGED_HZ, LOGGED_S, LOGGED_LEVEL = (660.0, 990.0), 0.08, 0.2
"""Two notes, one after the other, so that the tone rises; each of this length."""
AFTER_TONE_S = 0.06
"""Silence between a tone and the words behind it."""
SILENT_BELOW = 100
"""A sample below this is silence: 0.3 % of full scale."""
TAIL_KEPT_S = 0.03
"""Silence left behind a sentence; espeak gives 0.39 s."""


@dataclass(frozen=True, slots=True)
class Sound:
    """Mono sound with its rate."""

    samples: Samples
    rate_hz: int

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate_hz


def tick(rate_hz: int) -> Sound:
    """Give the sound that tells that an utterance was heard and is being judged."""
    return Sound(_note(TICK_HZ, TICK_S, TICK_LEVEL, rate_hz), rate_hz)


def logged(rate_hz: int) -> Sound:
    """Give the tone that stands for "confirmed" in brief talk; it rises, and lasts longer than a tick."""
    notes = [_note(hz, LOGGED_S, LOGGED_LEVEL, rate_hz) for hz in LOGGED_HZ]
    return Sound(np.concatenate([*notes, np.zeros(int(AFTER_TONE_S * rate_hz), np.int16)]), rate_hz)


def _note(hz: float, length_s: float, level: float, rate_hz: int) -> Samples:
    seconds = np.arange(int(length_s * rate_hz)) / rate_hz
    shape: NDArray[np.float64] = np.sin(np.pi * seconds / length_s) ** 2
    return (level * FULL_SCALE * shape * np.sin(2 * np.pi * hz * seconds)).astype(np.int16)


def without_tail(sound: Sound) -> Sound:
    """Leave out the silence behind a sentence; who plays it lets it sound out."""
    loud = np.flatnonzero(np.abs(sound.samples.astype(np.int32)) >= SILENT_BELOW)
    end = int(loud[-1]) + int(TAIL_KEPT_S * sound.rate_hz) if len(loud) else len(sound.samples)
    return Sound(sound.samples[:end], sound.rate_hz)


def at_loudness(sound: Sound, percent: int) -> Sound:
    """Give the sound softer, or louder without cutting its peaks off: what is loud already grows less."""
    if percent == 100:
        return sound
    gain = percent / 100
    wave = sound.samples / FULL_SCALE
    changed = wave * gain if gain < 1 else np.tanh(gain * wave) / np.tanh(gain)
    return Sound((FULL_SCALE * changed).astype(np.int16), sound.rate_hz)


def behind(first: Sound, second: Sound) -> Sound:
    """Give one sound behind another of the same rate."""
    return Sound(np.concatenate([first.samples, second.samples]), second.rate_hz)
