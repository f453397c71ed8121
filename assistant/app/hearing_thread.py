"""The thread between a source of sound and the inbox: listens while the ear is open, and records notes."""

from collections import deque
from datetime import datetime

import numpy as np

from assistant.app.inbox import Inbox
from assistant.app.loop import Listening, ListeningGate
from assistant.dialogue.messages import (
    NOT_YET,
    AnnouncementNumber,
    DeviceFailed,
    EarReading,
    Heard,
    Input,
    MicrophoneTrouble,
    NoteRecorded,
    SoundLost,
    Trouble,
)
from assistant.errors import AssistantError
from assistant.hearing.chain import BLOCK_S, HearingChain, Utterance
from assistant.hearing.verdict import Verdict
from assistant.ports import SAMPLE_RATE_HZ, AudioSource, KeptSounds, Notes, Samples, SpeechDetector

LONGEST_NOTE_S = 30.0
NOTE_PAUSE_S = 2.5
"""Silence that ends a note."""
NOTE_WAIT_S = 8.0
"""Silence before any speech that gives a note up."""
SPEECH = 0.5
CLIPPED_IN_A_ROW = 3
"""Utterances at full scale before it is said; one shout is no trouble."""
ALREADY_S = 0.1
"""Speech so soon after the ear opened had begun before: people answer about 0.2 s after a turn has ended, hardly ever
before 0.1 s (Stivers et al., PNAS 106(26), 2009), and the detector needs a block or two."""


def heard(verdict: Verdict, after: AnnouncementNumber, sound_sha256: str = "") -> Heard:
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
    return Heard(
        judgement=verdict.judgement.value,
        words=verdict.words,
        readings=readings,
        sound_sha256=sound_sha256,
        after=after,
        meaning=verdict.intent,
    )


class Openings:
    """Which announcement had been put when the ear was opened, by the blocks that the chain took since then."""

    def __init__(self) -> None:
        """Begin deaf."""
        self._blocks = 0
        self._begun: deque[tuple[int, AnnouncementNumber]] = deque([(-1, NOT_YET)], maxlen=2)
        """First block and announcement of the opening before the last, and of the last."""
        self._opening = 0

    def is_new(self, listening: Listening) -> bool:
        """Tell, once, whether the ear was opened anew."""
        new = listening.opening != self._opening
        if new:
            self._opening = listening.opening
            self._begun.append((self._blocks, listening.after))
        return new

    def took_block(self) -> None:
        """Count a block that the chain took."""
        self._blocks += 1

    def after(self, utterance: Utterance) -> AnnouncementNumber:
        """Give the announcement that had been put when the ear was opened and this speech had not begun."""
        speech_s = utterance.end_s - utterance.circumstances.speech_s
        (_, before), (first, after) = self._begun
        return after if speech_s >= first * BLOCK_S + ALREADY_S else before


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
        inbox: Inbox,
        notes: Notes,
        sounds: KeptSounds | None = None,
    ) -> None:
        """Take all parts; `detector` finds the end of notes, and `notes` keeps them.

        The sound of utterances goes to `sounds`, if there is such.
        """
        self._source = source
        self._chain = chain
        self._ear = ear
        self._inbox = inbox
        self._clipped = 0
        self._sounds = sounds
        self._recorder = NoteRecorder(detector)
        self._notes = notes
        self._openings = Openings()

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
            self._inbox.put_own(DeviceFailed("hearing", str(error) or type(error).__name__))

    def _record(self, block: Samples) -> None:
        note = self._recorder.take(block)
        if note is not None:
            self._inbox.put_own(self._kept(note))

    def _kept(self, note: Samples) -> Input:
        """Keep a note, empty where nothing was said; a note that is lost is told of, and hearing goes on."""
        if not note.size:
            return NoteRecorded(file="", seconds=0.0, sha256="")
        name = f"note-{datetime.now().astimezone():%Y%m%d-%H%M%S-%f}.flac"
        try:
            checksum = self._notes.keep(name, note)
        except AssistantError as error:
            return DeviceFailed("note", str(error))
        return NoteRecorded(file=name, seconds=round(len(note) / SAMPLE_RATE_HZ, 2), sha256=checksum)

    def _listen(self, block: Samples, deaf: bool) -> bool:
        """Take a block, and tell whether what comes next does not follow on it."""
        listening = self._ear.listening
        if listening is None:
            return True
        if self._openings.is_new(listening) and not self._source.waits:
            self._source.pass_over()
            self._chain.forget()
            return False  # this block, too, may be older than the opening
        if deaf:
            self._chain.forget()
        self._chain.open(listening.scope)
        self._openings.took_block()
        utterance = self._chain.push(block)
        lost = self._source.lost_frames
        if lost:
            self._inbox.put(SoundLost(lost))
        if utterance is not None:
            self._ear.shut()
            self._watch_clipping(utterance.clipped)
            checksum = self._sounds.take(utterance.sound) if self._sounds else ""
            self._inbox.put(heard(utterance.verdict, self._openings.after(utterance), checksum))
        return False

    def _watch_clipping(self, clipped: bool) -> None:
        self._clipped = self._clipped + 1 if clipped else 0
        if self._clipped == CLIPPED_IN_A_ROW:
            self._inbox.put(MicrophoneTrouble(Trouble.CLIPPED))


class NoteRecorder:
    """Collects the blocks of one note."""

    def __init__(self, detector: SpeechDetector) -> None:
        """Take what finds the end of speech."""
        self._detector = detector
        self._blocks: list[Samples] = []
        self._quiet_s = 0.0
        self._spoken = False
        self.recording = False

    def begin(self) -> None:
        """Record from the next block on."""
        self._detector.reset()
        self._blocks, self._quiet_s, self._spoken, self.recording = [], 0.0, False, True

    def take(self, block: Samples) -> Samples | None:
        """Take a block; give the sound of the note when it is over, empty where nothing was said."""
        self._blocks.append(block)
        speech = self._detector.probability(block) >= SPEECH
        self._spoken = self._spoken or speech
        self._quiet_s = 0.0 if speech else self._quiet_s + BLOCK_S
        seconds = len(self._blocks) * BLOCK_S
        if seconds < LONGEST_NOTE_S and self._quiet_s < (NOTE_PAUSE_S if self._spoken else NOTE_WAIT_S):
            return None
        self.recording = False
        return np.concatenate(self._blocks) if self._spoken else np.zeros(0, np.int16)
