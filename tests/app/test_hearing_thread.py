"""The thread between sound and inbox, with sound, detector and ears made up: muting, notes, failures."""

import hashlib
import threading
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.adapters import kept_sound
from assistant.adapters.kept_sound import SoundNotes
from assistant.app import hearing_thread
from assistant.app.hearing_thread import LONGEST_NOTE_S, HearingThread, NoteRecorder
from assistant.app.inbox import Inbox
from assistant.app.loop import ListeningGate
from assistant.dialogue.messages import NOT_YET, AnnouncementNumber, DeviceFailed, Heard, Input, NoteRecorded
from assistant.hearing.chain import BLOCK_S, HearingChain
from assistant.ports import BLOCK_FRAMES, SAMPLE_RATE_HZ, Samples
from tests.hearing.test_chain import LONG, SCOPE, Detector, blocks
from tests.hearing.test_chain import Ear as Recogniser


class Source:
    """Blocks from a list; `waits` as a file does, or not as a microphone does."""

    lost_frames = 0

    def __init__(
        self,
        sound: list[Samples],
        *,
        waits: bool,
        fails: bool = False,
        before: Callable[[int], None] = lambda _: None,
    ) -> None:
        """Take the blocks; `before` is told the number of each block, 0 upward, before it is given."""
        self.waits = waits
        self._sound = sound
        self._fails = fails
        self._before = before
        self.passed_over = 0

    def blocks(self) -> Iterator[Samples]:
        for number, block in enumerate(self._sound):
            self._before(number)
            yield block
        if self._fails:
            raise OSError("unplugged")

    def pass_over(self) -> None:
        self.passed_over += 1

    def close(self) -> None:
        pass


def all_in(inbox: Inbox) -> list[Input]:
    came = []
    while (one := inbox.get(0.0)) is not None:
        came.append(one)
    return came


def run(source: Source, ear: ListeningGate, folder: Path) -> list[Input]:
    inbox = Inbox()
    chain = HearingChain(Detector(), (Recogniser(),))
    hearing = HearingThread(source, chain, Detector(), ear, inbox, SoundNotes(folder))
    thread = threading.Thread(target=hearing.run, daemon=True)
    thread.start()
    thread.join(5)
    assert not thread.is_alive()
    return all_in(inbox)


def test_what_is_heard_while_open_shuts_the_ear(tmp_path: Path) -> None:
    ear = ListeningGate()
    ear.open(SCOPE, NOT_YET)
    (heard,) = run(Source(blocks(f"_ _ orange violet {LONG}"), waits=False), ear, tmp_path)
    assert isinstance(heard, Heard)
    assert (heard.judgement, heard.words) == ("accepted", "orange violet")
    assert ear.listening is None


def test_a_microphone_goes_on_while_the_ear_is_shut_and_nothing_is_heard(tmp_path: Path) -> None:
    assert run(Source(blocks(f"_ _ orange violet {LONG}"), waits=False), ListeningGate(), tmp_path) == []


def test_a_file_waits_until_the_ear_is_open_and_the_session_end_releases_it(tmp_path: Path) -> None:
    ear = ListeningGate()
    threading.Timer(0.2, ear.end).start()
    assert run(Source(blocks(f"_ orange violet {LONG}"), waits=True), ear, tmp_path) == []


def test_a_device_that_breaks_is_told_and_does_not_end_the_program(tmp_path: Path) -> None:
    ear = ListeningGate()
    ear.open(SCOPE, NOT_YET)
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


def test_a_note_is_cut_at_the_longest_and_given_up_in_silence() -> None:
    recorder = NoteRecorder(Detector())
    recorder.begin()
    speech, silence = np.full(BLOCK_FRAMES, 3, np.int16), np.zeros(BLOCK_FRAMES, np.int16)
    notes = [note for _ in range(2000) if recorder.recording and (note := recorder.take(speech)) is not None]
    assert [abs(len(note) / SAMPLE_RATE_HZ - LONGEST_NOTE_S) < 0.1 for note in notes] == [True]
    recorder.begin()
    notes = [note for _ in range(2000) if recorder.recording and (note := recorder.take(silence)) is not None]
    assert [len(note) for note in notes] == [0]


def quiet(seconds: float) -> str:
    return "_ " * round(seconds / (5 * BLOCK_S))


