"""The thread between a source of sound and the inbox: listens while the ear is open, and records notes."""

import hashlib
import queue
from datetime import datetime
from pathlib import Path

import numpy as np

from assistant.app.loop import ListeningGate
from assistant.dialogue.messages import (
    DeviceFailed,
    EarReading,
    Heard,
    Input,
    MicrophoneTrouble,
    NoteRecorded,
    SoundLost,
    Trouble,
)
from assistant.hearing.chain import BLOCK_S, HearingChain
from assistant.hearing.verdict import Verdict
from assistant.ports import SAMPLE_RATE_HZ, AudioSource, KeptSounds, Samples, SpeechDetector

LONGEST_NOTE_S = 30.0
NOTE_PAUSE_S = 2.5
"""Silence that ends a note."""
NOTE_WAIT_S = 8.0
"""Silence before any speech that gives a note up."""
SPEECH = 0.5
CLIPPED_IN_A_ROW = 3
"""Utterances at full scale before it is said; one shout is no trouble."""


def heard(verdict: Verdict, sound_sha256: str = "") -> Heard:
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
    return Heard(judgement=verdict.judgement.value, words=verdict.words, readings=readings, sound_sha256=sound_sha256)


class HearingThread:
    """Feeds the chain from the source until it ends, and puts what is heard into the inbox.

    While the ear is shut, a file waits; the sound of a microphone is passed over.
    """

    def __init__(
        self,
        source: AudioSource,
        chain: HearingChain,
        detector: SpeechDetector,
        ear: ListeningGate,
        inbox: "queue.Queue[Input]",
        notes: Path,
        sounds: KeptSounds | None = None,
    ) -> None:
        """Take all parts; `detector` finds the end of notes, `notes` is the folder they are kept in.

        The sound of utterances goes to `sounds`, if there is such.
        """
        self._source = source
        self._chain = chain
        self._ear = ear
        self._inbox = inbox
        self._clipped = 0
        self._sounds = sounds
        self._recorder = NoteRecorder(detector, notes)

    def run(self) -> None:
        """Listen until the source ends."""
        deaf = True
        try:
            for block in self._source.blocks():
                if self._source.waits and not self._recorder.recording and not self._ear.wait_open():
                    return
                if self._ear.take_note_wish():
                    self._recorder.begin()
                if self._recorder.recording:
                    deaf = True
                    self._record(block)
                    continue
                deaf = self._listen(block, deaf)
        except Exception as error:  # whatever a library raises, the session goes on by keys
            self._inbox.put(DeviceFailed("hearing", str(error) or type(error).__name__))

    def _record(self, block: Samples) -> None:
        note = self._recorder.take(block)
        if note is not None:
            self._inbox.put(note)

    def _listen(self, block: Samples, deaf: bool) -> bool:
        scope = self._ear.scope
        if scope is None:
            return True
        if deaf:
            self._chain.forget()
        self._chain.open(scope)
        utterance = self._chain.push(block)
        lost = self._source.lost_frames
        if lost:
            self._inbox.put(SoundLost(lost))
        if utterance is not None:
            self._ear.shut()
            self._watch_clipping(utterance.clipped)
            checksum = self._sounds.take(utterance.sound) if self._sounds else ""
            self._inbox.put(heard(utterance.verdict, checksum))
        return False

    def _watch_clipping(self, clipped: bool) -> None:
        self._clipped = self._clipped + 1 if clipped else 0
        if self._clipped == CLIPPED_IN_A_ROW:
            self._inbox.put(MicrophoneTrouble(Trouble.CLIPPED))


class NoteRecorder:
    """Collects the blocks of one note and writes them as FLAC beside the log."""

    def __init__(self, detector: SpeechDetector, folder: Path) -> None:
        """Take what finds the end of speech, and where notes are kept."""
        self._detector = detector
        self._folder = folder
        self._blocks: list[Samples] = []
        self._quiet_s = 0.0
        self._spoken = False
        self.recording = False

    def begin(self) -> None:
        """Record from the next block on."""
        self._detector.reset()
        self._blocks, self._quiet_s, self._spoken, self.recording = [], 0.0, False, True

    def take(self, block: Samples) -> NoteRecorded | None:
        """Take a block; give the note when it is over."""
        self._blocks.append(block)
        speech = self._detector.probability(block) >= SPEECH
        self._spoken = self._spoken or speech
        self._quiet_s = 0.0 if speech else self._quiet_s + BLOCK_S
        seconds = len(self._blocks) * BLOCK_S
        if seconds < LONGEST_NOTE_S and self._quiet_s < (NOTE_PAUSE_S if self._spoken else NOTE_WAIT_S):
            return None
        self.recording = False
        return self._written(seconds) if self._spoken else NoteRecorded(file="", seconds=0.0, sha256="")

    def _written(self, seconds: float) -> NoteRecorded:
        import soundfile

        name = f"note-{datetime.now().astimezone():%Y%m%d-%H%M%S-%f}.flac"
        path = self._folder / name
        soundfile.write(str(path), np.concatenate(self._blocks), SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")
        path.chmod(0o600)
        return NoteRecorded(file=name, seconds=round(seconds, 2), sha256=hashlib.sha256(path.read_bytes()).hexdigest())
