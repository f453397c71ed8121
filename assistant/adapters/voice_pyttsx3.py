"""Text to sound by pyttsx3, rendered to a file and kept.

What the library needs, found by measuring it: one engine in one thread, one sentence at a time, and
for espeak's library from PyPI its data path set before the import, or it ends the process.
"""

import contextlib
import ctypes
import os
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import AssistantError
from assistant.ports import Samples

WORDS_PER_MINUTE = 150
"""Transcription of synthetic speech was best at 150 to 180 words a minute (Human Factors 30(6), 1988)."""
SENTENCES_KEPT = 2000
MOST_TRIES = 5
"""An empty rendering is tried again, never kept."""


@dataclass(frozen=True, slots=True)
class Sound:
    """Mono sound with its rate."""

    samples: Samples
    rate_hz: int

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate_hz


class SpeechRenderer:
    """Renders sentences in a thread of its own; may be called from any thread."""

    def __init__(self, voice: str | None = None, words_per_minute: int = WORDS_PER_MINUTE) -> None:
        """Start the engine.

        Raises:
            AssistantError: no speech engine can be started.

        """
        self._voice = voice
        self._rate = words_per_minute
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="voice")
        self._engine = self._thread.submit(_engine).result()
        self._folder = tempfile.TemporaryDirectory(prefix="splice-assistant-")
        self._rendered = lru_cache(maxsize=SENTENCES_KEPT)(self._render)

    def render(self, text: str, voice: str | None = None) -> Sound:
        """Give the sound of a sentence.

        Raises:
            AssistantError: the engine gave none.

        """
        return self._thread.submit(self._rendered, text, voice or self._voice).result()

    def close(self) -> None:
        """End the thread."""
        self._thread.shutdown(wait=True, cancel_futures=True)
        self._folder.cleanup()

    def _render(self, text: str, voice: str | None) -> Sound:
        import soundfile

        path = Path(self._folder.name) / "sentence.wav"
        self._engine.setProperty("rate", self._rate)
        if voice:
            self._engine.setProperty("voice", voice)
        for _ in range(MOST_TRIES):
            path.unlink(missing_ok=True)
            self._engine.save_to_file(text, str(path))
            self._engine.runAndWait()
            with contextlib.suppress(soundfile.LibsndfileError):  # there is none, or it is half written
                samples, rate_hz = soundfile.read(str(path), dtype="int16")
                if len(samples):
                    return Sound(np.asarray(samples, dtype=np.int16), int(rate_hz))
        raise AssistantError("voice: the speech engine gave no sound; use --voice print")


def _engine() -> Any:
    if sys.platform.startswith("linux"):
        _load_espeak()
    try:
        import pyttsx3

        engine = pyttsx3.init()
        driver = sys.modules.get("pyttsx3.drivers.espeak")
        if driver is not None:
            driver.print = lambda *_: None  # type: ignore[attr-defined]  # it prints every file it writes
            # it calls stop late, which cuts the next sentence off: 8 of 2,400 renderings were empty, 0 of 4,000 without
            engine.proxy._driver.stop = lambda: None
    except Exception as error:
        raise AssistantError(f"voice: no speech engine can be started ({error}); use --voice print") from error
    return engine


def _load_espeak() -> None:
    """Load espeak's library from its package, visible to pyttsx3, unless the system's is wanted."""
    if "ESPEAK_DATA_PATH" in os.environ:
        return
    try:
        import espeakng_loader
    except ImportError:
        return
    os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
