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
from assistant.adapters.tones import Sound, at_loudness, behind, logged, tick, without_tail
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.dialogue.messages import DeviceFailed, Input, SpeechEnded
from assistant.errors import AssistantError
from assistant.ports import Told, untold

Put = Callable[[Input], None]
CHUNK_S = 0.05
"""Length played at once; an interruption takes effect after it."""
LATENCY_S = 0.1
"""Less runs dry on a busy machine: clicks, and a line from the driver each time."""
GAP_S = 0.3
"""Silence behind each sentence in a file."""


ECHO_S = 0.2
"""Time after a sentence was cut off in which its sound may still come back through the microphone."""
TAIL_S = 0.4
"""Silence behind a sound, which lets it sound out: the end of a stream can be lost when it is closed. PulseAudio lost a
third of a second of a tone, and all of a tick. Its echo is over then too."""


class PrintVoice:
    """Leaves it to the screen, which prints every sentence anyway."""

    def __init__(self, put: Put) -> None:
        """Take the inbox."""
        self._put = put

    def tune(self, *, words_a_minute: int, loudness: int) -> None:
        """Do nothing."""

    def say(
        self, text: str, *, tone: bool = False, begun: Told = untold, told: Told = untold, interrupt: bool = False
    ) -> None:
        """Report beginning and end at once."""
        begun()
        told()
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
        self._loudness = 100
        self._failed = False
        rate_hz = renderer.render("Ready.").rate_hz
        try:
            self._file = soundfile.SoundFile(str(path), "w", samplerate=rate_hz, channels=1, subtype="PCM_16")
        except (soundfile.LibsndfileError, OSError) as error:
            raise AssistantError(f"{path}: cannot be written ({error}); choose another file") from error

    def tune(self, *, words_a_minute: int, loudness: int) -> None:
        """Take the rate and the loudness of what is written next."""
        self._renderer.words_per_minute = words_a_minute
        self._loudness = loudness

    def say(
        self, text: str, *, tone: bool = False, begun: Told = untold, told: Told = untold, interrupt: bool = False
    ) -> None:
        """Report the beginning, since it is shown already, write the sentence and report the end."""
        begun()
        told()
        if not self._failed:
            try:
                sound = _spoken(self._renderer, text, tone=tone, loudness=self._loudness)
                self._file.write(sound.samples)
                self._file.write(np.zeros(int(GAP_S * sound.rate_hz), np.int16))
            except (AssistantError, OSError, RuntimeError) as error:  # as a full disk: the session goes on by print
                self._failed = True
                self._put(DeviceFailed("voice", str(error)))
        self._put(SpeechEnded())

    def close(self) -> None:
        """Finish the file."""
        self._file.close()
        self._renderer.close()


def _spoken(renderer: SpeechRenderer, text: str, *, tone: bool, loudness: int) -> Sound:
    """Give a sentence as it is to be heard, behind the tone where that is wanted."""
    sentence = without_tail(renderer.render(text))
    return at_loudness(behind(logged(sentence.rate_hz), sentence) if tone else sentence, loudness)


@dataclass(frozen=True, slots=True)
class _Item:
    """Something to play, and whether its end is reported."""

    what: str | Sound
    interruptions: int
    """How often the voice had been interrupted when this was asked for; after one more it is out of date."""
    tone: bool = False
    """Whether a sentence has the tone before it."""
    begun: Told = untold
    told: Told = untold
    reported: bool = True


