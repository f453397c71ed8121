"""Long stretches of sound, as a microphone gives them: calls and talk over noise that never stops."""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assistant.adapters.audio_file import read_sound
from assistant.ports import SAMPLE_RATE_HZ, Samples
from assistant.words.vocabulary import Scope
from tests.bench import headset, sound
from tests.bench.headset import Channel
from tests.bench.sound import Wave
from tests.bench.trials import FOLLOWING, Trial

QUIET_DB = 50.0
"""In quiet, white noise lies this much below speech."""
GAP_S = (1.6, 3.0)
GAIN_DB = 5.0
TRIALS_IN_SCENE = 14
SHORTEST_NOISE_S = 4.0
"""A shorter recording would repeat itself too often; the short household ones are strung together."""


@dataclass(frozen=True, slots=True)
class Condition:
    """What lies under the speech."""

    snr_db: float
    """Active level of the speech over the level of the whole noise recording."""
    quiet: bool = False
    channel: Channel | None = None
    """What the scene goes through; None for the plain sound."""
    effort: bool = False
    """Whether the voice is raised; the noise stays as it is, so that the ratio is better than its name says."""

    @property
    def seed_name(self) -> str:
        """What the scenes are drawn by: the same ones for every channel and effort, so that pairs can be compared."""
        return "quiet" if self.quiet else f"{self.snr_db:g} dB"

    @property
    def name(self) -> str:
        """Its name in reports."""
        channel = [self.channel.name] if self.channel else []
        return ", ".join([self.seed_name, *channel, *(["raised voice"] if self.effort else [])])

    @property
    def changes_noise(self) -> bool:
        """Whether noise alone sounds otherwise than in the plain condition."""
        return self.channel is not None and headset.acts_on_noise(self.channel)

    @property
    def speech_db(self) -> float:
        """Active level of the speech before the gain of the scene, in dB of full scale."""
        return sound.NOMINAL_DB + (headset.RAISED.louder_db if self.effort else 0.0)


QUIET = Condition(QUIET_DB, quiet=True)


@dataclass(frozen=True, slots=True)
class Noise:
    """A noise recording at a level of 0 dB."""

    kind: str
    name: str
    wave: Wave


@dataclass(frozen=True, slots=True)
class Placed:
    """A trial and when its speech lasts, in seconds of the scene."""

    trial: Trial
    start_s: float
    end_s: float
    local_snr_db: float
    """Active level of the speech over the noise just under it."""


@dataclass(frozen=True, slots=True)
class Said:
    """A trial that is to be laid into a scene."""

    trial: Trial
    at: int
    """Sample of the scene at which its sound begins."""
    louder_db: float = 0.0

    @property
    def end(self) -> int:
        """Sample behind its sound."""
        return self.at + len(self.trial.sound)


@dataclass(frozen=True, slots=True)
class Scene:
    """One stretch of sound."""

    name: str
    condition: Condition
    noise: str
    scope: Scope
    placed: tuple[Placed, ...]
    sound: Samples

    @property
    def seconds(self) -> float:
        """Length."""
        return len(self.sound) / SAMPLE_RATE_HZ


def load_noises(folder: dict[str, list[Path]]) -> list[Noise]:
    """Read the noise recordings that are long enough; short ones of one kind become one."""
    noises = []
    for kind, paths in sorted(folder.items()):
        waves = {path.stem: sound.as_wave(read_sound(path)) for path in paths}
        long = {name: wave for name, wave in waves.items() if len(wave) >= SHORTEST_NOISE_S * SAMPLE_RATE_HZ}
        short = [wave for name, wave in waves.items() if name not in long]
        if sum(map(len, short)) >= SHORTEST_NOISE_S * SAMPLE_RATE_HZ:
            long[f"{kind}-strung"] = np.concatenate([sound.faded(wave, 0.02) for wave in short])
        for name, wave in long.items():
            noises.append(Noise(kind, name, np.asarray(wave * 10 ** (-sound.level_db(wave) / 20), dtype=np.float32)))
    return noises


