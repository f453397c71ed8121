"""The simulated rooms, headsets and voices of the benchmark, measured on noise and tones; its reckoning."""

import json
import math
from collections import Counter
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest

from assistant.adapters.tones import TICK_HZ, TICK_S
from assistant.app.hear import following_state
from assistant.cable.colour_code import colours_of
from assistant.cable.makeup import Cable
from assistant.dialogue.messages import DidYouSay
from assistant.dialogue.wording import question
from assistant.ports import SAMPLE_RATE_HZ, Samples
from assistant.words import intents as say
from tests.bench import headset, sound
from tests.bench.answer_time import Sounded, is_asked_back, measured, sounded
from tests.bench.headset import CHANNELS, RAISED, Room
from tests.bench.neighbours import Run, Tally, part_object, slips, summed
from tests.bench.report import rate_interval
from tests.bench.scenes import QUIET, Condition, Noise, Scene, noise_scenes, scenes_of
from tests.bench.sound import Wave
from tests.bench.talk import halves
from tests.bench.trials import FOLLOWING, Clip, Trial

SECONDS = 20
SHIFT_S = 0.005
"""Most that a simulation may move speech."""


def random(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def white(db: float = -30.0, seconds: float = SECONDS) -> Wave:
    return sound.white(int(seconds * SAMPLE_RATE_HZ), db, random())


def change_db(before: Wave, after: Wave, hz: float) -> float:
    """Give what became of a third of an octave around a frequency, in dB."""
    place = np.fft.rfftfreq(len(before), 1 / SAMPLE_RATE_HZ)
    band = (place > hz / 2 ** (1 / 6)) & (place < hz * 2 ** (1 / 6))
    powers = [float(np.sum(np.abs(np.fft.rfft(wave)[band]) ** 2)) for wave in (before, after)]
    return 10 * math.log10(powers[1] / powers[0])


def edge_db(before: Wave, after: Wave, hz: float) -> float:
    """Give what became of 10 Hz around a frequency, in dB."""
    place = np.fft.rfftfreq(len(before), 1 / SAMPLE_RATE_HZ)
    band = np.abs(place - hz) < 5
    powers = [float(np.sum(np.abs(np.fft.rfft(wave)[band]) ** 2)) for wave in (before, after)]
    return 10 * math.log10(powers[1] / powers[0])


def utterance() -> Wave:
    """Give a second of shaped noise between silences, its edges as sharp as those of speech."""
    voiced = white(-26.0, 1.0)
    shaped = voiced * (0.6 + 0.4 * np.sin(2 * np.pi * 4 * np.arange(len(voiced)) / SAMPLE_RATE_HZ))
    quiet = np.zeros(SAMPLE_RATE_HZ, np.float32)
    return np.concatenate([quiet, sound.faded(np.asarray(shaped, np.float32)), quiet])


def shift_s(before: Wave, after: Wave, start: int, length: int) -> float:
    """Give how much later a stretch is, by its greatest correlation within 50 ms."""
    most = SAMPLE_RATE_HZ // 20
    piece = before[start : start + length]
    window = after[start - most : start + length + most]
    likeness = np.correlate(window, piece, "valid")
    return (int(np.argmax(np.abs(likeness))) - most) / SAMPLE_RATE_HZ


@pytest.mark.parametrize(("name", "limits"), [("wide", (100, 7000)), ("narrow", (300, 3400))])
def test_a_headset_keeps_its_band_and_nothing_else(name: str, limits: tuple[float, float]) -> None:
    before = white()
    after = headset.through(CHANNELS[name], before)
    low_hz, high_hz = limits
    for hz in np.geomspace(low_hz * 1.5, high_hz / 1.5, 7):
        assert abs(change_db(before, after, hz)) < 0.5, hz
    for hz in (low_hz, high_hz):
        assert edge_db(before, after, hz) == pytest.approx(-3, abs=1.0)
    assert change_db(before, after, low_hz / 2) < -35
    if high_hz * 2 < SAMPLE_RATE_HZ / 2:
        assert change_db(before, after, high_hz * 2) < -35


def test_nothing_over_4_khz_comes_through_a_rate_of_8_khz() -> None:
    before = white()
    after = headset.resampled_there_and_back(before, 8000)
    assert len(after) == len(before)
    assert abs(change_db(before, after, 2500)) < 0.1
    assert change_db(before, after, 5500) < -60


@pytest.mark.parametrize("rt60_s", [0.3, 0.5, 0.9])
def test_a_room_falls_by_60_db_in_its_reverberation_time(rt60_s: float) -> None:
    """Measured by backward integration of the squared response, from 5 to 35 dB down, as in ISO 3382-1 (T30)."""
    response = headset.impulse_response(Room(rt60_s=rt60_s, direct_to_reverberant_db=0.0), random())
    tail = response[1:].astype(np.float64)
    energy = np.cumsum(tail[::-1] ** 2)[::-1]
    decay_db = 10 * np.log10(energy / energy[0])
    part = np.flatnonzero((decay_db < -5) & (decay_db > -35))
    slope, _ = np.polyfit(part / SAMPLE_RATE_HZ, decay_db[part], 1)
    assert -60 / slope == pytest.approx(rt60_s, rel=0.05)


@pytest.mark.parametrize("ratio_db", [-6.0, 0.0, 6.0])
def test_a_room_has_its_ratio_of_direct_to_reverberant_sound_and_energy_one(ratio_db: float) -> None:
    response = headset.impulse_response(Room(rt60_s=0.5, direct_to_reverberant_db=ratio_db), random())
    energy = response.astype(np.float64) ** 2
    assert 10 * math.log10(energy[0] / energy[1:].sum()) == pytest.approx(ratio_db, abs=0.01)
    assert energy.sum() == pytest.approx(1.0, abs=1e-4)


def test_reverberation_stands_behind_the_sound() -> None:
    before = utterance()
    response = headset.impulse_response(Room(rt60_s=0.5, direct_to_reverberant_db=0.0), random())
    after = headset.reverberant(before, response)
    end = 2 * SAMPLE_RATE_HZ
    assert not np.any(np.abs(after[: SAMPLE_RATE_HZ - 1]) > 1e-6)
    just_after = sound.level_db(after[end : end + 800])
    assert -12 < just_after - sound.level_db(after[SAMPLE_RATE_HZ:end]) < -2
    half_a_second_later = sound.level_db(after[end + 8000 : end + 8800])
    assert half_a_second_later - just_after == pytest.approx(-60, abs=4)


def test_a_gain_too_low_is_30_db_and_leaves_whole_steps_of_16_bits() -> None:
    before = white(-26.0)
    after = headset.through(CHANNELS["low"], before)
    assert sound.level_db(after) - sound.level_db(before) == pytest.approx(-30, abs=0.1)
    steps = after.astype(np.float64) * 32768
    assert np.array_equal(steps, np.round(steps))
    lost = headset.through(CHANNELS["low"], np.full(100, 0.4 / 32768 * 10**1.5, np.float32))
    assert not lost.any()


def test_a_gain_too_high_clips_the_share_that_a_normal_distribution_has_beyond_full_scale() -> None:
    before = white(-26.0)
    after = headset.through(CHANNELS["hot"], before)
    at_full_scale = float(np.mean(np.abs(after) >= 32767 / 32768))
    deviation = 10 ** ((-26 + 24) / 20)
    assert at_full_scale == pytest.approx(math.erfc(1 / deviation / math.sqrt(2)), rel=0.05)
    assert np.abs(after).max() <= 1


@pytest.mark.parametrize("name", list(CHANNELS))
def test_speech_begins_and_ends_where_it_did(name: str) -> None:
    channel = CHANNELS[name]
    before = utterance()
    after = before
    if channel.room is not None:
        after = headset.reverberant(before, headset.impulse_response(channel.room, random(2)))[: len(before)]
    after = headset.through(channel, after)
    assert len(after) == len(before)
    assert abs(shift_s(before, after, SAMPLE_RATE_HZ, 1600)) <= SHIFT_S
    assert abs(shift_s(before, after, 2 * SAMPLE_RATE_HZ - 1600, 1600)) <= SHIFT_S
    start, end = sound.speech_span(before)
    heard_start, heard_end = sound.speech_span(after)
    assert abs(heard_start - start) <= sound.FRAME
    if channel.room is None:
        assert abs(heard_end - end) <= sound.FRAME


def test_a_raised_voice_is_louder_and_rises_by_6_db_an_octave_up_to_2_khz() -> None:
    before = white(-32.0)
    after = headset.raised(before)
    assert sound.active_level_db(after) - sound.active_level_db(before) == pytest.approx(RAISED.louder_db, abs=0.1)
    assert change_db(before, after, 8000 / 2**0.5) - change_db(before, after, 100) == pytest.approx(12, abs=1.2)
    octave = change_db(before, after, 1414) - change_db(before, after, 707)
    assert 3.5 < octave < 6.1
    speech = utterance()
    assert abs(shift_s(speech, headset.raised(speech), SAMPLE_RATE_HZ, 1600)) <= SHIFT_S


def made(number: int) -> Trial:
    wave = sound.at_level(utterance()[SAMPLE_RATE_HZ - 800 : 2 * SAMPLE_RATE_HZ + 800], sound.NOMINAL_DB)
    start, end = sound.speech_span(wave)
    return Trial(
        name=str(number),
        words="confirm",
        kind="command",
        speaker="nobody",
        scope=FOLLOWING,
        intent=say.Help(),
        sound=sound.as_samples(wave),
        start_s=start / SAMPLE_RATE_HZ,
        end_s=end / SAMPLE_RATE_HZ,
    )


NOISES = [Noise(kind, kind, sound.white(SAMPLE_RATE_HZ * 5, 0.0, random(seed))) for seed, kind in enumerate("ab")]


def drawn(condition: Condition) -> list[Scene]:
    return list(scenes_of([made(number) for number in range(20)], condition, NOISES, 1))


@pytest.mark.parametrize("name", list(CHANNELS))
@pytest.mark.parametrize("plain", [QUIET, Condition(10.0)], ids=lambda one: one.name)
def test_every_channel_hears_the_same_scenes(plain: Condition, name: str) -> None:
    through = replace(plain, channel=CHANNELS[name])
    assert through.name == f"{plain.name}, {name}"
    for one, other in zip(drawn(plain), drawn(through), strict=True):
        assert [placed.start_s for placed in one.placed] == [placed.start_s for placed in other.placed]
        assert [placed.trial.name for placed in one.placed] == [placed.trial.name for placed in other.placed]
        assert one.noise == other.noise
        assert len(one.sound) == len(other.sound)
        assert not np.array_equal(one.sound, other.sound)
    assert [scene.sound.tolist() for scene in drawn(through)] == [scene.sound.tolist() for scene in drawn(through)]


def test_a_raised_voice_stands_6_db_higher_over_the_same_noise() -> None:
    plain, effort = drawn(Condition(10.0))[0], drawn(Condition(10.0, effort=True))[0]
    for one, other in zip(plain.placed, effort.placed, strict=True):
        assert other.local_snr_db - one.local_snr_db == pytest.approx(6)
    first = plain.placed[0]
    before = slice(0, int(first.start_s * SAMPLE_RATE_HZ) - SAMPLE_RATE_HZ // 10)
    assert np.array_equal(plain.sound[before], effort.sound[before])


def test_a_room_leaves_noise_alone_as_it_is_and_a_headset_does_not() -> None:
    plain = Condition(10.0)
    alone = {name: next(noise_scenes(replace(plain, channel=CHANNELS[name]), NOISES, 5, 1)).sound for name in CHANNELS}
    usual = next(noise_scenes(plain, NOISES, 5, 1)).sound
    same = {name for name, found in alone.items() if np.array_equal(found, usual)}
    assert same == {name for name in CHANNELS if not replace(plain, channel=CHANNELS[name]).changes_noise} == {"far"}


@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (20, 12.217, 30.888)]
)
def test_the_interval_of_a_rate_is_near_the_exact_one_of_poissons_distribution(
    count: int, low: float, high: float
) -> None:
    """The exact limits are those of the chi-squared distribution, from published tables."""
    found = rate_interval(count, 2.0)
    assert found[0] == pytest.approx(low / 2, abs=0.02)
    assert found[1] == pytest.approx(high / 2, rel=0.01)


