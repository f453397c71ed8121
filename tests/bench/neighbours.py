"""The worst error: a call that is misheard as the expected pair.

    python -m tests.bench.neighbours --trials 1000 --snr 10

The dialogue expects one pair; another one is called that differs from it in one colour, by one in the
count, or both (green and brown are neighbours in sound and in the count). The whole chain hears it in
real noise. Printed: how often the *expected* pair was logged (the target is never), how often another
wrong pair came out, what was asked back. Human and synthetic voices apart.
"""

import argparse
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from assistant.app import ears as ears_here
from assistant.app.hear import following_state
from assistant.cable.colour_code import Colours, colours_of, position_of
from assistant.cable.makeup import Cable
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import Heard, MovedTo, PairConfirmed
from assistant.dialogue.state import State, evolve
from assistant.words.intents import CallPair
from assistant.words.numbers import spoken_digits
from tests.bench import sound
from tests.bench.measure import Result, run
from tests.bench.report import machine, share
from tests.bench.scenes import Condition, load_noises, scenes_of
from tests.bench.synthetic import _rendered as rendered
from tests.bench.synthetic import voices
from tests.bench.trials import Recordings, Trial, recordings_folder, trial

CABLE = following_state(Cable(600))
NEAR = {"green": ("brown",), "brown": ("green", "blue"), "blue": ("brown",), "orange": ("green",)}
"""Ring colours by nearness of sound, from the phoneme distances of the dialogue notes."""


@dataclass(frozen=True, slots=True)
class Slip:
    """What is expected and what is said instead."""

    expected: int
    said: int
    words: str


def slips(count: int, rng: random.Random, words_known: set[str] | None = None) -> Iterator[Slip]:
    """Give slips: half of them green for brown or back, the others any neighbour in sound or count."""
    while count:
        expected = rng.randint(1, 600)
        position = (expected - 1) % 25 + 1
        colours = colours_of(position)
        near = [p for p in range(1, 26) if _is_near(colours, colours_of(p)) and p != position]
        if not near:
            continue
        said = expected - position + rng.choice(near)
        words = _words(said, rng)
        if words_known is not None:  # no person says these two in the recordings
            words = words.replace("violet", "purple").replace("slate", "grey")
        if words_known is not None and not set(words.split()) <= words_known:
            continue
        count -= 1
        yield Slip(expected, said, words)


def _is_near(expected: Colours, said: Colours) -> bool:
    beside = abs(position_of(expected) - position_of(said)) == 1
    alike = expected.tip is said.tip and said.ring.value in NEAR.get(expected.ring.value, ())
    return beside or alike


def _words(pair: int, rng: random.Random) -> str:
    colours = colours_of((pair - 1) % 25 + 1)
    named = f"{colours.ring.value} {colours.tip.value}"
    return named if rng.random() < 0.7 else f"{spoken_digits(pair)} {named}"


def human_trials(recordings: Recordings, count: int, rng: random.Random) -> dict[str, tuple[Trial, Slip]]:
    """Join single words of one speaker who has all of them; purple and grey stand for violet and slate."""
    found = {}
    speakers = [known for known in recordings.words.values() if {"green", "brown", "white", "red"} <= set(known)]
    for number in range(count):
        known = rng.choice(speakers)
        (slip,) = slips(1, rng, set(known))
        clips = [rng.choice(known[word]) for word in slip.words.split()]
        wave = sound.joined([clip.wave() for clip in clips], np.random.default_rng(rng.getrandbits(32)))
        name = f"human {number}"
        found[name] = trial(name, slip.words, "human", wave), slip
    return found


def synthetic_trials(count: int, rng: random.Random) -> dict[str, tuple[Trial, Slip]]:
    """Let many synthetic voices say the slips."""
    engines = voices()
    drawn = list(slips(count, rng))
    jobs = [(rng.choice(engines[index % len(engines)]), slip.words) for index, slip in enumerate(drawn)]
    named = zip(drawn, jobs, rendered(jobs), strict=True)
    return {
        f"synthetic {index}": (trial(f"synthetic {index}", slip.words, voice.name, wave), slip)
        for index, (slip, (voice, _), wave) in enumerate(named)
    }


def outcome(result: Result, slip: Slip) -> str:
    """Tell what the dialogue made of it, with the expected pair in turn."""
    state: State = evolve(CABLE, MovedTo(slip.expected))
    worst = "missed"
    for heard in result.heard:
        verdict = heard.verdict
        intent = verdict.intent
        step = decide(state, Heard(judgement=verdict.judgement.value, words=verdict.words, readings=()))
        if any(isinstance(fact, PairConfirmed) for fact in step.facts):
            return "EXPECTED PAIR LOGGED"
        right = isinstance(intent, CallPair) and intent == result.placed.trial.intent
        worst = f"{verdict.judgement.value}{'' if right or intent is None else ', other words'}"
    return worst


def main() -> None:
    """Run it and print the counts."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=1000, help="half human, half synthetic")
    parser.add_argument("--snr", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--recordings", type=Path, default=recordings_folder())
    parser.add_argument("--ears")
    options = parser.parse_args()
    rng = random.Random(options.seed)
    ears = ears_here.load(options.ears)
    print(datetime.now().astimezone().isoformat(timespec="seconds"), machine(), ears.name)
    recordings = Recordings(options.recordings)
    noises = load_noises(recordings.noises())
    half = options.trials // 2
    for name, found in (("human", human_trials(recordings, half, rng)), ("synthetic", synthetic_trials(half, rng))):
        scenes = scenes_of([t for t, _ in found.values()], Condition(options.snr), noises, options.seed)
        counts: Counter[str] = Counter()
        for scene in run(scenes, ears):
            for result in scene.results:
                told = outcome(result, found[result.placed.trial.name][1])
                counts[told] += 1
                if told.isupper():
                    print("   ", result.placed.trial.words, "->", [h.verdict.words for h in result.heard])
        total = sum(counts.values())
        print(f"\n{name}, {options.snr:g} dB, {total} calls of a neighbour of the expected pair")
        print(f"  expected pair logged: {share(counts['EXPECTED PAIR LOGGED'], total, interval=True)}")
        for told, count in counts.most_common():
            print(f"  {told:<28} {count:5}  {100 * count / total:5.1f} %")


if __name__ == "__main__":
    main()
