"""Record what the ears say of calls and talk, without the sound, so that verdicts can be judged anew in seconds.

    python -m tests.bench.evidence OUT.json.gz [--ears SET] [--natural FOLDER] [--snr 10 5] [--processes N]
    python -m tests.bench.evidence --show FILE.json.gz...

--natural names a folder with jobs.json and shards of `models_readme/fitting/synthesis.py`: natural voices that are
in no training. People and natural voices are kept apart. Of each trial are stored: what was said, and for each
utterance that was found the opinions of the ears, the length of the speech and its level over the floor.
"""

import argparse
import gzip
import json
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from assistant.app import ears as all_ears
from assistant.app.ears import Ears
from assistant.hearing.verdict import Circumstances, Judgement, judge
from assistant.ports import Candidate, Opinion, UnfittedHearing
from tests.bench.measure import run
from tests.bench.report import share
from tests.bench.scenes import QUIET, Condition, Scene, load_noises, scenes_of
from tests.bench.trials import (
    BARE,
    CHATTER,
    FOLLOWING,
    QUESTION,
    Recordings,
    Trial,
    human_trials,
    meaning,
    recordings_folder,
    trial,
)

HUMAN, NATURAL = "people", "natural voices"


@dataclass(frozen=True, slots=True)
class Recorded:
    """One trial, and what was heard of it."""

    of: str
    kind: str
    words: str
    condition: str
    question: bool
    heard: tuple[tuple[tuple[Opinion, ...], Circumstances], ...]


def natural_trials(folder: Path, limit: int) -> list[Trial]:
    """Give the clips of natural voices as trials, at most so many of a kind."""
    plan = json.loads((folder / "jobs.json").read_text())
    found: dict[str, list[Trial]] = defaultdict(list)
    for file in sorted(folder.glob("*.npz")):
        if file.name == "voices.npz":
            continue
        shard = np.load(file)
        for job, at, length in shard["index"]:
            _, speaker, _, _, _, text = plan["jobs"][job]
            wave = np.pad(shard["sound"][at : at + length].astype(np.float32) / 32768, 1600)
            one = trial(f"{file.stem}-{job}", text.replace(",", ""), f"voice {speaker}", wave)
            found[one.kind].append(one)
    return [one for some in found.values() for one in some[:limit]]


@cache
def _ears(choice: str) -> Ears:
    return all_ears.load(choice or None)


def recorded(of: str, scene: Scene, choice: str) -> list[Recorded]:
    """Hear one scene."""
    (found,) = run([scene], _ears(choice))
    return [
        Recorded(
            of,
            result.placed.trial.kind,
            result.placed.trial.words,
            scene.condition.name,
            result.placed.trial.scope == QUESTION,
            tuple((heard.opinions, heard.utterance.circumstances) for heard in result.heard),
        )
        for result in found.results
    ]


def written(recorded_ones: list[Recorded], path: Path) -> None:
    """Write evidence: scores to a hundredth of a nat, five candidates each."""
    rows: list[dict[str, Any]] = []
    for one in recorded_ones:
        heard = [
            {
                "opinions": [packed(opinion) for opinion in opinions],
                "speech_s": round(circumstances.speech_s, 2),
                "over_floor_db": round(circumstances.over_floor_db, 1),
            }
            for opinions, circumstances in one.heard
        ]
        rows.append({**{k: v for k, v in asdict(one).items() if k != "heard"}, "heard": heard})
    with gzip.GzipFile(path, "wb", mtime=0) as file:
        file.write(json.dumps(rows, separators=(",", ":")).encode())


def packed(opinion: Opinion) -> dict[str, Any]:
    """Give an opinion as it is kept."""
    unfitted = opinion.unfitted
    kept = {
        "ear": opinion.ear,
        "candidates": [[one.words, round(one.score, 2)] for one in opinion.candidates[:5]],
        "free": [opinion.free_words, None if opinion.free_score is None else round(opinion.free_score, 2)],
        "confidence": opinion.confidence,
    }
    if unfitted is not None:
        kept["unfitted"] = [unfitted.free_words, round(unfitted.free_score, 2), round(unfitted.best_score, 2)]
    return kept


