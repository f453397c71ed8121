"""How loud a sound is, and what is plainly wrong with it: muted, too quiet, clipping, or without its upper half."""

from dataclasses import dataclass
from enum import Enum

import numpy as np

from assistant.hearing.tuning import TOO_QUIET_DB
from assistant.ports import SAMPLE_RATE_HZ, Samples

FULL_SCALE = 32768
FLOOR_DB = -90.0
"""Shown for silence: a step of 16-bit sound."""
MUTED_BELOW = 2
"""Peak, in steps: what is switched off gives zeros, or a step of dither; no microphone that is on is so still."""
CLIPPED_AT, CLIPPED_SAMPLES = 32600, 8
"""So many samples so near to full scale are no single peak (common practice, no source)."""
TELEPHONE_HZ = (300, 3400)
"""Band of a narrow-band telephone (ITU-T G.712)."""
ABOVE_HZ = (4500, 7000)
"""Band that sound sampled at 8 kHz cannot hold, away from the slope of a filter."""
LEAST_ABOVE_DB = -60.0
"""Power above against that of the telephone band, below which the upper band is empty. Of eight phrases of two
synthetic voices it is -37 to -19 dB, of the same sent through 8 kHz -86 to -81 dB."""


class Flaw(Enum):
    """What is wrong with what a microphone gives; the value is what a person is told."""

    MUTED = "muted: no sound at all comes; switch it on, or unmute it in the sound settings"
    QUIET = "too quiet: move it nearer to the mouth, or turn it up"
    CLIPPING = "clipping: turn it down, or move it away from the mouth"
    NARROW = "8 kHz only, expect more asking back: use a wide-band or USB headset"


@dataclass(frozen=True, slots=True)
class Level:
    """How loud a stretch of sound is, in dB of full scale."""

    peak_db: float
    flaws: tuple[Flaw, ...]


def peak_db(sound: Samples) -> float:
    """Give the peak in dB of full scale, at least `FLOOR_DB`."""
    peak = int(np.abs(sound.astype(np.int32)).max(initial=0))
    return max(FLOOR_DB, float(20 * np.log10(peak / FULL_SCALE))) if peak else FLOOR_DB


def level_of(speech: Samples) -> Level:
    """Judge some seconds of speech at `SAMPLE_RATE_HZ`."""
    steps = np.abs(speech.astype(np.int32))
    loud = peak_db(speech)
    if steps.max(initial=0) < MUTED_BELOW:
        return Level(loud, (Flaw.MUTED,))
    flaws = []
    if loud < TOO_QUIET_DB:
        flaws.append(Flaw.QUIET)
    if int((steps >= CLIPPED_AT).sum()) >= CLIPPED_SAMPLES:
        flaws.append(Flaw.CLIPPING)
    if not flaws and upper_band_db(speech) < LEAST_ABOVE_DB:  # clipping fills the band, and what is quiet is all noise
        flaws.append(Flaw.NARROW)
    return Level(loud, tuple(flaws))


def upper_band_db(speech: Samples) -> float:
    """Give the power that 8 kHz cannot hold against that of the telephone band, in dB."""
    windowed = speech.astype(np.float64) * np.hanning(len(speech))
    power = np.abs(np.fft.rfft(windowed)) ** 2
    hz = np.fft.rfftfreq(len(speech), 1 / SAMPLE_RATE_HZ)

    def within(band: tuple[int, int]) -> float:
        return float(power[(hz >= band[0]) & (hz <= band[1])].sum())

    return float(10 * np.log10((within(ABOVE_HZ) + 1e-9) / (within(TELEPHONE_HZ) + 1e-9)))


BAR_WIDTH = 40
BAR_FLOOR_DB = -60.0


def bar(loud_db: float) -> str:
    """Draw a level as a bar of `BAR_WIDTH` places, from -60 dB to full scale, with its number."""
    full = round(BAR_WIDTH * min(1.0, max(0.0, 1 - loud_db / BAR_FLOOR_DB)))
    return f"[{'#' * full}{'-' * (BAR_WIDTH - full)}] {loud_db:4.0f} dB"
