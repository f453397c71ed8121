"""Long stretches of sound, as a microphone gives them: calls and talk over noise that never stops."""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assistant.adapters.audio_file import read_sound
from assistant.ports import SAMPLE_RATE_HZ, Samples
from assistant.words.vocabulary import Scope
from tests.bench import sound
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

    @property
    def name(self) -> str:
        """Its name in reports."""
        return "quiet" if self.quiet else f"{self.snr_db:g} dB"


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


def scenes_of(trials: list[Trial], condition: Condition, noises: list[Noise], seed: int) -> Iterator[Scene]:
    """Deal the trials out to scenes, each with one noise; one scope a scene."""
    rng = random.Random(f"{seed} {condition.name}")
    order = noises.copy()
    rng.shuffle(order)
    count = 0
    for scope in dict.fromkeys(trial.scope for trial in trials):
        some = [trial for trial in trials if trial.scope == scope]
        rng.shuffle(some)
        for start in range(0, len(some), TRIALS_IN_SCENE):
            noise = None if condition.quiet else order[count % len(order)]
            count += 1
            yield _scene(f"{condition.name} {count}", some[start : start + TRIALS_IN_SCENE], condition, noise, rng)


def noise_scenes(condition: Condition, noises: list[Noise], seconds: float, seed: int) -> Iterator[Scene]:
    """Give scenes of each noise alone, as loud as under the speech."""
    for noise in noises:
        rng = random.Random(f"{seed} {condition.name} {noise.name}")
        bed = _bed(condition, noise, int(seconds * SAMPLE_RATE_HZ), rng)
        gain = 10 ** (rng.uniform(-GAIN_DB, GAIN_DB) / 20)
        yield Scene(
            name=f"{condition.name} {noise.name} alone",
            condition=condition,
            noise=noise.kind,
            scope=FOLLOWING,
            placed=(),
            sound=sound.as_samples(bed * gain),
        )


def _bed(condition: Condition, noise: Noise | None, length: int, rng: random.Random) -> Wave:
    level = sound.NOMINAL_DB - condition.snr_db
    if noise is None:
        return sound.white(length, level, np.random.default_rng(rng.getrandbits(32)))
    wave = sound.looped(noise.wave, length, rng.randrange(len(noise.wave)))
    return np.asarray(wave * 10 ** (level / 20), dtype=np.float32)


def _scene(name: str, trials: list[Trial], condition: Condition, noise: Noise | None, rng: random.Random) -> Scene:
    gaps = [int(rng.uniform(*GAP_S) * SAMPLE_RATE_HZ) for _ in range(len(trials) + 1)]
    bed = _bed(condition, noise, sum(gaps) + sum(len(trial.sound) for trial in trials), rng)
    gain = 10 ** (rng.uniform(-GAIN_DB, GAIN_DB) / 20)
    mixed, placed, at = bed.copy(), [], 0
    for gap, trial in zip(gaps, trials, strict=False):
        at += gap
        under = bed[at : at + len(trial.sound)]
        mixed[at : at + len(trial.sound)] += trial.sound.astype(np.float32) / 32768
        begins = at / SAMPLE_RATE_HZ
        local = sound.NOMINAL_DB - sound.level_db(under)
        placed.append(Placed(trial, begins + trial.start_s, begins + trial.end_s, local))
        at += len(trial.sound)
    return Scene(
        name=name,
        condition=condition,
        noise="white" if noise is None else noise.kind,
        scope=trials[0].scope,
        placed=tuple(placed),
        sound=sound.as_samples(mixed * gain),
    )
