"""Text to sound by pyttsx3, rendered to a file and kept.

What the library needs, found by measuring it: one engine in one thread, one sentence at a time, and
for espeak's library from PyPI the path of its data, or it ends the process. The end of a sentence has to be waited for.
"""

import contextlib
import ctypes
import os
import sys
import tempfile
import threading
from concurrent.futures import ThreadPoolExecutor
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from assistant.adapters.tones import Sound
from assistant.dialogue.messages import USUAL_RATE
from assistant.errors import AssistantError

SENTENCES_KEPT = 2000
DATA_VARIABLE = "ESPEAK_DATA_PATH"
"""Environment variable that espeak itself reads."""
SYSTEM_LIBRARIES = ("libespeak-ng.so.1", "/usr/local/lib/libespeak-ng.so.1", "libespeak.so.1")
"""Where pyttsx3 looks on Linux, in its order."""
MOST_TRIES = 5
"""An empty rendering is tried again, never kept."""
LONGEST_RENDERING_S = 20.0
ESPEAK = "pyttsx3.drivers.espeak"
_ENGINE = threading.Lock()
"""Held while a sentence is rendered: pyttsx3 gives all renderers the same engine."""


class SpeechRenderer:
    """Renders sentences in a thread of its own; may be called from any thread."""

    def __init__(self, voice: str | None = None, words_per_minute: int = USUAL_RATE) -> None:
        """Start the engine.

        Raises:
            AssistantError: no speech engine can be started.

        """
        self._voice = voice
        self.words_per_minute = words_per_minute
        """Rate of what is rendered next; may be changed."""
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="voice")
        self._engine = self._thread.submit(_engine).result()
        self._finished = threading.Event()
        self._engine.connect("finished-utterance", lambda **_: self._finished.set())
        self._folder = tempfile.TemporaryDirectory(prefix="splice-assistant-")
        self._rendered = lru_cache(maxsize=SENTENCES_KEPT)(self._render)

    def render(self, text: str, voice: str | None = None) -> Sound:
        """Give the sound of a sentence.

        Raises:
            AssistantError: the engine gave none.

        """
        return self._thread.submit(self._rendered, text, voice or self._voice, self.words_per_minute).result()

    def close(self) -> None:
        """End the thread."""
        self._thread.shutdown(wait=True, cancel_futures=True)
        self._folder.cleanup()

    def _render(self, text: str, voice: str | None, rate: int) -> Sound:
        import soundfile

        path = Path(self._folder.name) / "sentence.wav"
        self._engine.setProperty("rate", rate)
        if voice:
            self._engine.setProperty("voice", voice)
        for _ in range(MOST_TRIES):
            path.unlink(missing_ok=True)
            with _ENGINE:
                self._finished.clear()
                self._engine.save_to_file(text, str(path))
                self._engine.runAndWait()
                # espeak speaks in a thread of its own: 21 of 128 sentences were cut off on a busy machine, 0 with this
                if ESPEAK in sys.modules and not self._finished.wait(LONGEST_RENDERING_S):
                    break  # asked again while it speaks, it would mix the sentences
            with contextlib.suppress(soundfile.LibsndfileError):  # there is none, or it is half written
                samples, rate_hz = soundfile.read(str(path), dtype="int16")
                if len(samples):
                    return Sound(np.asarray(samples, dtype=np.int16), int(rate_hz))
        raise AssistantError("voice: the speech engine gave no sound; use --voice print")


def _engine() -> Any:
    try:
        if sys.platform.startswith("linux"):
            _use_espeak_of_its_package()
        import pyttsx3

        engine = pyttsx3.init()
        driver = sys.modules.get(ESPEAK)
        if driver is not None:
            driver.print = lambda *_: None  # type: ignore[attr-defined]  # it prints every file it writes
            # it calls stop late, which cuts the next sentence off: 8 of 2,400 renderings were empty, 0 of 4,000 without
            engine.proxy._driver.stop = lambda: None
    except Exception as error:
        raise AssistantError(f"voice: no speech engine can be started ({error}); use --voice print") from error
    return engine


@cache
def _use_espeak_of_its_package() -> None:
    """Let pyttsx3 find espeak's library from PyPI with its data, once, unless the system's is wanted and works.

    The environment stays as it is: a child of this process would take what is written there for a wish.
    """
    if _is_systems_wanted():
        return
    try:
        import espeakng_loader
    except ImportError:
        return
    ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)  # found by its name from now on
    from pyttsx3.drivers import _espeak

    initialize, data = _espeak.Initialize, espeakng_loader.get_data_path().encode()
    _espeak.Initialize = lambda output, length: initialize(output, length, data)


def _is_systems_wanted() -> bool:
    """Tell whether a path for espeak's data is set, its data are there, and a library of the system loads.

    Without its data the library ends the process.
    """
    wanted = os.environ.get(DATA_VARIABLE)
    if not wanted or not any(Path(wanted, below, "phontab").is_file() for below in ("", "espeak-ng-data")):
        return False
    for name in SYSTEM_LIBRARIES:
        with contextlib.suppress(OSError):
            ctypes.CDLL(name)
            return True
    return False
