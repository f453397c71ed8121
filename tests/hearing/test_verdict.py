"""The verdict as a table: evidence in, judgement out."""

from dataclasses import replace

import pytest

from assistant.hearing.evidence import NO_RIVAL, Candidate, Opinion, reading_of
from assistant.hearing.verdict import Judgement, judge
from assistant.words import intents as say
from assistant.words.vocabulary import ALL_INTENTS, Scope

SCOPE = Scope(ALL_INTENTS - {say.Yes, say.No}, digits=3, super_units=False)
ACCEPTED, ASK_BACK, IGNORED = Judgement.ACCEPTED, Judgement.ASK_BACK, Judgement.IGNORED


def scored(*candidates: tuple[str, float], free: float = 0.0) -> Opinion:
    return Opinion(ear="whisper", candidates=tuple(Candidate(w, s) for w, s in candidates), free_score=free)


def agreeing(words: str) -> Opinion:
    return Opinion(ear="sphinx", candidates=(Candidate(words, 0.0),))


SILENT = Opinion(ear="sphinx")


@pytest.mark.parametrize(
    ("first", "second", "judgement"),
    [
        (scored(("green red", -1.0), ("brown red", -9.0), free=-1.0), SILENT, ACCEPTED),
        (scored(("green red", -1.0), ("brown red", -3.0), free=-1.0), SILENT, ASK_BACK),
        (scored(("green red", -1.0), ("brown red", -3.0), free=-1.0), agreeing("green red"), ACCEPTED),
        (scored(("green red", -1.0), ("brown red", -3.0), free=-1.0), agreeing("brown red"), ASK_BACK),
        (scored(("green red", -1.0), ("brown red", -1.5), free=-1.0), agreeing("green red"), ASK_BACK),
        (scored(("green red", -4.0), ("brown red", -20.0), free=-0.5), agreeing("green red"), ASK_BACK),
        (scored(("green red", -20.0), free=-1.0), agreeing("green red"), ASK_BACK),
        (scored(("green red", -20.0), free=-1.0), agreeing("brown red"), IGNORED),
        (scored(free=-1.0), agreeing("green red"), IGNORED),
        (scored(("seven", -1.0), free=-1.0), agreeing("seven"), ASK_BACK),
        (agreeing("green red"), SILENT, ASK_BACK),
        (SILENT, agreeing("green red"), IGNORED),
    ],
)
def test_judgement(first: Opinion, second: Opinion, judgement: Judgement) -> None:
    assert judge((first, second), SCOPE).judgement is judgement


def free(words: str, score: float, rival: float, heard: str, *, free_score: float = 0.0) -> Opinion:
    """One sentence, a rival so many nats below it, and what free hearing wrote."""
    candidates = (Candidate(words, score), Candidate("mark open", score - rival))
    return Opinion(ear="whisper", candidates=candidates, free_words=heard, free_score=free_score)


def test_free_hearing_in_other_writing_is_no_lower_likelihood() -> None:
    """Free hearing writes commas, figures and capitals; that costs tokens, not meaning."""
    reading = reading_of(free("seven orange red", -6.0, 9.0, "7, Orange, red."), SCOPE)
    assert (reading.likelihood_ratio, reading.free_agrees) == (0.0, True)
    assert reading_of(free("seven orange red", -6.0, 9.0, "seven oranges"), SCOPE).likelihood_ratio == -6.0


def test_free_hearing_counts_as_agreement_but_not_for_a_number_that_may_have_lost_figures() -> None:
    assert judge((free("green red", -1.0, 2.0, "green red"), SILENT), SCOPE).judgement is ACCEPTED
    assert judge((free("green red", -1.0, 2.0, "queen bread"), SILENT), SCOPE).judgement is ASK_BACK
    assert judge((free("one two six", -1.0, 2.0, "126"), SILENT), SCOPE).judgement is ACCEPTED
    assert judge((free("two six", -1.0, 2.0, "26"), SILENT), SCOPE).judgement is ASK_BACK


def test_number_and_colours_that_agree_check_each_other() -> None:
    """562 is black orange by its position 12; measured on the bench, see CODED."""
    assert judge((free("five six two black orange", -4.0, 1.6, "x"), SILENT), SCOPE).judgement is ACCEPTED
    assert judge((free("six two black orange", -4.0, 1.6, "x"), SILENT), SCOPE).judgement is ASK_BACK


def test_number_and_colours_that_contradict_each_other_are_never_accepted() -> None:
    opinion = free("five six two black green", 0.0, 50.0, "five six two black green")
    assert judge((opinion, agreeing("five six two black green")), SCOPE).judgement is ASK_BACK
    offset = replace(SCOPE, offsets=frozenset({0, 24}))
    assert judge((opinion, agreeing("five six two black green")), offset).judgement is ACCEPTED


def test_two_sentences_of_one_meaning_count_together() -> None:
    opinion = scored(("grey white", -2.0), ("slate white", -2.0), ("green white", -5.0), free=-1.0)
    reading = reading_of(opinion, SCOPE)
    assert reading.margin == pytest.approx(3.0 + 0.693, abs=0.01)
    assert reading.intent == reading_of(scored(("gray white", -1.0)), SCOPE).intent


def test_a_costly_entry_needs_a_larger_margin() -> None:
    rival = ("blue white", -4.5)
    assert judge((scored(("confirm", -1.0), rival, free=-1.0), SILENT), SCOPE).judgement is ASK_BACK
    assert judge((scored(("green red", -1.0), rival, free=-1.0), SILENT), SCOPE).judgement is ACCEPTED


def test_one_ear_without_scores_alone_always_asks_back() -> None:
    assert judge((agreeing("seven orange red"),), SCOPE).judgement is ASK_BACK


@pytest.mark.parametrize(("confidence", "judgement"), [(0.95, ACCEPTED), (0.5, IGNORED)])
def test_an_ear_with_word_confidence_needs_it_and_agreement(confidence: float, judgement: Judgement) -> None:
    first = Opinion(ear="vosk", candidates=(Candidate("green red", 0.0),), confidence=confidence)
    assert judge((first, agreeing("green red")), SCOPE).judgement is judgement
    assert judge((first,), SCOPE).judgement in (ASK_BACK, IGNORED)


def test_no_rival_is_the_largest_margin() -> None:
    assert reading_of(scored(("green red", -1.0)), SCOPE).margin == NO_RIVAL
