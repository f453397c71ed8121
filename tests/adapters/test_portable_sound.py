"""Which device is meant where the system has no PortAudio, and how what is written is taken."""

from types import SimpleNamespace

import pytest

from assistant.adapters import portable_sound as module
from assistant.adapters.portable_sound import PortableSound, PortAudioError

LISTED = [
    module._Device("Headset", "input", 16000, "a"),
    module._Device("Headset of the van", "input", 8000, "b"),
    module._Device("Headset", "output", 48000, "c"),
]


@pytest.fixture
def sound(monkeypatch: pytest.MonkeyPatch) -> PortableSound:
    monkeypatch.setattr(module, "_devices", lambda: LISTED)
    return PortableSound()


@pytest.mark.parametrize(
    ("wanted", "kind", "name", "rate_hz"),
    [
        ("Headset", "input", "Headset", 16000),
        ("van", "input", "Headset of the van", 8000),
        (1, "input", "Headset of the van", 8000),
        (2, "output", "Headset", 48000),
        (None, "output", "the system's", 48000),
    ],
)
def test_a_device_is_found_by_number_by_name_or_by_a_part_that_one_alone_has(
    wanted: int | str | None, kind: str, name: str, rate_hz: int, sound: PortableSound
) -> None:
    found = sound.query_devices(wanted, kind)
    assert (found["name"], found["default_samplerate"]) == (name, rate_hz)


@pytest.mark.parametrize(
    ("wanted", "kind"), [("head", "input"), ("speaker", "output"), (2, "input"), (0, "output"), (9, "input")]
)
def test_what_several_have_or_none_is_refused(wanted: int | str, kind: str, sound: PortableSound) -> None:
    with pytest.raises(ValueError, match=r"several devices have|no device for"):
        sound.query_devices(wanted, kind)


def test_without_any_device_even_the_systems_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_devices", list)
    with pytest.raises(PortAudioError, match="no device for output"):
        PortableSound().check_output_settings(device=None, channels=1, dtype="int16")


class Device:
    """As much of a player of miniaudio as is used: what it takes is kept."""

    def __init__(self, **_: object) -> None:
        self.taken = b""

    def start(self, giving) -> None:  # type: ignore[no-untyped-def]
        self.giving = giving

    def take(self, frames: int) -> None:
        self.taken += self.giving.send(frames)

    def close(self) -> None:
        pass


def test_what_is_written_is_taken_in_order_with_silence_behind_it(
    sound: PortableSound, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("miniaudio", reason="there is no wheel for this machine")
    device = Device()
    monkeypatch.setattr(module, "_opened", lambda *_, **__: device)
    stream = sound.RawOutputStream(samplerate=16000, device=None, channels=1, dtype="int16", latency=1.0)
    with stream:
        stream.write(b"abcd")
        stream.write(b"efgh")
        for frames in (1, 2, 3):
            device.take(frames)
    assert device.taken == b"abcdefgh" + bytes(4)


def test_a_device_that_takes_nothing_has_failed(sound: PortableSound, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("miniaudio", reason="there is no wheel for this machine")
    monkeypatch.setattr(module, "_opened", lambda *_, **__: SimpleNamespace(start=lambda _: None, close=lambda: None))
    monkeypatch.setattr(module, "WRITTEN_WITHIN_S", 0.05)
    stream = sound.RawOutputStream(samplerate=16000, device=None, channels=1, dtype="int16", latency=0.0)
    with stream, pytest.raises(PortAudioError, match="takes no sound"):
        stream.write(b"abcd")
