"""Sound for trials: where speech lies in a clip, words joined, noise laid under speech at a known ratio."""

import math

import numpy as np
from numpy.typing import NDArray

from assistant.ports import SAMPLE_RATE_HZ, Samples

Wave = NDArray[np.float32]
"""Mono sound at `SAMPLE_RATE_HZ`, full scale 1."""

FRAME = SAMPLE_RATE_HZ // 100
NOMINAL_DB = -26.0
"""Active level of speech in a scene before its gain, in dB of full scale."""
ACTIVE_RANGE_DB = 25.0
"""Frames up to this much below the loudest count as active speech."""
EDGE_DB = 30.0
"""Speech begins and ends where it comes within this much of its loudest frame."""
EDGE_S = 0.03
FADE_S = 0.005
CROSSFADE_S = 0.1
WORD_GAP_S = (0.06, 0.2)
LONGEST_GAP_IN_WORD_S = 0.3


def as_wave(samples: Samples) -> Wave:
    """Give samples as numbers up to 1, without their mean."""
    wave = samples.astype(np.float32) / 32768
    return np.asarray(wave - wave.mean(), dtype=np.float32)


def as_samples(wave: Wave) -> Samples:
    """Give 16-bit samples, cut off at full scale."""
    return np.asarray(np.clip(np.round(wave * 32768), -32768, 32767), dtype=np.int16)


def level_db(wave: Wave) -> float:
    """Give the level of the whole sound in dB of full scale."""
    power = float(np.mean(np.square(wave, dtype=np.float64))) if wave.size else 0.0
    return 10 * math.log10(max(power, 1e-12))


def _frames_db(wave: Wave) -> NDArray[np.float64]:
    count = max(1, len(wave) // FRAME)
    padded = np.resize(wave, count * FRAME) if len(wave) < FRAME else wave[: count * FRAME]
    power = np.square(padded.reshape(count, FRAME), dtype=np.float64).mean(axis=1)
    return 10 * np.log10(np.maximum(power, 1e-12))


def active_level_db(wave: Wave) -> float:
    """Give the level over the frames in which somebody speaks, in dB of full scale."""
    frames = _frames_db(wave)
    active = frames[frames > frames.max() - ACTIVE_RANGE_DB]
    return float(10 * np.log10(np.mean(10 ** (active / 10))))


def at_level(wave: Wave, db: float) -> Wave:
    """Scale speech to an active level."""
    return np.asarray(wave * 10 ** ((db - active_level_db(wave)) / 20), dtype=np.float32)


def speech_span(wave: Wave, longest_gap_s: float | None = None) -> tuple[int, int]:
    """Give first and last+1 sample of the speech in a clip.

    With a longest gap, only the strongest stretch without a longer silence counts, so that clicks
    at the edge of a single-word clip do not.
    """
    frames = _frames_db(wave)
    top = float(frames.max())
    beside = frames[frames < top - 30]
    floor = float(np.median(beside)) if len(beside) * FRAME >= 0.2 * SAMPLE_RATE_HZ else -200.0
    loud = np.flatnonzero(frames > min(top - 20, max(top - EDGE_DB, floor + 6)))
    if not loud.size:
        return 0, len(wave)
    if longest_gap_s is None:
        first, last = int(loud[0]), int(loud[-1])
    else:
        runs = np.split(loud, np.flatnonzero(np.diff(loud) > longest_gap_s * 100) + 1)
        best = max(runs, key=lambda run: float(np.sum(10 ** (frames[run] / 10))))
        first, last = int(best[0]), int(best[-1])
    edge = int(EDGE_S * SAMPLE_RATE_HZ)
    return max(0, first * FRAME - edge), min(len(wave), (last + 1) * FRAME + edge)


def faded(wave: Wave, seconds: float = FADE_S) -> Wave:
    """Fade in and out, so that an edge makes no click."""
    length = min(int(seconds * SAMPLE_RATE_HZ), len(wave) // 2)
    result = wave.copy()
    if length:
        ramp = np.linspace(0, 1, length, dtype=np.float32)
        result[:length] *= ramp
        result[-length:] *= ramp[::-1]
    return result


def white(length: int, db: float, rng: np.random.Generator) -> Wave:
    """Give white noise of a level."""
    return np.asarray(rng.standard_normal(length) * 10 ** (db / 20), dtype=np.float32)


def joined(words: list[Wave], rng: np.random.Generator, gap_s: tuple[float, float] = WORD_GAP_S) -> Wave:
    """Put words of one speaker together, at one level, with each clip's own background between them."""
    parts: list[Wave] = []
    for index, clip in enumerate(words):
        levelled = at_level(clip, NOMINAL_DB)
        start, end = speech_span(levelled, LONGEST_GAP_IN_WORD_S)
        if index:
            gap = int(rng.uniform(*gap_s) * SAMPLE_RATE_HZ)
            parts.append(_background(levelled, start, end, gap, rng))
        parts.append(faded(levelled[start:end]))
    return np.concatenate(parts)


def _background(clip: Wave, start: int, end: int, length: int, rng: np.random.Generator) -> Wave:
    """Give so much of what a clip holds beside its word; near silence where there is too little."""
    edge = int(EDGE_S * SAMPLE_RATE_HZ)
    beside = max(clip[: max(0, start - edge)], clip[end + edge :], key=len)
    if len(beside) < int(WORD_GAP_S[0] * SAMPLE_RATE_HZ):
        return white(length, NOMINAL_DB - 50, rng)
    return faded(looped(beside, length, 0, 0.01))


def looped(wave: Wave, length: int, offset: int = 0, crossfade_s: float = CROSSFADE_S) -> Wave:
    """Give so much of a sound from an offset on, going round with a crossfade."""
    fade = min(int(crossfade_s * SAMPLE_RATE_HZ), len(wave) // 4)
    body = wave.copy()
    if fade:
        ramp = np.linspace(0, 1, fade, dtype=np.float32)
        body[:fade] = wave[:fade] * np.sqrt(ramp) + wave[-fade:] * np.sqrt(1 - ramp)
        body = body[:-fade]
    places = (np.arange(length) + offset) % len(body)
    return np.asarray(body[places], dtype=np.float32)
