"""The worst error: a call that is misheard as the expected pair.

    python -m tests.bench.neighbours --trials 1000 --snr 10
    python -m tests.bench.neighbours --trials 1000 --part 3/10 --json part3.json
    python -m tests.bench.neighbours --sum part*.json

The dialogue expects one pair; another one is called that differs from it in one colour, by one in the
count, or both (green and brown are neighbours in sound and in the count). The whole chain hears it in
real noise. Printed: how often the *expected* pair was logged (the target is never), how often another
wrong pair came out, what was asked back. Human and synthetic voices apart.

Trials are dealt in scenes, each drawn by its own number and made when it is heard: ten parts have together
the trials, noises and gaps of the whole, and no more than one scene is held at a time. Sound is the same but
for the breath of two synthetic voices (espeak's f2 and f5), which no seed governs; what the ears make of the
same sound may differ a little from run to run, as Pocketsphinx does.
"""

import argparse
import json
import random
import resource
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from assistant.app import ears as ears_here
from assistant.app.ears import Ears
from assistant.app.hear import following_state
from assistant.cable.colour_code import Colours, colours_of, position_of
from assistant.cable.makeup import Cable
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import Heard, MovedTo, PairConfirmed
from assistant.dialogue.state import State, evolve
from assistant.hearing.verdict import Judgement
from assistant.words.numbers import spoken_digits
from tests.bench import sound
from tests.bench.measure import Heard as HeardSound
from tests.bench.measure import Result, run
from tests.bench.report import heard_object, machine, share
from tests.bench.scenes import TRIALS_IN_SCENE, Condition, Noise, load_noises, scenes_of
from tests.bench.synthetic import rendered, voices
from tests.bench.trials import FOLDER_VARIABLE, Recordings, Trial, recordings_folder, trial

CABLE_PAIRS = 600
CABLE = following_state(Cable(CABLE_PAIRS))
HUMAN, SYNTHETIC = "human", "synthetic"
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
    for _ in range(count):
        swapped = rng.random() < 0.5
        while (slip := _slip(swapped, rng, words_known)) is None:
            pass
        yield slip


