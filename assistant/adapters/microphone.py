"""The microphone, by sounddevice. The callback copies a block into a bounded queue and nothing more."""

import contextlib
import queue
from collections.abc import Iterator
from typing import Any

import numpy as np

from assistant.adapters.sound_devices import import_sounddevice
from assistant.ports import BLOCK_FRAMES, SAMPLE_RATE_HZ, AssistantError, Samples

QUEUE_BLOCKS = 200
"""6.4 s: more than the slowest decode seen, so that nothing is lost while one utterance is judged."""
STALLED_S = 3.0
"""A device that gives no block for so long has failed."""


class Microphone:
    """Sound from an input device, 16 kHz mono; resampled where the device cannot do that."""

    waits = False

    def __init__(self, device: str | None = None) -> None:
        """Open the device; None is the system's default.

        Raises:
            AssistantError: there is no PortAudio, no such device, or it cannot be opened.

        """
        self._sounddevice = import_sounddevice()
        self._queue: queue.Queue[bytes | None] = queue.Queue(QUEUE_BLOCKS)
        self._lost = 0
        self._closed = False
        self._stream, self._rate_hz = self._opened(device)
        self._stream.start()

    @property
    def lost_frames(self) -> int:
        """Frames that did not fit into the queue since the last time this was asked."""
        lost, self._lost = self._lost, 0
        return lost

    def blocks(self) -> Iterator[Samples]:
        """Give blocks until `close`."""
        resample = _resampler(self._rate_hz)
        rest = np.zeros(0, np.int16)
        while not self._closed:
            try:
                data = self._queue.get(timeout=STALLED_S)
            except queue.Empty:
                raise AssistantError("microphone: no sound arrives; check that it is plugged in") from None
            if data is None:
                return
            rest = np.concatenate([rest, resample(np.frombuffer(data, np.int16))])
            while len(rest) >= BLOCK_FRAMES:
                yield rest[:BLOCK_FRAMES]
                rest = rest[BLOCK_FRAMES:]

    def close(self) -> None:
        """Stop the device."""
        if not self._closed:
            self._closed = True
            self._stream.close()
            with contextlib.suppress(queue.Full):
                self._queue.put_nowait(None)

    def _opened(self, device: str | None) -> tuple[Any, int]:
        sd = self._sounddevice
        try:
            own_rate = int(sd.query_devices(device, "input")["default_samplerate"])
        except (ValueError, sd.PortAudioError) as error:
            raise AssistantError(f"microphone: none is found ({error}); plug one in, or use --typed or keys") from error
        failure: Exception | None = None
        for rate_hz in dict.fromkeys((SAMPLE_RATE_HZ, own_rate)):
            try:
                stream = sd.RawInputStream(
                    samplerate=rate_hz,
                    blocksize=BLOCK_FRAMES * rate_hz // SAMPLE_RATE_HZ,
                    device=device,
                    channels=1,
                    dtype="int16",
                    callback=self._take,
                )
            except (ValueError, sd.PortAudioError) as error:
                failure = error
            else:
                return stream, rate_hz
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
