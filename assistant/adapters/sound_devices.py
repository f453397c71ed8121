"""The one place that imports sounddevice: without PortAudio the import itself fails, and another takes its place."""

import importlib.util
import threading
from dataclasses import dataclass
from typing import Any

from assistant.errors import AssistantError
from assistant.mending import portaudio_command

PORTAUDIO = threading.Lock()
"""Held while a sentence is played, and while the list of devices is read anew, which ends all streams."""


def import_sounddevice() -> Any:
    """Give the module, or what stands in for it where the system has no PortAudio.

    Raises:
        AssistantError: the PortAudio library is not installed, and nothing stands in for it.

    """
    try:
        import sounddevice
    except OSError as error:
        if importlib.util.find_spec("miniaudio") is not None:
            from assistant.adapters.portable_sound import PortableSound

            return PortableSound()
        raise AssistantError(
            f"sound devices: {error}; install it: {portaudio_command()}, or work without sound"
        ) from error
    return sounddevice


@dataclass(frozen=True, slots=True)
class SoundDevice:
    """One device as it is told of and chosen: by its number, or by a part of its name."""

    number: int
    name: str
    rate_hz: int
    """Its own rate; others are made of it."""
    is_usual: bool
    """Whether it is taken where none is named."""


def sound_devices(kind: str) -> list[SoundDevice]:
    """List the devices for "input" or "output".

    Raises:
        AssistantError: the PortAudio library is not installed, or cannot tell.

    """
    sd = import_sounddevice()
    try:
        found = sd.query_devices()
        usual = sd.default.device["input" if kind == "input" else "output"]
    except sd.PortAudioError as error:
        raise AssistantError(f"sound devices: they cannot be listed ({error}); plug one in and try again") from error
    return [
        SoundDevice(number, str(one["name"]), int(one["default_samplerate"]), number == usual)
        for number, one in enumerate(found)
        if one[f"max_{kind}_channels"] > 0
    ]
