"""What the ears say of one utterance, and what it comes to.

Scores are natural logarithms of probabilities (nats). Must not know thresholds; see `verdict`.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from assistant.words.intents import Intent
from assistant.words.numbers import NUMBER_WORDS
from assistant.words.parser import Understood, parse, words_in
from assistant.words.vocabulary import Scope


@dataclass(frozen=True, slots=True)
class Candidate:
    """A sentence that the utterance may be."""

    words: str
    score: float
    """Log probability in nats; 0 where the ear gives none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opinion:
    """What one ear makes of one utterance."""

    ear: str
    candidates: tuple[Candidate, ...] = ()
    """Best first; empty where the ear heard none of the open sentences."""
    free_words: str = ""
    """What it hears when any words are allowed."""
    free_score: float | None = None
    """Log probability of `free_words` in nats; None where the ear has no free search."""
    confidence: float | None = None
    """Lowest word confidence, 0 to 1, where the ear gives one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """The best meaning that one ear finds, and how far it stands out."""

    ear: str
    words: str
    """The likeliest sentence of the best meaning; empty where there is none."""
    intent: Intent | None
    margin: float
    """Log probability of the best meaning less that of the second, in nats."""
    likelihood_ratio: float
    """Log probability of the best sentence less that of free hearing, in nats; 0 or below.

    0 where free hearing means the same in other writing ("forty seven, orange violet.").
    """
    confidence: float | None = None
    free_agrees: bool = False
    """Whether free hearing came to the same meaning."""


def _meanings_of_free(words: str, scope: Scope) -> Iterator[Intent]:
    """Give what free hearing means: its words as they are, and, where they only go round, once.

    The recogniser falls into loops ("brown purple brown purple") when silence follows. Numbers alone are not taken
    once: "three seven three" may be one.
    """
    parsed = parse(words, scope)
    if isinstance(parsed, Understood):
        yield parsed.intent
    said = words_in(words)
    round_length = next((n for n in range(1, len(said)) if _goes_round(said, n)), len(said))
    once = parse(" ".join(said[:round_length]), scope)
    if isinstance(once, Understood) and not set(said[:round_length]) <= NUMBER_WORDS:
        yield once.intent


def _goes_round(said: Sequence[str], length: int) -> bool:
    """Tell whether words repeat after so many; the last round may be cut off, in the middle of a word too."""
    whole, last = said[:-1], said[-1]
    return all(word == said[i % length] for i, word in enumerate(whole)) and said[(len(said) - 1) % length].startswith(
        last
    )


MOST_CHOICES = 8
"""Sentences that a second ear is given to choose from."""


def choices(leading: Opinion) -> tuple[str, ...]:
    """Give the different sentences of the leading opinion, likeliest first."""
    return tuple(dict.fromkeys(candidate.words for candidate in leading.candidates))[:MOST_CHOICES]


NO_RIVAL = 99.0
"""Margin where no second meaning came up at all."""


def reading_of(opinion: Opinion, scope: Scope) -> Reading:
    """Add the sentences of one meaning together and compare the best two meanings."""
    scores: dict[Intent, list[Candidate]] = {}
    for candidate in opinion.candidates:
        parsed = parse(candidate.words, scope)
        if isinstance(parsed, Understood):
            scores.setdefault(parsed.intent, []).append(candidate)
    if not scores:
        return Reading(ear=opinion.ear, words="", intent=None, margin=0.0, likelihood_ratio=-NO_RIVAL)
    totals = sorted(((_log_sum(found), intent) for intent, found in scores.items()), key=lambda t: -t[0])
    total, intent = totals[0]
    best = max(scores[intent], key=lambda candidate: candidate.score)
    free_agrees = opinion.free_score is not None and intent in _meanings_of_free(opinion.free_words, scope)
    ratio = 0.0 if opinion.free_score is None or free_agrees else min(0.0, best.score - opinion.free_score)
    return Reading(
        ear=opinion.ear,
        words=best.words,
        intent=intent,
        margin=total - totals[1][0] if len(totals) > 1 else NO_RIVAL,
        likelihood_ratio=ratio,
        confidence=opinion.confidence,
        free_agrees=free_agrees,
    )


def _log_sum(candidates: list[Candidate]) -> float:
    top = max(candidate.score for candidate in candidates)
    return top + math.log(sum(math.exp(candidate.score - top) for candidate in candidates))
