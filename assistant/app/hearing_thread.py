"""The thread between a source of sound and the inbox: listens while the ear is open."""

import queue

from assistant.app.loop import Ear
from assistant.dialogue.messages import DeviceFailed, EarReading, Heard, Input, SoundLost
from assistant.hearing.chain import HearingChain
from assistant.hearing.verdict import Verdict
from assistant.ports import AudioSource


def heard(verdict: Verdict) -> Heard:
    """Turn a verdict into an input."""
    readings = tuple(
        EarReading(
            ear=reading.ear,
            words=reading.words,
            margin=round(reading.margin, 3),
            likelihood_ratio=round(reading.likelihood_ratio, 3),
            confidence=reading.confidence,
        )
        for reading in verdict.readings
    )
    return Heard(judgement=verdict.judgement.value, words=verdict.words, readings=readings)


def listen(source: AudioSource, chain: HearingChain, ear: Ear, inbox: "queue.Queue[Input]") -> None:
    """Feed the chain from the source until it ends, and put what is heard into the inbox.

    While the ear is shut, a file waits; the sound of a microphone is passed over.
    """
    deaf = True
    try:
        for block in source.blocks():
            if source.waits and not ear.wait_open():
                return
            scope = ear.scope
            if scope is None:
                deaf = True
                continue
            if deaf:
                chain.forget()
                deaf = False
            chain.open(scope)
            utterance = chain.push(block)
            lost = source.lost_frames
            if lost:
                inbox.put(SoundLost(lost))
            if utterance is not None:
                ear.shut()
                inbox.put(heard(utterance.verdict))
    except Exception as error:  # whatever a library raises, the session goes on by keys
        inbox.put(DeviceFailed("hearing", str(error) or type(error).__name__))
