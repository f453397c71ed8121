"""Talk without any call: what becomes an entry while people only talk to each other.

Recordings of people who say nothing that can be said to the assistant, back to back with short gaps: one
person at a time, or two at once. They come round again when all have been used, so that hours of it are
not independent. The chain goes on listening after an entry, where the live session would answer.
"""

import random
from collections.abc import Iterator, Sequence

from assistant.ports import SAMPLE_RATE_HZ
from tests.bench import sound
from tests.bench.scenes import Condition, Noise, Said, Scene, mixed
from tests.bench.trials import Clip, Recordings, Trial, is_meaningless, said, trial

ONE_TALKER, TWO_TALKERS = "one talker", "two talkers at once"
TALKERS = (ONE_TALKER, TWO_TALKERS)
GAP_S = (0.2, 1.5)
SECOND_DB = (-6.0, 0.0)
"""Level of the second talker over the first."""
SCENE_S = 120.0
END_S = 1.5
"""Silence behind the last words, in which they can be judged."""
SEVERAL_SPEAK = "||"
"""Stands between the words of several people in one recording."""


def talk_clips(recordings: Recordings) -> list[Clip]:
    """Give the recordings of one person who says nothing that means anything to the assistant."""
    return [
        clip
        for clip in recordings.clips
        if clip.kind in ("chatter", "phrase") and SEVERAL_SPEAK not in clip.text and is_meaningless(clip)
    ]


def talk_scenes(
    clips: Sequence[Clip], talkers: str, condition: Condition, noises: list[Noise], seconds: float, seed: int
) -> Iterator[Scene]:
    """Give about so many seconds of talk, in scenes of some minutes, each with one noise."""
    rng = random.Random(f"{seed} {condition.seed_name} {talkers}")
    order = noises.copy()
    rng.shuffle(order)
    groups = [clips] if talkers == ONE_TALKER else halves(clips)
    decks = [_deck(group, rng) for group in groups]
    left, count = round(seconds * SAMPLE_RATE_HZ), 0
    while left > 0:
        target = min(left, round(SCENE_S * SAMPLE_RATE_HZ))
        levels = [0.0, rng.uniform(*SECOND_DB)]
        streams = [_stream(deck, target, level, rng) for deck, level in zip(decks, levels, strict=False)]
        length = max(stream[-1].end for stream in streams) + round(END_S * SAMPLE_RATE_HZ)
        noise = None if condition.quiet else order[count % len(order)]
        count += 1
        left -= length
        together = sorted((one for stream in streams for one in stream), key=lambda one: one.at)
        yield mixed(f"{condition.name} {talkers} {count}", together, length, condition, noise, rng)


def halves(clips: Sequence[Clip]) -> list[list[Clip]]:
    """Share the speakers out between two talkers, so that nobody talks with himself."""
    seconds: dict[str, float] = {}
    for clip in clips:
        seconds[clip.speaker] = seconds.get(clip.speaker, 0.0) + clip.seconds
    shares: tuple[set[str], set[str]] = (set(), set())
    for speaker in sorted(seconds, key=lambda name: (-seconds[name], name)):
        min(shares, key=lambda share: sum(seconds[name] for name in share)).add(speaker)
    return [[clip for clip in clips if clip.speaker in share] for share in shares]


def _deck(clips: Sequence[Clip], rng: random.Random) -> Iterator[Trial]:
    """Give all recordings, speaker by speaker, for ever, in another order each time."""
    speakers = sorted({clip.speaker for clip in clips})
    while True:
        rng.shuffle(speakers)
        for speaker in speakers:
            of_speaker = [clip for clip in clips if clip.speaker == speaker]
            rng.shuffle(of_speaker)
            for clip in of_speaker:
                wave = clip.wave()
                start, end = sound.speech_span(wave)
                yield trial(clip.path.stem, said(clip), speaker, wave[start:end])


def _stream(deck: Iterator[Trial], length: int, louder_db: float, rng: random.Random) -> list[Said]:
    """Lay recordings back to back until so many samples are full."""
    stream: list[Said] = []
    end = 0
    while end < length:
        stream.append(Said(next(deck), end + round(rng.uniform(*GAP_S) * SAMPLE_RATE_HZ), louder_db))
        end = stream[-1].end
    return stream
