"""What is said to the ears: calls, commands and talk, from human recordings.

Numbers and colour pairs of several words are joined from single-word recordings of one speaker.
Labels come from the project's own parser.
"""

import csv
import os
import random
import re
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from assistant.adapters.audio_file import read_sound
from assistant.app.hear import following_state
from assistant.cable.colour_code import RINGS, TIPS, Colours
from assistant.cable.makeup import Cable
from assistant.dialogue.machine import scope_of
from assistant.dialogue.messages import DidYouSay
from assistant.hearing.evidence import heard_words
from assistant.ports import SAMPLE_RATE_HZ, Samples
from assistant.words import intents as say
from assistant.words.intents import Intent
from assistant.words.numbers import DIGITS, TEENS, TENS, spoken_digits
from assistant.words.parser import NoMatch, Understood, parse
from assistant.words.vocabulary import COLOUR_WORDS, Scope, voice_sentences
from tests.bench import sound
from tests.bench.sound import Wave

CABLE = Cable(600)
FOLLOWING: Scope = scope_of(following_state(CABLE))
"""What is open while pairs are called."""
QUESTION: Scope = scope_of(replace(following_state(CABLE), question=DidYouSay("pair forty seven")))
"""What is open while the assistant waits for yes or no."""

DIGIT_STRING, NUMBER, COLOURS, BOTH = "digit string", "number", "colours", "number, colours"
GROUPED, GROUP, ASK, MARK = "group, colours", "group", "what is, go to", "fault"
COMMAND, ANSWER, BARE, CHATTER = "command", "yes, no", "bare number", "chatter"
KINDS = (DIGIT_STRING, NUMBER, COLOURS, BOTH, GROUPED, GROUP, ASK, MARK, COMMAND, ANSWER, BARE, CHATTER)
LONGEST_CHATTER_S = 7.5
DIGITS_OF_A_SPEAKER = 8
"""A speaker with fewer digits gives no digit strings."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One thing said, with what it means."""

    name: str
    words: str
    kind: str
    speaker: str
    scope: Scope
    intent: Intent | None
    """None for chatter, of which nothing may be accepted."""
    sound: Samples
    """At the nominal level."""
    start_s: float
    """Where speech begins in the sound."""
    end_s: float


def kind_of(words: str, intent: Intent) -> str:
    """Tell the kind of a sentence in the reports."""
    match intent:
        case say.CallPair(number=number, colours=colours, group=group):
            if group is not None:
                return GROUPED
            if colours is not None:
                return COLOURS if number is None else BOTH
            return DIGIT_STRING if set(words.split()) <= set(DIGITS) else NUMBER
        case say.CallGroup():
            return GROUP
        case say.Ask() | say.GoTo() | say.Redo():
            return ASK
        case say.MarkFault() | say.ClearFault():
            return MARK
        case say.Yes() | say.No():
            return ANSWER
        case say.BareNumber():
            return BARE
    return COMMAND


def meaning(words: str, scope: Scope) -> Intent | None:
    """Give what spoken words mean in a scope, or None where they mean nothing, several things, or only when typed."""
    parsed, automaton = parse(words, scope), voice_sentences(scope).automaton
    is_spoken = automaton.may_end(automaton.after(heard_words(words)))
    return parsed.intent if isinstance(parsed, Understood) and is_spoken else None


def trial(name: str, words: str, speaker: str, wave: Wave, *, scope: Scope = FOLLOWING) -> Trial:
    """Label a sound."""
    intent = meaning(words, scope)
    levelled = sound.faded(sound.at_level(wave, sound.NOMINAL_DB))
    start, end = sound.speech_span(levelled)
    return Trial(
        name=name,
        words=words,
        kind=CHATTER if intent is None else kind_of(words, intent),
        speaker=speaker,
        scope=scope,
        intent=intent,
        sound=sound.as_samples(levelled),
        start_s=start / SAMPLE_RATE_HZ,
        end_s=end / SAMPLE_RATE_HZ,
    )


FOLDER_VARIABLE = "SPLICE_ASSISTANT_RECORDINGS"
"""Environment variable that names the folder of recordings."""
DEFAULT_FOLDER = Path(__file__).resolve().parents[3] / "shared" / "speech" / "dev"


