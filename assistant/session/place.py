"""One file that a journal writes to: it is kept whole, and before a step counts the file must still be ours.

Must not know records: a log is bytes to it, of which it holds the beginning, up to all of them.
"""

import errno
import fcntl
import os
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from assistant.errors import AssistantError

PROBE = b" " * 4096
"""As much as a line may need, in one block of a disk."""
OWN_FILE, OWN_FOLDER = 0o600, 0o700


class JournalError(AssistantError):
    """A journal cannot be opened or written; the text says which, where and what to do."""


class Cause(Enum):
    """Why a place takes nothing; each with what to do."""

    FULL = "free some space"
    FAILING = "the disk fails: change it, and trust no other file on it"
    READ_ONLY = "it is read-only: give the right to write"
    GONE = "another program removed or replaced it: keep other programs out of the folder"
    CHANGED = "another program changed it: keep other programs out of the folder"
    OTHER = "check the folder and its rights"


_CAUSES = {
    errno.ENOSPC: Cause.FULL,
    errno.EDQUOT: Cause.FULL,
    errno.EFBIG: Cause.FULL,
    errno.EIO: Cause.FAILING,
    errno.ENXIO: Cause.FAILING,
    errno.ENODEV: Cause.FAILING,
    errno.EROFS: Cause.READ_ONLY,
    errno.EACCES: Cause.READ_ONLY,
    errno.EPERM: Cause.READ_ONLY,
    errno.ENOENT: Cause.GONE,
    errno.ENOTDIR: Cause.GONE,
    errno.ESTALE: Cause.GONE,
}


@dataclass(frozen=True, slots=True)
class PlaceTrouble:
    """A place that takes nothing now."""

    path: Path
    cause: Cause
    what: str
    """In the words of the system, or of the check that failed."""

    def __str__(self) -> str:
        """Give it as one line: where, what, what to do."""
        return f"{self.path}: cannot be written ({self.what}); {self.cause.value}"


class PlaceError(Exception):
    """A place took nothing; it holds what it held."""

    def __init__(self, trouble: PlaceTrouble) -> None:
        """Take what it is."""
        super().__init__(str(trouble))
        self.trouble = trouble


class _NotOursError(Exception):
    """The file is not the one that was written."""

    def __init__(self, cause: Cause, what: str) -> None:
        super().__init__(what)
        self.cause = cause


class Disk:
    """What is asked of the system, a call each; programs that try faults take its place."""

    def open(self, path: Path, flags: int, mode: int = OWN_FILE) -> int:
        """Open a file, never through a link, and never for a program that is started."""
        return os.open(path, flags | os.O_CLOEXEC | os.O_NOFOLLOW, mode)

    def write(self, handle: int, data: bytes) -> int:
        """Write, and give how many bytes were taken."""
        return os.write(handle, data)

    def sync(self, handle: int) -> None:
        """Return when what was written is on the disk."""
        os.fsync(handle)

    def cut(self, handle: int, length: int) -> None:
        """Cut a file to a length in bytes."""
        os.ftruncate(handle, length)

    def stat(self, at: Path | int) -> os.stat_result:
        """Tell of an open file, or of what a path leads to."""
        return os.fstat(at) if isinstance(at, int) else os.stat(at, follow_symlinks=False)

    def make_folder(self, path: Path) -> None:
        """Make one folder, for its owner only."""
        os.mkdir(path, OWN_FOLDER)

    def read(self, path: Path) -> bytes:
        """Give all bytes of a file."""
        return path.read_bytes()

    def sync_folder(self, folder: Path) -> None:
        """Return when the names in a folder are on the disk."""
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            self.sync(handle)
        finally:
            os.close(handle)

    def close(self, handle: int) -> None:
        """Close a file."""
        os.close(handle)


def make_folders(disk: Disk, folder: Path) -> None:
    """Make a folder and those above it, each to be found again after a power cut."""
    if folder.is_dir() or folder == folder.parent:
        return
    make_folders(disk, folder.parent)
    try:
        disk.make_folder(folder)
    except FileExistsError:
        return
    disk.sync_folder(folder.parent)


def write_new(disk: Disk, path: Path, data: bytes) -> int:
    """Make a file that is not there yet, with these bytes, safe with its name; give it open and locked.

    Raises:
        OSError: it cannot be made; nothing of it is left.

    """
    make_folders(disk, path.parent)
    handle = disk.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND)
    try:
        lock(handle, path)
        write_all(disk, handle, data)
        disk.sync(handle)
        disk.sync_folder(path.parent)
    except BaseException:
        disk.close(handle)
        path.unlink(missing_ok=True)
        raise
    return handle


def lock(handle: int, path: Path) -> None:
    """Keep other sessions from a file.

    Raises:
        JournalError: another one has it.

    """
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise JournalError(f"{path}: is in use by another session; end that one first") from error


def write_all(disk: Disk, handle: int, data: bytes) -> None:
    """Write all bytes at once.

    Raises:
        OSError: the disk took none, or only a part.

    """
    if data and disk.write(handle, data) != len(data):
        raise OSError(errno.ENOSPC, "the disk took only part of it")


