"""How long a pause must last before an utterance is over: by what can still follow, and by how sure the words are.

What is cut short is a shorter call that nobody said, so that this is as much a part of the verdict as its limits.
Judged on recorded pauses inside of calls (`tests.bench.pauses`): an ear is as sure of "four seven" when "one" is still
to come as when nothing is, so that being sure shortens the pause of no words that can go on. Must not know which pair
is expected.
"""

from collections.abc import Iterator

from assistant.hearing.evidence import Reading, heard_words
from assistant.hearing.utterance import Endpointing
from assistant.hearing.verdict import COSTLY_INTENTS, QUIET_DB, Circumstances, Judgement, Verdict
from assistant.ports import Opinion
from assistant.words.numbers import NUMBER_WORDS
from assistant.words.vocabulary import Scope, voice_sentences

PLAUSIBLE_NATS = 6.0
"""What an ear finds so much less likely than its best may have been said all the same: "two fifteen", after which no
figure can come, was the best of "two fifty" with "four" to come, by 3.9 nats."""
SURE_MARGIN = 4.0
SURE_RATIO = -0.5
"""Least likelihood ratio of words that are surely all."""


def needed_pause_s(
    verdict: Verdict, opinions: tuple[Opinion, ...], scope: Scope, limits: Endpointing, circumstances: Circumstances
) -> float:
    """Give the pause, in seconds, after which these words are all."""
    if verdict.judgement is not Judgement.ACCEPTED:
        return limits.unsure_pause_s
    automaton = voice_sentences(scope).automaton
    following: set[str] = set()
    for words in _plausible(verdict, opinions):
        following |= automaton.following(automaton.after(words)).keys()
    more_s = 0.0 if circumstances.over_floor_db >= QUIET_DB else limits.more_in_noise_s
    if following & NUMBER_WORDS:
        return limits.figures_pause_s + more_s
    if following:
        return limits.middle_pause_s + more_s
    return limits.sure_pause_s if _is_sure(verdict, circumstances) else limits.short_pause_s


def _plausible(verdict: Verdict, opinions: tuple[Opinion, ...]) -> Iterator[tuple[str, ...]]:
    """Give the words of the verdict, and whatever else any ear may have heard."""
    yield tuple(verdict.words.split())
    for opinion in opinions:
        best = max((candidate.score for candidate in opinion.candidates), default=0.0)
        for candidate in opinion.candidates:
            if candidate.score >= best - PLAUSIBLE_NATS:
                yield heard_words(candidate.words)


def _is_sure(verdict: Verdict, circumstances: Circumstances) -> bool:
    """Tell whether it is quiet and all ears hear nothing else; what changes the record and names no pair never is."""
    first, others = verdict.readings[0], verdict.readings[1:]
    if type(verdict.intent) in COSTLY_INTENTS or circumstances.over_floor_db < QUIET_DB:
        return False
    return _is_clear(first) and all(other.intent == first.intent for other in others)


def _is_clear(reading: Reading) -> bool:
    return reading.margin >= SURE_MARGIN and reading.likelihood_ratio >= SURE_RATIO
