"""The chain in one piece, with a detector and ears that read the blocks themselves.

A block of speech carries the number of a word as its sample value; silence is 0.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from assistant.hearing.chain import BLOCK_S, HearingChain, Utterance, level_db
from assistant.hearing.utterance import Endpointing
from assistant.hearing.verdict import Judgement
from assistant.ports import BLOCK_FRAMES, Candidate, Opinion, Samples
from assistant.words import intents as say
from assistant.words.grammar import Sentences
from assistant.words.intents import CallPair
from assistant.words.vocabulary import ALL_INTENTS, Scope
from tests.hearing.ears import WholeEar

WORDS = ["", "four", "seven", "orange", "violet", "undo", "that", "brown"]
SCOPE = Scope(ALL_INTENTS - {say.Yes, say.No}, digits=3, super_units=False, both_ends=False)
LIMITS = Endpointing()


class Detector:
    def __init__(self) -> None:
        self.resets = 0

    def probability(self, block: Samples) -> float:
        return 0.9 if block.any() else 0.01

    def reset(self) -> None:
        self.resets += 1


class Ear(WholeEar):
    """Hears exactly the words that the blocks carry."""

    def __init__(self) -> None:
        self.decoded: list[str] = []
        self.sentences: list[Sentences] = []

    def set_sentences(self, sentences: Sentences) -> None:
        self.sentences.append(sentences)

    def decode(self, utterance: Samples) -> Opinion:
        numbers = [int(n) for n in utterance[::BLOCK_FRAMES] if n]
        words = [WORDS[n] for i, n in enumerate(numbers) if i == 0 or numbers[i - 1] != n]
        self.decoded.append(" ".join(words))
        return Opinion(ear=self.name, candidates=(Candidate(" ".join(words), -1.0),), free_score=-1.0)


def blocks(text: str) -> list[Samples]:
    """Words of 0.32 s; `_` is 0.16 s of silence."""
    found = []
    for token in text.split():
        value, count = (0, 5) if token == "_" else (WORDS.index(token), 10)
        found += [np.full(BLOCK_FRAMES, value, np.int16)] * count
    return found


def hear(text: str, ear: Ear | None = None) -> list[Utterance]:
    chain = HearingChain(Detector(), (ear or Ear(),))
    chain.open(SCOPE)
    return [found for block in blocks(text) if (found := chain.push(block)) is not None]


SHORT, LONG = "_ _ _ _", "_ _ _ _ _ _ _ _ _"


def test_a_call_that_cannot_go_on_ends_at_the_short_pause() -> None:
    (found,) = hear(f"_ _ orange violet {LONG}")
    assert found.verdict.judgement is Judgement.ACCEPTED
    assert isinstance(found.verdict.intent, CallPair)
    assert (found.start_s, found.end_s) == pytest.approx((0, 0.96), abs=BLOCK_S * 2)
    assert len(hear(f"_ _ orange violet {SHORT} orange violet {LONG}")) == 2


def test_a_digit_string_cut_by_a_pause_is_one_number() -> None:
    """A string cut in two must never pass as a shorter number."""
    (found,) = hear(f"_ _ four seven {SHORT} four {LONG}")
    assert found.verdict.words == "four seven four"


def test_a_number_waits_for_its_colours() -> None:
    (found,) = hear(f"_ _ four seven {SHORT} orange violet {LONG}")
    assert found.verdict.words == "four seven orange violet"


def test_the_utterance_is_not_decoded_again_when_nothing_came_after_the_pause() -> None:
    ear = Ear()
    hear(f"_ _ four seven {LONG}", ear)
    assert ear.decoded == ["four seven"]


def test_forgetting_drops_the_open_utterance() -> None:
    detector = Detector()
    chain = HearingChain(detector, (Ear(),))
    chain.open(SCOPE)
    for block in blocks("_ _ orange"):
        chain.push(block)
    chain.forget()
    found = [f for block in blocks(f"_ _ undo that {LONG}") if (f := chain.push(block)) is not None]
    assert [utterance.verdict.words for utterance in found] == ["undo that"]
    assert detector.resets == 1


def test_sentences_are_set_once_for_a_scope() -> None:
    ear = Ear()
    chain = HearingChain(Detector(), (ear,))
    chain.open(SCOPE)
    chain.open(SCOPE)
    assert len(ear.sentences) == 1


def test_memory_is_bounded_in_silence() -> None:
    chain = HearingChain(Detector(), (Ear(),))
    chain.open(SCOPE)
    for block in blocks("_ " * 500):
        chain.push(block)
    assert len(chain._kept) < 110  # 3.4 s


def test_clipped_sound_is_marked() -> None:
    chain = HearingChain(Detector(), (Ear(),))
    chain.open(SCOPE)
    sound = blocks(f"_ _ orange violet {LONG}")
    sound[15] = sound[15].copy()
    sound[15][1] = 32767
    found = [f for block in sound if (f := chain.push(block)) is not None]
    assert [utterance.clipped for utterance in found] == [True]
    assert not hear(f"_ _ orange violet {LONG}")[0].clipped


def test_a_decoding_that_speech_overtakes_is_not_wanted_and_the_next_is() -> None:
    """It would keep the ears busy while the whole utterance waits."""
    waiting = Waiting()
    chain = HearingChain(Detector(), (Ear(),), workers=[waiting])
    chain.open(SCOPE)
    heard = [found for block in blocks(f"_ _ four seven _ four {LONG}") if (found := chain.push(block))]
    assert [found.verdict.words for found in heard] == ["four seven four"]
    assert waiting.wishes == [False, True, True], "in the first pause, in the second, and at the end"


def test_the_ears_have_taken_the_sound_before_they_are_asked() -> None:
    """What can be done while one speaks is not left for the end."""
    waiting = Waiting()
    chain = HearingChain(Detector(), (Ear(),), workers=[waiting])
    chain.open(SCOPE)
    for block in blocks("_ _ four seven"):
        chain.push(block)
    taken = [work.args[0] for work in waiting.queue if work.func.__name__ == "accept"]
    assert np.count_nonzero(np.concatenate(taken)) == 20 * BLOCK_FRAMES
    assert len(taken) > 15, "as it comes"


def test_a_live_chain_takes_blocks_while_the_ears_work_and_speech_that_goes_on_drops_that() -> None:
    """With slow ears, each pause of a digit string would hold the sound up, and the answer with it."""
    for live, wishes in ((True, [False, True]), (False, [True, True])):
        waiting = Waiting()
        chain = HearingChain(Detector(), (Ear(),), workers=[waiting], live=live)
        chain.open(SCOPE)
        (found,) = [u for block in blocks(f"_ _ four seven {SHORT} four {LONG}") if (u := chain.push(block))]
        assert found.verdict.words == "four seven four"
        assert waiting.wishes[0] is wishes[0]
        assert waiting.wishes[-1] is wishes[1]


class Waiting:
    """Works only when a result is asked for, and then on all that came before."""

    def __init__(self) -> None:
        self.queue: list[Any] = []
        self.wishes: list[bool] = []
        """Whether each opinion was still wanted when its turn came."""

    def submit(self, work: Any, /) -> Any:
        self.queue.append(work)
        return Later(self, work)


class Later:
    def __init__(self, of: Waiting, work: Any) -> None:
        self._of, self._work = of, work
        self._values: list[Any] = []

    def done(self) -> bool:
        return bool(self._values)

    def result(self) -> Any:
        while not self._values:
            work = self._of.queue.pop(0)
            if work.func.__name__ == "opinion":
                self._of.wishes.append(work.args[0].wanted)
            value = work()
            if work is self._work:
                self._values.append(value)
        return self._values[0]


class Unsure(Ear):
    """Hears the words, and another sentence right behind them: asked back."""

    def decode(self, utterance: Samples) -> Opinion:
        opinion = super().decode(utterance)
        return Opinion(ear=self.name, candidates=(*opinion.candidates, Candidate("brown red", -1.5)), free_score=-1.0)


def test_an_unsure_verdict_waits_longer_than_words_that_cannot_go_on() -> None:
    """Asking back at the short pause would talk into the rest of the call."""
    chain = HearingChain(Detector(), (Unsure(),))
    chain.open(SCOPE)
    came_s = [at * BLOCK_S for at, block in enumerate(blocks(f"_ _ orange violet {LONG}")) if chain.push(block)]
    assert came_s == pytest.approx([30 * BLOCK_S + LIMITS.unsure_pause_s], abs=2 * BLOCK_S)


@pytest.mark.parametrize(("words", "pause_s"), [("orange violet", 0.42), ("four seven four", 0.8), ("four seven", 1.2)])
def test_the_pause_that_ends_a_call_is_as_long_as_what_can_follow_wants(words: str, pause_s: float) -> None:
    """These words are 10 dB over silence, which is no quiet; see test_pause for quiet."""
    chain = HearingChain(Detector(), (Ear(),))
    chain.open(SCOPE)
    (came,) = [at for at, block in enumerate(blocks(f"_ _ {words} {LONG}"), 1) if chain.push(block)]
    speech = 10 + 10 * len(words.split())
    assert (came - speech) * BLOCK_S == pytest.approx(pause_s, abs=BLOCK_S)


def test_where_the_sides_differ_a_call_of_colours_waits_for_those_of_the_far_side() -> None:
    chain = HearingChain(Detector(), (Ear(),))
    chain.open(replace(SCOPE, both_ends=True))
    (came,) = [at for at, block in enumerate(blocks(f"_ _ orange violet {LONG}"), 1) if chain.push(block)]
    assert (came - 30) * BLOCK_S == pytest.approx(0.8, abs=BLOCK_S)


def test_after_a_long_silence_the_sound_is_that_of_the_utterance_and_no_other() -> None:
    """What is kept is cut in front as time goes on; the cut must not move the words."""
    ear = Ear()
    (found,) = hear(f"{'_ ' * 100} orange violet {LONG}", ear)
    assert ear.decoded == ["orange violet"]
    speech = np.flatnonzero(found.sound)
    assert len(speech) == 20 * BLOCK_FRAMES
    assert (speech[0] / BLOCK_FRAMES) * BLOCK_S == pytest.approx(LIMITS.before_s, abs=2 * BLOCK_S)
    assert found.start_s + speech[0] / BLOCK_FRAMES * BLOCK_S == pytest.approx(500 * BLOCK_S, abs=2 * BLOCK_S)
    assert len(found.sound) - speech[-1] == pytest.approx(
        LIMITS.decode_pause_s / BLOCK_S * BLOCK_FRAMES, abs=BLOCK_FRAMES
    )


@pytest.mark.parametrize(("value", "db"), [(32767, 0.0), (3277, -20.0), (0, -100.0)])
def test_the_level_of_a_block_is_in_db_of_full_scale(value: int, db: float) -> None:
    assert level_db(np.full(BLOCK_FRAMES, value, np.int16)) == pytest.approx(db, abs=0.01)