def read(path: Path) -> list[Recorded]:
    """Read evidence."""
    with gzip.open(path) as file:
        rows = json.load(file)
    return [
        Recorded(
            *(row[name] for name in ("of", "kind", "words", "condition", "question")),
            tuple(
                (
                    tuple(map(opinion_of, heard["opinions"])),
                    Circumstances(speech_s=heard["speech_s"], over_floor_db=heard["over_floor_db"]),
                )
                for heard in row["heard"]
            ),
        )
        for row in rows
    ]


def opinion_of(kept: dict[str, Any]) -> Opinion:
    """Give it back."""
    return Opinion(
        ear=kept["ear"],
        candidates=tuple(Candidate(words, score) for words, score in kept["candidates"]),
        free_words=kept["free"][0],
        free_score=kept["free"][1],
        confidence=kept["confidence"],
        unfitted=_unfitted(*kept["unfitted"]) if "unfitted" in kept else None,
    )


def _unfitted(words: str, score: float, best: float) -> UnfittedHearing:
    return UnfittedHearing(free_words=words, free_score=score, best_score=best)


def outcome(one: Recorded) -> str:
    """Judge a trial with today's rules: right, wrong, asked, ignored or missed."""
    scope = QUESTION if one.question else FOLLOWING
    verdicts = [judge(opinions, scope, circumstances=circumstances) for opinions, circumstances in one.heard]
    accepted = [verdict.intent for verdict in verdicts if verdict.judgement is Judgement.ACCEPTED]
    wanted = None if one.kind in (CHATTER, BARE) else meaning(one.words, scope)
    if any(intent != wanted for intent in accepted) or (accepted and one.kind in (CHATTER, BARE)):
        return "wrong"
    if accepted:
        return "right"
    if any(verdict.judgement is Judgement.ASK_BACK for verdict in verdicts):
        return "asked"
    return "ignored" if verdicts else "missed"


def counted(evidence: list[Recorded]) -> dict[tuple[str, str, bool], Counter[str]]:
    """Give outcomes by (of, condition, whether it is a call); calls that the vocabulary has no more do not count."""
    found: dict[tuple[str, str, bool], Counter[str]] = defaultdict(Counter)
    for one in evidence:
        dropped = one.kind != CHATTER and meaning(one.words, QUESTION if one.question else FOLLOWING) is None
        if one.kind != BARE and not dropped:
            found[one.of, one.condition, one.kind != CHATTER][outcome(one)] += 1
    return dict(found)


def lines_of(evidence: list[Recorded]) -> Iterator[str]:
    """Tell the figures."""
    for (of, condition, call), counts in counted(evidence).items():
        n = counts.total()
        if call:
            yield (
                f"{of}, {condition}: right {share(counts['right'], n, interval=True)}, wrong {counts['wrong']} "
                f"({share(counts['wrong'], n, interval=True)}), asked {share(counts['asked'], n)}, of {n}"
            )
        else:
            yield f"{of}, {condition}, talk: accepted {counts['wrong']}, asked {counts['asked']}, of {n}"


def main(arguments: list[str] | None = None) -> int:
    """Record or show."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--ears", default="")
    parser.add_argument("--recordings", type=Path, default=recordings_folder())
    parser.add_argument("--natural", type=Path)
    parser.add_argument("--snr", type=float, nargs="*", default=[10.0, 5.0])
    parser.add_argument("--limit", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=1)
    options = parser.parse_args(arguments)
    if options.show:
        for path in options.files:
            print(path.name, *lines_of(read(path)), sep="\n  ")
        return 0
    recordings = Recordings(options.recordings)
    noises = load_noises(recordings.noises())
    trials = {HUMAN: human_trials(recordings, options.limit, options.seed)}
    if options.natural:
        trials[NATURAL] = natural_trials(options.natural, options.limit)
    conditions = [QUIET, *map(Condition, options.snr)]
    todo = [(o, s) for o, some in trials.items() for c in conditions for s in scenes_of(some, c, noises, options.seed)]
    with ProcessPoolExecutor(options.processes) as pool:
        parts = pool.map(recorded, [o for o, _ in todo], [s for _, s in todo], [options.ears] * len(todo))
        found = [one for part in parts for one in part]
    written(found, options.files[0])
    print(options.files[0].name, *lines_of(found), sep="\n  ")
    return 0


if __name__ == "__main__":
    sys.exit(main())