def recordings_folder() -> Path:
    """Give the folder of recordings."""
    return Path(os.environ.get(FOLDER_VARIABLE, DEFAULT_FOLDER))


# --- words to say --------------------------------------------------------------------------------


def number_words(number: int, *, short: bool, joined_by_and: bool = False) -> str:
    """Say a number of 13 to 999 in words; the short form leaves "hundred" out where it can."""
    hundreds, rest = divmod(number, 100)
    below = _below_hundred(rest)
    if not hundreds:
        return below
    if short and rest >= 10:
        return f"{DIGITS[hundreds]} {below}"
    link = ["and"] if joined_by_and and below else []
    return " ".join([DIGITS[hundreds], "hundred", *link, *below.split()])


def _below_hundred(number: int) -> str:
    if number < 10:
        return DIGITS[number] if number else ""
    if number < 20:
        return TEENS[number - 10]
    unit = number % 10
    return TENS[number // 10 - 2] + (f" {DIGITS[unit]}" if unit else "")


def colour_words(colours: Colours, rng: random.Random) -> str:
    """Say two colours in one of both orders, with any of the words for each."""
    words = [rng.choice(COLOUR_WORDS[colours.tip]), rng.choice(COLOUR_WORDS[colours.ring])]
    rng.shuffle(words)
    return " ".join(words)


def _digits(rng: random.Random) -> str:
    return spoken_digits(rng.randint(10, 99) if rng.random() < 0.5 else rng.randint(100, CABLE.pairs))


def _number(rng: random.Random) -> str:
    number = rng.choice([rng.randint(21, 99), rng.randint(100, CABLE.pairs), rng.randint(100, CABLE.pairs)])
    return number_words(number, short=rng.random() < 0.5, joined_by_and=rng.random() < 0.3)


def _colours(rng: random.Random) -> str:
    return colour_words(Colours(rng.choice(TIPS), rng.choice(RINGS)), rng)


def _both(rng: random.Random) -> str:
    number = rng.randint(1, CABLE.pairs)
    said = spoken_digits(number) if rng.random() < 0.5 else number_words(number, short=rng.random() < 0.5)
    return f"{said} {colour_words(CABLE.address(number).colours, rng)}"


CALLS: dict[str, Callable[[random.Random], str]] = {
    DIGIT_STRING: _digits,
    NUMBER: _number,
    COLOURS: _colours,
    BOTH: _both,
}


# --- human recordings ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Clip:
    """One recording of the folder."""

    path: Path
    text: str
    kind: str
    speaker: str
    seconds: float

    def wave(self) -> Wave:
        """Read the sound."""
        return sound.as_wave(read_sound(self.path))


@dataclass(frozen=True)
class Recordings:
    """A folder of recordings with its manifest."""

    folder: Path

    @cached_property
    def clips(self) -> tuple[Clip, ...]:
        """All recordings, in the order of the manifest."""
        with (self.folder / "manifest.csv").open(encoding="utf-8", newline="") as file:
            return tuple(
                Clip(self.folder / row["path"], row["text"], row["kind"], row["speaker"], float(row["seconds"]))
                for row in csv.DictReader(file)
            )

    @cached_property
    def words(self) -> dict[str, dict[str, list[Clip]]]:
        """Single words: speaker -> word -> recordings."""
        found: dict[str, dict[str, list[Clip]]] = defaultdict(lambda: defaultdict(list))
        for clip in self.clips:
            if clip.kind == "word":
                found[clip.speaker][clip.text].append(clip)
        return found

    def noises(self) -> dict[str, list[Path]]:
        """Noise recordings by kind."""
        found: dict[str, list[Path]] = defaultdict(list)
        for clip in self.clips:
            if clip.kind == "noise":
                found[clip.text].append(clip.path)
        return found


def human_trials(recordings: Recordings, limit: int, seed: int) -> list[Trial]:
    """Give at most so many trials of each kind, spread evenly over the speakers."""
    trials = [t for kind in CALLS for t in joined_calls(recordings, kind, limit, seed)]
    trials += _whole_calls(recordings)
    trials += _chosen(_single(recordings, FOLLOWING), (COMMAND, BARE), limit, seed)
    trials += _chosen(_single(recordings, QUESTION), (ANSWER,), limit, seed)
    chatter = list(_chatter(recordings))
    for rank, kinds in enumerate((("chatter", "phrase"), ("oov-word", "word"))):
        some = [clip for clip in chatter if clip.kind in kinds]
        random.Random(f"{seed} chatter {rank}").shuffle(some)
        trials += [trial(clip.path.stem, said(clip), clip.speaker, clip.wave()) for clip in some[:limit]]
        asked = some[limit : limit + limit // 2] or some[: limit // 2]
        trials += [
            trial(f"{clip.path.stem} asked", said(clip), clip.speaker, clip.wave(), scope=QUESTION) for clip in asked
        ]
    return trials


def joined_calls(
    recordings: Recordings, kind: str, limit: int, seed: int, gap_s: tuple[float, float] = sound.WORD_GAP_S
) -> Iterator[Trial]:
    """Give calls of a kind, joined from single words of one speaker with such gaps between them."""
    rng = random.Random(f"{seed} {kind}")
    known = recordings.words
    speakers = sorted(s for s in known if sum(digit in known[s] for digit in DIGITS) >= DIGITS_OF_A_SPEAKER)
    count: dict[str, int] = dict.fromkeys(speakers, 0)
    drawn: set[tuple[str, str]] = set()
    for _ in range(400 * limit):
        if sum(count.values()) >= limit:
            return
        words = CALLS[kind](rng)
        able = [s for s in speakers if all(word in known[s] for word in words.split()) and (s, words) not in drawn]
        if not able or meaning(words, FOLLOWING) is None or kind_of(words, meaning(words, FOLLOWING)) != kind:
            continue
        speaker = min(able, key=lambda s: (count[s], rng.random()))
        count[speaker] += 1
        drawn.add((speaker, words))
        clips = [rng.choice(known[speaker][word]) for word in words.split()]
        noise = np.random.default_rng(rng.getrandbits(32))
        wave = sound.joined([clip.wave() for clip in clips], noise, gap_s)
        yield trial(f"{kind} {sum(count.values())}", words, speaker, wave)


def _whole_calls(recordings: Recordings) -> list[Trial]:
    """Give recordings of several words in one breath that are calls."""
    clips = [clip for clip in recordings.clips if clip.kind in ("phrase", "chatter")]
    return [
        trial(clip.path.stem, clip.text, clip.speaker, clip.wave())
        for clip in clips
        if meaning(clip.text, FOLLOWING) is not None
    ]


def _single(recordings: Recordings, scope: Scope) -> list[tuple[str, Clip, Scope]]:
    """Give single-word recordings that mean something in a scope, with their kind."""
    found = []
    for clip in recordings.clips:
        intent = meaning(clip.text, scope) if clip.kind in ("word", "oov-word") else None
        if intent is not None:
            found.append((kind_of(clip.text, intent), clip, scope))
    return found


def _chosen(clips: list[tuple[str, Clip, Scope]], kinds: tuple[str, ...], limit: int, seed: int) -> list[Trial]:
    trials = []
    for kind in kinds:
        some = [(clip, scope) for found, clip, scope in clips if found == kind]
        random.Random(f"{seed} {kind}").shuffle(some)
        trials += [
            trial(clip.path.stem, clip.text, clip.speaker, clip.wave(), scope=scope) for clip, scope in some[:limit]
        ]
    return trials


def _chatter(recordings: Recordings) -> Iterator[Clip]:
    """Give recordings that mean nothing in any scope and are one utterance."""
    return (
        clip
        for clip in recordings.clips
        if clip.kind != "noise" and clip.seconds <= LONGEST_CHATTER_S and is_meaningless(clip)
    )


def is_meaningless(clip: Clip) -> bool:
    """Tell whether all that is said means nothing in any scope."""
    return all(isinstance(parse(said(clip), scope), NoMatch) for scope in (FOLLOWING, QUESTION))


def said(clip: Clip) -> str:
    """Give the words of a recording without the remarks of its transcriber."""
    return re.sub(r"\((approximate|activity introduction, not transcribed): ?", "(", clip.text).strip()
