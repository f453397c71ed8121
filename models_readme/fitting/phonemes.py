"""From texts to what the synthesiser takes: phonemes, a speaker, a pace; and to what the recogniser should write.

usage: python phonemes.py TEXTS.json KOKORO_FOLDER TOKENIZER.json OUT_FOLDER [--judges | SEED]
KOKORO_FOLDER: kokoro.onnx, vocab.json, voices/*.bin (README.md says where they come from).
OUT_FOLDER gets jobs.json (jobs: [kind, speaker, pace, phoneme ids, tokens, transcript]) and voices.npy.
Needs espeakng-loader, phonemizer-fork, numpy, tokenizers. Speakers are 34 voices and 86 mixtures of two. The 14
voices of KEPT and mixtures of them are for others to judge by, the 6 of JUDGES for our own table: in no clip.
"""

import json
import os
import random
import sys
from pathlib import Path
from typing import Any

import numpy as np
from tokenizers import Tokenizer

KEPT = frozenset(
    [
        "af_nova",
        "af_river",
        "am_eric",
        "am_onyx",
        "am_puck",
        "bf_lily",
        "bm_lewis",
        "em_alex",
        "ff_siwis",
        "hf_beta",
        "im_nicola",
        "pf_dora",
        "jm_kumo",
        "zm_yunxi",
    ]
)
JUDGES = ("af_kore", "am_liam", "bf_emma", "bm_daniel", "pm_alex", "zf_xiaoyi")
SYMBOLS = (
    *(("ʲ", "j"), ("r", "ɹ"), ("x", "k"), ("ɬ", "l"), ("aɪ", "I"), ("aʊ", "W"), ("dʒ", "ʤ"), ("eɪ", "A"), ("tʃ", "ʧ")),
    *(("ɔɪ", "Y"), ("oʊ", "O"), ("əʊ", "Q"), ("ɚ", "əɹ"), ("ɜː", "ɜ"), ("ɝ", "ɜɹ"), ("ɐ", "ə"), ("ː", "")),
)
SPEAKERS, LONGEST = 120, 130
NEAR_TIMES = 2
WRITTEN = {"i": "I"}
rng = random.Random(int(sys.argv[5]) if sys.argv[5:] and sys.argv[5].isdigit() else 9)


class Phonemes:
    """Text to Kokoro's symbols, American ("a") or British ("b")."""

    def __init__(self) -> None:
        """Load eSpeak NG."""
        import espeakng_loader

        os.environ.setdefault("ESPEAK_DATA_PATH", espeakng_loader.get_data_path())
        from phonemizer.backend import EspeakBackend
        from phonemizer.backend.espeak.wrapper import EspeakWrapper

        EspeakWrapper.set_library(espeakng_loader.get_library_path())
        self._of = {
            k: EspeakBackend(n, preserve_punctuation=True, with_stress=True)
            for k, n in (("a", "en-us"), ("b", "en-gb"))
        }

    def __call__(self, texts: list[str], accent: str) -> list[str]:
        """Give the symbols of each text."""
        out = []
        for spoken in self._of[accent].phonemize(texts, strip=True):
            said = spoken
            for old, new in SYMBOLS:
                said = said.replace(old, new)
            out.append(said)
        return out


def plain(symbols: str) -> str:
    """Leave out stress and marks."""
    return "".join(s for s in symbols if s not in "ˈˌ.,?! ")


def distance(a: str, b: str) -> int:
    """Give the least number of symbols to change, add or leave out."""
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        last, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (x != y))
    return row[-1]


