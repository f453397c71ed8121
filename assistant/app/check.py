"""`check`: what works on this machine, found by trying it."""

import shutil
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from assistant.adapters.sound_devices import import_sounddevice
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.app import ears, speech_models
from assistant.errors import AssistantError

LEAST_FREE_BYTES = 50_000_000


@dataclass(frozen=True, slots=True)
class CheckResult:
    """One thing that was tried."""

    what: str
    works: bool
    about: str
    needed: bool
    """Whether no session can run without it."""


def findings(log: Path) -> list[CheckResult]:
    """Try everything a session may use."""
    return [
        _tried("log folder", lambda: _log_folder(log), needed=True),
        _tried("terminal", _terminal),
        _tried("ears", ears.best_choice),
        *(_tried(f"model {model.name}", partial(_model, model)) for model in speech_models.CATALOGUE),
        _tried("voice", _voice),
        _tried("microphone", lambda: _device("input")),
        _tried("speaker", lambda: _device("output")),
    ]


def _tried(what: str, attempt: Callable[[], str], *, needed: bool = False) -> CheckResult:
    try:
        return CheckResult(what, True, attempt(), needed)
    except AssistantError as error:
        return CheckResult(what, False, str(error), needed)


def _log_folder(folder: Path) -> str:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise AssistantError(f"{folder} cannot be written ({error.strerror}); choose another with --log") from error
    free = shutil.disk_usage(folder).free
    if free < LEAST_FREE_BYTES:
        raise AssistantError(f"{folder} has only {free // 1_000_000} MB free; make room")
    return f"{folder}, {free // 1_000_000} MB free"


def _terminal() -> str:
    if not sys.stdin.isatty():
        raise AssistantError("standard input is no terminal, so that there is no keypad; use --typed or --keys FILE")
    return "keys work"


def _model(model: speech_models.SpeechModel) -> str:
    folder = speech_models.find(model)
    if folder is None:
        raise AssistantError(f"is not here; splice-assistant models fetch {model.name}")
    speech_models.verify(model, folder)
    return f"as it should be ({folder})"


def _voice() -> str:
    renderer = SpeechRenderer()
    sound = renderer.render("Seven, orange red, confirmed.")
    renderer.close()
    return f"renders {sound.seconds:.1f} s of speech at {sound.rate_hz} Hz"


def _device(kind: str) -> str:
    sounddevice = import_sounddevice()
    try:
        found = sounddevice.query_devices(kind=kind)
    except (ValueError, sounddevice.PortAudioError) as error:
        raise AssistantError(f"none is found ({error}); plug one in") from error
    return f"{found['name']}, {int(found['default_samplerate'])} Hz"
