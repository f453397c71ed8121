"""The voices against a made-up sound library: when a sentence begins, when it ends, and what an interruption does."""

import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from assistant.adapters import voices as module
from assistant.adapters.tones import Sound
from assistant.adapters.voices import CHUNK_S, ECHO_S, TAIL_S, FileVoice, PrintVoice, SpeakerVoice
from assistant.dialogue.messages import DeviceFailed, Input, SpeechEnded
from assistant.errors import AssistantError

RATE_HZ = 1000
WAIT_S = 5.0


class Renderer:
    """Sentences of 0.2 s; one may be made to wait or to fail."""

    def __init__(self) -> None:
        self.go_on = threading.Event()
        self.go_on.set()
        self.asked: list[str] = []
        self.fails = False

    def render(self, text: str, voice: str | None = None) -> Sound:
        self.asked.append(text)
        assert self.go_on.wait(WAIT_S)
        if self.fails:
            raise AssistantError("voice: gone")
        return Sound(np.ones(RATE_HZ // 5, np.int16), RATE_HZ)

    def close(self) -> None:
        pass


class Library:
    """As much of sounddevice as the voice uses; writes all that happens on one tape."""

    PortAudioError = OSError

    def __init__(self) -> None:
        self.tape: list[str] = []
        self.fails = False
        self.go_on = threading.Event()
        self.go_on.set()

    def check_output_settings(self, **_: object) -> None:
        pass

    def RawOutputStream(self, **_: object) -> "Library":  # noqa: N802
        if self.fails:
            raise OSError("unplugged")
        return self

    def __enter__(self) -> "Library":
        return self

    def __exit__(self, *_: object) -> None:
        self.tape.append("end")

    def write(self, _: bytes) -> None:
        self.tape.append("sound")
        assert self.go_on.wait(WAIT_S)

    def abort(self) -> None:
        self.tape.append("abort")


class Stage:
    """A speaker voice with all around it made up."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.library, self.renderer = Library(), Renderer()
        self.tape = self.library.tape
        monkeypatch.setattr(module, "import_sounddevice", lambda: self.library)
        self.voice = SpeakerVoice(self.put, self.renderer, pause=self.pause)  # type: ignore[arg-type]

    def put(self, came: Input) -> None:
        self.tape.append(type(came).__name__)

    def pause(self, seconds: float) -> None:
        self.tape.append(f"pause {seconds}")

    def say(self, text: str, *, interrupt: bool = False) -> None:
        self.voice.say(
            text,
            begun=lambda: self.tape.append(f"begun {text}"),
            told=lambda: self.tape.append(f"told {text}"),
            interrupt=interrupt,
        )

    def wait_for(self, what: str, count: int = 1) -> None:
        _until(lambda: self.tape.count(what) >= count)


@pytest.fixture
def stage(monkeypatch: pytest.MonkeyPatch) -> Stage:
    return Stage(monkeypatch)


def test_a_sentence_begins_with_its_first_sound_and_ends_when_its_echo_is_over(stage: Stage) -> None:
    """An echo in a closure or a cabin is over within some tenths of a second (common practice, no source)."""
    stage.say("one")
    stage.wait_for("SpeechEnded")
    silence = ["sound"] * round(TAIL_S / CHUNK_S)
    assert stage.tape == ["begun one", *["sound"] * 4, "told one", *silence, "end", "SpeechEnded"]
    assert 0.1 <= ECHO_S <= TAIL_S <= 0.5


def test_nothing_begins_while_it_is_rendered(stage: Stage) -> None:
    stage.renderer.go_on.clear()
    stage.say("one")
    _until(lambda: "one" in stage.renderer.asked)
    assert stage.tape == []
    stage.renderer.go_on.set()
    stage.wait_for("SpeechEnded")
    assert stage.tape[0] == "begun one"


def test_a_sentence_that_is_interrupted_before_it_begins_never_begins(stage: Stage) -> None:
    stage.renderer.go_on.clear()
    stage.say("one")
    _until(lambda: "one" in stage.renderer.asked)
    stage.say("two")
    stage.say("three", interrupt=True)
    stage.renderer.go_on.set()
    stage.wait_for("SpeechEnded", 3)
    begun = [event for event in stage.tape if event.startswith("begun")]
    assert begun == ["begun three"]
    assert stage.tape.count("SpeechEnded") == 3, "one end for each sentence"
    assert "two" not in stage.renderer.asked, "what is out of date is not rendered"


def test_a_sentence_that_is_interrupted_is_cut_off(stage: Stage) -> None:
    stage.library.go_on.clear()
    stage.say("one")
    stage.wait_for("sound")
    stage.say("two", interrupt=True)
    stage.library.go_on.set()
    stage.wait_for("SpeechEnded", 2)
    first, second = stage.tape[: stage.tape.index("begun two")], stage.tape[stage.tape.index("begun two") :]
    sentence_and_silence = 4 + round(TAIL_S / CHUNK_S)
    assert (first.count("sound"), first.count("abort"), second.count("sound")) == (1, 1, sentence_and_silence)


def test_where_the_speaker_fails_a_sentence_begins_as_it_is_shown(stage: Stage) -> None:
    stage.library.fails = True
    stage.say("one")
    stage.say("two")
    stage.wait_for("SpeechEnded", 2)
    assert stage.tape == [
        "DeviceFailed",
        "begun one",
        "told one",
        "SpeechEnded",
        "begun two",
        "told two",
        "SpeechEnded",
    ]


def test_a_failure_in_the_middle_of_a_sentence_begins_it_no_second_time(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: bytes) -> None:
        raise OSError("unplugged")

    monkeypatch.setattr(stage.library, "write", fail)
    stage.say("one")
    stage.wait_for("SpeechEnded")
    assert stage.tape == ["begun one", "end", "DeviceFailed", "SpeechEnded"]


def test_closing_ends_what_is_said(stage: Stage) -> None:
    stage.library.go_on.clear()
    stage.say("one")
    stage.wait_for("sound")
    threading.Timer(0.1, stage.library.go_on.set).start()
    stage.voice.close()
    assert stage.tape.count("sound") == 1


def test_print_begins_and_ends_at_once() -> None:
    came: list[object] = []
    PrintVoice(came.append).say("one", begun=lambda: came.append("begun"))
    assert came == ["begun", SpeechEnded()]


def test_a_file_that_can_be_written_no_more_is_told_once_and_the_session_goes_on(tmp_path: Path) -> None:
    came: list[object] = []
    renderer = Renderer()
    voice = FileVoice(came.append, renderer, tmp_path / "a.wav")  # type: ignore[arg-type]
    renderer.fails = True
    for _ in range(2):
        voice.say("one", begun=lambda: came.append("begun"))
    voice.close()
    assert came == ["begun", DeviceFailed("voice", "voice: gone"), SpeechEnded(), "begun", SpeechEnded()]


def _until(holds: Callable[[], bool]) -> None:
    waiting = threading.Event()
    for _ in range(int(WAIT_S * 100)):
        if holds():
            return
        waiting.wait(0.01)
    pytest.fail("it never came")
