"""Rooms, headsets, badly set gains and raised voices, simulated with simple arithmetic.

Nothing here was recorded through a real device. Order: a raised voice, its reverberation in the room,
then noise (`scenes`), then the headset and its gain on the whole mixed scene. All filters have no delay,
so that speech begins and ends where it did.
"""

from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from assistant.ports import SAMPLE_RATE_HZ
from tests.bench import sound
from tests.bench.sound import Wave

BAND_ORDER = 8
"""Order of the Butterworth magnitude at both limits of a band: 3 dB down there, 48 dB an octave further."""
SETTLE_S = 0.1
"""Silence behind a sound while it is filtered, so that its end does not come round to its beginning."""
FIRST_REFLECTION_S = 0.003
"""Between direct sound and first reflection: a detour of one metre."""
RESPONSE_RT60S = 1.5
"""Length of a room's impulse response in reverberation times: to 90 dB down."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A reverberant room: direct sound, then noise that decays exponentially."""

    rt60_s: float
    """Time in which the reverberation falls by 60 dB."""
    direct_to_reverberant_db: float
    """Energy of the direct sound over that of the reverberation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """What lies between the mouth and 16-bit sound at `SAMPLE_RATE_HZ`."""

    name: str
    about: str
    """One line for reports."""
    band_hz: tuple[float, float] | None = None
    """Lower and upper limit, 3 dB down."""
    rate_hz: int | None = None
    """Rate at which the sound is sampled on its way, if lower."""
    gain_db: float = 0.0
    room: Room | None = None
    """Reverberation of the speech alone: noise recordings have theirs already."""


CHANNELS = {
    channel.name: channel
    for channel in (
        Channel(name="wide", about="band 100-7000 Hz, as a wired headset", band_hz=(100, 7000)),
        Channel(
            name="narrow",
            about="band 300-3400 Hz, sampled at 8 kHz and back, as a narrow-band wireless headset",
            band_hz=(300, 3400),
            rate_hz=8000,
        ),
        Channel(
            name="far",
            about="speech in a reverberant chamber: RT60 0.5 s, as much reverberation as direct sound",
            room=Room(rt60_s=0.5, direct_to_reverberant_db=0.0),
        ),
        Channel(name="low", about="gain 30 dB too low, rounded to 16 bits", gain_db=-30),
        Channel(name="hot", about="gain 24 dB too high: peaks of speech about 12 dB over full scale", gain_db=24),
    )
}
"""Every channel that can be asked for, by name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """A raised voice: louder, with its spectrum tilted towards the high frequencies."""

    tilt_hz: tuple[float, float]
    """Where a first-order shelf of 6 dB an octave begins and ends."""
    louder_db: float
    """Active level over that of the usual voice."""


RAISED = Effort(tilt_hz=(500, 2000), louder_db=6)
"""What is measured as a raised voice."""


def acts_on_noise(channel: Channel) -> bool:
    """Tell whether a channel changes more than the speech."""
    return channel.band_hz is not None or channel.rate_hz is not None or channel.gain_db != 0


def through(channel: Channel, wave: Wave) -> Wave:
    """Put a mixed scene through the headset: band, rate, gain, full scale, 16 bits; the room is not in it."""
    if channel.band_hz is not None:
        wave = banded(wave, *channel.band_hz)
    if channel.rate_hz is not None:
        wave = resampled_there_and_back(wave, channel.rate_hz)
    wave = np.asarray(wave * 10 ** (channel.gain_db / 20), dtype=np.float32)
    return np.asarray(sound.as_samples(wave) / np.float32(32768), dtype=np.float32)


def banded(wave: Wave, low_hz: float, high_hz: float) -> Wave:
    """Keep a band, without delay."""

    def magnitude(hz: NDArray[np.float64]) -> NDArray[np.float64]:
        below = (low_hz / np.maximum(hz, 1e-3)) ** (2 * BAND_ORDER)
        above = (hz / high_hz) ** (2 * BAND_ORDER)
        return np.asarray(1 / np.sqrt((1 + below) * (1 + above)))

    size, spectrum, hz = _spectrum(wave)
    return _wave_of(spectrum * magnitude(hz), size, len(wave))


def resampled_there_and_back(wave: Wave, rate_hz: int) -> Wave:
    """Sample at a lower rate and at the usual one again; as long as before."""
    lower = soxr.resample(wave, SAMPLE_RATE_HZ, rate_hz)
    back = soxr.resample(lower, rate_hz, SAMPLE_RATE_HZ)[: len(wave)]
    return np.asarray(np.pad(back, (0, len(wave) - len(back))), dtype=np.float32)


def raised(wave: Wave, effort: Effort = RAISED) -> Wave:
    """Give speech as by a raised voice, its active level higher by `louder_db`."""
    start_hz, end_hz = effort.tilt_hz
    size, spectrum, hz = _spectrum(wave)
    tilted = _wave_of(spectrum * (1 + 1j * hz / start_hz) / (1 + 1j * hz / end_hz), size, len(wave))
    return sound.at_level(tilted, sound.active_level_db(wave) + effort.louder_db)


def impulse_response(room: Room, rng: np.random.Generator) -> Wave:
    """Give a room's response to an impulse; direct sound first, energy one."""
    length = int(RESPONSE_RT60S * room.rt60_s * SAMPLE_RATE_HZ)
    decay = 10 ** (-3 * np.arange(length) / SAMPLE_RATE_HZ / room.rt60_s)
    response = rng.standard_normal(length) * decay
    response[: int(FIRST_REFLECTION_S * SAMPLE_RATE_HZ)] = 0
    response *= np.sqrt(10 ** (-room.direct_to_reverberant_db / 10) / np.sum(response**2))
    response[0] = 1
    return np.asarray(response / np.sqrt(np.sum(response**2)), dtype=np.float32)


def reverberant(wave: Wave, response: Wave) -> Wave:
    """Give a sound as it is in a room, with the reverberation behind its end."""
    length = len(wave) + len(response) - 1
    size = 1 << (length - 1).bit_length()
    product = np.fft.rfft(wave, size) * np.fft.rfft(response, size)
    return np.asarray(np.fft.irfft(product, size)[:length], dtype=np.float32)


def _spectrum(wave: Wave) -> tuple[int, NDArray[np.complex128], NDArray[np.float64]]:
    """Give the size of the transform, the spectrum and its frequencies."""
    size = 1 << (len(wave) + int(SETTLE_S * SAMPLE_RATE_HZ) - 1).bit_length()
    hz = np.arange(size // 2 + 1) * (SAMPLE_RATE_HZ / size)
    return size, np.fft.rfft(wave, size), np.asarray(hz, dtype=np.float64)


def _wave_of(spectrum: NDArray[np.complex128], size: int, length: int) -> Wave:
    return np.asarray(np.fft.irfft(spectrum, size)[:length], dtype=np.float32)