class LogPlace:
    """A file of mode 0600, under an exclusive lock, that holds the beginning of what a journal holds."""

    def __init__(self, path: Path, handle: int, length: int, disk: Disk) -> None:
        """Take an open, locked file with this many bytes that count; use `create` for a new one."""
        self.path = path
        self.length = length
        self.anew = False
        """Whether the file there cannot be gone on with, so that all has to be written into another one."""
        self._handle = handle
        self._disk = disk
        self._adopt()

    @classmethod
    def create(cls, path: Path, disk: Disk, data: bytes = b"") -> "LogPlace":
        """Make a new file.

        Raises:
            OSError: it is there already, or cannot be made.
            JournalError: another session has it.

        """
        return cls(path, write_new(disk, path, data), len(data), disk)

    @property
    def device(self) -> int:
        """The disk that it is on, as the system numbers it."""
        return self._identity[0]

    def _adopt(self) -> None:
        found = self._disk.stat(self._handle)
        self._identity = (found.st_dev, found.st_ino)
        self._written_ns = found.st_mtime_ns

    def keep(self, data: bytes | bytearray, *, probe: bool = False) -> None:
        """Write and sync all that is not there yet; returns only when it is durable, in a file that is still ours.

        Args:
            data: all that the file is to hold.
            probe: find out whether more can be written, where nothing is missing.

        Raises:
            PlaceError: it cannot be; what was there still counts, and nothing else.

        """
        try:
            if self.anew:
                self._begin_again(data)
                return
            self._check(data, self.length)
            self._add(bytes(data[self.length :]))
            if probe and len(data) == self.length:
                self._probe()
            self._check(data, len(data))
        except _NotOursError as error:
            self.anew = True
            raise PlaceError(PlaceTrouble(self.path, error.cause, str(error))) from error
        except (OSError, JournalError) as error:
            raise PlaceError(self._trouble(error)) from error
        self.length = len(data)

    def close(self) -> None:
        """Release the lock and the file."""
        if self._handle >= 0:
            self._disk.close(self._handle)
            self._handle = -1

    def _trouble(self, error: OSError | JournalError) -> PlaceTrouble:
        number = error.errno if isinstance(error, OSError) else None
        what = (error.strerror if isinstance(error, OSError) else None) or str(error)
        return PlaceTrouble(self.path, _CAUSES.get(number or 0, Cause.OTHER), what)

    def _add(self, data: bytes) -> None:
        if not data:
            return
        try:
            write_all(self._disk, self._handle, data)
        except OSError:
            self._undo(self.length)
            raise
        try:
            self._disk.sync(self._handle)
        except OSError:
            # what failed to be synced may be dropped in silence and the next sync succeed (man page fsync(2)),
            # so that this file cannot be gone on with
            self._undo(self.length)
            self.anew = True
            raise

    def _probe(self) -> None:
        """Write what a crash would leave as a torn line, and take it back."""
        self._add(PROBE)
        self._undo(self.length)
        if self.anew:
            raise OSError(errno.EIO, "what was tried cannot be taken back")

    def _undo(self, length: int) -> None:
        try:
            self._disk.cut(self._handle, length)
            self._adopt()
        except OSError:  # nothing may follow the torn line
            self.anew = True

    def _check(self, data: bytes | bytearray, length: int) -> None:
        """Find out whether the path still leads to our file, and whether it holds what was written."""
        if self._handle < 0:
            raise _NotOursError(Cause.OTHER, "it is closed")
        try:
            there = self._disk.stat(self.path)
        except (FileNotFoundError, NotADirectoryError) as error:
            raise _NotOursError(Cause.GONE, "it is no longer there") from error
        if (there.st_dev, there.st_ino) != self._identity:
            raise _NotOursError(Cause.GONE, "another file is in its place")
        if there.st_size != length:
            raise _NotOursError(Cause.CHANGED, f"it has {there.st_size} bytes, not {length}")
        if length != self.length:  # just written
            self._written_ns = there.st_mtime_ns
        elif there.st_mtime_ns != self._written_ns:
            if self._disk.read(self.path) != bytes(data[:length]):
                raise _NotOursError(Cause.CHANGED, "its content was changed")
            self._written_ns = there.st_mtime_ns

    def _begin_again(self, data: bytes | bytearray) -> None:
        """Write all into a new file: at the old path where nothing is, else beside it; on the same disk only."""
        above: Path = next(folder for folder in self.path.parents if folder.is_dir())
        if self._disk.stat(above).st_dev != self._identity[0]:
            raise _NotOursError(Cause.GONE, "its disk or card is not there")
        path, number = self.path, 1
        while _is_there(path):
            number += 1
            path = self.path.with_name(f"{self.path.stem}-again{number}{self.path.suffix}")
        handle = write_new(self._disk, path, bytes(data))
        self.close()
        self.path, self._handle, self.length, self.anew = path, handle, len(data), False
        self._adopt()


def _is_there(path: Path) -> bool:
    return os.path.lexists(path)


def free_name(path: Path, name: Callable[[int], str]) -> Path:
    """Give a path beside another that is not taken, by numbers from 1."""
    number = 1
    while _is_there(beside := path.with_name(name(number))):
        number += 1
    return beside
