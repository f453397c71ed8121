"""Snapshots beside a long log, so that going on with it takes no longer than with a short one. Only a cache.

They are written in the background of the work, and may be deleted at any time. Where one cannot be written, or read,
nothing is lost and nothing is said: the log is folded from its beginning.
"""

import hashlib
import os
import shutil
import stat
import threading
from collections.abc import Callable
from functools import cache
from pathlib import Path

import assistant
from assistant.dialogue.state import State
from assistant.session.journal import FileJournal
from assistant.session.place import OWN_FILE
from assistant.session.record import RecordsLost
from assistant.session.salvage import LoadedLog, known_of
from assistant.session.snapshot import Snapshot, can_be_kept, from_bytes, to_bytes

SUFFIX = ".state"
EVERY = 5_000
"""Records after which a snapshot is written: folding as many takes a tenth of a second or two (`bench.faults.big`)."""
LEAST_FREE = 200_000_000
"""Bytes that must be free on the disk: a cache takes no room that the log may need."""
MOST_BYTES = 200_000_000
"""Of a file that is taken for a snapshot at all."""
_FOLDING = ("cable", "words", "dialogue", "session")
"""Folders of the program that make states out of records."""


@cache
def program() -> str:
    """Give the digest of all that makes states out of records; empty where its text is not there."""
    folder = Path(assistant.__file__).parent
    files = sorted(path for name in _FOLDING for path in (folder / name).rglob("*.py"))
    made = hashlib.sha256(assistant.__version__.encode())
    try:
        for path in files:
            made.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    except OSError:
        return ""
    return made.hexdigest() if files else ""


def snapshot_file(log: Path) -> Path:
    """Give the file of the snapshot of a log."""
    return log.with_name(log.name + SUFFIX)


def find(log: Path) -> Snapshot | None:
    """Read the snapshot of a log; None where there is none that can be used."""
    try:
        handle = os.open(snapshot_file(log), os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK)
        try:
            there = os.fstat(handle)
            if not _is_own(there) or there.st_size > MOST_BYTES or not program():
                return None
            with os.fdopen(handle, "rb", closefd=False) as file:
                return from_bytes(file.read(), program())
        finally:
            os.close(handle)
    except OSError:
        return None


def _is_own(there: os.stat_result) -> bool:
    """Tell whether it is a file that nobody else could have written."""
    return stat.S_ISREG(there.st_mode) and there.st_uid == os.geteuid() and not there.st_mode & 0o022


def _write(log: Path, snapshot: Snapshot) -> None:
    """Write a snapshot in the place of the one before, or leave all as it is."""
    file = snapshot_file(log)
    beside = file.with_name(file.name + ".new")
    try:
        if shutil.disk_usage(file.parent).free < LEAST_FREE:
            return
        data = to_bytes(snapshot, program())
        beside.unlink(missing_ok=True)
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC | os.O_NOFOLLOW, OWN_FILE)
        with os.fdopen(handle, "wb") as opened:
            opened.write(data)
        beside.replace(file)  # not synced: what a power cut leaves of it does not pass its own checksum
    except Exception:  # of whatever kind: the work must not end for a cache
        _remove(beside)


def _remove(file: Path) -> None:
    try:
        file.unlink(missing_ok=True)
    except OSError:
        return


class Snapshots:
    """Keeps the snapshot of the log of one session. Called from the loop's thread, writes in another one."""

    def __init__(self, journal: FileJournal, loaded: LoadedLog | None = None) -> None:
        """Take the journal, and what was read of it where a session goes on."""
        self._journal = journal
        self._kept = 0
        self._usable = True
        self._writing: threading.Thread | None = None
        if loaded is not None:
            self._kept = loaded.known.number if loaded.known else 0
            # behind a gap nothing is sure, which a state does not tell, and a number stands for no line
            self._usable = not any(isinstance(record.input, RecordsLost) for record in loaded.records)

    def after(self, state: State, number: int) -> None:
        """Learn of the state after a record; now and then a snapshot of it is written, in the background."""
        if number - self._kept < EVERY or (self._writing is not None and self._writing.is_alive()):
            return
        write = self._task(state, number)
        if write is not None:
            self._writing = threading.Thread(target=write, name="snapshot", daemon=True)
            self._writing.start()

    def end(self, state: State, number: int) -> None:
        """Write a last one, so that the next session begins at once; an ended session needs none."""
        if self._writing is not None:
            self._writing.join()
        if state.ended:
            if self._kept:
                _remove(snapshot_file(self._journal.path))
            return
        if number - self._kept >= (EVERY if not self._kept else EVERY // 5):
            write = self._task(state, number)
            if write is not None:
                write()

    def _task(self, state: State, number: int) -> Callable[[], None] | None:
        if not self._usable or not program() or not can_be_kept(state):
            return None
        self._kept = number
        log, (last_sum, data) = self._journal.path, self._journal.so_far
        return lambda: _write(log, Snapshot(known_of(data, number, last_sum), state))
