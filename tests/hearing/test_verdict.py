"""The verdict as a table: evidence in, judgement out."""

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
