"""What one voice with its headset needs: learnt from words read once, bounded, and easily dropped.

The limits move for all sentences alike and only within bounds; words that this voice had confused need
a clearer margin. Nothing here may favour any pair. Must not know files or devices.
"""

import statistics
from collections.abc import Iterable
from dataclasses import dataclass

from assistant.words.parser import Understood, parse, words_in
from assistant.words.vocabulary import ALL_INTENTS, Scope

READING: tuple[str, ...] = (
    *("blue white", "orange red", "green black", "brown yellow", "slate violet"),
    *("white green", "red brown", "black slate", "yellow blue", "violet orange"),
    *("one two three", "four five six", "seven eight nine", "pair fifteen", "pair fifty"),
    *("forty seven, orange violet", "nineteen, brown yellow"),
    *("confirm that", "undo that", "say again", "skip this pair", "mark open", "mark ground", "hold on", "carry on"),
)
"""Read once: every colour twice, every digit, teens against tens, and commands."""
USUAL_RATIO, LOWEST_RATIO = -2.0, -4.0
"""The least likelihood ratio may fall so far for a voice that the model finds unusual, and no further."""
RATIO_SLACK = 1.5
CONFUSED_MARGIN = 1.5
"""Nats that a sentence with a confused word needs on top."""
LEAST_READ = 10
TOO_QUIET_DB, TOO_LOUD_DB = -45.0, -3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One phrase that was read, and what was made of it."""

    meant: str
    heard: str
    """Words of the best reading; empty where nothing was heard."""
    likelihood_ratio: float
    level_db: float
    """Peak level of the utterance, dB of full scale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """What was learnt of a voice."""

    likelihood_ratio: float = USUAL_RATIO
    confused: frozenset[str] = frozenset()
    """Words that were heard in place of others, or others in place of them."""

    def extra_margin(self, words: str) -> float:
        """Give the nats that these words need on top of the usual margin."""
        return CONFUSED_MARGIN if self.confused & set(words.split()) else 0.0


UNTUNED = Tuning()
_ALL = Scope(ALL_INTENTS)


def learn(read: Iterable[Read]) -> Tuning:
    """Learn from phrases that were read.

    Raises:
        ValueError: too few were heard to learn from.

    """
    heard = [one for one in read if one.heard]
    if len(heard) < LEAST_READ:
        raise ValueError(f"only {len(heard)} phrases were heard; {LEAST_READ} are needed")
    right = [one.likelihood_ratio for one in heard if _same(one)]
    usual = statistics.median(right) if right else USUAL_RATIO
    ratio = max(LOWEST_RATIO, min(USUAL_RATIO, usual - RATIO_SLACK))
    confused = {word for one in heard if not _same(one) for word in _differing(one)}
    return Tuning(likelihood_ratio=round(ratio, 2), confused=frozenset(confused))


def advice(read: Iterable[Read]) -> list[str]:
    """Tell what to change about the headset, if anything."""
    levels = [one.level_db for one in read if one.heard]
    if not levels:
        return ["nothing was heard: check the microphone"]
    level = statistics.median(levels)
    if level < TOO_QUIET_DB:
        return [f"the microphone is quiet ({level:.0f} dB): move it nearer or turn it up"]
    return [f"the microphone is too loud ({level:.0f} dB): turn it down"] if level > TOO_LOUD_DB else []


def _same(one: Read) -> bool:
    meant, heard = parse(one.meant, _ALL), parse(one.heard, _ALL)
    return isinstance(meant, Understood) and meant == heard


def _differing(one: Read) -> set[str]:
    return set(words_in(one.meant)) ^ set(words_in(one.heard))
