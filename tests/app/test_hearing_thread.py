"""The thread between sound and inbox, with sound, detector and ears made up: muting, notes, failures."""

import hashlib
import queue
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile

from assistant.app.hearing_thread import LONGEST_NOTE_S, HearingThread, NoteRecorder
from assistant.app.loop import ListeningGate
from assistant.dialogue.messages import DeviceFailed, Heard, Input, NoteRecorded
from assistant.hearing.chain import BLOCK_S, HearingChain
from assistant.ports import BLOCK_FRAMES, SAMPLE_RATE_HZ, Samples
from tests.hearing.test_chain import LONG, SCOPE, Detector, blocks
from tests.hearing.test_chain import Ear as Recogniser


class Source:
    """Blocks from a list; `waits` as a file does, or not as a microphone does."""

    lost_frames = 0

    def __init__(self, sound: list[Samples], *, waits: bool, fails: bool = False) -> None:
        self.waits = waits
        self._sound = sound
        self._fails = fails

    def blocks(self) -> Iterator[Samples]:
        yield from self._sound
        if self._fails:
            raise OSError("unplugged")

    def close(self) -> None:
        pass


def run(source: Source, ear: ListeningGate, folder: Path) -> list[Input]:
    inbox: queue.Queue[Input] = queue.Queue()
    chain = HearingChain(Detector(), (Recogniser(),))
    thread = threading.Thread(target=HearingThread(source, chain, Detector(), ear, inbox, folder).run, daemon=True)
    thread.start()
    thread.join(5)
    assert not thread.is_alive()
    return list(inbox.queue)


def test_what_is_heard_while_open_shuts_the_ear(tmp_path: Path) -> None:
    ear = ListeningGate()
    ear.open(SCOPE)
    (heard,) = run(Source(blocks(f"_ _ orange violet {LONG}"), waits=False), ear, tmp_path)
    assert isinstance(heard, Heard)
    assert (heard.judgement, heard.words) == ("accepted", "orange violet")
    assert ear.scope is None


def test_a_microphone_goes_on_while_the_ear_is_shut_and_nothing_is_heard(tmp_path: Path) -> None:
    assert run(Source(blocks(f"_ _ orange violet {LONG}"), waits=False), ListeningGate(), tmp_path) == []


def test_a_file_waits_until_the_ear_is_open_and_the_session_end_releases_it(tmp_path: Path) -> None:
    ear = ListeningGate()
    threading.Timer(0.2, ear.end).start()
    assert run(Source(blocks(f"_ orange violet {LONG}"), waits=True), ear, tmp_path) == []


def test_a_device_that_breaks_is_told_and_does_not_end_the_program(tmp_path: Path) -> None:
    ear = ListeningGate()
    ear.open(SCOPE)
    assert run(Source([], waits=False, fails=True), ear, tmp_path) == [DeviceFailed("hearing", "unplugged")]


def test_a_note_is_recorded_to_its_end_and_its_checksum_is_that_of_the_file(tmp_path: Path) -> None:
    ear = ListeningGate()
    ear.open_for_note()
    sound = blocks("_ _ orange violet " + "_ " * 20)
    (note,) = run(Source(sound, waits=False), ear, tmp_path)
    assert isinstance(note, NoteRecorded)
    path = tmp_path / note.file
    assert hashlib.sha256(path.read_bytes()).hexdigest() == note.sha256
    assert path.stat().st_mode & 0o777 == 0o600
    samples, rate_hz = soundfile.read(path, dtype="int16")
    assert rate_hz == SAMPLE_RATE_HZ
    assert len(samples) / rate_hz == round(note.seconds / BLOCK_S) * BLOCK_S
    assert {int(s) for s in np.unique(samples)} == {0, 3, 4}


def test_a_note_is_cut_at_the_longest_and_given_up_in_silence(tmp_path: Path) -> None:
    recorder = NoteRecorder(Detector(), tmp_path)
    recorder.begin()
    speech, silence = np.full(BLOCK_FRAMES, 3, np.int16), np.zeros(BLOCK_FRAMES, np.int16)
    notes = [note for _ in range(2000) if recorder.recording and (note := recorder.take(speech)) is not None]
    assert [abs(note.seconds - LONGEST_NOTE_S) < 0.1 for note in notes] == [True]
    recorder.begin()
    notes = [note for _ in range(2000) if recorder.recording and (note := recorder.take(silence)) is not None]
    assert notes == [NoteRecorded(file="", seconds=0.0, sha256="")]
