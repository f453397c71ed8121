"""Ways to speak: through the loudspeaker, into a file, or by the printed line alone."""

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from assistant.adapters.sound_devices import PORTAUDIO, import_sounddevice
from assistant.adapters.voice_pyttsx3 import Sound, SpeechRenderer
from assistant.dialogue.messages import DeviceFailed, Input, SpeechEnded
from assistant.errors import AssistantError

Put = Callable[[Input], None]
CHUNK_S = 0.05
"""Length played at once; an interruption takes effect after it."""
ECHO_S = 0.2
"""Time after a sentence in which its sound may still come back through the microphone."""
LATENCY_S = 0.1
"""Less runs dry on a busy machine: clicks, and a line from the driver each time."""
GAP_S = 0.3
"""Silence behind each sentence in a file."""


TICK_HZ, TICK_S, TICK_LEVEL = 880.0, 0.06, 0.1
TAIL_S = 0.4
"""Silence behind a sound: the end of a stream can be lost when it is closed. PulseAudio lost a third of a second of
a tone, and all of a tick; rendered sentences end in as much silence anyway."""


def _tick(rate_hz: int) -> Sound:
    seconds = np.arange(int(TICK_S * rate_hz)) / rate_hz
    shape = np.sin(np.pi * seconds / TICK_S) ** 2
    wave = TICK_LEVEL * 32767 * shape * np.sin(2 * np.pi * TICK_HZ * seconds)
    return Sound(wave.astype(np.int16), rate_hz)


class PrintVoice:
    """Leaves it to the screen, which prints every sentence anyway."""

    def __init__(self, put: Put) -> None:
        """Take the inbox."""
        self._put = put

    def say(self, text: str, *, interrupt: bool = False) -> None:
        """Report the end at once."""
        self._put(SpeechEnded())

    def close(self) -> None:
        """Do nothing."""


class FileVoice:
    """Appends every sentence to a WAV file."""

    def __init__(self, put: Put, renderer: SpeechRenderer, path: Path) -> None:
        """Make the file.

        Raises:
            AssistantError: it cannot be written.

        """
        import soundfile

        self._put = put
        self._renderer = renderer
        rate_hz = renderer.render("Ready.").rate_hz
        try:
            self._file = soundfile.SoundFile(str(path), "w", samplerate=rate_hz, channels=1, subtype="PCM_16")
        except (soundfile.LibsndfileError, OSError) as error:
            raise AssistantError(f"{path}: cannot be written ({error}); choose another file") from error

    def say(self, text: str, *, interrupt: bool = False) -> None:
        """Write the sentence and report the end."""
        sound = self._renderer.render(text)
        self._file.write(sound.samples)
        self._file.write(np.zeros(int(GAP_S * sound.rate_hz), np.int16))
        self._put(SpeechEnded())

    def close(self) -> None:
        """Finish the file."""
        self._file.close()
        self._renderer.close()


@dataclass(frozen=True, slots=True)
class _Item:
    """Something to play, and whether its end is reported."""

    what: str | Sound
    reported: bool = True


class SpeakerVoice:
    """Plays through an output device, in a thread of its own."""

    def __init__(self, put: Put, renderer: SpeechRenderer, device: str | None = None) -> None:
        """Open the device once, to find out at the start whether it works.

        Raises:
            AssistantError: there is no PortAudio or no output device.

        """
        self._sounddevice = import_sounddevice()
        self._put = put
        self._renderer = renderer
        self._device = int(device) if device is not None and device.isdigit() else device
        self._waiting: queue.Queue[_Item | None] = queue.Queue()
        self._tick = _tick(renderer.render("Ready.").rate_hz)
        self._interrupted = threading.Event()
        self._failed = False
        sd = self._sounddevice
        try:
            sd.check_output_settings(device=self._device, channels=1, dtype="int16")
        except (ValueError, sd.PortAudioError) as error:
            raise AssistantError(f"speaker: none is found ({error}); use --voice print") from error
        self._thread = threading.Thread(target=self._run, name="speaker", daemon=True)
        self._thread.start()

    def say(self, text: str, *, interrupt: bool = False) -> None:
        """Queue the sentence; an interrupting one cuts off those before it."""
        if interrupt:
            self._drop_waiting()
            self._interrupted.set()
        self._waiting.put(_Item(text))

    def play(self, sound: Sound) -> None:
        """Queue a sound; one `SpeechEnded` follows as for a sentence."""
        self._waiting.put(_Item(sound))

    def tick(self) -> None:
        """Play a short sound: an utterance was heard and is being judged. May be called from any thread."""
        self._waiting.put(_Item(self._tick, reported=False))

    def close(self) -> None:
        """Stop playing."""
        self._drop_waiting()
        self._interrupted.set()
        self._waiting.put(None)
        self._thread.join(timeout=2)
        self._renderer.close()

    def _drop_waiting(self) -> None:
        while True:
            try:
                dropped = self._waiting.get_nowait()
            except queue.Empty:
                return
            if dropped is not None and dropped.reported:
                self._put(SpeechEnded())

    def _run(self) -> None:
        while (item := self._waiting.get()) is not None:
            self._interrupted.clear()
            if not self._failed:
                try:
                    self._play(item)
                except Exception as error:  # whatever a driver raises, the session goes on by print
                    self._failed = True
                    self._put(DeviceFailed("speaker", str(error)))
            if item.reported:
                time.sleep(ECHO_S)
                self._put(SpeechEnded())

    def _play(self, item: _Item) -> None:
        sound = self._renderer.render(item.what) if isinstance(item.what, str) else item.what
        chunk = int(CHUNK_S * sound.rate_hz)
        stream = self._sounddevice.RawOutputStream(
            samplerate=sound.rate_hz, device=self._device, channels=1, dtype="int16", latency=LATENCY_S
        )
        with PORTAUDIO, stream:
            for start in range(0, len(sound.samples), chunk):
                if self._interrupted.is_set():
                    stream.abort()
                    return
                stream.write(sound.samples[start : start + chunk].tobytes())
            if not isinstance(item.what, str):
                self._linger(stream, chunk)

    def _linger(self, stream: Any, chunk: int) -> None:
        """Write silence behind a sound, but let nothing wait for the end of a tick."""
        for _ in range(round(TAIL_S / CHUNK_S)):
            if not self._waiting.empty():
                return
            stream.write(bytes(2 * chunk))
