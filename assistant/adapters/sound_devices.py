"""The one place that imports sounddevice: without PortAudio the import itself fails."""

import threading
from typing import Any

from assistant.errors import AssistantError

PORTAUDIO = threading.Lock()
"""Held while a sentence is played, and while the list of devices is read anew, which ends all streams."""


def import_sounddevice() -> Any:
    """Give the module.

    Raises:
        AssistantError: the PortAudio library is not installed.

    """
    try:
        import sounddevice
    except OSError as error:
        raise AssistantError(
            f"sound devices: {error}; install it (Debian and Ubuntu: apt install libportaudio2), or work without sound"
        ) from error
    return sounddevice
