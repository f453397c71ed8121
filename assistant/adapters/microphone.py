"""The microphone, by sounddevice. The callback copies a block into a bounded queue and nothing more.

A device that breaks or is unplugged is told of, and tried again until it is back.
"""

import contextlib
import queue
import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from assistant.adapters.sound_devices import PORTAUDIO, import_sounddevice
from assistant.dialogue.messages import Trouble
from assistant.errors import AssistantError
from assistant.ports import BLOCK_FRAMES, SAMPLE_RATE_HZ, Samples

QUEUE_BLOCKS = 200
"""6.4 s: more than the slowest decode seen, so that nothing is lost while one utterance is judged."""
STALLED_S = 3.0
"""A device that gives no block for so long has failed."""
TRY_AGAIN_S = 2.0
SILENT_S = 20.0
"""No microphone gives exact zeros for so long unless it is muted."""
Troubled = Callable[[Trouble], None]
"""Told what is wrong with the device, once each time, and when it is back."""


class Microphone:
    """Sound from an input device, 16 kHz mono; mixed down and resampled where the device cannot do that."""

    waits = False

    def __init__(self, device: str | None = None, troubled: Troubled = lambda _: None) -> None:
        """Open the device; None is the system's default.

        Raises:
            AssistantError: there is no PortAudio, no such device, or it cannot be opened.

        """
        self._sounddevice = import_sounddevice()
        self._device = int(device) if device is not None and device.isdigit() else device
        self._troubled = troubled
        self._queue: queue.Queue[bytes | None] = queue.Queue(QUEUE_BLOCKS)
        self._lost = 0
        self._closed = False
        self._silent_frames = 0
        self._silence_told = False
        self._rate_hz, self._channels = SAMPLE_RATE_HZ, 1
        self.name = ""
        self.device_rate_hz = SAMPLE_RATE_HZ
        """The device's own rate, of which ours is made."""
        self._stream = self._opened()

    @property
    def lost_frames(self) -> int:
        """Frames that did not fit into the queue since the last time this was asked."""
        lost, self._lost = self._lost, 0
        return lost

    def blocks(self) -> Iterator[Samples]:
        """Give blocks until `close`; while the device is gone, wait for it."""
        while not self._closed:
            yield from self._blocks_until_stalled()
            if not self._closed:
                self._wait_for_device()

    def pass_over(self) -> None:
        """Drop the blocks that wait."""
        with contextlib.suppress(queue.Empty):
            while True:
                self._queue.get_nowait()

    def close(self) -> None:
        """Stop the device."""
        if not self._closed:
            self._closed = True
            self._stream.close()
            with contextlib.suppress(queue.Full):
                self._queue.put_nowait(None)

    def _blocks_until_stalled(self) -> Iterator[Samples]:
        resample = _resampler(self._rate_hz)
        rest = np.zeros(0, np.int16)
        while not self._closed:
            try:
                data = self._queue.get(timeout=STALLED_S)
            except queue.Empty:
                return
            if data is None:
                return
            sound = np.frombuffer(data, np.int16).reshape(-1, self._channels)
            mono = sound[:, 0] if self._channels == 1 else np.asarray(sound.mean(axis=1), dtype=np.int16)
            rest = np.concatenate([rest, resample(mono)])
            self._watch_silence(mono)
            while len(rest) >= BLOCK_FRAMES:
                yield rest[:BLOCK_FRAMES]
                rest = rest[BLOCK_FRAMES:]

    def _watch_silence(self, mono: Samples) -> None:
        self._silent_frames = 0 if mono.any() else self._silent_frames + len(mono)
        if not self._silence_told and self._silent_frames > SILENT_S * self._rate_hz:
            self._silence_told = True
            self._troubled(Trouble.SILENT)
        if self._silence_told and not self._silent_frames:
            self._silence_told = False

    def _wait_for_device(self) -> None:
        """Open the device again as soon as it is there; the list of devices is read anew each time."""
        self._troubled(Trouble.LOST)
        sd = self._sounddevice
        while not self._closed:
            time.sleep(TRY_AGAIN_S)
            with PORTAUDIO, contextlib.suppress(Exception):  # whatever a driver raises, it is tried again
                self._stream.close()
                sd._terminate()
                sd._initialize()
                self._stream = self._opened()
                break
        if not self._closed:
            self._troubled(Trouble.BACK)

    def _opened(self) -> Any:
        sd = self._sounddevice
        try:
            own = sd.query_devices(self._device, "input")
        except (ValueError, sd.PortAudioError) as error:
            raise AssistantError(f"microphone: none is found ({error}); plug one in, or use --typed or keys") from error
        self.name, self.device_rate_hz = str(own["name"]), int(own["default_samplerate"])
        failure: Exception | None = None
        own_rate_hz, own_channels = int(own["default_samplerate"]), max(1, min(2, int(own["max_input_channels"])))
        for rate_hz, channels in dict.fromkeys(
            ((SAMPLE_RATE_HZ, 1), (SAMPLE_RATE_HZ, own_channels), (own_rate_hz, 1), (own_rate_hz, own_channels))
        ):
            try:
                stream = sd.RawInputStream(
                    samplerate=rate_hz,
                    blocksize=BLOCK_FRAMES * rate_hz // SAMPLE_RATE_HZ,
                    device=self._device,
                    channels=channels,
                    dtype="int16",
                    callback=self._take,
                )
                stream.start()
            except (ValueError, sd.PortAudioError) as error:
                failure = error
            else:
                self._rate_hz, self._channels = rate_hz, channels
                return stream
        raise AssistantError(f"microphone: cannot be opened ({failure}); close other programs that use it")

    def _take(self, data: Any, frames: int, _time: Any, status: Any) -> None:
        if status.input_overflow:
            self._lost += 1
        try:
            self._queue.put_nowait(bytes(data))
        except queue.Full:
            self._lost += frames


def _resampler(rate_hz: int) -> Any:
    if rate_hz == SAMPLE_RATE_HZ:
        return lambda samples: samples
    import soxr

    return soxr.ResampleStream(rate_hz, SAMPLE_RATE_HZ, 1, dtype="int16").resample_chunk
