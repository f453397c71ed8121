"""Sound kept as FLAC: utterances beside the log, each named by the number of its record, and spoken notes."""

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


def as_flac(sound: Samples) -> bytes:
    """Give sound as the bytes of a FLAC file."""
    import soundfile

    file = io.BytesIO()
    soundfile.write(file, sound, SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")
    return file.getvalue()


def write_new(path: Path, data: bytes) -> None:
    """Write a file that was not there, mode 0600, and wait until it and its name are on the disk.

    Raises:
        AssistantError: it is there already, or cannot be written; nothing of it is left then.

    """
    made = False
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
        made = True
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(handle)
        folder = os.open(path.parent, os.O_RDONLY | os.O_CLOEXEC)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError as error:
        if made:
            path.unlink(missing_ok=True)
        raise AssistantError(f"{path}: the sound cannot be kept ({error.strerror}); free some space") from error


class SoundNotes:
    """Keeps spoken notes in the folder of the log."""

    def __init__(self, folder: Path) -> None:
        """Take the folder."""
        self._folder = folder

    def keep(self, name: str, sound: Samples) -> str:
        """Write a note, durably, and give the SHA-256 of its file.

        Raises:
            AssistantError: it cannot be written.

        """
        data = as_flac(sound)
        write_new(self._folder / name, data)
        return hashlib.sha256(data).hexdigest()


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
        data = as_flac(sound)
        checksum = hashlib.sha256(data).hexdigest()
        self._waiting[checksum] = data
        return checksum

    def keep(self, sha256: str, record: int) -> None:
        """Write the sound of a record that is not written yet.

        A file of this number that is there is of an utterance whose record a crash lost.

        Raises:
            AssistantError: it cannot be written.

        """
        data = self._waiting.pop(sha256)
        path = self._folder / sound_name(record)
        try:
            self._folder.mkdir(mode=0o700, exist_ok=True)
            path.unlink(missing_ok=True)
        except OSError as error:
            raise AssistantError(f"{path}: the sound cannot be kept ({error.strerror}); free some space") from error
        write_new(path, data)

    def drop(self, sha256: str) -> None:
        """Forget the sound of an utterance that came to no record."""
        self._waiting.pop(sha256, None)
