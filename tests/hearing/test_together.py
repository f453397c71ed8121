"""One utterance in all ears: what fails is told, and an ear that changes its mind at the end is asked back."""

import pytest

from assistant.hearing.chain import HearingChain
from assistant.hearing.together import AllEars
from assistant.hearing.verdict import Judgement
from assistant.ports import Candidate, Opinion, Samples, StillWanted, always
from tests.hearing.ears import WholeHearing
from tests.hearing.test_chain import LONG, SCOPE, Detector, Ear, blocks


class ChangesItsMind(WholeHearing):
    """Says a whole call in the pause, and at the end that figures may follow."""

    def finish(self, wanted: StillWanted = always) -> Opinion:
        return Opinion(ear="whisper", candidates=(Candidate("four seven", -1.0),), free_score=-1.0)


class Fickle(Ear):
    def hear(self) -> WholeHearing:
        return ChangesItsMind(self)


def test_what_is_another_call_at_the_end_than_in_the_pause_is_asked_back() -> None:
    """The pause was measured for other words: "four seven" may be the beginning of "four seven one"."""
    chain = HearingChain(Detector(), (Fickle(),))
    chain.open(SCOPE)
    (found,) = [utterance for block in blocks(f"_ _ orange violet {LONG}") if (utterance := chain.push(block))]
    assert (found.verdict.judgement, found.verdict.words) == (Judgement.ASK_BACK, "four seven")


class Breaks(WholeHearing):
    def accept(self, sound: Samples) -> None:
        raise OSError("no memory")


class Broken(Ear):
    def hear(self) -> WholeHearing:
        return Breaks(self)


def test_an_ear_that_fails_while_one_speaks_says_so_when_it_is_asked() -> None:
    one = AllEars((Broken(),)).begin()
    one.accept(blocks("orange")[0])
    with pytest.raises(OSError, match="no memory"):
        one.partial()
    with pytest.raises(OSError, match="no memory"):
        one.finish()
