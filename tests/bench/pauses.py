"""Pauses inside of calls: what the ears say in each, and how long it lasts, so that no rule ends a call too early.

    python -m tests.bench.pauses OUT.json.gz [--gap 0.25 0.6] [--snr 10 5] [--limit 12]
    python -m tests.bench.pauses --show FILE.json.gz...

Calls of people are joined from single words of one speaker, with gaps of such lengths (seconds) between the words, in
quiet and in noise. The ears hear them as in the chain, but no pause ends an utterance before the longest. Of each
pause are kept: the opinions of the ears, the length of the speech before it, the level over the floor, and how long it
lasted as the detector sees it, which bridges soft beginnings and ends of words; the last pause of a call lasts for
ever. Shown is what today's rules make of it: a call that ends in an earlier pause than its last is cut.
"""

import argparse
import gzip
import json
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from assistant.adapters.audio_file import in_blocks
from assistant.adapters.speech_detector import SileroDetector
from assistant.app import ears as all_ears
from assistant.hearing.chain import BLOCK_S, level_db
from assistant.hearing.pause import needed_pause_s
from assistant.hearing.together import AllEars, InEars
from assistant.hearing.utterance import Endpointer, Endpointing, SpeechChange
from assistant.hearing.verdict import Circumstances, Judgement, judge
from assistant.ports import Opinion, Recogniser, Samples
from assistant.words.intents import Intent
from assistant.words.vocabulary import voice_sentences
from tests.bench.evidence import opinion_of, packed
from tests.bench.report import share
from tests.bench.scenes import QUIET, Condition, Scene, load_noises, scenes_of
from tests.bench.trials import CALLS, FOLLOWING, Recordings, joined_calls, meaning, recordings_folder

FOR_EVER_S = 99.0
NO_END = Endpointing(long_pause_s=1.5)
"""Shorter than the gaps between calls in a scene, longer than those in a call."""


@dataclass(frozen=True, slots=True)
class Pause:
    """One pause of an utterance."""

    opinions: tuple[Opinion, ...]
    circumstances: Circumstances
    lasted_s: float


@dataclass(frozen=True, slots=True)
class Paused:
    """One call with all its pauses."""

    words: str
    kind: str
    condition: str
    pauses: tuple[Pause, ...]


@dataclass(slots=True)
class _Open:
    """An utterance that goes on."""

    start: int
    ears: InEars
    taken: int
    pauses: list[Pause]


def heard(sound: Samples, recognisers: tuple[Recogniser, ...]) -> Iterator[tuple[float, float, tuple[Pause, ...]]]:
    """Give start, end (seconds) and pauses of all utterances of a sound."""
    ears = AllEars(recognisers)
    ears.set_sentences(voice_sentences(FOLLOWING))
    detector, endpointer = SileroDetector(), Endpointer(NO_END, BLOCK_S)
    blocks = list(in_blocks(sound))
    now: _Open | None = None
    for block in blocks:
        before = endpointer.speech_end
        change = endpointer.push(detector.probability(block), level_db(block))
        if change is SpeechChange.OPENED:
            now = _Open(endpointer.start, ears.begin(), endpointer.start, [])
        if now is None:
            continue
        if change is SpeechChange.RESUMED:
            now.pauses[-1] = _lasting(now.pauses[-1], (endpointer.position - 1 - before) * BLOCK_S)
        elif change is SpeechChange.PAUSED:
            for one in blocks[now.taken : endpointer.position]:
                now.ears.accept(one)
            now.taken = endpointer.position
            about = Circumstances(speech_s=endpointer.speech_blocks * BLOCK_S, over_floor_db=endpointer.over_floor_db)
            now.pauses.append(Pause(now.ears.partial(), about, FOR_EVER_S))
        elif change is SpeechChange.ENDED:
            yield now.start * BLOCK_S, endpointer.speech_end * BLOCK_S, tuple(now.pauses)
            now = None


def _lasting(pause: Pause, seconds: float) -> Pause:
    return Pause(pause.opinions, pause.circumstances, seconds)


def paused(scene: Scene, recognisers: tuple[Recogniser, ...]) -> list[Paused]:
    """Hear a scene, and deal its utterances out to the calls that they cover most of."""
    found: dict[int, list[Pause]] = defaultdict(list)
    for start, end, pauses in heard(scene.sound, recognisers):
        shares = [min(end, placed.end_s) - max(start, placed.start_s) for placed in scene.placed]
        if max(shares) > 0:
            found[shares.index(max(shares))].extend(pauses)
    return [
        Paused(placed.trial.words, placed.trial.kind, scene.condition.name, tuple(found[index]))
        for index, placed in enumerate(scene.placed)
    ]


