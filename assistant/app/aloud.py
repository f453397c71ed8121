"""The loudspeaker outside of a session: what is said or played is waited for."""

import queue
from collections.abc import Callable

from assistant.adapters.tones import Sound
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.adapters.voices import SpeakerVoice
from assistant.dialogue.messages import DeviceFailed, Input, SpeechEnded
from assistant.errors import AssistantError


class Aloud:
    """Speaks and plays, each to its end."""

    def __init__(self, device: str | None) -> None:
        """Open the output device; None is the system's.

        Raises:
            AssistantError: there is none, or no speech engine.

        """
        self._inbox: queue.Queue[Input] = queue.Queue()
        self._voice = SpeakerVoice(self._inbox.put, SpeechRenderer(), device)

    def say(self, text: str) -> None:
        """Speak a sentence.

        Raises:
            AssistantError: the device failed.

        """
        self._to_end(lambda: self._voice.say(text))

    def play(self, sound: Sound) -> None:
        """Play a sound.

        Raises:
            AssistantError: the device failed.

        """
        self._to_end(lambda: self._voice.play(sound))

    def close(self) -> None:
        """Close the device."""
        self._voice.close()

    def _to_end(self, begin: Callable[[], None]) -> None:
        begin()
        failed = ""
        while not isinstance(came := self._inbox.get(), SpeechEnded):
            failed = came.reason if isinstance(came, DeviceFailed) else failed
        if failed:
            raise AssistantError(f"speaker: it failed ({failed}); choose another with --speaker")
