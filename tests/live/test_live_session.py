"""A whole session on real sound devices: a synthetic voice is played into the microphone, the answers
are recorded from the loudspeaker, and both the log and the recorded sound are looked at.
"""

import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.app.demo import CALLER_VOICE, CALLER_WORDS_PER_MINUTE
from assistant.dialogue.messages import Check, Heard, Mismatch, PairConfirmed
from assistant.session.journal import load
from assistant.session.replay import rebuild
from tests.live.sound_loop import RATE_HZ, SWITCH, WITHOUT_PORTAUDIO, SoundLoop, missing

pytest.importorskip("ctranslate2", reason="the extra 'english' is not installed")
pytestmark = [
    pytest.mark.live,
    pytest.mark.english,
    pytest.mark.skipif(SWITCH not in os.environ, reason=f"live sound is asked for by {SWITCH}=1, as in .ci/run"),
]
MOST_TRIES = 4
SILENCE_S = 1.0
"""Longer than the pauses inside an answer."""


class Splicer:
    """Calls, and waits for the answer as a person does."""

    def __init__(self, loop: SoundLoop, session: "subprocess.Popen[str]", folder: Path) -> None:
        self._loop = loop
        self._session = session
        self._path = folder / "call.wav"
        self._voice = SpeechRenderer(CALLER_VOICE, CALLER_WORDS_PER_MINUTE)
        self._answers: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def close(self) -> None:
        self._voice.close()
        self._reader.join(5)
        if self._session.stdout is not None:
            self._session.stdout.close()

    def _read(self) -> None:
        assert self._session.stdout is not None
        for line in self._session.stdout:
            if line.startswith("< "):
                self._answers.put(line[2:].strip())

    def next_answer(self, within: float) -> str:
        """Give the next answer, or nothing when none comes in time."""
        try:
            return self._answers.get(timeout=within)
        except queue.Empty:
            return ""

    def call(self, words: str) -> str:
        """Say it, say yes when asked back, say it again when told to; give the answer."""
        said = words
        for _ in range(MOST_TRIES):
            self._loop.wait_silent(SILENCE_S)
            sound = self._voice.render(said)
            soundfile.write(self._path, sound.samples, sound.rate_hz)
            self._loop.play(self._path)
            answer = self.next_answer(within=5)
            if answer.startswith("Did you say"):
                said = "yes" if answer == f"Did you say, {words}?" else words
            elif answer and not answer.startswith("Say "):
                return answer
        raise AssertionError(f"{words!r} was never taken: {answer}")


@contextmanager
def session(
    first: int, folder: Path, *, own_voice: bool = False, portaudio: bool = True
) -> Iterator[tuple[Splicer, SoundLoop]]:
    """Start the assistant on the sound devices, and end it in order."""
    assert not missing()
    loop = SoundLoop(own_voice=own_voice)
    command = [sys.executable, "-u", "-m", "assistant", "work", "--cable", "25", "--from", str(first)]
    process = subprocess.Popen(
        [*command, "--log", str(folder), *(("--microphone", "pulse", "--speaker", "pulse") if portaudio else ())],
        stdout=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        text=True,
        env=loop.environment if portaudio else {**loop.environment, "PYTHONPATH": str(WITHOUT_PORTAUDIO)},
    )
    splicer = Splicer(loop, process, folder)
    try:
        yield splicer, loop
    finally:
        process.terminate()
        process.wait(20)
        splicer.close()
        loop.close()
    assert process.returncode == 0


def test_pairs_are_heard_answered_aloud_and_logged(tmp_path: Path) -> None:
    answers, spoken_s = [], []
    with session(21, tmp_path) as (splicer, loop):
        assert splicer.next_answer(within=30).endswith("Next two one, blue violet.")
        time.sleep(1.0)  # the voice begins to speak
        for call in ("blue violet", "orange violet", "brown violet", "green violet"):
            before = loop.frames()
            answers.append(splicer.call(call))
            time.sleep(1.0)
            loop.wait_silent(SILENCE_S)
            spoken_s.append(_seconds_of_sound(loop.recorded(before)))
    assert answers == [
        "Two one, blue violet, confirmed. Next two two, orange violet.",
        "Two two, orange violet, confirmed. Next two three, green violet.",
        "Not logged. Heard two four, brown violet. Expected two three, green violet.",
        "Two three, green violet, confirmed. Next two four, brown violet.",
    ]
    records = load(next(tmp_path.glob("*.jsonl"))).records
    facts = [fact for record in records for fact in record.facts]
    assert [fact.pair for fact in facts if isinstance(fact, PairConfirmed)] == [21, 22, 23]
    assert all(fact.how is Check.COLOURS for fact in facts if isinstance(fact, PairConfirmed))
    assert [fact.heard for fact in facts if isinstance(fact, Mismatch)] == [(24,)]
    assert rebuild(records).expected == 24
    assert all(seconds > 1.5 for seconds in spoken_s), spoken_s


def test_without_portaudio_pairs_are_heard_answered_aloud_and_logged_too(tmp_path: Path) -> None:
    pytest.importorskip("miniaudio", reason="there is no wheel for this machine")
    with session(21, tmp_path, portaudio=False) as (splicer, loop):
        assert splicer.next_answer(within=30).endswith("Next two one, blue violet.")
        time.sleep(1.0)
        before = loop.frames()
        answers = [splicer.call(call) for call in ("blue violet", "brown violet")]
        time.sleep(1.0)
        loop.wait_silent(SILENCE_S)
        assert _seconds_of_sound(loop.recorded(before)) > 4.0
    assert answers == [
        "Two one, blue violet, confirmed. Next two two, orange violet.",
        "Not logged. Heard two four, brown violet. Expected two two, orange violet.",
    ]
    facts = [fact for record in load(next(tmp_path.glob("*.jsonl"))).records for fact in record.facts]
    assert [fact.pair for fact in facts if isinstance(fact, PairConfirmed)] == [21]


def test_the_assistants_own_voice_never_becomes_an_entry(tmp_path: Path) -> None:
    """Every answer names the next pair aloud; here all of it is played into the microphone."""
    with session(7, tmp_path, own_voice=True) as (splicer, loop):
        assert splicer.next_answer(within=30).endswith("Next seven, orange red.")
        time.sleep(1.0)
        for call in ("orange red", "green red"):
            assert "confirmed" in splicer.call(call)
            time.sleep(1.0)
            loop.wait_silent(SILENCE_S)
        time.sleep(3.0)
    records = load(next(tmp_path.glob("*.jsonl"))).records
    facts = [fact for record in records for fact in record.facts]
    assert [fact.pair for fact in facts if isinstance(fact, PairConfirmed)] == [7, 8]
    heard = [record.input.words for record in records if isinstance(record.input, Heard)]
    assert set(heard) <= {"orange red", "green red", "yes"}


def _seconds_of_sound(samples: "np.ndarray[tuple[int, ...], np.dtype[np.int16]]") -> float:
    frames = samples[: len(samples) // 160 * 160].reshape(-1, 160).astype(np.float64)
    return float((np.sqrt((frames**2).mean(axis=1)) > 300).sum() * 160 / RATE_HZ)
