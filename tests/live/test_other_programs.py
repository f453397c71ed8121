"""Recording one's own words, and a session replayed by ear, on real sound devices."""

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.adapters.kept_sound import FlacFolder
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from tests.account.sessions import Session
from tests.app.test_replay import heard
from tests.bench.trials import Recordings
from tests.live.sound_loop import RATE_HZ, SWITCH, SoundLoop, missing

pytestmark = [
    pytest.mark.live,
    pytest.mark.skipif(SWITCH not in os.environ, reason=f"live sound is asked for by {SWITCH}=1, as in .ci/run"),
]
LOUD_RMS = 300.0


def seconds_of_sound(sound: np.ndarray) -> float:
    frames = sound[: len(sound) // 160 * 160].reshape(-1, 160).astype(np.float64)
    return 0.01 * int(np.sum(np.sqrt((frames**2).mean(axis=1)) > LOUD_RMS))


def test_own_words_are_recorded_in_the_form_that_the_benchmark_reads(tmp_path: Path) -> None:
    assert not missing()
    loop, voice = SoundLoop(), SpeechRenderer()
    words = ["blue", "seven", "orange"]
    folder = tmp_path / "own"
    command = [sys.executable, "-u", "-m", "tests.bench.record", str(folder), "--speaker", "me", "--rounds", "1"]
    process = subprocess.Popen(
        [*command, "--microphone", "pulse", "--words", *words],
        stdout=subprocess.PIPE,
        text=True,
        env=loop.environment,
    )
    try:
        assert process.stdout is not None
        for line in process.stdout:
            word = re.sub(r".*: ", "", line).strip()
            time.sleep(1.0)
            sound = voice.render(word)
            soundfile.write(tmp_path / "word.wav", sound.samples, sound.rate_hz)
            loop.play(tmp_path / "word.wav")
        assert process.wait(30) == 0
    finally:
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()
        voice.close()
        loop.close()
    found = Recordings(folder).words["me"]
    assert sorted(found) == sorted(words)
    assert all(seconds_of_sound((32768 * found[word][0].wave()).astype(np.int16)) > 0.15 for word in words)


def test_a_session_is_replayed_by_ear(tmp_path: Path) -> None:
    """Answers are spoken, and what was heard is played: a tone of one second stands for it."""
    assert not missing()
    log = tmp_path / "a.jsonl"
    sounds, session = FlacFolder(log), Session(cable=25, keeps_sound=True)
    checksum = sounds.take((9000 * np.sin(np.arange(RATE_HZ) / 5)).astype(np.int16))
    session.put(heard("one blue white", checksum))
    sounds.keep(checksum, len(session.records))
    session.write(log)
    spoken_s = {}
    for way in ("--listen", "--speak"):
        loop = SoundLoop()
        try:
            subprocess.run(
                [sys.executable, "-m", "assistant", "replay", str(log), "--from", "1", way, "--speaker", "pulse"],
                check=True,
                timeout=60,
                env=loop.environment,
                stdout=subprocess.DEVNULL,
            )
            loop.wait_silent(1.0)
            spoken_s[way] = seconds_of_sound(loop.recorded())
        finally:
            loop.close()
    assert 0.7 < spoken_s["--listen"] < 1.2
    assert spoken_s["--speak"] > 1.5
