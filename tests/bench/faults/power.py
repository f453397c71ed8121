"""A power cut at any call of the system: what was not synced is dropped, reordered, or torn at 512 or 4,096 bytes.

The calls of the journal are recorded through its `Disk`; from any point of the recording a state of the disk is
made that the system may leave (POSIX fsync: data and size of a file are safe when it was synced; a name is safe
when its folder was). Survived: every record announced before the cut is in a file that can be gone on with.
"""

import os
import random
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from assistant.session.journal import FileJournal
from assistant.session.place import Disk, JournalError
from assistant.session.record import RecordsLost
from assistant.session.salvage import read_log
from tests.bench.faults.outcome import Outcome
from tests.session.test_journal import confirmed

SECTORS = (512, 4096)


@dataclass
class _File:
    safe: bytes = b""
    now: bytes = b""
    named: bool = False
    """Whether its name is safe."""


@dataclass
class RecordingDisk(Disk):
    """Does what is asked, and keeps what is safe and what is not of every file."""

    files: dict[Path, _File] = field(default_factory=dict)
    states: list[tuple[dict[Path, _File], int]] = field(default_factory=list)
    """What there was after each call, with the number of records announced by then."""
    announced: int = 0
    _paths: dict[int, Path] = field(default_factory=dict)

    def _keep(self) -> None:
        copy = {path: _File(one.safe, one.now, one.named) for path, one in self.files.items()}
        self.states.append((copy, self.announced))

    def open(self, path: Path, flags: int, mode: int = 0o600) -> int:
        handle = super().open(path, flags, mode)
        self._paths[handle] = path
        if flags & os.O_EXCL:
            self.files[path] = _File()
        self._keep()
        return handle

    def write(self, handle: int, data: bytes) -> int:
        written = super().write(handle, data)
        self.files[self._paths[handle]].now += data[:written]
        self._keep()
        return written

    def sync(self, handle: int) -> None:
        super().sync(handle)
        path = self._paths.get(handle)
        if path is not None:
            self.files[path].safe = self.files[path].now
            self._keep()

    def cut(self, handle: int, length: int) -> None:
        super().cut(handle, length)
        one = self.files[self._paths[handle]]
        one.now = one.now[:length]
        self._keep()

    def sync_folder(self, folder: Path) -> None:
        super().sync_folder(folder)
        for path, one in self.files.items():
            if path.parent == folder:
                one.named = True
        self._keep()


def _after_cut(one: _File, chance: random.Random) -> bytes | None:
    """Give what may lie on the disk after the power came back; None where not even the name is there."""
    if not one.named and chance.random() < 0.5:
        return None
    if one.safe == one.now:
        return one.safe
    begin = len(one.safe) if one.now.startswith(one.safe) else 0
    tail = one.now[begin:] if one.now.startswith(one.safe) else one.safe[len(one.now) :]
    if not one.now.startswith(one.safe):  # it was cut, which may not have come to the disk
        return chance.choice([one.now, one.safe])
    sector = chance.choice(SECTORS)
    kept = bytearray()
    for start in range(0, len(tail), sector):  # any of the new sectors may be there, or still be empty
        piece = tail[start : start + sector]
        kept += piece if chance.random() < 0.6 else bytes(len(piece))
    if chance.random() < 0.5:
        kept = kept[: chance.randrange(len(kept) + 1)]
    return one.safe + bytes(kept)


def power_cuts(times: int, *, seed: int = 5) -> Outcome:
    """Cut the power at chance, so many times; the log alone, or with its copy."""
    outcome, chance = Outcome("power cut: log and copy"), random.Random(seed)
    recorded = [_recorded(copied=copied) for copied in (False, True)]
    for _ in range(times):
        disk = chance.choice(recorded)
        files, announced = chance.choice(disk.states)
        outcome.take(_fault(files, announced, chance, outcome))
    return outcome


def _recorded(*, copied: bool) -> RecordingDisk:
    with tempfile.TemporaryDirectory() as name:
        disk = RecordingDisk()
        path, copy = Path(name) / "logs" / "a.jsonl", Path(name) / "card" / "a.jsonl"
        journal = FileJournal.create(path, copy if copied else None, disk)
        for number in range(1, 16):
            journal.append(confirmed(number))
            disk.announced = number
            if number == 5 and copied:  # without a copy nobody can help before the next step
                path.unlink()  # so that the log is written anew, which has to be as safe
        journal.close()
        return disk


def _fault(files: dict[Path, _File], announced: int, chance: random.Random, outcome: Outcome) -> str:
    with tempfile.TemporaryDirectory() as name:
        best = 0
        for index, (path, one) in enumerate(files.items()):
            data = _after_cut(one, chance)
            if data is None:
                continue
            there = Path(name) / str(index) / path.name
            there.parent.mkdir()
            there.write_bytes(data)
            log = read_log(data)
            real = [record for record in log.records if not isinstance(record.input, RecordsLost)]
            if real != [confirmed(number) for number in range(1, len(real) + 1)]:
                return "a record was read that nobody wrote"
            if not data and not one.safe:
                continue
            try:
                journal, loaded = FileJournal.reopen(there, settle=lambda log: log)
                journal.close()
            except JournalError as error:
                if real or not log.damages:
                    return f"it cannot be gone on with: {error}"
                continue
            told = any(isinstance(record.input, RecordsLost) for record in loaded.records[-1:])
            outcome.note("damaged ends told and gone on from", told)
            best = max(best, len(real))
        return "" if best >= announced else f"{announced - best} announced records are lost"
