"""The microphone adapter against a made-up sound library: every fault a device can have."""

import threading
import time
from collections.abc import Callable, Iterator
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.adapters import microphone as module
from assistant.adapters.microphone import Microphone
from assistant.dialogue.messages import Trouble
from assistant.errors import AssistantError
from assistant.ports import BLOCK_FRAMES, SAMPLE_RATE_HZ

Callback = Callable[[object, int, object, object], None]
OK = SimpleNamespace(input_overflow=False)


class PortAudioError(Exception):
    pass


class Library:
    """As much of sounddevice as the adapter uses."""

    PortAudioError = PortAudioError

    def __init__(self, *, rate_hz: float = 48000.0, channels: int = 2, takes: tuple[tuple[int, int], ...] = ()) -> None:
        self.present = True
        self.busy = False
        self.started: list[tuple[int, int]] = []
        self.callback: Callback | None = None
        self.fresh = 0
        self._info = {"default_samplerate": rate_hz, "name": "headset", "max_input_channels": channels}
        self._takes = takes

    def query_devices(self, device: object, kind: str) -> dict[str, float]:
        if not self.present:
            raise PortAudioError("Error querying device -1")
        return self._info

    def RawInputStream(self, **settings: object) -> "Stream":  # noqa: N802
        wanted = (int(str(settings["samplerate"])), int(str(settings["channels"])))
        if self.busy or not self.present:
            raise PortAudioError("Device unavailable")
        if self._takes and wanted not in self._takes:
            raise PortAudioError("Invalid sample rate")
        self.callback = settings["callback"]  # type: ignore[assignment]
        self.started.append(wanted)
        return Stream()

    def _terminate(self) -> None:
        self.callback = None

    def _initialize(self) -> None:
        self.fresh += 1

    def give(self, samples: "np.ndarray[tuple[int, ...], np.dtype[np.int16]]", status: object = OK) -> None:
        assert self.callback is not None
        self.callback(samples.tobytes(), len(samples), None, status)


class Stream:
    def start(self) -> None: ...
    def close(self) -> None: ...


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., tuple[Library, Microphone, list[Trouble]]]]:
    microphones = []

    def make(library: Library) -> tuple[Library, Microphone, list[Trouble]]:
        monkeypatch.setattr(module, "import_sounddevice", lambda: library)
        monkeypatch.setattr(module, "STALLED_S", 0.1)
        monkeypatch.setattr(module, "TRY_AGAIN_S", 0.05)
        troubles: list[Trouble] = []
        microphone = Microphone(None, troubles.append)
        microphones.append(microphone)
        return library, microphone, troubles

    yield make
    for microphone in microphones:
        microphone.close()


def test_16_khz_mono_comes_in_blocks(opened) -> None:
    library, microphone, _ = opened(Library())
    library.give(np.arange(BLOCK_FRAMES + 100, dtype=np.int16))
    block = next(microphone.blocks())
    assert library.started == [(SAMPLE_RATE_HZ, 1)]
    assert block.tolist() == list(range(BLOCK_FRAMES))


def test_a_stereo_device_of_another_rate_is_mixed_down_and_resampled(opened) -> None:
    library, microphone, _ = opened(Library(takes=((48000, 2),)))
    seconds = np.arange(48000) / 48000
    tone = (8000 * np.sin(2 * np.pi * 440 * seconds)).astype(np.int16)
    for start in range(0, 48000, 1536):
        library.give(np.stack([tone, tone], axis=1)[start : start + 1536])
    blocks = microphone.blocks()
    sound = np.concatenate([next(blocks) for _ in range(25)])
    spectrum = np.abs(np.fft.rfft(sound[2048:]))
    peak_hz = np.argmax(spectrum) * SAMPLE_RATE_HZ / len(sound[2048:])
    assert peak_hz == pytest.approx(440, abs=3)
    assert np.abs(sound[2048:]).max() == pytest.approx(8000, rel=0.05)


def test_a_device_that_is_unplugged_is_told_of_and_taken_up_again(opened) -> None:
    library, microphone, troubles = opened(Library())
    got: list[int] = []
    thread = threading.Thread(target=lambda: [got.append(int(block[0])) for block in microphone.blocks()], daemon=True)
    thread.start()
    library.give(np.full(BLOCK_FRAMES, 1, np.int16))
    _until(lambda: got == [1])
    library.present = False
    _until(lambda: troubles == [Trouble.LOST])
    library.present = True
    _until(lambda: troubles == [Trouble.LOST, Trouble.BACK])
    assert library.fresh >= 1, "the list of devices was read anew"
    library.give(np.full(BLOCK_FRAMES, 2, np.int16))
    _until(lambda: got == [1, 2])
    microphone.close()
    thread.join(2)
    assert not thread.is_alive()


@pytest.mark.parametrize("fault", ["absent", "busy"])
def test_a_device_that_cannot_be_opened_is_one_clear_line(fault: str, opened) -> None:
    library = Library()
    library.present, library.busy = fault != "absent", fault == "busy"
    with pytest.raises(AssistantError) as failed:
        opened(library)
    assert "\n" not in str(failed.value)
    assert ("none is found" if fault == "absent" else "close other programs") in str(failed.value)


def test_exact_silence_is_told_once_until_sound_comes_again(opened, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "SILENT_S", 1.0)
    library, microphone, troubles = opened(Library())
    silence, sound = np.zeros(BLOCK_FRAMES, np.int16), np.ones(BLOCK_FRAMES, np.int16)
    for block in [silence] * 70 + [sound] + [silence] * 40:
        library.give(block)
    blocks = microphone.blocks()
    for _ in range(111):
        next(blocks)
    assert troubles == [Trouble.SILENT, Trouble.SILENT]


def test_a_pause_of_some_seconds_is_no_silence_that_is_told(opened) -> None:
    """A gate in a headset gives exact zeros between words; nobody is silent for a third of a minute at work, and who is
    muted should not talk for a minute to nobody (common practice, no source)."""
    library, microphone, troubles = opened(Library())
    blocks = microphone.blocks()

    def give_silence(seconds: float) -> None:
        for _ in range(round(seconds * SAMPLE_RATE_HZ / BLOCK_FRAMES)):
            library.give(np.zeros(BLOCK_FRAMES, np.int16))
            next(blocks)

    give_silence(15)
    assert troubles == []
    give_silence(20)
    assert troubles == [Trouble.SILENT]


def test_what_waits_is_passed_over_on_request(opened) -> None:
    library, microphone, _ = opened(Library())
    for _ in range(5):
        library.give(np.ones(BLOCK_FRAMES, np.int16))
    microphone.pass_over()
    library.give(np.full(BLOCK_FRAMES, 2, np.int16))
    assert next(microphone.blocks())[0] == 2
    assert microphone.lost_frames == 0, "it was not lost, it was not wanted"


def test_sound_that_does_not_fit_is_counted(opened, monkeypatch: pytest.MonkeyPatch) -> None:
    library, microphone, _ = opened(Library())
    for _ in range(module.QUEUE_BLOCKS + 3):
        library.give(np.ones(BLOCK_FRAMES, np.int16))
    assert microphone.lost_frames == 3 * BLOCK_FRAMES
    assert microphone.lost_frames == 0
    next(microphone.blocks())
    library.give(np.ones(BLOCK_FRAMES, np.int16), SimpleNamespace(input_overflow=True))
    assert microphone.lost_frames == 1


def _until(holds: Callable[[], bool], within_s: float = 5.0) -> None:
    give_up = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < give_up
        time.sleep(0.01)
