"""The one place that imports sounddevice: without PortAudio the import itself fails."""

from typing import Any

from assistant.ports import AssistantError


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
