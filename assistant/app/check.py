"""`check`: what works on this machine, found by trying it, and whether work by voice would run."""

import shutil
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from assistant.adapters.sound_devices import sound_devices
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.app import devices, ears, speech_models
from assistant.app.aloud import Aloud
from assistant.errors import AssistantError
from assistant.mending import install_command

LEAST_FREE_BYTES = 50_000_000


@dataclass(frozen=True, slots=True)
class CheckResult:
    """One thing that was tried."""

    what: str
    works: bool
    about: str
    """What was found, or what is wrong and the one command that mends it here."""
    needed: bool
    """Whether no session by voice can run without it."""

    @property
    def line(self) -> str:
        """The result for people."""
        found, need = "works " if self.works else "FAILS ", "needed" if self.needed else "optional"
        return f"{found} {self.what}, {need}: {self.about}"


def findings(log: Path, microphone: str | None, speaker: str | None, wanted_ears: str | None) -> list[CheckResult]:
    """Try everything that a session may use."""
    return [
        _tried("log folder", lambda: _log_folder(log), needed=True),
        _tried("ears", lambda: _ears(wanted_ears), needed=True),
        *(_tried(f"model {model.name}", partial(_model, model)) for model in speech_models.CATALOGUE),
        _tried("voice", _voice, needed=True),
        _tried("microphone", lambda: devices.looked_at(microphone), needed=True),
        _tried("speaker", lambda: _speaker(speaker), needed=True),
        _tried("terminal", _terminal),
    ]


def verdict(found: list[CheckResult]) -> str:
    """Say in a line whether work by voice would run."""
    missing = [one.what for one in found if one.needed and not one.works]
    if not missing:
        return "Work by voice would run."
    without = "" if "log folder" in missing else " By keypad and print it would: work --voice print."
    return f"Work by voice would not run, for want of: {', '.join(missing)}.{without}"


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


def _ears(wanted: str | None) -> str:
    """Load them as a session would."""
    loaded = ears.load(wanted)
    if wanted or loaded.name == ears.CHOICES[0]:
        return loaded.name
    return f"{loaded.name}; the best, {ears.CHOICES[0]}, would want {install_command('english')}"


def _model(model: speech_models.SpeechModel) -> str:
    folder = speech_models.find(model)
    if folder is None:
        raise AssistantError(f"is not here; splice-assistant models fetch {model.name}")
    speech_models.verify(model, folder)
    return f"as it should be ({folder})"


def _voice() -> str:
    renderer = SpeechRenderer()
    try:
        sound = renderer.render("Seven, orange red, confirmed.")
    finally:
        renderer.close()
    return f"renders {sound.seconds:.1f} s of speech at {sound.rate_hz} Hz"


def _speaker(wanted: str | None) -> str:
    Aloud(wanted).close()
    usual = [device.name for device in sound_devices("output") if device.is_usual]
    return wanted or "".join(usual) or "the system's"
