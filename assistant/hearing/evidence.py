"""What the opinions of the ears on one utterance come to.

Scores are natural logarithms of probabilities (nats). Must not know thresholds; see `verdict`.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from assistant.ports import Candidate, Opinion
from assistant.words.intents import Intent
from assistant.words.numbers import NUMBER_WORDS
from assistant.words.parser import Understood, parse, words_in
from assistant.words.vocabulary import Scope


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
    certainty: float = 0.0
    """Log probability of the best meaning, all of its sentences together, in nats."""
    confidence: float | None = None
    free_agrees: bool = False
    """Whether free hearing came to the same meaning."""
    unfitted_ratio: float | None = None
    """Of a fitted ear: how likely the model as it came finds its first sentence, against its own free hearing, in nats.

    0 where that free hearing means the same; None where there is no such model.
    """


class Meanings:
    """What word sequences mean in one scope; each is parsed once, however many candidates and ears have it."""

    def __init__(self, scope: Scope) -> None:
        """Begin with nothing known; one of these serves one utterance."""
        self._scope = scope
        self._known: dict[tuple[str, ...], Intent | None] = {}

    def of(self, said: Sequence[str]) -> Intent | None:
        """Give the one meaning of these words; None where they have none or several."""
        words = tuple(said)
        if words not in self._known:
            parsed = parse(" ".join(words), self._scope)
            self._known[words] = parsed.intent if isinstance(parsed, Understood) else None
        return self._known[words]

    def of_free(self, text: str) -> Iterator[Intent]:
        """Give what free hearing means: its words as they are, and, where they only go round, once.

        The recogniser falls into loops ("brown purple brown purple") when silence follows. Numbers alone are not taken
        once: "three seven three" may be one.
        """
        said = heard_words(text)
        round_length = next((n for n in range(1, len(said)) if _goes_round(said, n)), len(said))
        once = said[:round_length]
        for words in (said,) if set(once) <= NUMBER_WORDS else (said, once):
            meaning = self.of(words)
            if meaning is not None:
                yield meaning


def heard_words(text: str) -> tuple[str, ...]:
    """Give the words of heard text. A figure alone is a figure: only who types "7" means pair seven."""
    words = words_in(text)
    added = words[:1] == ("pair",) and "pair" not in text.lower()
    return words[1:] if added else words


def _goes_round(said: Sequence[str], length: int) -> bool:
    """Tell whether words repeat after so many; the last round may be cut off, in the middle of a word too."""
    whole, last = said[:-1], said[-1]
    return all(word == said[i % length] for i, word in enumerate(whole)) and said[(len(said) - 1) % length].startswith(
        last
    )


NO_RIVAL = 99.0
"""Margin where no second meaning came up at all."""


def reading_of(opinion: Opinion, meanings: Meanings) -> Reading:
    """Add the sentences of one meaning together and compare the best two meanings."""
    scores: dict[Intent, list[Candidate]] = {}
    for candidate in opinion.candidates:
        meaning = meanings.of(heard_words(candidate.words))
        if meaning is not None:
            scores.setdefault(meaning, []).append(candidate)
    if not scores:
        return Reading(ear=opinion.ear, words="", intent=None, margin=0.0, likelihood_ratio=-NO_RIVAL)
    totals = sorted(((_log_sum(found), intent) for intent, found in scores.items()), key=lambda t: -t[0])
    total, intent = totals[0]
    best = max(scores[intent], key=lambda candidate: candidate.score)
    free_agrees = opinion.free_score is not None and intent in meanings.of_free(opinion.free_words)
    ratio = 0.0 if opinion.free_score is None or free_agrees else min(0.0, best.score - opinion.free_score)
    return Reading(
        ear=opinion.ear,
        words=best.words,
        intent=intent,
        margin=total - totals[1][0] if len(totals) > 1 else NO_RIVAL,
        likelihood_ratio=ratio,
        certainty=total,
        confidence=opinion.confidence,
        free_agrees=free_agrees,
        unfitted_ratio=_unfitted_ratio(opinion, intent, meanings),
    )


def _unfitted_ratio(opinion: Opinion, intent: Intent, meanings: Meanings) -> float | None:
    unfitted = opinion.unfitted
    if unfitted is None:
        return None
    if intent in meanings.of_free(unfitted.free_words):
        return 0.0
    return min(0.0, unfitted.best_score - unfitted.free_score)


def _log_sum(candidates: list[Candidate]) -> float:
    top = max(candidate.score for candidate in candidates)
    return top + math.log(sum(math.exp(candidate.score - top) for candidate in candidates))
