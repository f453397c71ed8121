"""Record your own voice for the hearing benchmark.

    python -m tests.bench.record FOLDER --speaker NAME [--rounds 2] [--microphone NAME]
    python -m tests.bench.hearing --recordings FOLDER --of human --snr

Each word is shown, recorded to its end and kept as FLAC with a row in FOLDER/manifest.csv, in the form that the
benchmark reads. Nothing leaves the machine. Noise for noisy conditions: put recordings into FOLDER/noise and
rows of kind "noise" into the manifest.
"""

import argparse
import csv
import sys
from pathlib import Path

import soundfile

from assistant.adapters.microphone import Microphone
from assistant.adapters.speech_detector import SileroDetector
from assistant.errors import AssistantError
from assistant.hearing.chain import HearingChain
from assistant.ports import SAMPLE_RATE_HZ, Opinion, Samples, StillWanted, always
from assistant.words.grammar import Sentences
from assistant.words.numbers import DIGITS, TEENS, TENS
from assistant.words.vocabulary import ALL_INTENTS, Scope

COLOURS = ("white", "red", "black", "yellow", "violet", "purple", "blue", "orange", "green", "brown", "slate", "grey")
OTHERS = ("hundred", "and", "pair", "group", "binder", "confirm", "undo that", "say again", "skip pair", "mark open")
WORDS = (*DIGITS, *TEENS, *TENS, *COLOURS, *OTHERS)
COLUMNS = ("path", "text", "kind", "source", "speaker", "licence", "original_rate_hz", "seconds")


class NoEar:
    """Hears no words: only the ends of utterances are wanted."""

    name = "none"

    def set_sentences(self, sentences: Sentences) -> None:
        """Take nothing."""

    def hear(self) -> "NoEar":
        """Begin with nothing."""
        return self

    def accept(self, sound: Samples) -> None:
        """Take nothing."""

    def partial(self, wanted: StillWanted = always) -> Opinion:
        """Give nothing."""
        return Opinion(ear=self.name)

    def finish(self, wanted: StillWanted = always) -> Opinion:
        """Give nothing."""
        return Opinion(ear=self.name)


def main() -> int:
    """Record all words, a round at a time."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--speaker", required=True)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--microphone")
    parser.add_argument("--words", nargs="+", metavar="WORD", default=WORDS, help="only these words")
    options = parser.parse_args()
    try:
        microphone = Microphone(options.microphone)
    except AssistantError as error:
        print(error, file=sys.stderr)
        return 2
    chain = HearingChain(SileroDetector(), (NoEar(),))
    chain.open(Scope(ALL_INTENTS))
    blocks = microphone.blocks()
    manifest = options.folder / "manifest.csv"
    options.folder.mkdir(parents=True, exist_ok=True)
    is_new = not manifest.exists()
    with manifest.open("a", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        if is_new:
            rows.writerow(COLUMNS)
        for turn in range(1, options.rounds + 1):
            for number, word in enumerate(options.words, 1):
                print(f"round {turn}, {number}/{len(options.words)}: {word}", flush=True)
                sound = next(found.sound for block in blocks if (found := chain.push(block)) is not None)
                name = f"words/{word.replace(' ', '_')}/{options.speaker}-{turn}.flac"
                path = options.folder / name
                path.parent.mkdir(parents=True, exist_ok=True)
                soundfile.write(str(path), sound, SAMPLE_RATE_HZ, subtype="PCM_16")
                seconds = f"{len(sound) / SAMPLE_RATE_HZ:.3f}"
                rows.writerow([name, word, "word", "own", options.speaker, "own", SAMPLE_RATE_HZ, seconds])
                file.flush()
    microphone.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
