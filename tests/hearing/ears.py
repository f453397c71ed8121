"""Ears made up for tests: what they are asked is the whole sound that came so far."""

from abc import ABC, abstractmethod

import numpy as np

from assistant.ports import Hearing, Opinion, Recogniser, Samples, StillWanted, always
from assistant.words.grammar import Sentences


class WholeEar(ABC):
    """An ear that looks at the whole sound when it is asked, and not twice at the same."""

    name = "whisper"

    def set_sentences(self, sentences: Sentences) -> None:
        self.sentences_set = sentences

    @abstractmethod
    def decode(self, utterance: Samples) -> Opinion:
        """Tell what it is."""

    def hear(self) -> "WholeHearing":
        return WholeHearing(self)


class WholeHearing:
    def __init__(self, ear: WholeEar) -> None:
        self._ear = ear
        self.sound = np.zeros(0, np.int16)
        self._opinion: Opinion | None = None

    def accept(self, sound: Samples) -> None:
        self.sound = np.concatenate([self.sound, sound])
        self._opinion = None

    def partial(self, wanted: StillWanted = always) -> Opinion:
        self._opinion = self._opinion or self._ear.decode(self.sound)
        return self._opinion

    def finish(self, wanted: StillWanted = always) -> Opinion:
        return self.partial(wanted)


BLOCK = 4000
"""Frames of a piece of sound, other than the chain's, so that nothing depends on those."""


def begun(ear: Recogniser, sound: Samples) -> Hearing:
    """Let an ear hear a whole sound, piece by piece."""
    hearing = ear.hear()
    for start in range(0, len(sound), BLOCK):
        hearing.accept(sound[start : start + BLOCK])
    return hearing


def opinion_of(ear: Recogniser, sound: Samples) -> Opinion:
    """Tell what an ear makes of a whole sound."""
    return begun(ear, sound).finish()
