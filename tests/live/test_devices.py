"""`devices` and `check` on real sound devices: what a person hears of them, and what is plainly wrong with each."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.hearing.level import Flaw
from assistant.ports import Samples
from tests.live.sound_loop import CALLS, RATE_HZ, SWITCH, WITHOUT_PORTAUDIO, SoundLoop, missing

pytestmark = [
    pytest.mark.live,
    pytest.mark.skipif(SWITCH not in os.environ, reason=f"live sound is asked for by {SWITCH}=1, as in .ci/run"),
]


def speech() -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    """Give a phrase at the microphone's rate, its peak at half of full scale."""
    voice = SpeechRenderer("gmw/en-us")
    sound = voice.render("Seven, orange red.")
    voice.close()
    wave = soxr.resample(sound.samples.astype(np.float64), sound.rate_hz, RATE_HZ)
    return np.asarray(wave / np.abs(wave).max() * 0.5)


@contextmanager
def talking(wave: "np.ndarray[tuple[int], np.dtype[np.float64]]", folder: Path) -> Iterator[SoundLoop]:
    """Say a phrase into the microphone again and again."""
    assert not missing()
    loop = SoundLoop()
    path = folder / "phrase.wav"
    soundfile.write(path, np.clip(np.tile(wave, 30), -1, 1), RATE_HZ, subtype="PCM_16")
    player = subprocess.Popen(["paplay", f"--device={CALLS}", str(path)])
    try:
        yield loop
    finally:
        player.terminate()
        player.wait()
        loop.close()


def assistant(loop: SoundLoop, *arguments: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-m", "assistant", *arguments, "--microphone", "pulse", "--speaker", "pulse"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        stdin=subprocess.DEVNULL,
        env=loop.environment,
    )


def without_portaudio(loop: SoundLoop, *arguments: str) -> "subprocess.CompletedProcess[str]":
    """Run it where `import sounddevice` fails as it does on a system without PortAudio."""
    pytest.importorskip("miniaudio", reason="there is no wheel for this machine")
    return subprocess.run(
        [sys.executable, "-m", "assistant", *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        stdin=subprocess.DEVNULL,
        env={**loop.environment, "PYTHONPATH": str(WITHOUT_PORTAUDIO)},
    )


def loud_seconds(sound: Samples) -> float:
    frames = sound[: len(sound) // 160 * 160].reshape(-1, 160).astype(np.float64)
    return float((np.sqrt((frames**2).mean(axis=1)) > 300).sum() * 160 / RATE_HZ)


def test_a_sentence_is_spoken_and_what_was_recorded_is_played_back(tmp_path: Path) -> None:
    with talking(speech(), tmp_path) as loop:
        done = assistant(loop, "devices", "--try")
        heard = loop.recorded()
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "The microphone does well."
    assert loud_seconds(heard) > 3.5, "two seconds or more of the sentence, and nearly two of what was recorded"


FLAWS = [
    (Flaw.MUTED, np.zeros_like),
    (Flaw.QUIET, lambda wave: wave / 200),
    (Flaw.CLIPPING, lambda wave: wave * 8),
    (Flaw.NARROW, lambda wave: soxr.resample(soxr.resample(wave, RATE_HZ, 8000), 8000, RATE_HZ)),
]


@pytest.mark.parametrize(("flaw", "spoilt"), FLAWS, ids=[flaw.name for flaw, _ in FLAWS])
def test_what_is_wrong_is_said_plainly(flaw: Flaw, spoilt, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    with talking(spoilt(speech()), tmp_path) as loop:
        done = assistant(loop, "devices", "--try")
    assert done.returncode == 1
    assert done.stdout.splitlines()[-1] == f"The microphone is {flaw.value}."


def test_the_exit_code_of_check_tells_whether_work_by_voice_would_run(tmp_path: Path) -> None:
    log = ("--log", str(tmp_path / "log"))
    with talking(speech(), tmp_path) as loop:
        done = assistant(loop, "check", *log)
    assert done.returncode == 0, done.stdout
    assert done.stdout.splitlines()[-1] == "Work by voice would run."
    with talking(np.zeros(RATE_HZ), tmp_path) as loop:
        done = assistant(loop, "check", *log)
    assert done.returncode == 1
    assert "Work by voice would not run, for want of: microphone." in done.stdout


def test_without_portaudio_devices_are_listed_heard_and_spoken_to(tmp_path: Path) -> None:
    with talking(speech(), tmp_path) as loop:
        listed = without_portaudio(loop, "devices")
        done = without_portaudio(loop, "devices", "--try")
        heard = loop.recorded()
        checked = without_portaudio(loop, "check", "--log", str(tmp_path / "log"))
    assert "Monitor of" in listed.stdout
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "The microphone does well."
    assert loud_seconds(heard) > 3.5
    assert checked.returncode == 0, checked.stdout


@pytest.mark.parametrize(("flaw", "spoilt"), FLAWS, ids=[flaw.name for flaw, _ in FLAWS])
def test_without_portaudio_what_is_wrong_is_said_plainly(flaw: Flaw, spoilt, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    with talking(spoilt(speech()), tmp_path) as loop:
        done = without_portaudio(loop, "devices", "--try")
    assert done.returncode == 1
    assert done.stdout.splitlines()[-1] == f"The microphone is {flaw.value}."


def test_without_portaudio_a_device_that_is_not_there_is_one_clear_line(tmp_path: Path) -> None:
    with talking(speech(), tmp_path) as loop:
        done = without_portaudio(loop, "devices", "--try", "--microphone", "elephant")
    assert done.returncode == 2
    assert done.stderr.startswith("splice-assistant: microphone: none is found (no device for input has 'elephant')")
    assert len(done.stderr.splitlines()) == 1