def scenes_of(trials: list[Trial], condition: Condition, noises: list[Noise], seed: int | str) -> Iterator[Scene]:
    """Deal the trials out to scenes, each with one noise; one scope a scene."""
    rng = random.Random(f"{seed} {condition.seed_name}")
    order = noises.copy()
    rng.shuffle(order)
    count = 0
    for scope in dict.fromkeys(trial.scope for trial in trials):
        some = [trial for trial in trials if trial.scope == scope]
        rng.shuffle(some)
        for start in range(0, len(some), TRIALS_IN_SCENE):
            noise = None if condition.quiet else order[count % len(order)]
            count += 1
            said, end = [], 0
            for trial in some[start : start + TRIALS_IN_SCENE]:
                said.append(Said(trial, end + _gap(rng)))
                end = said[-1].end
            yield mixed(f"{condition.name} {count}", said, end + _gap(rng), condition, noise, rng)


def noise_scenes(condition: Condition, noises: list[Noise], seconds: float, seed: int) -> Iterator[Scene]:
    """Give scenes of each noise alone, as loud as under the speech."""
    for noise in noises:
        rng = random.Random(f"{seed} {condition.seed_name} {noise.name}")
        name = f"{condition.name} {noise.name} alone"
        yield mixed(name, [], int(seconds * SAMPLE_RATE_HZ), condition, noise, rng)


def mixed(
    name: str,
    said: list[Said],
    length: int,
    condition: Condition,
    noise: Noise | None,
    rng: random.Random,
) -> Scene:
    """Lay what is said over noise, and put all of it through the channel."""
    bed = _bed(condition, noise, length, rng)
    gain = 10 ** (rng.uniform(-GAIN_DB, GAIN_DB) / 20)
    channel = condition.channel
    response = None
    if channel is not None and channel.room is not None:
        # drawn from the gain, not from `rng`, which has to give the same scenes with every channel
        response = headset.impulse_response(channel.room, np.random.default_rng(int(gain * 2**32)))
    whole, placed = bed.copy(), []
    for one in said:
        speech = _spoken(one.trial, condition, response) * np.float32(10 ** (one.louder_db / 20))
        end = min(length, one.at + len(speech))
        whole[one.at : end] += speech[: end - one.at]
        begins = one.at / SAMPLE_RATE_HZ
        local = condition.speech_db + one.louder_db - sound.level_db(bed[one.at : one.end])
        placed.append(Placed(one.trial, begins + one.trial.start_s, begins + one.trial.end_s, local))
    heard = np.asarray(whole * gain, dtype=np.float32)
    return Scene(
        name=name,
        condition=condition,
        noise="white" if noise is None else noise.kind,
        scope=said[0].trial.scope if said else FOLLOWING,
        placed=tuple(placed),
        sound=sound.as_samples(heard if channel is None else headset.through(channel, heard)),
    )


def _spoken(trial: Trial, condition: Condition, response: Wave | None) -> Wave:
    """Give the sound of a trial as it comes out of the mouth and into the room."""
    wave = np.asarray(trial.sound.astype(np.float32) / 32768, dtype=np.float32)
    if condition.effort:
        wave = headset.raised(wave)
    return wave if response is None else headset.reverberant(wave, response)


def _gap(rng: random.Random) -> int:
    return int(rng.uniform(*GAP_S) * SAMPLE_RATE_HZ)


def _bed(condition: Condition, noise: Noise | None, length: int, rng: random.Random) -> Wave:
    level = sound.NOMINAL_DB - condition.snr_db
    if noise is None:
        return sound.white(length, level, np.random.default_rng(rng.getrandbits(32)))
    wave = sound.looped(noise.wave, length, rng.randrange(len(noise.wave)))
    return np.asarray(wave * 10 ** (level / 20), dtype=np.float32)