def test_nobody_talks_with_himself_and_both_talk_about_as_much() -> None:
    seconds = {"a": [5.0] * 10, "b": [4.0] * 5, "c": [3.0] * 6, "d": [1.0] * 9}
    clips = [
        Clip(path=Path(f"{speaker}{index}"), text="x", kind="chatter", speaker=speaker, seconds=s)
        for speaker, some in seconds.items()
        for index, s in enumerate(some)
    ]
    one, other = halves(clips)
    assert {clip.speaker for clip in one} & {clip.speaker for clip in other} == set()
    assert len(one) + len(other) == len(clips)
    lengths = sorted(sum(clip.seconds for clip in half) for half in (one, other))
    assert lengths == [47.0, 50.0]


# --- time to the answer ----------------------------------------------------------------------------


def tone(hz: float, seconds: float) -> Samples:
    place = np.arange(int(seconds * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    wave = 0.1 * np.sin(np.pi * place / seconds) ** 2 * np.sin(2 * np.pi * hz * place)
    return sound.as_samples(np.asarray(wave, np.float32))


def silence(seconds: float) -> Samples:
    return np.zeros(int(seconds * SAMPLE_RATE_HZ), np.int16)


TICK = tone(TICK_HZ, TICK_S)
WORD = sound.as_samples(sound.faded(white(-20.0, 0.4), 0.001))


@pytest.mark.parametrize(
    ("tick", "lasts_s"), [(TICK, 0.05), (TICK[100:220], 0.0075)], ids=["whole", "torn off to a click"]
)
def test_the_tick_is_told_apart_from_the_answer_behind_it(tick: Samples, lasts_s: float) -> None:
    found = sounded(np.concatenate([silence(0.3), tick, silence(0.2), WORD, silence(0.1), WORD]), 64)
    assert found.tick_s == pytest.approx(0.3, abs=0.01)
    assert found.tick_lasts_s == pytest.approx(lasts_s, abs=0.012)
    assert found.speech_s == pytest.approx(0.5 + len(tick) / SAMPLE_RATE_HZ, abs=0.002)


def test_no_speech_is_taken_for_a_tick() -> None:
    assert sounded(np.concatenate([silence(0.3), WORD]), 64) == Sounded(speech_s=pytest.approx(0.3, abs=0.002))
    short = sound.as_samples(white(-20.0, TICK_S))
    assert sounded(short, 64).tick_s is None
    assert sounded(tone(440, TICK_S), 64).tick_s is None
    assert sounded(tone(TICK_HZ, 0.3), 64).tick_s is None


def test_silence_is_neither_tick_nor_answer() -> None:
    assert sounded(silence(1.0), 64) == Sounded()


def test_an_answer_is_timed_from_the_end_of_the_words_not_of_the_noise_behind_them() -> None:
    room = random(3).normal(0, 12, 4 * SAMPLE_RATE_HZ)
    mouth = np.asarray(room, np.int16)
    mouth[SAMPLE_RATE_HZ : 2 * SAMPLE_RATE_HZ] += sound.as_samples(white(-20.0, 1.0))
    loudspeaker = np.concatenate([silence(2.9), WORD, silence(0.7)])
    found = measured("two", "Two.", mouth, loudspeaker)
    assert found.speech_s == pytest.approx(0.9, abs=0.012)
    assert found.tick_s is None


# --- parts of a run --------------------------------------------------------------------------------

RUN = Run(trials=100, snr_db=10.0, seed=1, ears="some", parts=3)


def kept(part: int, run: Run = RUN, **counts: int) -> dict[str, object]:
    human = Tally(Counter(counts), [{"trial": f"human {part}"}])
    other = Tally(Counter(accepted=part), [])
    kept_so = json.loads(json.dumps(part_object(run, part, {"human": human, "synthetic": other})))
    assert isinstance(kept_so, dict)
    return kept_so


def test_parts_add_up_by_source_and_tell_what_is_missing() -> None:
    run, missing, tallies = summed([kept(1, accepted=3, missed=1), kept(3, accepted=4)])
    assert run == RUN
    assert missing == [2]
    assert tallies["human"].counts == {"accepted": 7, "missed": 1}
    assert tallies["synthetic"].counts == {"accepted": 4}
    assert [one["trial"] for one in tallies["human"].listed] == ["human 1", "human 3"]


def test_parts_of_different_runs_and_the_same_part_twice_are_refused() -> None:
    with pytest.raises(ValueError, match="different runs"):
        summed([kept(1), kept(2, replace(RUN, seed=2))])
    with pytest.raises(ValueError, match="twice"):
        summed([kept(1), kept(1)])


def test_all_scenes_together_have_half_of_the_trials() -> None:
    assert RUN.counts() == [14, 14, 14, 8]
    assert sum(replace(RUN, trials=1000).counts()) == 500


def test_half_of_the_slips_are_green_for_brown_or_back() -> None:
    """Some of the others are so too, by chance."""
    drawn_slips = list(slips(400, Random(1)))
    swapped = [one for one in drawn_slips if {"green", "brown"} == {_ring(one.expected), _ring(one.said)}]
    assert 0.45 < len(swapped) / len(drawn_slips) < 0.7
    assert all(one.expected != one.said and abs(one.expected - one.said) < 25 for one in drawn_slips)
    assert {(one.expected - 1) // 25 for one in drawn_slips} == {(one.said - 1) // 25 for one in drawn_slips}


def _ring(pair: int) -> str:
    return colours_of((pair - 1) % 25 + 1).ring.value


def test_the_answer_is_counted_from_the_end_of_the_call_and_a_tick_is_neither() -> None:
    """A tick on either side must move neither the end of the call nor the beginning of the answer."""
    call = np.concatenate([silence(0.5), WORD, silence(1.5)])
    end = len(silence(0.5)) + len(WORD)
    loudspeaker = np.concatenate([np.zeros(end, np.int16), silence(0.3), TICK, silence(0.4), WORD])
    loudspeaker = np.pad(loudspeaker, (0, max(0, len(call) - len(loudspeaker))))
    found = measured("word", "answer", call, loudspeaker)
    assert found.tick_s == pytest.approx(0.3, abs=0.02)
    assert found.speech_s == pytest.approx(0.3 + len(TICK) / SAMPLE_RATE_HZ + 0.4, abs=0.02)


def test_the_caller_knows_the_question_about_its_own_words() -> None:
    asked = question(following_state(Cable(100)), DidYouSay("one two blue white"))
    assert is_asked_back("one two, blue white", asked)
    assert not is_asked_back("one three, blue white", asked)