def _slip(swapped: bool, rng: random.Random, words_known: set[str] | None) -> Slip | None:
    """Draw one; None where the pair has no such neighbour or a word for it is missing."""
    position = rng.randint(1, 25)
    expected = 25 * rng.randrange(CABLE_PAIRS // 25) + position
    colours = colours_of(position)
    near = [p for p in range(1, 26) if _is_near(colours, colours_of(p)) and p != position]
    if swapped:
        near = [p for p in near if colours_of(p).tip is colours.tip and _green_and_brown(colours_of(p), colours)]
    if not near:
        return None
    said = expected - position + rng.choice(near)
    words = _words(said, rng)
    if words_known is not None:  # no person says these two in the recordings
        words = words.replace("violet", "purple").replace("slate", "grey")
        if not set(words.split()) <= words_known:
            return None
    return Slip(expected, said, words)


def _green_and_brown(one: Colours, other: Colours) -> bool:
    return {one.ring.value, other.ring.value} == {"green", "brown"}


def _is_near(expected: Colours, said: Colours) -> bool:
    beside = abs(position_of(expected) - position_of(said)) == 1
    alike = expected.tip is said.tip and said.ring.value in NEAR.get(expected.ring.value, ())
    return beside or alike


def _words(pair: int, rng: random.Random) -> str:
    colours = colours_of((pair - 1) % 25 + 1)
    named = f"{colours.ring.value} {colours.tip.value}"
    return named if rng.random() < 0.7 else f"{spoken_digits(pair)} {named}"


Drawn = list[tuple[Trial, Slip]]


def human_scene(recordings: Recordings, name: str, count: int, rng: random.Random) -> Drawn:
    """Join single words of one speaker who has all of them; purple and grey stand for violet and slate."""
    found = []
    speakers = [known for known in recordings.words.values() if {"green", "brown", "white", "red"} <= set(known)]
    for number in range(count):
        known = rng.choice(speakers)
        (slip,) = slips(1, rng, set(known))
        clips = [rng.choice(known[word]) for word in slip.words.split()]
        wave = sound.joined([clip.wave() for clip in clips], np.random.default_rng(rng.getrandbits(32)))
        found.append((trial(f"{name} {number}", slip.words, clips[0].speaker, wave), slip))
    return found


def synthetic_scene(name: str, count: int, rng: random.Random) -> Drawn:
    """Let many synthetic voices say the slips."""
    engines = voices()
    drawn = list(slips(count, rng))
    jobs = [(rng.choice(engines[index % len(engines)]), slip.words) for index, slip in enumerate(drawn)]
    named = zip(drawn, jobs, rendered(jobs), strict=True)
    return [
        (trial(f"{name} {index}", slip.words, voice.name, wave), slip)
        for index, (slip, (voice, _), wave) in enumerate(named)
    ]


EXPECTED_LOGGED = "EXPECTED PAIR LOGGED"
OUTCOMES = (
    EXPECTED_LOGGED,
    "accepted, other words",
    "asked back, the expected pair",
    "asked back, other words",
    "accepted",
    "asked back",
    "ignored",
    "missed",
)
"""What can become of a call, the worst first."""


def outcome(result: Result, slip: Slip) -> str:
    """Tell the worst that the dialogue made of it, with the expected pair in turn."""
    found = {_outcome(heard, result.placed.trial, slip) for heard in result.heard} or {"missed"}
    return min(found, key=OUTCOMES.index)


def _outcome(heard: HeardSound, said: Trial, slip: Slip) -> str:
    verdict = heard.verdict
    if verdict.judgement is Judgement.IGNORED:
        return "ignored"
    accepted = verdict.judgement is Judgement.ACCEPTED
    if _confirmed_by(verdict.words, slip) == slip.expected:
        return EXPECTED_LOGGED if accepted else "asked back, the expected pair"
    told = "accepted" if accepted else "asked back"
    return told if verdict.intent == said.intent else f"{told}, other words"


def _confirmed_by(words: str, slip: Slip) -> int | None:
    """Give the pair that is confirmed when these words are accepted."""
    state: State = evolve(CABLE, MovedTo(slip.expected))
    step = decide(state, Heard(judgement=Judgement.ACCEPTED.value, words=words, readings=(), after=state.announcement))
    return next((fact.pair for fact in step.facts if isinstance(fact, PairConfirmed)), None)


# --- running it, whole or in parts -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Run:
    """What decides which trials there are and how they sound."""

    trials: int
    """Of all parts, half of them human, half synthetic."""
    snr_db: float
    seed: int
    ears: str
    parts: int = 1

    def counts(self) -> list[int]:
        """Give the number of trials of each scene of one source."""
        half = self.trials // 2
        return [min(TRIALS_IN_SCENE, half - start) for start in range(0, half, TRIALS_IN_SCENE)]


@dataclass(slots=True)
class Tally:
    """What became of the calls of one source."""

    counts: Counter[str]
    listed: list[dict[str, object]]
    """Every call that was not heard right."""


def heard_part(run_: Run, part: int, source: str, recordings: Recordings, noises: list[Noise], ears: Ears) -> Tally:
    """Hear the scenes of one part."""
    tally = Tally(Counter(), [])
    counts = run_.counts()
    for number in range(part - 1, len(counts), run_.parts):
        name = f"{source} {number}"
        rng = random.Random(f"{run_.seed} {name}")
        if source == HUMAN:
            drawn = human_scene(recordings, name, counts[number], rng)
        else:
            drawn = synthetic_scene(name, counts[number], rng)
        noise = [noises[number % len(noises)]]
        slip_of = {made.name: slip for made, slip in drawn}
        for scene in run(
            scenes_of([made for made, _ in drawn], Condition(run_.snr_db), noise, f"{run_.seed} {name}"), ears
        ):
            for result in scene.results:
                _count(tally, result, slip_of[result.placed.trial.name])
        print(f"\r{name}: {tally.counts.total()} calls", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return tally


def _count(tally: Tally, result: Result, slip: Slip) -> None:
    told = outcome(result, slip)
    tally.counts[told] += 1
    if told == "accepted":
        return
    said = result.placed.trial
    tally.listed.append(
        {
            "trial": said.name,
            "speaker": said.speaker,
            "noise": result.scene.noise,
            "expected": slip.expected,
            "said": said.words,
            "outcome": told,
            "heard": [heard_object(heard) for heard in result.heard],
        }
    )


def lines_of(source: str, run_: Run, tally: Tally) -> list[str]:
    """Give the report on one source."""
    counts, total = tally.counts, tally.counts.total()
    worst = [one for one in tally.listed if one["outcome"] in OUTCOMES[:3]]
    return [
        "",
        f"{source}, {run_.snr_db:g} dB, {run_.ears}, {total} calls of a neighbour of the expected pair",
        f"  expected pair logged: {counts[EXPECTED_LOGGED]}, {share(counts[EXPECTED_LOGGED], total, interval=True)} %",
        *[f"  {told:<30} {counts[told]:5}  {share(counts[told], total)} %" for told in OUTCOMES],
        *[
            f"    {one['outcome']}: expected {one['expected']}, said {one['said']!r} ({one['speaker']}, {one['noise']})"
            f" -> {[heard['words'] for heard in one['heard']]}"  # type: ignore[attr-defined]
            for one in worst
        ],
    ]


def part_object(run_: Run, part: int, tallies: dict[str, Tally]) -> dict[str, object]:
    """Give a part as it is kept."""
    return {
        "machine": machine(),
        "run": asdict(run_),
        "part": part,
        "sources": {
            source: {"counts": dict(tally.counts), "listed": tally.listed} for source, tally in tallies.items()
        },
    }


def summed(parts: Sequence[dict[str, Any]]) -> tuple[Run, list[int], dict[str, Tally]]:
    """Add parts of one run together; give also which parts are missing.

    Raises:
        ValueError: they are not parts of one run, or one comes twice.

    """
    runs = {Run(**part["run"]) for part in parts}
    if len(runs) != 1:
        raise ValueError(f"these are parts of different runs: {', '.join(sorted(map(str, runs)))}")
    (run_,) = runs
    numbers = [part["part"] for part in parts]
    if len(set(numbers)) != len(numbers):
        raise ValueError(f"a part comes twice: {sorted(numbers)}")
    tallies: dict[str, Tally] = {}
    for part in parts:
        for source, found in part["sources"].items():
            tally = tallies.setdefault(source, Tally(Counter(), []))
            tally.counts.update(found["counts"])
            tally.listed.extend(found["listed"])
    return run_, sorted(set(range(1, run_.parts + 1)) - set(numbers)), tallies


def _part(text: str) -> tuple[int, int]:
    part, _, parts = text.partition("/")
    if not (part.isdigit() and parts.isdigit() and 1 <= int(part) <= int(parts)):
        raise argparse.ArgumentTypeError("give K/N with K from 1 to N, as in 3/10")
    return int(part), int(parts)


def main(arguments: list[str] | None = None) -> int:
    """Run it, or add parts together, and print the counts."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trials", type=int, default=1000, help="half human, half synthetic (%(default)s)")
    parser.add_argument("--snr", type=float, default=10.0, metavar="DB")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--recordings", type=Path, default=recordings_folder())
    parser.add_argument("--ears", metavar="SET")
    parser.add_argument("--part", type=_part, default=(1, 1), metavar="K/N", help="only the K-th of N parts")
    parser.add_argument("--json", type=Path, metavar="FILE", help="file for the counts and every call not heard right")
    parser.add_argument("--sum", type=Path, nargs="+", metavar="FILE", help="add parts together; hear nothing")
    options = parser.parse_args(arguments)
    if options.sum:
        return _print_sum(options.sum)
    part, parts = options.part
    recordings = Recordings(options.recordings)
    if not (options.recordings / "manifest.csv").is_file():
        print(f"{options.recordings}: holds no manifest.csv; set {FOLDER_VARIABLE} or give --recordings")
        return 2
    noises = load_noises(recordings.noises())
    ears = ears_here.load(options.ears)
    run_ = Run(options.trials, options.snr, options.seed, ears.name, parts)
    print(machine(), f"part {part} of {parts}, seed {options.seed}")
    tallies = {}
    for source in (HUMAN, SYNTHETIC):
        tallies[source] = heard_part(run_, part, source, recordings, noises, ears)
        print("\n".join(lines_of(source, run_, tallies[source])), flush=True)
    print(f"\npeak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    if options.json:
        options.json.write_text(json.dumps(part_object(run_, part, tallies), indent=1), encoding="utf-8")
    return 0


def _print_sum(paths: Sequence[Path]) -> int:
    try:
        run_, missing, tallies = summed([json.loads(path.read_text(encoding="utf-8")) for path in paths])
    except ValueError as error:
        print(error, file=sys.stderr)
        return 2
    print(f"{run_.parts - len(missing)} of {run_.parts} parts of {run_.trials} trials, seed {run_.seed}")
    if missing:
        print(f"missing: {', '.join(map(str, missing))}")
    for source, tally in tallies.items():
        print("\n".join(lines_of(source, run_, tally)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
