"""What the ears say of one utterance, and what it comes to.

Scores are natural logarithms of probabilities (nats). Must not know thresholds; see `verdict`.
"""

import math
from dataclasses import dataclass

from assistant.words.intents import Intent
from assistant.words.parser import Understood, parse
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
    free_agrees = opinion.free_score is not None and parse(opinion.free_words, scope) == Understood(intent)
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