def with_near_misses(texts: dict[str, Any], phonemes: Phonemes) -> list[list[str]]:
    """Leave out what sounds just like a word of ours; say other words near ours more often."""
    ours = {plain(p) for p in phonemes(texts["vocabulary"], "a")}
    longer = [p for p in ours if len(p) > 1]
    other = dict(zip(texts["other"], map(plain, phonemes(texts["other"], "a")), strict=True))
    near = [
        w
        for w, p in other.items()
        if any(abs(len(p) - len(q)) < 2 and distance(p, q) <= (1 if len(q) < 5 else 2) for q in longer)
    ]
    spoken = list(map(plain, phonemes([item[1] for item in texts["items"]], "a")))
    items = [i for i, p in zip(texts["items"], spoken, strict=True) if i[0] in ("say", "word") or p not in ours]
    items += [
        ["other", word + rng.choice([".", "?", ""]), word]
        for word in near
        if other[word] not in ours
        for _ in range(NEAR_TIMES)
    ]
    rng.shuffle(items)
    print(
        len(near),
        "near misses:",
        " ".join(rng.sample(near, 12)),
        "| left out",
        len(texts["items"]) + len(near) * NEAR_TIMES - len(items),
    )
    return items


def speakers_of(names: list[str]) -> list[tuple[int, int, float]]:
    """Give (voice, other voice, share of the first): each voice alone, then mixtures, mostly of English voices."""
    english = [i for i, name in enumerate(names) if name[0] in "ab"]
    speakers = [(i, i, 1.0) for i in range(len(names))]
    while len(speakers) < SPEAKERS:
        first = rng.choice(english) if rng.random() < 0.75 else rng.randrange(len(names))
        speakers.append((first, rng.randrange(len(names)), round(rng.uniform(0.35, 0.8), 2)))
    return speakers


def main() -> None:
    """Write jobs and voices."""
    texts, kokoro, out = json.loads(Path(sys.argv[1]).read_text()), Path(sys.argv[2]), Path(sys.argv[4])
    tokenizer = Tokenizer.from_file(sys.argv[3])
    phonemes = Phonemes()

    def ids(text: str) -> list[int]:
        return list(tokenizer.encode(text, add_special_tokens=False).ids)

    judging = "--judges" in sys.argv
    every = {path.stem for path in (kokoro / "voices").glob("*.bin")} - KEPT
    names = sorted(every & set(JUDGES)) if judging else sorted(every - set(JUDGES))
    assert len(names) == (6 if judging else 34)
    table = np.stack([np.fromfile(kokoro / "voices" / f"{n}.bin", "f4").reshape(-1, 256)[:LONGEST] for n in names])
    speakers = [(i, i, 1.0) for i in range(len(names))] if judging else speakers_of(names)
    accents = [names[i][0] if names[i][0] in "ab" else rng.choice("ab") for i, _, _ in speakers]
    symbols = json.loads((kokoro / "vocab.json").read_text())["vocab"]
    word_ids, comma = {w: ids(" " + WRITTEN.get(w, w)) for w in texts["vocabulary"]}, ids(",")

    def tokens(kind: str, text: str) -> list[int]:
        if kind in ("say", "word"):
            return [t for w in text.split() for t in word_ids[w.rstrip(",")] + (comma if w.endswith(",") else [])]
        return ids(" " + text.replace(" i ", " I "))

    items = texts["items"] if judging else with_near_misses(texts, phonemes)
    who = [rng.randrange(len(speakers)) for _ in items]
    jobs: list[Any] = [None] * len(items)
    for accent in "ab":
        which = [k for k in range(len(items)) if accents[who[k]] == accent]
        for k, said in zip(which, phonemes([items[k][1] for k in which], accent), strict=True):
            kind, _, text = items[k]
            heard = [symbols[s] for s in said if s in symbols]
            if 0 < len(heard) < LONGEST:
                jobs[k] = [kind, who[k], round(rng.uniform(0.85, 1.35), 2), heard, tokens(kind, text), text]
    jobs = [job for job in jobs if job]
    print(len(jobs), "clips of", round(sum(len(job[3]) for job in jobs) / len(jobs), 1), "symbols on average")
    out.mkdir(parents=True, exist_ok=True)
    packed = {"jobs": jobs, "speakers": speakers, "join": texts["join"], "word_ids": word_ids, "comma": comma}
    (out / "jobs.json").write_text(json.dumps(packed, separators=(",", ":")))
    np.save(out / "voices.npy", table.astype("f2"))


if __name__ == "__main__":
    main()
