"""Sound as evidence: each utterance beside the log, its SHA-256 in its record; off unless asked for."""

import hashlib
import os
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.adapters import kept_sound
from assistant.adapters.kept_sound import FlacFolder, SoundNotes, sound_name, sounds_folder
from assistant.app.hearing_thread import HearingThread
from assistant.app.inbox import Inbox
from assistant.app.loop import ListeningGate
from assistant.dialogue.messages import NOT_YET, Heard
from assistant.errors import AssistantError
from assistant.hearing.chain import HearingChain
from assistant.ports import SAMPLE_RATE_HZ
from tests.app.test_hearing_thread import Source, all_in
from tests.hearing.test_chain import LONG, SCOPE, Detector, blocks
from tests.hearing.test_chain import Ear as Recogniser


def heard_with(sounds: FlacFolder | None, folder: Path) -> Heard:
    inbox = Inbox()
    ear = ListeningGate()
    ear.open(SCOPE, NOT_YET)
    source = Source(blocks(f"_ _ orange violet {LONG}"), waits=False)
    chain = HearingChain(Detector(), (Recogniser(),))
    hearing = HearingThread(source, chain, Detector(), ear, inbox, SoundNotes(folder), sounds)
    thread = threading.Thread(target=hearing.run, daemon=True)
    thread.start()
    thread.join(5)
    (heard,) = all_in(inbox)
    assert isinstance(heard, Heard)
    return heard


def test_without_being_asked_no_sound_is_kept(tmp_path: Path) -> None:
    assert heard_with(None, tmp_path).sound_sha256 == ""
    assert list(tmp_path.iterdir()) == []


def test_an_utterance_is_kept_under_the_number_of_its_record_with_its_sum(tmp_path: Path) -> None:
    log = tmp_path / "session.jsonl"
    sounds = FlacFolder(log)
    heard = heard_with(sounds, tmp_path)
    assert not sounds_folder(log).exists(), "nothing is written before the record has a number"
    sounds.keep(heard.sound_sha256, 17)
    file = sounds_folder(log) / sound_name(17)
    assert hashlib.sha256(file.read_bytes()).hexdigest() == heard.sound_sha256
    assert (file.stat().st_mode & 0o777, file.parent.stat().st_mode & 0o777) == (0o600, 0o700)
    sound, rate = soundfile.read(file, dtype="int16")
    assert rate == SAMPLE_RATE_HZ
    assert len(sound) > 0.5 * SAMPLE_RATE_HZ


def test_the_file_holds_every_sample_as_it_was_heard(tmp_path: Path) -> None:
    sounds = FlacFolder(tmp_path / "session.jsonl")
    sound = np.random.default_rng(1).integers(-32768, 32767, 5000, dtype=np.int16)
    sounds.keep(sounds.take(sound), 1)
    read, _ = soundfile.read(sounds_folder(tmp_path / "session.jsonl") / sound_name(1), dtype="int16")
    assert np.array_equal(read, sound)


def test_what_came_to_no_record_is_dropped(tmp_path: Path) -> None:
    sounds = FlacFolder(tmp_path / "session.jsonl")
    checksum = sounds.take(np.zeros(100, np.int16))
    sounds.drop(checksum)
    with pytest.raises(KeyError):
        sounds.keep(checksum, 1)


def test_a_full_disk_is_one_clear_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sounds = FlacFolder(tmp_path / "session.jsonl")
    checksum = sounds.take(np.zeros(100, np.int16))

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(kept_sound.os, "fsync", full)
    with pytest.raises(AssistantError, match=r"000001\.flac: the sound cannot be kept \(No space left on device\)"):
        sounds.keep(checksum, 1)


def test_the_sound_of_a_record_that_a_crash_lost_gives_way_and_a_link_is_never_followed(tmp_path: Path) -> None:
    sounds = FlacFolder(tmp_path / "session.jsonl")
    folder = sounds_folder(tmp_path / "session.jsonl")
    folder.mkdir()
    (folder / sound_name(1)).write_bytes(b"of a record that was never written")
    sounds.keep(sounds.take(np.zeros(100, np.int16)), 1)
    assert (folder / sound_name(1)).read_bytes().startswith(b"fLaC")
    other = tmp_path / "other"
    other.write_bytes(b"somebody's")
    (folder / sound_name(2)).symlink_to(other)
    sounds.keep(sounds.take(np.zeros(100, np.int16)), 2)
    assert other.read_bytes() == b"somebody's"
    with pytest.raises(AssistantError):
        kept_sound.write_new(folder / sound_name(2), b"again")


def test_file_and_folder_are_on_the_disk_before_it_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[str] = []
    monkeypatch.setattr(kept_sound.os, "fsync", lambda handle: synced.append(os.readlink(f"/proc/self/fd/{handle}")))
    kept_sound.SoundNotes(tmp_path).keep("note.flac", np.zeros(100, np.int16))
    assert synced == [str(tmp_path / "note.flac"), str(tmp_path)]
    assert (tmp_path / "note.flac").stat().st_mode & 0o777 == 0o600