class SpeakerVoice:
    """Plays through an output device, in a thread of its own."""

    def __init__(
        self,
        put: Put,
        renderer: SpeechRenderer,
        device: str | None = None,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        """Open the device once, to find out at the start whether it works; `pause` waits so many seconds.

        Raises:
            AssistantError: there is no PortAudio or no output device.

        """
        self._sounddevice = import_sounddevice()
        self._put = put
        self._renderer = renderer
        self._device = int(device) if device is not None and device.isdigit() else device
        self._pause = pause
        self._waiting: queue.Queue[_Item | None] = queue.Queue()
        self._tick = tick(renderer.render("Ready.").rate_hz)
        self._loudness = 100
        self._interruptions = 0
        self._turning = threading.Lock()
        """Held while a sentence begins, and while it is interrupted: it has begun or it never does."""
        self._begun: _Item | None = None
        self._failed = False
        sd = self._sounddevice
        try:
            sd.check_output_settings(device=self._device, channels=1, dtype="int16")
        except (ValueError, sd.PortAudioError) as error:
            raise AssistantError(f"speaker: none is found ({error}); use --voice print") from error
        self._thread = threading.Thread(target=self._run, name="speaker", daemon=True)
        self._thread.start()

    def tune(self, *, words_a_minute: int, loudness: int) -> None:
        """Take the rate and the loudness of what is played next."""
        self._renderer.words_per_minute = words_a_minute
        self._loudness = loudness

    def say(
        self, text: str, *, tone: bool = False, begun: Told = untold, told: Told = untold, interrupt: bool = False
    ) -> None:
        """Queue the sentence; an interrupting one cuts off those before it."""
        if interrupt:
            self._interrupt()
        self._waiting.put(_Item(text, self._interruptions, tone, begun, told))

    def play(self, sound: Sound) -> None:
        """Queue a sound; one `SpeechEnded` follows as for a sentence."""
        self._waiting.put(_Item(sound, self._interruptions))

    def tick(self) -> None:
        """Play a short sound: an utterance was heard and is being judged. May be called from any thread."""
        self._waiting.put(_Item(self._tick, self._interruptions, reported=False))

    def close(self) -> None:
        """Stop playing."""
        self._interrupt()
        self._waiting.put(None)
        self._thread.join(timeout=2)
        self._renderer.close()

    def _interrupt(self) -> None:
        with self._turning:
            self._interruptions += 1

    def _run(self) -> None:
        while (item := self._waiting.get()) is not None:
            if not self._failed:
                try:
                    self._play(item)
                except Exception as error:  # whatever a driver raises, the session goes on by print
                    self._failed = True
                    self._put(DeviceFailed("speaker", str(error)))
            if self._failed and self._begun is not item and self._begins(item):  # shown, and nothing speaks any more
                item.told()
            if item.reported:
                self._put(SpeechEnded())

    def _begins(self, item: _Item) -> bool:
        """Tell that it begins, unless it has been interrupted."""
        with self._turning:
            if item.interruptions != self._interruptions:
                return False
            if self._begun is not item:
                self._begun = item
                item.begun()
            return True

    def _play(self, item: _Item) -> None:
        """Play it to its end, or until it is interrupted, and wait until it has sounded out."""
        if item.interruptions != self._interruptions:
            return
        sound = item.what
        if isinstance(sound, str):
            sound = _spoken(self._renderer, sound, tone=item.tone, loudness=self._loudness)
        chunk = int(CHUNK_S * sound.rate_hz)
        stream = self._sounddevice.RawOutputStream(
            samplerate=sound.rate_hz, device=self._device, channels=1, dtype="int16", latency=LATENCY_S
        )
        with PORTAUDIO, stream:
            if not self._begins(item):
                return
            for start in range(0, len(sound.samples), chunk):
                if item.interruptions != self._interruptions:
                    stream.abort()
                    break
                stream.write(sound.samples[start : start + chunk].tobytes())
            else:
                item.told()
                self._linger(stream, chunk, item)
                return
        self._pause(ECHO_S)

    def _linger(self, stream: Any, chunk: int, item: _Item) -> None:
        """Write silence behind a sound, but let nothing wait for the end of a tick."""
        for _ in range(round(TAIL_S / CHUNK_S)):
            interrupted = item.interruptions != self._interruptions
            if interrupted or not (item.reported or self._waiting.empty()):
                return
            stream.write(bytes(2 * chunk))