# --- judging -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Ended:
    """What today's rules make of a call."""

    intent: Intent | None
    """What was accepted, if anything."""
    cut: bool
    """Whether it ended in an earlier pause than its last."""
    after_s: float
    """The pause that ended it."""


def ended(call: Paused) -> Ended:
    """Go through the pauses until one is long enough."""
    for number, pause in enumerate(call.pauses, 1):
        verdict = judge(pause.opinions, FOLLOWING, circumstances=pause.circumstances)
        needed_s = needed_pause_s(verdict, pause.opinions, FOLLOWING, Endpointing(), pause.circumstances)
        if pause.lasted_s >= needed_s - BLOCK_S:
            intent = verdict.intent if verdict.judgement is Judgement.ACCEPTED else None
            return Ended(intent, number < len(call.pauses), needed_s)
    return Ended(None, cut=False, after_s=0.0)


def lines_of(calls: list[Paused]) -> Iterator[str]:
    """Tell the figures, and each call of which something else was accepted."""
    groups: dict[str, Counter[str]] = defaultdict(Counter)
    pauses: dict[str, Counter[float]] = defaultdict(Counter)
    for call in calls:
        end = ended(call)
        right = end.intent == meaning(call.words, FOLLOWING)
        told = "not accepted" if end.intent is None else "right" if right else "WRONG"
        groups[call.condition][f"{told}, cut" if end.cut else told] += 1
        if told == "right":
            pauses[call.condition][end.after_s] += 1
        if told == "WRONG":
            yield f"{call.condition}: {call.words!r} -> {end.intent}, cut {end.cut}"
    for condition, counts in groups.items():
        wrong = sum(number for told, number in counts.items() if told.startswith("WRONG"))
        waits = ", ".join(f"{number} after {s:g} s" for s, number in sorted(pauses[condition].items()))
        yield f"{condition}: {dict(counts)}, wrong {share(wrong, counts.total(), interval=True)} %; right: {waits}"


# --- files ---------------------------------------------------------------------------------------------


def written(calls: list[Paused], path: Path) -> None:
    """Write them without sound."""
    rows = [
        {
            **{name: value for name, value in asdict(call).items() if name != "pauses"},
            "pauses": [
                {
                    "opinions": [packed(opinion) for opinion in pause.opinions],
                    "speech_s": round(pause.circumstances.speech_s, 2),
                    "over_floor_db": round(pause.circumstances.over_floor_db, 1),
                    "lasted_s": round(pause.lasted_s, 2),
                }
                for pause in call.pauses
            ],
        }
        for call in calls
    ]
    with gzip.GzipFile(path, "wb", mtime=0) as file:
        file.write(json.dumps(rows, separators=(",", ":")).encode())


def read(path: Path) -> list[Paused]:
    """Read them."""
    with gzip.open(path) as file:
        rows = json.load(file)
    return [Paused(row["words"], row["kind"], row["condition"], tuple(map(_pause, row["pauses"]))) for row in rows]


def _pause(row: dict[str, Any]) -> Pause:
    about = Circumstances(speech_s=row["speech_s"], over_floor_db=row["over_floor_db"])
    return Pause(tuple(map(opinion_of, row["opinions"])), about, row["lasted_s"])


def main(arguments: list[str] | None = None) -> int:
    """Record or show."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--ears", default=None)
    parser.add_argument("--recordings", type=Path, default=recordings_folder())
    parser.add_argument("--gap", type=float, nargs=2, default=(0.25, 0.6), metavar="S")
    parser.add_argument("--snr", type=float, nargs="*", default=[10.0, 5.0])
    parser.add_argument("--limit", type=int, default=12, help="calls of each kind (%(default)s)")
    parser.add_argument("--seed", type=int, default=7)
    options = parser.parse_args(arguments)
    if options.show:
        for path in options.files:
            print(path.name, *lines_of(read(path)), sep="\n  ")
        return 0
    recordings = Recordings(options.recordings)
    noises = load_noises(recordings.noises())
    gap_s = (options.gap[0], options.gap[1])
    trials = [one for kind in CALLS for one in joined_calls(recordings, kind, options.limit, options.seed, gap_s)]
    ears = all_ears.load(options.ears)
    found: list[Paused] = []
    for condition in [QUIET, *map(Condition, options.snr)]:
        for scene in scenes_of(trials, condition, noises, options.seed):
            found += paused(scene, ears.recognisers)
            written(found, options.files[0])
            print(f"\r{condition.name}: {len(found)} calls", end="", file=sys.stderr, flush=True)
    print(options.files[0].name, *lines_of(found), sep="\n  ")
    return 0


if __name__ == "__main__":
    sys.exit(main())
