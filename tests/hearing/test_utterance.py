"""Where an utterance starts and ends; 32 ms blocks, as the detector gives them."""

import pytest

from assistant.hearing.utterance import Endpointer, Endpointing, SpeechChange

BLOCK_S = 0.032
SPEECH, QUIET, MISSED = 0.9, 0.05, 0.2
"""Probabilities of speech, of silence, and of a word that the detector does not take for speech."""
LEVEL_DB = {SPEECH: -25.0, QUIET: -70.0, MISSED: -25.0}


def blocks(seconds: float) -> int:
    return round(seconds / BLOCK_S)


def changes(*stretches: tuple[float, float], limits: Endpointing | None = None) -> list[tuple[SpeechChange, int]]:
    """Push stretches of (probability, seconds); give each change with the block it came at."""
    endpointer = Endpointer(limits or Endpointing(), BLOCK_S)
    found = []
    for probability, seconds in stretches:
        for _ in range(blocks(seconds)):
            change = endpointer.push(probability, LEVEL_DB[probability])
            if change is not SpeechChange.NOTHING:
                found.append((change, endpointer.position))
    return found


def test_an_utterance_opens_pauses_and_ends() -> None:
    found = changes((QUIET, 1), (SPEECH, 1), (QUIET, 2))
    assert [change for change, _ in found] == [SpeechChange.OPENED, SpeechChange.PAUSED, SpeechChange.ENDED]
    limits = Endpointing()
    speech_end = blocks(2)
    assert found[1][1] == speech_end + blocks(limits.decode_pause_s)
    assert found[2][1] == speech_end + blocks(limits.long_pause_s)


def test_a_click_opens_nothing() -> None:
    assert changes((QUIET, 1), (SPEECH, 0.04), (QUIET, 1)) == []


def test_speech_after_a_short_pause_goes_on_with_the_same_utterance() -> None:
    found = [change for change, _ in changes((SPEECH, 0.5), (QUIET, 0.6), (SPEECH, 0.5), (QUIET, 2))]
    assert found == [
        SpeechChange.OPENED,
        SpeechChange.PAUSED,
        SpeechChange.RESUMED,
        SpeechChange.PAUSED,
        SpeechChange.ENDED,
    ]


def test_the_sound_reaches_back_before_the_opening() -> None:
    endpointer = Endpointer(Endpointing(), BLOCK_S)
    for probability, seconds in ((QUIET, 1), (SPEECH, 0.5)):
        for _ in range(blocks(seconds)):
            endpointer.push(probability, LEVEL_DB[probability])
    assert endpointer.start <= blocks(1) - blocks(0.25)


def test_endless_speech_is_cut_at_the_longest() -> None:
    limits = Endpointing(longest_s=3)
    found = changes((SPEECH, 7), limits=limits)
    ends = [position for change, position in found if change is SpeechChange.ENDED]
    assert len(ends) == 2
    assert ends[0] <= blocks(3) + 1


def test_after_finish_the_next_speech_is_a_new_utterance() -> None:
    endpointer = Endpointer(Endpointing(), BLOCK_S)
    for _ in range(blocks(0.5)):
        endpointer.push(SPEECH, LEVEL_DB[SPEECH])
    endpointer.finish()
    assert not endpointer.is_open
    found = [endpointer.push(SPEECH, LEVEL_DB[SPEECH]) for _ in range(blocks(0.3))]
    assert SpeechChange.OPENED in found


def test_a_first_word_that_the_detector_missed_belongs_to_the_utterance() -> None:
    """Measured on human recordings: the first digit of "four six, blue purple" was lost without it."""
    endpointer = Endpointer(Endpointing(), BLOCK_S)
    for probability, seconds in ((QUIET, 2), (MISSED, 0.4), (QUIET, 0.15), (SPEECH, 0.5)):
        for _ in range(blocks(seconds)):
            endpointer.push(probability, LEVEL_DB[probability])
    assert endpointer.start <= blocks(2)
    assert endpointer.start >= blocks(2 - Endpointing().before_s - 0.2)


def test_looking_back_never_reaches_into_the_utterance_before() -> None:
    endpointer = Endpointer(Endpointing(), BLOCK_S)
    for _ in range(blocks(1)):
        endpointer.push(SPEECH, LEVEL_DB[SPEECH])
    endpointer.finish()
    ended = endpointer.speech_end
    for _ in range(blocks(0.3)):
        endpointer.push(SPEECH, LEVEL_DB[SPEECH])
    assert endpointer.is_open
    assert endpointer.start >= ended


def test_loud_noise_alone_opens_nothing() -> None:
    endpointer = Endpointer(Endpointing(), BLOCK_S)
    found = [endpointer.push(MISSED, LEVEL_DB[MISSED]) for _ in range(blocks(3))]
    assert set(found) == {SpeechChange.NOTHING}


def test_the_speech_is_measured_from_its_first_to_its_last_block() -> None:
    limits = Endpointing()
    endpointer = Endpointer(limits, BLOCK_S)
    told = [0.01] * 30 + [0.4] + [0.01] * 5 + [0.9] * 20 + [0.01] * 30
    for probability in told:
        if endpointer.push(probability, -60.0) is SpeechChange.ENDED:
            break
    assert endpointer.speech_blocks == 26, "the weak one before the opening counts"


@pytest.mark.parametrize(("noise_db", "speech_db"), [(-70.0, -25.0), (-40.0, -30.0)])
def test_the_level_over_the_floor_is_that_of_the_loud_parts(noise_db: float, speech_db: float) -> None:
    endpointer = Endpointer(Endpointing(), BLOCK_S)
    for _ in range(150):
        endpointer.push(0.01, noise_db)
    for _ in range(40):
        endpointer.push(0.9, speech_db)
    for _ in range(5):
        endpointer.push(0.01, noise_db)
    assert endpointer.over_floor_db == speech_db - noise_db


def test_the_sound_begins_a_second_and_a_half_before_the_speech() -> None:
    """What is cut off there can be a figure: with 0.6 s 39 of 57 calls in noise were right, with 1.5 s 47."""
    endpointer = Endpointer(Endpointing(), BLOCK_S)
    for probability, seconds in ((QUIET, 4), (SPEECH, 0.5)):
        for _ in range(blocks(seconds)):
            endpointer.push(probability, LEVEL_DB[probability])
    assert endpointer.start == pytest.approx(blocks(4) - blocks(1.5), abs=1)


def test_the_floor_of_the_level_rises_slowly_and_falls_fast() -> None:
    """A word must not become the floor under the next one; 0.03 dB a block is about 1 dB a second."""
    endpointer = Endpointer(Endpointing(), BLOCK_S)
    for level_db in [-70.0] * 30 + [-40.0] * 30:
        endpointer.push(MISSED, level_db)
    assert endpointer._floor_db == pytest.approx(-70 + 30 * 0.03)
    assert all(list(endpointer._loud)[-30:]), "30 dB over the floor is loud for all of its second"
    for _ in range(10):
        endpointer.push(QUIET, -70.0)
    assert endpointer._floor_db == pytest.approx(-70, abs=0.1)
