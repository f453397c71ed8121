"""Where records are kept: files that survive a crash, or memory.

Must not know anything of the dialogue: a record is a line to it.
"""

import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from assistant.session.place import (
    Disk,
    JournalError,
    LogPlace,
    PlaceError,
    PlaceTrouble,
    free_name,
    lock,
    write_new,
)
from assistant.session.record import FIRST_SUM, LaterInput, Record, RecordsLost, encode
from assistant.session.salvage import Damage, Known, LoadedLog, read_log

DEMO_FOLDER = "demonstration"
"""Folder of logs that are no work; nothing but the demonstration writes or reads it."""
Settle = Callable[[LoadedLog], LoadedLog]
"""Names, in a damaged log, the joints that have to be called again."""
SLOW_S = 0.5
"""Seconds for one step from which a disk is told to be slow: an answer is to come within a second."""
RETRY_S = 5.0
"""Least seconds between two tries to write to a place that took nothing."""


@dataclass(frozen=True, slots=True)
class Health:
    """How a journal fares, to be told aloud."""

    places: tuple[Path, ...]
    """Files that hold all records so far."""
    troubles: tuple[PlaceTrouble, ...] = ()
    """Places that take nothing now."""
    mended: int = 0
    """How many times a place was written to again after it took nothing."""
    slow_s: float = 0.0
    """Seconds that the last step took, where these were many; else 0."""


class Journal(Protocol):
    """Keeps records in order. One writer."""

    @property
    def health(self) -> Health:
        """How it fares after the last record."""

    def append(self, record: Record) -> None:
        """Keep a record; returns only when it is durable in one place at least. All or nothing.

        Raises:
            JournalError: it could not be written anywhere; nothing of it counts, and it may be tried again.

        """

    def try_again(self) -> bool:
        """Try to write what is missing anywhere; tell whether at least one place holds all records."""

    def close(self) -> None:
        """Release the journal."""


class MemoryJournal:
    """Keeps records in memory, for questions without a session and for tests."""

    def __init__(self) -> None:
        """Begin empty."""
        self.records: list[Record] = []

    @property
    def health(self) -> Health:
        """Nothing can go wrong."""
        return Health(())

    def append(self, record: Record) -> None:
        """Keep a record."""
        self.records.append(record)

    def try_again(self) -> bool:
        """Tell that all is kept."""
        return True

    def close(self) -> None:
        """Do nothing."""


def salvage(path: Path) -> LoadedLog:
    """Read a log, be it whole or damaged: `damages` tells.

    Raises:
        JournalError: the file cannot be read.

    """
    return read_log(read_file(path))


def read_file(path: Path) -> bytes:
    """Give the bytes of a log.

    Raises:
        JournalError: the file cannot be read.

    """
    try:
        return path.read_bytes()
    except OSError as error:
        raise JournalError(f"{path}: cannot be read ({error.strerror}); check the path and its rights") from error


def load(path: Path) -> LoadedLog:
    """Read a log that must be whole; a last line without its end is torn, and does not count.

    Raises:
        JournalError: the file cannot be read, or is damaged.

    """
    loaded = salvage(path)
    for damage in loaded.damages:
        raise _damaged(path, damage)
    return loaded


def _damaged(path: Path, damage: Damage) -> JournalError:
    return JournalError(
        f"{path}: line {damage.line} is damaged ({damage.what}); the log is left untouched, "
        "splice-assistant repair makes a new one of what holds"
    )


