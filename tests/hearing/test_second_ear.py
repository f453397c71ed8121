"""What a second ear is asked."""

from collections.abc import Callable, Sequence

from assistant.hearing.second_ear import choices, second_opinion
from assistant.ports import Candidate, Hearing, Opinion, Samples, StillWanted, always
from tests.hearing.test_verdict import agreeing, scored


class Hears:
    """A second ear that hears for itself."""

    def accept(self, sound: Samples) -> None:
        pass

    def partial(self, wanted: StillWanted = always) -> Opinion:
        return agreeing("green red")

    def finish(self, wanted: StillWanted = always) -> Opinion:
        return agreeing("green red")


class Chooses(Hears):
    """One that can choose, too."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, ...]] = []

    def choose(self, sentences: Sequence[str]) -> Opinion:
        self.asked.append(tuple(sentences))
        return agreeing(sentences[-1])


def asked(hearing: Hearing, leading_ear: str, leading: Callable[[], Opinion]) -> Opinion:
    return second_opinion("second", hearing, hearing.finish, leading_ear, leading)


def test_a_second_ear_chooses_among_the_sentences_of_an_ear_that_gives_scores() -> None:
    leading = scored(("green red", -1.0), ("brown red", -2.0), ("green red", -3.0))
    chooser = Chooses()
    assert asked(chooser, "whisper", lambda: leading).candidates[0].words == "brown red"
    assert chooser.asked == [("green red", "brown red")]
    assert asked(chooser, "whisper", scored) == Opinion(ear="second")
    assert len(chooser.asked) == 1, "where there is nothing to choose from it is not asked"


def test_an_ear_without_scores_gives_no_choice_away() -> None:
    """It has one sentence only: whoever may choose of one agrees with it always."""
    chooser = Chooses()
    assert asked(chooser, "vosk", lambda: agreeing("brown red")) == agreeing("green red")
    assert chooser.asked == []


def test_an_ear_that_cannot_choose_hears_for_itself_and_waits_for_nobody() -> None:
    def never() -> Opinion:
        raise AssertionError

    assert asked(Hears(), "whisper", never) == agreeing("green red")


def test_the_eight_likeliest_sentences_are_given_to_choose_from() -> None:
    """The right one is not always among the first two: what the second ear is for is to bring it up."""
    words = [f"pair {figure}" for figure in ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")]
    opinion = Opinion(ear="whisper", candidates=tuple(Candidate(w, -1.0 - i) for i, w in enumerate(words)))
    assert choices(opinion) == tuple(words[:8])
