"""Utterances kept as FLAC beside the log, each named by the number of its record."""

import hashlib
import io
import os
from pathlib import Path

from assistant.errors import AssistantError
from assistant.ports import SAMPLE_RATE_HZ, Samples

SOUND_SUFFIX = ".flac"
FOLDER_SUFFIX = ".sounds"


def sounds_folder(log: Path) -> Path:
    """Give the folder of the sounds of a log."""
    return log.with_suffix(FOLDER_SUFFIX)


def sound_name(record: int) -> str:
    """Give the name of the file that holds the sound of a record."""
    return f"{record:06d}{SOUND_SUFFIX}"


class FlacFolder:
    """Holds the sound of an utterance until its record has a number, and writes it then.

    `take` is called from the hearing thread, `keep` from the loop's.
    """

    def __init__(self, log: Path) -> None:
        """Take the path of the log; the folder is made with the first sound."""
        self._folder = sounds_folder(log)
        self._waiting: dict[str, bytes] = {}

    def take(self, sound: Samples) -> str:
        """Take an utterance and give the SHA-256 of the file that it will be."""
        import soundfile

        file = io.BytesIO()
        soundfile.write(file, sound, SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")
        data = file.getvalue()
        checksum = hashlib.sha256(data).hexdigest()
        self._waiting[checksum] = data
        return checksum

    def keep(self, sha256: str, record: int) -> None:
        """Write the sound of a record, mode 0600, and wait until it is on the disk.

        Raises:
            AssistantError: it cannot be written.

        """
        data = self._waiting.pop(sha256)
        path = self._folder / sound_name(record)
        try:
            self._folder.mkdir(mode=0o700, exist_ok=True)
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(handle)
        except OSError as error:
            raise AssistantError(f"{path}: the sound cannot be kept ({error.strerror}); free some space") from error

    def drop(self, sha256: str) -> None:
        """Forget the sound of an utterance that came to no record."""
        self._waiting.pop(sha256, None)