def test_a_note_goes_on_over_a_pause_to_think_and_ends_after_a_longer_one(tmp_path: Path) -> None:
    """Pauses for breath are shorter than 1.5 s, a note is over after 2.5 s (common practice, no source)."""
    ear = ListeningGate()
    ear.open_for_note()
    sound = blocks(f"orange {quiet(1.5)} violet {quiet(10)}")
    (note,) = run(Source(sound, waits=False), ear, tmp_path)
    assert isinstance(note, NoteRecorded)
    samples, _ = soundfile.read(tmp_path / note.file, dtype="int16")
    assert {int(s) for s in np.unique(samples)} == {0, 3, 4}, "both words are in it"
    spoken = int(np.flatnonzero(samples)[-1]) + 1
    assert 2.0 < (len(samples) - spoken) / SAMPLE_RATE_HZ < 3.0


@pytest.mark.parametrize("fault", ["the folder is gone", "a file of that name is there", "the disk is full"])
def test_a_note_that_cannot_be_kept_is_told_and_hearing_goes_on(
    tmp_path: Path, fault: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It once ended the thread, and nothing more was heard in the session."""
    folder = tmp_path / "gone" if fault == "the folder is gone" else tmp_path
    if fault == "a file of that name is there":
        monkeypatch.setattr(hearing_thread, "datetime", StoppedClock)
        (tmp_path / "note-20260101-000000-000000.flac").write_bytes(b"another")
    if fault == "the disk is full":
        monkeypatch.setattr(kept_sound.os, "fsync", full)
    ear = ListeningGate()
    ear.open_for_note()
    sound = blocks(f"orange {quiet(3)} orange violet {LONG}")
    ended = round(3 / BLOCK_S)

    def reopen(number: int) -> None:
        if number == ended:
            ear.open(SCOPE, NOT_YET)

    failed, heard = run(Source(sound, waits=False, before=reopen), ear, folder)
    assert isinstance(failed, DeviceFailed)
    assert (failed.device, "cannot be kept" in failed.reason) == ("note", True)
    assert isinstance(heard, Heard)
    assert heard.words == "orange violet"
    left = [path.read_bytes() for path in tmp_path.iterdir()]
    assert left in ([], [b"another"]), "nothing half written is left, and nothing of another is touched"


class StoppedClock(datetime):
    """Always the same moment."""

    @classmethod
    def now(cls, tz: object = None) -> "StoppedClock":
        return cls(2026, 1, 1)

    def astimezone(self, tz: object = None) -> "StoppedClock":
        return self


def full(*_: object) -> None:
    raise OSError(28, "No space left on device")


@pytest.mark.parametrize("waits", [True, False])
def test_words_from_before_and_after_deafness_are_never_joined(tmp_path: Path, waits: bool) -> None:
    """Half a call, a note that is given up, and the other half: the two halves are no call."""
    ear = ListeningGate()
    ear.open(SCOPE, NOT_YET)
    sound = blocks(f"_ _ _ _ orange {quiet(8)} _ violet {LONG}")
    orange_said = next(number for number, block in enumerate(sound) if block[0]) + 10

    def note_then_listen(number: int) -> None:
        if number == orange_said:
            ear.open_for_note()

    threading.Timer(1.0, ear.end).start()  # nobody opens the ear again after what is heard
    heard = run(Source(sound, waits=waits, before=note_then_listen), ear, tmp_path)
    words = [one.words for one in heard if isinstance(one, Heard)]
    assert "orange violet" not in words


def after_of(begins_s: float, tmp_path: Path) -> tuple[int, int]:
    """Open the ear for announcement 1, shut it, open it for 2, speak so long after that; give its `after`."""
    ear = ListeningGate()
    ear.open(SCOPE, AnnouncementNumber(1))
    shut, opened = 10, 20

    def speak(number: int) -> None:
        if number == shut:
            ear.shut()
        if number == opened:
            ear.open(SCOPE, AnnouncementNumber(2))

    silence = blocks("_")[:1] * (opened + 1 + round(begins_s / BLOCK_S))
    source = Source(silence + blocks(f"orange violet {LONG}"), waits=False, before=speak)
    heard = [one for one in run(source, ear, tmp_path) if isinstance(one, Heard)]
    assert len(heard) == 1
    return heard[0].after, source.passed_over


def test_an_utterance_answers_what_had_been_put_before_it_was_begun(tmp_path: Path) -> None:
    assert after_of(0.5, tmp_path) == (2, 2), "what waited in the device is passed over at each opening"
    assert after_of(0.0, tmp_path)[0] == 1, "who speaks when the ear opens was speaking before"
