"""How loud a sound is, and what is plainly wrong with it."""

import numpy as np
import pytest
import soxr
from hypothesis import given
from hypothesis import strategies as st

from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.hearing.level import BAR_WIDTH, Flaw, bar, level_of, peak_db
from assistant.ports import SAMPLE_RATE_HZ, Samples


@pytest.fixture(scope="module")
def wave() -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    voice = SpeechRenderer("gmw/en-us")
    sound = voice.render("Seven, orange red.")
    voice.close()
    found = soxr.resample(sound.samples.astype(np.float64), sound.rate_hz, SAMPLE_RATE_HZ)
    return np.asarray(found / np.abs(found).max())


def steps(wave: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> Samples:
    return np.asarray(np.clip(wave * 32768, -32768, 32767), dtype=np.int16)


@pytest.mark.parametrize(("part", "db"), [(1.0, 0.0), (0.5, -6.02), (0.1, -20.0)])
def test_a_peak_is_told_in_db_of_full_scale(part: float, db: float) -> None:
    """20 log10 of the ratio of amplitudes (IEC 61606)."""
    tone = np.sin(np.arange(16000) * 0.3) * part
    assert peak_db(steps(tone)) == pytest.approx(db, abs=0.02)


def test_speech_as_it_should_be_has_no_flaw(wave: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> None:
    for part in (0.02, 0.1, 0.5, 0.9):
        assert level_of(steps(wave * part)).flaws == ()


def test_each_flaw_is_found(wave: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> None:
    narrow = soxr.resample(soxr.resample(wave, 16000, 8000), 8000, 16000)
    assert level_of(steps(wave * 0)).flaws == (Flaw.MUTED,)
    assert level_of(steps(wave * 0.003)).flaws == (Flaw.QUIET,)
    assert level_of(steps(wave * 3)).flaws == (Flaw.CLIPPING,)
    assert level_of(steps(narrow * 0.5)).flaws == (Flaw.NARROW,)


def test_a_single_peak_is_no_clipping(wave: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> None:
    sound = steps(wave * 0.5)
    sound[100] = 32767
    assert Flaw.CLIPPING not in level_of(sound).flaws


@given(st.floats(-120, 10))
def test_a_bar_has_always_the_same_width(loud_db: float) -> None:
    drawn = bar(loud_db)
    assert len(drawn[1 : drawn.index("]")]) == BAR_WIDTH


def test_a_bar_is_full_at_full_scale_and_empty_at_its_floor() -> None:
    assert bar(0.0).startswith(f"[{'#' * BAR_WIDTH}]")
    assert bar(-60.0).startswith(f"[{'-' * BAR_WIDTH}]")
    assert bar(-30.0).count("#") == BAR_WIDTH // 2
