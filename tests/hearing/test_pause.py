"""No pause ends words that can go on, however sure they are; what cannot go on and is sure ends soon."""

import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.hearing.pause import needed_pause_s
from assistant.hearing.utterance import Endpointing
from assistant.hearing.verdict import Circumstances, Judgement, judge
from assistant.ports import Candidate, Opinion
from assistant.words.grammar import sample
from assistant.words.parser import Understood, parse
from assistant.words.vocabulary import ALL_INTENTS, Scope, voice_sentences
from tests.bench.trials import FOLLOWING, QUESTION

LIMITS = Endpointing()
FIGURES = {
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"),
    *("thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty", "thirty", "forty"),
    *("fifty", "sixty", "seventy", "eighty", "ninety", "hundred", "thousand", "and"),
}
QUIET, NOISY = Circumstances(over_floor_db=45.0), Circumstances(over_floor_db=12.0)
SCOPES = (FOLLOWING, QUESTION, Scope(ALL_INTENTS), replace(FOLLOWING, digits=2, groups=False))


def sure(words: str, *rivals: tuple[str, float], second: str = "") -> tuple[Opinion, ...]:
    """Two ears that hear this and hardly anything else; rivals with how much less likely they are, in nats."""
    candidates = (Candidate(words, -0.1), *(Candidate(rival, -0.1 - nats) for rival, nats in rivals))
    leading = Opinion(ear="fitted", candidates=candidates, free_words=words, free_score=-0.1)
    return leading, Opinion(ear="sphinx", candidates=(Candidate(second or words, 0.0),))


def pause_s(opinions: tuple[Opinion, ...], scope: Scope = FOLLOWING, about: Circumstances = QUIET) -> float:
    return needed_pause_s(judge(opinions, scope, circumstances=about), opinions, scope, LIMITS, about)


@given(st.integers(0, 10**9), st.sampled_from(SCOPES), st.sampled_from((QUIET, NOISY)))
def test_no_beginning_of_a_sentence_ends_before_what_can_follow(seed: int, scope: Scope, about: Circumstances) -> None:
    """Every sentence of the vocabulary, cut after every word: where the cut is a call itself, it has to wait."""
    words = sample(voice_sentences(scope).node, random.Random(seed))
    for length in range(1, len(words)):
        said = " ".join(words[:length])
        least = LIMITS.figures_pause_s if words[length] in FIGURES else LIMITS.middle_pause_s
        if judge(sure(said), scope, circumstances=about).judgement is not Judgement.ACCEPTED:
            least = LIMITS.unsure_pause_s  # a number of one word: only a question can come of it
        assert pause_s(sure(said), scope, about) >= least, said


def test_what_may_have_been_said_besides_counts_as_well() -> None:
    """ "Two fifteen" was the best of "two fifty" with "four" to come, in quiet, by 3.9 nats."""
    assert pause_s(sure("two fifteen")) == LIMITS.middle_pause_s
    assert pause_s(sure("two fifteen", ("two fifty", 3.9))) == LIMITS.figures_pause_s
    assert pause_s(sure("two fifteen", ("two fifty", 8.0))) == LIMITS.middle_pause_s
    assert pause_s(sure("two fifteen", second="two fifty")) == LIMITS.figures_pause_s


@pytest.mark.parametrize("words", ["orange violet", "one two seven orange white", "say again"])
def test_what_is_whole_and_sure_ends_soon_in_quiet_and_not_in_noise(words: str) -> None:
    assert pause_s(sure(words)) == LIMITS.sure_pause_s
    assert pause_s(sure(words), about=NOISY) == LIMITS.short_pause_s
    assert pause_s(sure(words, ("brown violet", 3.5))) == LIMITS.short_pause_s, "a rival of another meaning"
    assert pause_s(sure(words, second="brown violet")) == LIMITS.short_pause_s, "the second ear hears something else"


@pytest.mark.parametrize("words", ["undo that", "skip this pair", "confirm pair", "finish session", "yes"])
def test_what_changes_the_record_and_names_no_pair_never_ends_at_the_sure_pause(words: str) -> None:
    scope = QUESTION if words == "yes" else FOLLOWING
    if isinstance(parse(words, scope), Understood):
        assert pause_s(sure(words), scope) >= LIMITS.short_pause_s


def test_what_is_not_accepted_waits_longer_than_what_cannot_go_on() -> None:
    assert pause_s(sure("orange violet", ("brown violet", 0.1))) == LIMITS.unsure_pause_s > LIMITS.short_pause_s


def test_in_noise_what_can_go_on_waits_longer_and_never_beyond_the_end() -> None:
    for words in ("four seven", "four seven one"):
        more = pause_s(sure(words), about=NOISY) - pause_s(sure(words))
        assert more == pytest.approx(LIMITS.more_in_noise_s)
    assert pause_s(sure("four seven"), about=NOISY) <= LIMITS.long_pause_s
