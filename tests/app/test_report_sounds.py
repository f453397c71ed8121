"""Which sounds a page carries: the most telling first, only those that are as recorded, the rest as files beside."""

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from assistant.adapters.kept_sound import FlacFolder, sound_name, sounds_folder
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.app import report
from assistant.app.cli import main
from assistant.dialogue.messages import Heard
from assistant.ports import SAMPLE_RATE_HZ
from assistant.session.journal import load
from tests.account.sessions import Session
from tests.app.test_replay import heard

INSIDE = re.compile(r'"data:audio/flac;base64,')
BESIDE = re.compile(r'"(a\.sounds/\d+\.flac)"')


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """One mismatch, one confirmation, one entry taken back, with their sounds."""
    sounds = FlacFolder(tmp_path / "a.jsonl")
    session = Session(cable=25, keeps_sound=True)
    for words in ("nine brown red", "one blue white", "undo that"):
        checksum = sounds.take(np.random.default_rng(1).integers(-99, 99, 4000, dtype=np.int16))
        session.put(heard(words, checksum))
        sounds.keep(checksum, len(session.records))
    return session.write(tmp_path / "a.jsonl")


def page(log: Path) -> str:
    out = log.with_name("page.html")
    assert main(["report", str(log), "-o", str(out)]) == 0
    return out.read_text(encoding="utf-8")


def test_all_that_fits_is_inside(log: Path) -> None:
    text = page(log)
    assert "Sounds: 3 of 3 in this page" in text
    assert not BESIDE.search(text)


def test_what_does_not_fit_lies_beside_and_the_mismatch_comes_first(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = (sounds_folder(log) / sound_name(2)).stat().st_size
    monkeypatch.setattr(report, "MOST_SOUND_BYTES", one)
    text = page(log)
    assert "Sounds: 1 of 3 in this page" in text
    assert len(INSIDE.findall(text)) == 1, "the mismatch"
    assert set(BESIDE.findall(text)) == {"a.sounds/000003.flac", "a.sounds/000004.flac"}


def test_a_changed_or_lost_sound_is_no_evidence(log: Path) -> None:
    (sounds_folder(log) / sound_name(2)).write_bytes(b"other")
    (sounds_folder(log) / sound_name(4)).unlink()
    text = page(log)
    assert "Sounds: 1 of 1 in this page" in text, "that of record 3"
    assert len(INSIDE.findall(text)) == 1


def test_a_session_keeps_what_it_heard(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From a sound file through the real detector and PocketSphinx to FLAC beside the log."""
    voice = SpeechRenderer()
    spoken = voice.render("orange violet")
    voice.close()
    wave = soxr.resample(spoken.samples.astype(np.float32), spoken.rate_hz, SAMPLE_RATE_HZ)
    quiet = np.random.default_rng(0).normal(0, 12, SAMPLE_RATE_HZ)
    file = tmp_path / "calls.wav"
    soundfile.write(file, np.concatenate([quiet, wave, quiet, quiet]).astype(np.int16), SAMPLE_RATE_HZ)
    options = ["--cable", "25", "--audio", str(file), "--ears", "sphinx", "--voice", "print", "--untuned"]
    folder = tmp_path / "logs"
    assert main(["work", *options, "--keep-sound", "--log", str(folder), "--person", "one", "--place", "pole 7"]) == 0
    assert "Every utterance is kept as sound with the log." in capsys.readouterr().out
    (log,) = folder.glob("*.jsonl")
    records = load(log).records
    assert records[0].input.who.microphone == "calls.wav"  # type: ignore[union-attr]
    kept = [record for record in records if isinstance(record.input, Heard)]
    assert kept
    assert sorted(path.name for path in sounds_folder(log).iterdir()) == [sound_name(r.number) for r in kept]
    assert main(["replay", str(log), "--check"]) == 0
    assert f"{len(kept)} sounds are as recorded" in capsys.readouterr().out
