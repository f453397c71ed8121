"""Our own sounds, measured: what they sound like, and that loudness never cuts a peak off."""

import numpy as np
import pytest

from assistant.adapters.tones import FULL_SCALE, LOGGED_HZ, TICK_HZ, Sound, at_loudness, logged, tick, without_tail

RATE_HZ = 22050


def strongest_hz(samples: np.ndarray) -> float:
    """The frequency with most energy, by the discrete Fourier transform of numpy."""
    spectrum = np.abs(np.fft.rfft(samples, 1 << 16))
    return float(np.fft.rfftfreq(1 << 16, 1 / RATE_HZ)[spectrum.argmax()])


def test_the_tone_that_confirms_rises_and_cannot_be_taken_for_a_tick() -> None:
    sound = logged(RATE_HZ).samples
    half = len(np.trim_zeros(sound, "b")) // 2
    first, second = strongest_hz(sound[:half]), strongest_hz(sound[half:])
    assert first == pytest.approx(LOGGED_HZ[0], rel=0.03)
    assert second == pytest.approx(LOGGED_HZ[1], rel=0.03)
    assert strongest_hz(tick(RATE_HZ).samples) == pytest.approx(TICK_HZ, rel=0.03)
    assert logged(RATE_HZ).seconds > 2 * tick(RATE_HZ).seconds


@pytest.mark.parametrize("percent", [25, 50, 100, 141, 200, 400])
def test_loudness_grows_with_the_percent_and_cuts_nothing_off(percent: int) -> None:
    seconds = np.arange(RATE_HZ) / RATE_HZ
    quiet = Sound((0.2 * FULL_SCALE * np.sin(2 * np.pi * 300 * seconds)).astype(np.int16), RATE_HZ)
    changed = at_loudness(quiet, percent).samples.astype(float)
    level = np.sqrt(np.mean(changed**2)) / np.sqrt(np.mean(quiet.samples.astype(float) ** 2))
    assert np.abs(changed).max() <= FULL_SCALE
    assert len(np.unique(changed[changed > 0.99 * changed.max()])) > 1, "no flat top"
    assert (level < 1) == (percent < 100)
    if percent <= 100:
        assert level == pytest.approx(percent / 100, rel=0.02)
    else:
        assert 1.1 < level <= percent / 100 * 1.05 / np.tanh(percent / 100)


def test_a_sentence_loses_its_silent_tail_and_nothing_else() -> None:
    speech = np.tile(np.array([3000, -3000], np.int16), RATE_HZ)
    cut = without_tail(Sound(np.concatenate([speech, np.zeros(RATE_HZ, np.int16)]), RATE_HZ))
    assert (cut.samples[: len(speech)] == speech).all()
    assert 0 < cut.seconds - len(speech) / RATE_HZ < 0.05
    silence = Sound(np.zeros(100, np.int16), RATE_HZ)
    assert len(without_tail(silence).samples) == 100