class FileJournal:
    """Keeps records in a file, on request in a second, equal one on another disk; each synced before it counts.

    All that was written is held in memory too, so that a file that is lost can be written again.
    """

    def __init__(self, places: list[LogPlace], last_sum: str, data: bytes) -> None:
        """Take open, locked files that hold these bytes; use `create` or `reopen`."""
        self._places = places
        self._last_sum = last_sum
        self._data = bytearray(data)
        self._troubles: dict[int, PlaceTrouble] = {}
        self._tried: dict[int, float] = {}
        self._mended = 0
        self._slow_s = 0.0
        self._closed = False

    @property
    def path(self) -> Path:
        """The first file."""
        return self._places[0].path

    @property
    def so_far(self) -> tuple[str, bytes]:
        """Checksum of the last record, and all bytes up to its end."""
        return self._last_sum, bytes(self._data)

    @property
    def on_one_disk(self) -> bool:
        """Whether there is a copy, and it lies on the same disk."""
        return len(self._places) > 1 and len({place.device for place in self._places}) == 1

    @property
    def health(self) -> Health:
        """How it fares after the last record."""
        whole = tuple(p.path for i, p in enumerate(self._places) if i not in self._troubles)
        return Health(whole, tuple(self._troubles.values()), self._mended, self._slow_s)

    @classmethod
    def create(cls, path: Path, copy: Path | None = None, disk: Disk | None = None) -> "FileJournal":
        """Make a new log, and on request its copy, in another folder.

        Raises:
            JournalError: one exists already, or a folder cannot be written.

        """
        places: list[LogPlace] = []
        for one, option in ((path, "--log"), (copy, "--copy")):
            if one is None:
                continue
            try:
                places.append(LogPlace.create(one, disk or Disk()))
            except OSError as error:
                for place in places:
                    place.close()
                raise JournalError(
                    f"{one}: cannot be made ({error.strerror}); choose another folder with {option}"
                ) from error
        return cls(places, FIRST_SUM, b"")

    @classmethod
    def reopen(
        cls,
        path: Path,
        copy: Path | None = None,
        disk: Disk | None = None,
        settle: Settle | None = None,
        known: Known | None = None,
    ) -> "tuple[FileJournal, LoadedLog]":
        """Open a log to go on with it, with its copy; a torn last line is moved aside into a file beside it.

        Where the two are not equally long, as after a disk was full, the longer one counts. Where only the end
        of a log is damaged, as a power cut may leave it, that is moved aside as well, and a record takes its place
        which names what is lost; `settle` gives it the joints that have to be called again. Without it, and where
        other lines are damaged too, the log is refused. What is `known` of its beginning is proven, and not read.

        Raises:
            JournalError: one is damaged, in use, or cannot be written, or the copy is of another log.

        """
        disk = disk or Disk()
        if copy is not None and copy.exists():
            for spoilt, other in ((path, copy), (copy, path)):
                _leave_to_copy(spoilt, other, disk, known)
        place, loaded, data = _opened(path, disk, settle, known)
        places = [place]
        try:
            if copy is not None:
                loaded, data = _with_copy(places, copy, loaded, data, disk, settle, known)
        except BaseException:
            for place in places:
                place.close()
            raise
        return cls(places, loaded.last_sum, data), loaded

    def append(self, record: Record) -> None:
        """Write and sync one record in every place; what no place keeps does not count."""
        if self._closed:
            raise JournalError(f"{self.path}: cannot be written (it is closed); resume it")
        line, checksum = encode(record, self._last_sum)
        self._data += line
        if not self._keep(patient=len(self._troubles) == len(self._places)):
            del self._data[-len(line) :]
            raise JournalError("; ".join(map(str, self._troubles.values())) + "; nothing was logged")
        self._last_sum = checksum

    def try_again(self) -> bool:
        """Try to write what is missing anywhere; tell whether at least one place holds all records."""
        self._tried.clear()
        return self._keep(patient=True, probe=True)

    def close(self) -> None:
        """Release locks and files."""
        self._closed = True
        for place in self._places:
            place.close()

    def _keep(self, *, patient: bool, probe: bool = False) -> bool:
        """Write what is missing in each place; one that took nothing is not tried again at once, unless patient."""
        began = time.monotonic()
        kept = False
        for index, place in enumerate(self._places):
            since = began - self._tried.get(index, -RETRY_S)
            if index in self._troubles and not patient and since < RETRY_S:
                continue
            self._tried[index] = began
            kept = self._kept(index, place, probe=probe and index in self._troubles) or kept
        took = time.monotonic() - began
        self._slow_s = took if took >= SLOW_S else 0.0
        return kept

    def _kept(self, index: int, place: LogPlace, *, probe: bool) -> bool:
        """Write into one place; a file that cannot be gone on with is begun again at once."""
        for _ in range(2):
            try:
                place.keep(self._data, probe=probe)
            except PlaceError as error:
                self._troubles[index] = error.trouble
                if not place.anew:
                    return False
            else:
                if self._troubles.pop(index, None):
                    self._mended += 1
                return True
        return False


def whole_beginning(loaded: LoadedLog, data: bytes) -> bytes | None:
    """Give what is whole of a log of which only the end is damaged; None where it is not so."""
    if not loaded.damages or not isinstance(loaded.records[-1].input, RecordsLost):
        return None
    whole = b"".join(loaded.lines[:-1])
    return whole if whole and data.startswith(whole) else None


