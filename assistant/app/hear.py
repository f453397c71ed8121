"""`hear`: sound files through exactly the chain of the live session."""

import time
from collections.abc import Iterator
from pathlib import Path

from assistant.adapters.audio_file import in_blocks, read_sound
from assistant.cable.makeup import Cable
from assistant.dialogue.messages import Attendance, SessionOpened, SessionSettings
from assistant.dialogue.scope import scope_of
from assistant.dialogue.state import State, fold
from assistant.hearing.chain import HearingChain, Utterance
from assistant.hearing.verdict import Judgement
from assistant.ports import SAMPLE_RATE_HZ, Samples
from assistant.words.render import as_object


def following_state(cable: Cable) -> State:
    """Give the state of a session that has just begun to follow a cable."""
    settings = SessionSettings(cable_pairs=cable.pairs, first=1, last=cable.pairs)
    return fold((SessionOpened(settings, Attendance()),))


def utterances_in(sound: Samples, chain: HearingChain, state: State) -> Iterator[Utterance]:
    """Give the utterances in a sound, heard as in this state."""
    chain.open(scope_of(state))
    for block in in_blocks(sound):
        utterance = chain.push(block)
        if utterance is not None:
            yield utterance


def file_object(path: Path, chain: HearingChain, state: State) -> dict[str, object]:
    """Hear one file with a fresh chain and give all that came of it as a JSON object.

    Raises:
        AssistantError: the file cannot be read as sound.

    """
    sound = read_sound(path)
    began = time.perf_counter()
    found = [utterance_object(utterance) for utterance in utterances_in(sound, chain, state)]
    return {
        "file": str(path),
        "audio_s": round(len(sound) / SAMPLE_RATE_HZ, 3),
        "compute_s": round(time.perf_counter() - began, 3),
        "utterances": found,
    }


def utterance_object(utterance: Utterance) -> dict[str, object]:
    """Give one utterance as a JSON object; `understood` is null unless it was accepted."""
    verdict = utterance.verdict
    accepted = verdict.judgement is Judgement.ACCEPTED and verdict.intent is not None
    return {
        "start_s": round(utterance.start_s, 3),
        "end_s": round(utterance.end_s, 3),
        "verdict": verdict.judgement.value,
        "words": verdict.words,
        "understood": as_object(verdict.intent) if accepted and verdict.intent else None,
        "evidence": [
            {
                "ear": reading.ear,
                "words": reading.words,
                "margin_nats": round(reading.margin, 3),
                "likelihood_ratio_nats": round(reading.likelihood_ratio, 3),
                "free_hearing_agrees": reading.free_agrees,
                "confidence": reading.confidence,
            }
            for reading in verdict.readings
        ],
    }
