"""The whole vocabulary by synthetic voices, for the words that no human recording has.

Figures from these are kept apart from the human ones in every report.
"""

import random
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.adapters.audio_file import read_sound
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.ports import SAMPLE_RATE_HZ
from assistant.words.grammar import sample
from assistant.words.vocabulary import Scope, entries_in
from tests.bench import sound
from tests.bench.sound import Wave
from tests.bench.trials import ANSWER, BOTH, CALLS, CHATTER, FOLLOWING, QUESTION, Trial, kind_of, meaning, trial

ESPEAK_ACCENTS = ("gmw/en-us", "gmw/en", "gmw/en-gb-scotland", "gmw/en-gb-x-rp", "gmw/en-us-nyc")
ESPEAK_VARIANTS = ("m1", "m2", "m3", "m4", "m5", "m7", "f1", "f2", "f3", "f4", "f5")
ESPEAK_RATES = (130, 150, 175)
FLITE_VOICES = ("rms", "slt", "awb", "kal16")
FLITE_SPEEDS = (0.93, 1.0, 1.08)
"""Played so much faster, which moves the pitch and the formants as well."""
SHORTEST_S = 0.15
TRIES = 5

TALK = (
    "hand me the cutters please",
    "is the van locked",
    "what time is lunch",
    "pear tree",
    "stop it",
    "the weather is bad today",
    "give me a minute",
    "that one is open i think",
    "brown bread",
    "white wine and red wine",
    "which one is it",
    "group chat",
    "mark my words",
    "hold this for me",
    "carry the ladder",
    "help me lift this",
    "repeat after me",
    "confirm the order for lunch",
    "skip lunch",
    "next week",
    "orange juice",
    "blue sky over there",
    "six of them left",
    "where are you going",
    "how many people are coming",
    "go to the shop",
    "what is your name",
    "the pair of them",
    "it is all green",
    "wait for me",
    "say that again please",
    "can you find the manual",
    "two more and we are done",
    "i need another bundle",
    "yellow jacket",
    "red light",
    "black coffee no sugar",
    "session musician",
    "cancel the meeting",
    "undo the screw",
    "eight hours a day",
    "forty miles from here",
    "seven or eight of them",
    "nine to five job",
    "i said no such thing",
    "yes but it was a long time ago",
    "know what i mean",
    "it is freezing out here",
    "pass the tape",
    "the wires are wet",
    "short story",
    "across the road",
    "on the ground floor",
    "split the bill",
    "noisy neighbours",
    "reverse the van",
    "super",
    "binder clips",
    "previously on",
    "finish your tea",
)
"""Talk beside the work; much of it begins or sounds like something that can be said."""


@dataclass(frozen=True, slots=True)
class SpeakerVoice:
    """A synthetic voice."""

    engine: str
    voice: str
    rate: float

    @property
    def name(self) -> str:
        """Its name in reports."""
        return f"{self.engine}:{self.voice}@{self.rate}"


def voices() -> list[list[SpeakerVoice]]:
    """Give the voices that can be had here, by engine."""
    espeak = [
        SpeakerVoice("espeak", f"{accent}+{variant}", rate)
        for accent in ESPEAK_ACCENTS
        for variant in ESPEAK_VARIANTS
        for rate in ESPEAK_RATES
    ]
    flite = [SpeakerVoice("flite", voice, speed) for voice in FLITE_VOICES for speed in FLITE_SPEEDS]
    return [espeak, flite] if shutil.which("flite") else [espeak]


def synthetic_trials(limit: int, seed: int) -> list[Trial]:
    """Give at most so many trials of each kind that the grammar has, and as many of talk."""
    rng = random.Random(f"{seed} synthetic")
    texts = [(words, FOLLOWING) for words in _sentences(FOLLOWING, limit, rng)]
    texts += [(words, QUESTION) for words in _sentences(QUESTION, limit, rng, only=ANSWER)]
    talk = [words for words in TALK if meaning(words, FOLLOWING) is None]
    rng.shuffle(talk)
    texts += [(words, FOLLOWING) for words in talk[:limit]]
    texts += [(words, QUESTION) for words in talk[: limit // 2] if meaning(words, QUESTION) is None]
    engines = voices()
    jobs = [(rng.choice(engines[index % len(engines)]), *text) for index, text in enumerate(texts)]
    waves = rendered([(voice, words) for voice, words, _ in jobs])
    return [
        trial(f"synthetic {index}", words, voice.name, wave, scope=scope)
        for index, ((voice, words, scope), wave) in enumerate(zip(jobs, waves, strict=True))
    ]


def _sentences(scope: Scope, limit: int, rng: random.Random, only: str | None = None) -> list[str]:
    """Draw sentences from the grammar until each kind has its number or no new ones come.

    A number with colours is that of a pair: who calls two that contradict each other is asked back rightly.
    """
    found: dict[str, list[str]] = {}
    for entry in entries_in(scope):
        for _ in range(30 * limit):
            words = " ".join(sample(entry.voice(scope), rng))
            intent = meaning(words, scope)
            kind = CHATTER if intent is None else kind_of(words, intent)
            if kind == BOTH:
                words = CALLS[BOTH](rng)
            known = found.setdefault(kind, [])
            if kind != CHATTER and only in (None, kind) and (len(known) < limit and words not in known):
                known.append(words)
    found.pop(CHATTER, None)
    full = {kind: [words[i % len(words)] for i in range(limit)] for kind, words in found.items() if words}
    return [words for kind in full for words in full[kind]]


def rendered(jobs: list[tuple[SpeakerVoice, str]]) -> list[Wave]:
    """Render all; espeak by rate, since a renderer keeps one."""
    waves: dict[int, Wave] = {}
    for rate in sorted({voice.rate for voice, _ in jobs if voice.engine == "espeak"}):
        renderer = SpeechRenderer(words_per_minute=int(rate))
        for index, (voice, words) in enumerate(jobs):
            if voice.engine == "espeak" and voice.rate == rate:
                waves[index] = _by_espeak(renderer, voice, words)
        renderer.close()
    for index, (voice, words) in enumerate(jobs):
        if voice.engine == "flite":
            waves[index] = _by_flite(voice, words)
    return [waves[index] for index in range(len(jobs))]


def _by_espeak(renderer: SpeechRenderer, voice: SpeakerVoice, words: str) -> Wave:
    """Render by the product's own renderer; it may give an empty sound or half a file, so it is asked again."""
    for attempt in range(TRIES):
        try:
            spoken = renderer.render(words + " " * attempt, voice.voice)
        except soundfile.LibsndfileError:
            continue
        if spoken.seconds > SHORTEST_S:
            wave = soxr.resample(sound.as_wave(spoken.samples), spoken.rate_hz, SAMPLE_RATE_HZ)
            return np.asarray(wave, dtype=np.float32)
    raise RuntimeError(f"espeak gave no sound for {words!r} by {voice.voice}")


def _by_flite(voice: SpeakerVoice, words: str) -> Wave:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sentence.wav"
        command = ["flite", "-voice", voice.voice, "-t", words, "-o", str(path)]
        subprocess.run(command, check=True, capture_output=True)
        wave = sound.as_wave(read_sound(path))
    if voice.rate == 1.0:
        return wave
    return np.asarray(soxr.resample(wave, SAMPLE_RATE_HZ * voice.rate, SAMPLE_RATE_HZ), dtype=np.float32)
