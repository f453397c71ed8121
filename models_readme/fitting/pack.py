"""Pack what training needs of recordings: real noise, human words, and a set to watch by.

usage: python models_readme/fitting/pack.py SPEECH_FOLDER JOBS_FOLDER SHARDS_FOLDER TOKENIZER.json
(in the project's environment, with PYTHONPATH=.)
SPEECH_FOLDER holds dev/ and other-words/. JOBS_FOLDER (jobs.json of `phonemes.py`) gets noise.npz, watch.npz, and in
jobs.json the program's prompt and jobs of people behind those of the synthesiser; SHARDS_FOLDER gets o-*.npz (single
words of people that are no call, and "yes", "no") and d-*.npz (digits of people, for the variant that is trained with
them). Noise of `held_out` and calls of speakers in dev/ are in no training, but for the digits of DIGIT_SPEAKERS.
"""

import csv
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from synthesis import trimmed, write
from tokenizers import Tokenizer

from assistant.adapters.recogniser_whisper import PROMPT
from assistant.words.numbers import DIGITS
from tests.bench.scenes import QUIET, Condition, load_noises, scenes_of
from tests.bench.trials import CHATTER, Recordings, human_trials

DIGIT_SPEAKERS = frozenset(
    {"fsdd:jackson", "gsc:97f4c236", "gsc:439c84f4", "gsc:c7dc7278", "gsc:51055bda", "gsc:93ec8b84"}
)
HUMAN = 1000
"""Speakers from this number on are people."""
IdsOf = Callable[[str], list[int]]


def held_out(rows: list[dict[str, str]]) -> set[str]:
    """Give the noise recordings that are kept for judging: every fourth of each source."""
    noise = sorted((row["source"], row["path"]) for row in rows if row["kind"] == "noise")
    return {path for number, (_, path) in enumerate(noise) if number % 4 == 2}


def pack_noise(dev: Path, rows: list[dict[str, str]], out: Path) -> None:
    """Put the noise for training into one array."""
    kept = held_out(rows)
    sounds = [
        soundfile.read(dev / r["path"], dtype="int16")[0]
        for r in rows
        if r["kind"] == "noise" and r["path"] not in kept
    ]
    lengths = [len(sound) for sound in sounds]
    at = np.cumsum([0, *lengths[:-1]])
    np.savez_compressed(out / "noise.npz", sound=np.concatenate(sounds), at=at, len=np.array(lengths))
    print(len(sounds), "noises,", sum(lengths) // 16000, "s; held out:", *sorted(kept))


def pack_words(
    clips: list[tuple[str, str, Path, str]], plan: dict[str, Any], ids_of: IdsOf, shards: Path, name: str
) -> None:
    """Write (kind, speaker, file, text) as jobs and shards."""
    people: dict[str, int] = {}
    shard = []
    for kind, speaker, path, text in clips:
        sound = trimmed(soundfile.read(path, dtype="float32")[0])
        if sound is None:
            continue
        number = HUMAN + people.setdefault(speaker, len(people)) + (500 if name == "d" else 0)
        plan["jobs"].append([kind, number, 1.0, [], ids_of(text), text])
        shard.append((len(plan["jobs"]) - 1, sound))
    for at in range(0, len(shard), 400):
        write(shards, f"{name}-{at:06d}", shard[at : at + 400])
    print(name, len(shard), "clips of", len(people), "people")


def pack_watch(recordings: Recordings, out: Path) -> None:
    """Write human calls and talk, in quiet and at 10 dB, cut as the program cuts them."""
    trials = human_trials(recordings, 12, 7)
    noises = load_noises(recordings.noises())
    packed: dict[str, Any] = {}
    for name, condition in (("quiet", QUIET), ("10", Condition(10.0))):
        sounds, texts, kinds = [], [], []
        for scene in scenes_of(trials, condition, noises, 3):
            for placed in scene.placed:
                first, last = int((placed.start_s - 1.2) * 16000), int((placed.end_s + 0.25) * 16000)
                sounds.append(scene.sound[max(0, first) : last])
                texts.append(placed.trial.words.lower().replace(",", ""))
                kinds.append("talk" if placed.trial.kind == CHATTER else placed.trial.kind)
        lengths = [len(sound) for sound in sounds]
        packed |= {f"sound_{name}": np.concatenate(sounds), f"len_{name}": np.array(lengths)}
        packed |= {
            f"at_{name}": np.cumsum([0, *lengths[:-1]]),
            f"text_{name}": np.array(texts),
            f"kind_{name}": np.array(kinds),
        }
    np.savez_compressed(out / "watch.npz", **packed)


def main() -> None:
    """Pack all of it."""
    speech, out, shards = map(Path, sys.argv[1:4])
    shards.mkdir(parents=True, exist_ok=True)
    rows = list(csv.DictReader((speech / "dev/manifest.csv").open()))
    plan = json.loads((out / "jobs.json").read_text())
    tokenizer = Tokenizer.from_file(sys.argv[4])

    def ids_of(text: str) -> list[int]:
        return list(tokenizer.encode(" " + text.lstrip(), add_special_tokens=False).ids)

    special = tokenizer.token_to_id
    plan["prompt"] = [
        special("<|startofprev|>"),
        *ids_of(PROMPT),
        special("<|startoftranscript|>"),
        special("<|notimestamps|>"),
    ]
    plan["end"] = special("<|endoftext|>")
    others = list(csv.DictReader((speech / "other-words/manifest.csv").open()))
    kinds = {"yes": "say", "no": "say"}
    pack_noise(speech / "dev", rows, out)
    words = [
        (kinds.get(r["text"], "other"), r["speaker"], speech / "other-words" / r["path"], r["text"]) for r in others
    ]
    pack_words(words, plan, ids_of, shards, "o")
    digits = [r for r in rows if r["kind"] == "word" and r["speaker"] in DIGIT_SPEAKERS and r["text"] in DIGITS]
    pack_words(
        [("word", r["speaker"], speech / "dev" / r["path"], r["text"]) for r in digits], plan, ids_of, shards, "d"
    )
    pack_watch(Recordings(speech / "dev"), out)
    (out / "jobs.json").write_text(json.dumps(plan, separators=(",", ":")))


if __name__ == "__main__":
    main()
