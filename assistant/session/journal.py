"""Where records are kept: a file that survives a crash, or memory.

Must not know anything of the dialogue: a record is a line to it.
"""

import errno
import fcntl
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from assistant.errors import AssistantError
from assistant.session.record import (
    FIRST_SUM,
    LINE_START,
    ForeignRecordError,
    Record,
    RecordError,
    decode,
    encode,
)


class JournalError(AssistantError):
    """A journal cannot be opened or written; the text says which, where and what to do."""


class Journal(Protocol):
    """Keeps records in order. One writer."""

    def append(self, record: Record) -> None:
        """Keep a record; returns only when it is durable. All or nothing.

        Raises:
            JournalError: it could not be written; nothing of it counts.

        """

    def close(self) -> None:
        """Release the journal."""


class MemoryJournal:
    """Keeps records in memory, for questions without a session and for tests."""

    def __init__(self) -> None:
        """Begin empty."""
        self.records: list[Record] = []

    def append(self, record: Record) -> None:
        """Keep a record."""
        self.records.append(record)

    def close(self) -> None:
        """Do nothing."""


@dataclass(frozen=True, slots=True)
class LoadedLog:
    """What a log file holds."""

    records: tuple[Record, ...]
    last_sum: str
    length: int
    """Bytes of whole records."""
    torn: bytes
    """What stands after them: a record that was cut off while it was written."""


def load(path: Path) -> LoadedLog:
    """Read a log and check every line.

    Only a bad last line counts as torn, unless it is whole or more than one. A bad line elsewhere is damage.

    Raises:
        JournalError: the file cannot be read, or a line that is not the last one is damaged.

    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise JournalError(f"{path}: cannot be read ({error.strerror}); check the path and its rights") from error
    lines = lines_of(data)
    records: list[Record] = []
    last_sum, length = FIRST_SUM, 0
    for number, line in enumerate(lines, 1):
        try:
            record, last_sum = decode(line, last_sum)
            if record.number != number:
                raise ForeignRecordError(f"it is numbered {record.number}")
        except RecordError as error:
            if number == len(lines) and _may_be_torn(line, error):
                return LoadedLog(tuple(records), last_sum, length, data[length:])
            raise JournalError(
                f"{path}: line {number} is damaged ({error}); the log is left untouched, restore it from a copy"
            ) from error
        records.append(record)
        length += len(line)
    return LoadedLog(tuple(records), last_sum, length, b"")


def _may_be_torn(line: bytes, error: RecordError) -> bool:
    return not isinstance(error, ForeignRecordError) and LINE_START not in line[1:]


def lines_of(data: bytes) -> list[bytes]:
    """Cut a log into its lines, each with its end; the last may lack it."""
    parts = data.split(b"\n")
    return [part + b"\n" for part in parts[:-1]] + ([parts[-1]] if parts[-1] else [])


class FileJournal:
    """Keeps records in a file of mode 0600, under an exclusive lock, each synced before it counts."""

    def __init__(self, path: Path, handle: int, last_sum: str, length: int) -> None:
        """Take an open, locked file; use `create` or `reopen`."""
        self.path = path
        self._handle = handle
        self._last_sum = last_sum
        self._length = length

    @classmethod
    def create(cls, path: Path) -> "FileJournal":
        """Make a new log.

        Raises:
            JournalError: it exists already, or the folder cannot be written.

        """
        handle = -1
        try:
            _make_folder(path.parent)
            handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND | os.O_CLOEXEC, 0o600)
            _lock(handle, path)
            _sync_folder(path.parent)
        except OSError as error:
            if handle >= 0:
                os.close(handle)
            raise JournalError(
                f"{path}: cannot be made ({error.strerror}); choose another folder with --log"
            ) from error
        return cls(path, handle, FIRST_SUM, 0)

    @classmethod
    def reopen(cls, path: Path) -> "tuple[FileJournal, LoadedLog]":
        """Open a log to go on with it; a torn last line is moved aside into a file beside it.

        Raises:
            JournalError: it is damaged, in use, or cannot be written.

        """
        try:
            handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CLOEXEC)
        except OSError as error:
            raise JournalError(f"{path}: cannot be opened ({error.strerror}); check the path and its rights") from error
        try:
            _lock(handle, path)
            loaded = load(path)
            if loaded.torn:
                _set_aside(path, loaded.torn)
                os.ftruncate(handle, loaded.length)
                os.fsync(handle)
        except OSError as error:
            os.close(handle)
            raise JournalError(
                f"{path}: its torn last line cannot be moved aside ({error.strerror}); free some space and resume"
            ) from error
        except BaseException:
            os.close(handle)
            raise
        return cls(path, handle, loaded.last_sum, loaded.length), loaded

    def append(self, record: Record) -> None:
        """Write and sync one record; on failure the file is put back to what it was."""
        line, checksum = encode(record, self._last_sum)
        try:
            written = os.write(self._handle, line)
            if written != len(line):
                raise OSError(errno.ENOSPC, "the disk took only part of it")
            os.fsync(self._handle)
        except OSError as error:
            self._put_back()
            raise JournalError(
                f"{self.path}: cannot be written ({error.strerror}); nothing was logged, free some space and resume"
            ) from error
        self._last_sum = checksum
        self._length += len(line)

    def close(self) -> None:
        """Release the lock and the file."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1

    def _put_back(self) -> None:
        try:
            os.ftruncate(self._handle, self._length)
        except OSError:  # nothing may follow the torn line, which the next opening finds and moves aside
            self.close()


def _lock(handle: int, path: Path) -> None:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise JournalError(f"{path}: is in use by another session; end that one first") from error


def _make_folder(folder: Path) -> None:
    """Make a folder and those above it, each to be found again after a power cut."""
    if folder.is_dir() or folder == folder.parent:
        return
    _make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    _sync_folder(folder.parent)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _set_aside(path: Path, torn: bytes) -> None:
    number = 1
    while (aside := path.with_name(f"{path.name}.torn{number}")).exists():
        number += 1
    handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        if os.write(handle, torn) != len(torn):
            raise OSError(errno.ENOSPC, "the disk took only part of it")
        os.fsync(handle)
    except OSError:
        aside.unlink()
        raise
    finally:
        os.close(handle)
    _sync_folder(path.parent)
