"""What a second ear is asked."""

from collections.abc import Sequence

import numpy as np

from assistant.hearing.second_ear import choices, second_opinion
from assistant.ports import Candidate, Opinion
from tests.hearing.test_verdict import agreeing, scored


class Second:
    """A second ear that can choose, or not."""

    name = "second"

    def __init__(self) -> None:
        self.asked: list[object] = []

    def set_sentences(self, sentences: object) -> None:
        pass

    def decode(self, utterance: object) -> Opinion:
        self.asked.append("all")
        return agreeing("green red")


class Chooser(Second):
    def choose(self, utterance: object, sentences: Sequence[str]) -> Opinion:
        self.asked.append(tuple(sentences))
        return agreeing(sentences[-1])


SOUND = np.zeros(10, np.int16)


def test_a_second_ear_chooses_among_the_sentences_of_an_ear_that_gives_scores() -> None:
    leading = scored(("green red", -1.0), ("brown red", -2.0), ("green red", -3.0))
    chooser = Chooser()
    assert second_opinion(chooser, SOUND, "whisper", lambda: leading).candidates[0].words == "brown red"
    assert chooser.asked == [("green red", "brown red")]
    assert second_opinion(chooser, SOUND, "whisper", scored).candidates == ()
    assert len(chooser.asked) == 1, "where there is nothing to choose from it is not asked"


def test_an_ear_without_scores_gives_no_choice_away() -> None:
    """It has one sentence only: whoever may choose of one agrees with it always."""
    chooser = Chooser()
    second_opinion(chooser, SOUND, "vosk", lambda: agreeing("green red"))
    assert chooser.asked == ["all"]


def test_an_ear_that_cannot_choose_decodes_and_waits_for_nobody() -> None:
    def never() -> Opinion:
        raise AssertionError

    second = Second()
    second_opinion(second, SOUND, "whisper", never)
    assert second.asked == ["all"]


def test_the_eight_likeliest_sentences_are_given_to_choose_from() -> None:
    """The right one is not always among the first two: what the second ear is for is to bring it up."""
    words = [f"pair {figure}" for figure in ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")]
    opinion = Opinion(ear="whisper", candidates=tuple(Candidate(w, -1.0 - i) for i, w in enumerate(words)))
    assert choices(opinion) == tuple(words[:8])
