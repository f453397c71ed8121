"""Sound without PortAudio, by miniaudio, whose wheel carries all it needs but the system's own sound libraries.

It has the part of sounddevice's interface that microphone, voices and the list of devices use, so that nothing else
knows which of the two is in use. miniaudio reaches PulseAudio, ALSA or JACK by their libraries where these are there,
mixes and resamples itself, and needs no root to install. Which device the system takes where none is named is left to
the system.
"""

import threading
from collections.abc import Callable, Generator
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, Self

OWN_RATE_HZ = 48_000
"""Told for a device that names no rate of its own: any rate is made of any."""
BUFFER_MS = 60
WRITTEN_WITHIN_S = 5.0
"""A device that takes nothing for so long has failed."""
SAMPLE_BYTES = 2
NO_BACKEND = "Null"
"""Name of the backend that is taken where the system has no sound at all; its devices are none."""
SYSTEMS = "the system's"
Callback = Callable[[bytes, int, object, Any], None]


class PortAudioError(Exception):
    """A device failed; named as in sounddevice, for those who catch it."""


@dataclass(frozen=True, slots=True)
class _Device:
    """One device, for input or output."""

    name: str
    kind: str
    rate_hz: int
    id: Any
    """None for the one that the system takes."""

    def as_object(self) -> dict[str, Any]:
        """Give it as sounddevice does."""
        return {
            "name": self.name,
            "default_samplerate": float(self.rate_hz),
            "max_input_channels": 1 if self.kind == "input" else 0,
            "max_output_channels": 1 if self.kind == "output" else 0,
        }


def _devices() -> list[_Device]:
    """List all devices, those for input first."""
    import miniaudio

    try:
        found = miniaudio.Devices()
        if found.backend == NO_BACKEND:
            return []
        kinds = (("input", found.get_captures()), ("output", found.get_playbacks()))
    except miniaudio.MiniaudioError as error:
        raise PortAudioError(str(error)) from error
    return [_Device(str(one["name"]), kind, _rate_of(one), one["id"]) for kind, listed in kinds for one in listed]


def _rate_of(device: dict[str, Any]) -> int:
    return max((int(form["samplerate"]) for form in device["formats"] if form["samplerate"]), default=OWN_RATE_HZ)


def _chosen(device: int | str | None, kind: str) -> _Device:
    """Find a device by its number or a part of its name; one that several have is refused."""
    listed = _devices()
    of_kind = [one for one in listed if one.kind == kind]
    if not of_kind:
        raise PortAudioError(f"there is no device for {kind}")
    if device is None:
        return _Device(SYSTEMS, kind, OWN_RATE_HZ, None)
    if isinstance(device, int):
        found = [one for number, one in enumerate(listed) if number == device and one.kind == kind]
    else:
        exact = [one for one in of_kind if one.name == device]
        found = exact or [one for one in of_kind if device.lower() in one.name.lower()]
    if len(found) != 1:
        raise ValueError(f"{'several devices have' if found else f'no device for {kind} has'} {device!r}")
    return found[0]


class _Usual:
    """No number is known to be the system's."""

    device = {"input": -1, "output": -1}  # noqa: RUF012, as sounddevice has it


class PortableSound:
    """In place of the module sounddevice."""

    PortAudioError = PortAudioError
    default = _Usual()

    def query_devices(self, device: int | str | None = None, kind: str | None = None) -> Any:
        """List all devices, or tell of the one for a kind."""
        if kind is None:
            return [one.as_object() for one in _devices()]
        return _chosen(device, kind).as_object()

    def check_output_settings(self, *, device: int | str | None, channels: int, dtype: str) -> None:
        """Raise where there is no such output."""
        _chosen(device, "output")

    def RawInputStream(self, **settings: Any) -> "_Input":  # noqa: N802, as sounddevice has it
        """Open an input."""
        return _Input(**settings)

    def RawOutputStream(self, **settings: Any) -> "_Output":  # noqa: N802
        """Open an output."""
        return _Output(**settings)

    def _terminate(self) -> None:
        """Do nothing: devices are listed anew each time."""

    def _initialize(self) -> None:
        """Do nothing."""


def _opened(make: Callable[..., Any], **settings: Any) -> Any:
    import miniaudio

    try:
        return make(buffersize_msec=BUFFER_MS, app_name="splice-assistant", **settings)
    except miniaudio.MiniaudioError as error:
        raise PortAudioError(str(error)) from error


class _Input:
    """Gives every block to a callback, from a thread of its own."""

    def __init__(
        self,
        *,
        samplerate: int,
        blocksize: int,
        device: int | str | None,
        channels: int,
        dtype: str,
        callback: Callback,
    ) -> None:
        import miniaudio

        self._callback = callback
        self._channels = channels
        wanted = _chosen(device, "input")
        self._device = _opened(miniaudio.CaptureDevice, nchannels=channels, sample_rate=samplerate, device_id=wanted.id)
        self._taking = self._take()
        next(self._taking)

    def start(self) -> None:
        """Begin."""
        _started(self._device, self._taking)

    def close(self) -> None:
        """End."""
        self._device.close()

    def _take(self) -> Generator[None, bytes, None]:
        fine = SimpleNamespace(input_overflow=False)
        while True:
            data = yield
            self._callback(bytes(data), len(data) // (SAMPLE_BYTES * self._channels), None, fine)


class _Output:
    """Plays what is written; writing waits until nearly all of it is taken."""

    def __init__(self, *, samplerate: int, device: int | str | None, channels: int, dtype: str, latency: float) -> None:
        import miniaudio

        self._frame_bytes = SAMPLE_BYTES * channels
        self._kept_bytes = int(latency * samplerate) * self._frame_bytes
        self._waiting = bytearray()
        self._taken = threading.Condition()
        wanted = _chosen(device, "output")
        self._device = _opened(
            miniaudio.PlaybackDevice, nchannels=channels, sample_rate=samplerate, device_id=wanted.id
        )
        self._giving = self._give()
        next(self._giving)

    def __enter__(self) -> Self:
        _started(self._device, self._giving)
        return self

    def __exit__(self, *_: object) -> None:
        self._wait_for_less_than(0)
        self._device.close()

    def write(self, data: bytes) -> None:
        """Play it behind what was written before.

        Raises:
            PortAudioError: the device takes nothing.

        """
        with self._taken:
            self._waiting += data
        if not self._wait_for_less_than(self._kept_bytes):
            raise PortAudioError("it takes no sound")

    def abort(self) -> None:
        """Drop what was not played."""
        with self._taken:
            self._waiting.clear()

    def _wait_for_less_than(self, left: int) -> bool:
        with self._taken:
            return self._taken.wait_for(lambda: len(self._waiting) <= left, WRITTEN_WITHIN_S)

    def _give(self) -> Generator[bytes, int, None]:
        frames = yield b""
        while True:
            wanted = frames * self._frame_bytes
            with self._taken:
                data = bytes(self._waiting[:wanted])
                del self._waiting[:wanted]
                self._taken.notify_all()
            frames = yield data + bytes(wanted - len(data))


def _started(device: Any, generator: Generator[Any, Any, None]) -> None:
    import miniaudio

    try:
        device.start(generator)
    except miniaudio.MiniaudioError as error:
        raise PortAudioError(str(error)) from error
