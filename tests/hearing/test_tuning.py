"""What is learnt of a voice: bounded, the same for all pairs, and only ever more careful with words it confused."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.hearing.tuning import LOWEST_RATIO, READING, UNTUNED, USUAL_RATIO, Read, Tuning, advice, learn
from assistant.hearing.verdict import Judgement, judge
from assistant.ports import Candidate, Opinion
from assistant.words import intents as say
from assistant.words.numbers import DIGITS
from assistant.words.parser import Understood, parse
from assistant.words.vocabulary import ALL_INTENTS, Scope

SCOPE = Scope(ALL_INTENTS - {say.Yes, say.No}, digits=3, super_units=False)


def read(heard: str | None = None, ratio: float = -0.5, level: float = -12.0) -> list[Read]:
    return [
        Read(meant=phrase, heard=phrase if heard is None else heard, likelihood_ratio=ratio, level_db=level)
        for phrase in READING
    ]


def test_what_is_read_covers_every_colour_twice_and_every_digit() -> None:
    words = " ".join(READING).replace(",", "").split()
    for colour in ("white", "red", "black", "yellow", "violet", "blue", "orange", "green", "brown", "slate"):
        assert words.count(colour) >= 2
    assert {*DIGITS[1:]} <= set(words)
    assert all(isinstance(parse(phrase, SCOPE), Understood) for phrase in READING)


def test_a_usual_voice_changes_nothing() -> None:
    assert learn(read()) == UNTUNED


def test_an_unusual_voice_lowers_the_ratio_but_never_below_the_bound() -> None:
    assert learn(read(ratio=-1.8)).likelihood_ratio == pytest.approx(-3.3)
    assert learn(read(ratio=-30.0)).likelihood_ratio == LOWEST_RATIO


@settings(max_examples=25)
@given(st.lists(st.floats(-50, 0), min_size=len(READING), max_size=len(READING)))
def test_the_ratio_is_always_within_its_bounds(ratios: list[float]) -> None:
    found = learn(
        [Read(meant=p, heard=p, likelihood_ratio=r, level_db=-12) for p, r in zip(READING, ratios, strict=True)]
    )
    assert LOWEST_RATIO <= found.likelihood_ratio <= USUAL_RATIO


def test_confused_words_need_a_clearer_margin_from_then_on() -> None:
    phrases = read()
    phrases[3] = Read(meant="brown yellow", heard="green yellow", likelihood_ratio=-0.5, level_db=-12)
    tuning = learn(phrases)
    assert tuning.confused == {"brown", "green"}
    opinion = Opinion(
        ear="whisper", candidates=(Candidate("green red", -1.0), Candidate("brown red", -5.0)), free_score=-1.0
    )
    assert judge((opinion,), SCOPE).judgement is Judgement.ACCEPTED
    assert judge((opinion,), SCOPE, tuning).judgement is Judgement.ASK_BACK
    other = Opinion(
        ear="whisper", candidates=(Candidate("orange red", -1.0), Candidate("orange black", -5.0)), free_score=-1.0
    )
    assert judge((other,), SCOPE, tuning).judgement is Judgement.ACCEPTED


def test_synonyms_are_no_confusion() -> None:
    phrases = read()
    phrases[4] = Read(meant="slate violet", heard="grey purple", likelihood_ratio=-0.5, level_db=-12)
    assert learn(phrases).confused == frozenset()


def test_too_little_heard_teaches_nothing() -> None:
    with pytest.raises(ValueError, match="0 phrases were heard"):
        learn(read(heard=""))


def test_levels_give_advice() -> None:
    assert advice(read()) == []
    assert "nearer" in advice(read(level=-60))[0]
    assert "turn it down" in advice(read(level=-0.5))[0]
    assert "check the microphone" in advice(read(heard=""))[0]


def test_untuned_is_the_usual() -> None:
    assert Tuning() == UNTUNED