def _leave_to_copy(spoilt: Path, other: Path, disk: Disk, known: Known | None) -> None:
    """Where a log is damaged at its end only, and its copy has more, move the end aside: the copy has it."""
    try:
        data, there = disk.read(spoilt), disk.read(other)
        whole = whole_beginning(read_log(data, known), data)
        good = read_log(there, known)
        if whole is None or good.damages or not there.startswith(whole) or good.length <= len(whole):
            return
        _set_aside(spoilt, data[len(whole) :], disk)
        handle = disk.open(spoilt, os.O_RDWR)
        try:
            lock(handle, spoilt)
            disk.cut(handle, len(whole))
            disk.sync(handle)
        finally:
            disk.close(handle)
    except OSError as error:
        raise JournalError(
            f"{spoilt}: its damaged end cannot be moved aside ({error.strerror}); free some space and resume"
        ) from error


def _with_gap(path: Path, data: bytes, settled: LoadedLog, whole: bytes, disk: Disk) -> int:
    """Put a record in the place of a damaged end, which is moved aside; all of it at once. Gives the file open.

    Raises:
        OSError: it cannot be written; the log is as it was.

    """
    _set_aside(path, data[len(whole) :], disk)
    beside = path.with_name(path.name + ".new")
    beside.unlink(missing_ok=True)
    made = write_new(disk, beside, whole + settled.lines[-1])
    beside.replace(path)
    disk.sync_folder(path.parent)
    return made


def _opened(path: Path, disk: Disk, settle: Settle | None, known: Known | None) -> tuple[LogPlace, LoadedLog, bytes]:
    """Open one file of a log and move aside what is torn, or a damaged end."""
    try:
        handle = disk.open(path, os.O_RDWR | os.O_APPEND)
    except OSError as error:
        raise JournalError(f"{path}: cannot be opened ({error.strerror}); check the path and its rights") from error
    try:
        lock(handle, path)
        data = disk.read(path)
        loaded = read_log(data, known)
        whole = whole_beginning(loaded, data) if settle else None
        if settle and whole is not None:
            made = _with_gap(path, data, settle(loaded), whole, disk)
            disk.close(handle)
            handle, data = made, disk.read(path)
            loaded = read_log(data)
        _refuse(path, loaded)
        if loaded.torn:
            _set_aside(path, loaded.torn, disk)
            disk.cut(handle, loaded.length)
            disk.sync(handle)
        return LogPlace(path, handle, loaded.length, disk), loaded, data[: loaded.length]
    except OSError as error:
        disk.close(handle)
        raise JournalError(
            f"{path}: its torn last line cannot be moved aside ({error.strerror}); free some space and resume"
        ) from error
    except BaseException:
        disk.close(handle)
        raise


def _refuse(path: Path, loaded: LoadedLog) -> None:
    """Refuse a log that cannot be gone on with.

    Raises:
        JournalError: it is damaged, or a later version wrote it.

    """
    for damage in loaded.damages:
        raise _damaged(path, damage)
    if any(record.later or isinstance(record.input, LaterInput) for record in loaded.records):
        raise JournalError(f"{path}: was written by a later version, which alone can go on with it; update this one")


def _with_copy(
    places: list[LogPlace],
    copy: Path,
    loaded: LoadedLog,
    data: bytes,
    disk: Disk,
    settle: Settle | None,
    known: Known | None,
) -> tuple[LoadedLog, bytes]:
    """Open or make the copy and bring both to the same length."""
    if not copy.exists():
        try:
            places.append(LogPlace.create(copy, disk, data))
        except OSError as error:
            raise JournalError(
                f"{copy}: cannot be made ({error.strerror}); choose another folder with --copy"
            ) from error
        return loaded, data
    place, copied, bytes_there = _opened(copy, disk, settle, known)
    places.append(place)
    if not (bytes_there.startswith(data) or data.startswith(bytes_there)):
        raise JournalError(
            f"{copy}: is no copy of {places[0].path}: both went on by themselves; "
            "give --copy another folder, and both to report"
        )
    if len(bytes_there) > len(data):
        loaded, data = copied, bytes_there
    try:
        for one in places:
            one.keep(data)
    except PlaceError as error:
        raise JournalError(str(error.trouble)) from error
    return loaded, data


def _set_aside(path: Path, torn: bytes, disk: Disk) -> None:
    aside = free_name(path, lambda number: f"{path.name}.torn{number}")
    disk.close(write_new(disk, aside, torn))
