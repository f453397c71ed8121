"""Remove, replace, cut, change, or make read-only, either place of a log at any step; disks that fill and fail.

Survived: whatever was announced (append returned) is in one of the places that the journal calls whole, each of
these reads as whole, and where nothing was taken an error said so.
"""

import errno
import os
import random
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from assistant.session.journal import FileJournal, load
from assistant.session.place import Disk, JournalError
from assistant.session.record import Record
from tests.bench.faults.outcome import Outcome
from tests.session.test_journal import confirmed

STEPS = 20
CODES = (errno.ENOSPC, errno.EIO, errno.EDQUOT, errno.EROFS)


class FaultyDisk(Disk):
    """A disk whose calls fail by chance, now and then for a while, and whose writes may be taken in part."""

    def __init__(self, chance: random.Random, rate: float) -> None:
        self._chance = chance
        self.rate = rate

    def _may_fail(self) -> None:
        if self._chance.random() < self.rate:
            code = self._chance.choice(CODES)
            raise OSError(code, os.strerror(code))

    def write(self, handle: int, data: bytes) -> int:
        if self._chance.random() < self.rate:
            return super().write(handle, data[: self._chance.randrange(len(data))]) if data else 0
        self._may_fail()
        return super().write(handle, data)

    def sync(self, handle: int) -> None:
        self._may_fail()
        super().sync(handle)

    def cut(self, handle: int, length: int) -> None:
        self._may_fail()
        super().cut(handle, length)

    def open(self, path: Path, flags: int, mode: int = 0o600) -> int:
        self._may_fail()
        return super().open(path, flags, mode)


def _remove(path: Path, _: random.Random) -> None:
    path.unlink(missing_ok=True)


def _remove_folder(path: Path, _: random.Random) -> None:
    shutil.rmtree(path.parent, ignore_errors=True)


def _replace(path: Path, chance: random.Random) -> None:
    if path.exists():
        data = path.read_bytes()
        other = path.with_name("other")
        other.write_bytes(data[: chance.randrange(len(data) + 1)])
        other.rename(path)


def _cut(path: Path, chance: random.Random) -> None:
    if path.exists():
        os.truncate(path, chance.randrange(path.stat().st_size + 1))


def _change(path: Path, chance: random.Random) -> None:
    if path.exists() and path.stat().st_size:
        data = bytearray(path.read_bytes())
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        path.write_bytes(data)


def _move_folder(path: Path, chance: random.Random) -> None:
    if path.parent.exists():
        path.parent.rename(path.parent.with_name(f"moved{chance.randrange(10**9)}"))


ACCIDENTS: tuple[Callable[[Path, random.Random], None], ...] = (
    *(_remove, _remove_folder, _replace, _cut, _change, _move_folder),
)


def accidents(times: int, *, seed: int = 3) -> Outcome:
    """Let other programs have their way with one place or both, at any step."""
    outcome, chance = Outcome("other programs at the log or its copy"), random.Random(seed)
    for _ in range(times):
        outcome.take(_trial(chance, Disk(), outcome, copied=chance.random() < 0.5, accidents=chance.randint(1, 3)))
    return outcome


def failing_disks(times: int, *, seed: int = 4) -> Outcome:
    """Let calls of the system fail by chance."""
    outcome, chance = Outcome("disk full, failing, read-only, part of a write"), random.Random(seed)
    for _ in range(times):
        disk = FaultyDisk(chance, chance.choice([0.02, 0.1, 0.4]))
        outcome.take(_trial(chance, disk, outcome, copied=chance.random() < 0.5, accidents=0))
    return outcome


def _trial(chance: random.Random, disk: Disk, outcome: Outcome, *, copied: bool, accidents: int) -> str:
    with tempfile.TemporaryDirectory() as name:
        path, copy = Path(name) / "logs" / "a.jsonl", Path(name) / "card" / "a.jsonl"
        try:
            journal = FileJournal.create(path, copy if copied else None, disk)
        except JournalError:
            outcome.note("not begun, and said so")
            return ""
        moments = {chance.randrange(1, STEPS) for _ in range(accidents)}
        announced: list[Record] = []
        number = 1
        for step in range(STEPS):
            if step in moments:
                chance.choice(ACCIDENTS)(chance.choice(journal.health.places or (path,)), chance)
            record = confirmed(number)
            try:
                journal.append(record)
            except JournalError:
                outcome.note("steps refused, and said so")
                continue
            announced.append(record)
            number += 1
            fault = _lost(journal, announced)
            if fault:
                return fault
        journal.close()
        outcome.note("times written again", journal.health.mended)
        return ""


def _lost(journal: FileJournal, announced: list[Record]) -> str:
    if not journal.health.places:
        return "announced with no place left"
    for place in journal.health.places:
        try:
            if list(load(place).records) != announced:
                return f"{place.name} is called whole and holds {len(load(place).records)} of {len(announced)}"
        except JournalError as error:
            return str(error)
    return ""
