"""What other programs, full disks and dying ones do to a log, and to its copy, in the middle of a session.

What has been announced is in a log; what could not be written was not announced.
"""

import errno
import os
import shutil
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.session.journal import FileJournal, load, salvage
from assistant.session.place import Cause, Disk, JournalError
from assistant.session.record import Record
from tests.session.test_journal import RECORDS, confirmed


def removed(path: Path) -> None:
    path.unlink()


def folder_removed(path: Path) -> None:
    shutil.rmtree(path.parent)


def replaced(path: Path) -> None:
    """As a sync client does: a file written beside it and moved over it."""
    other = path.with_name("other")
    other.write_bytes(path.read_bytes())
    other.rename(path)


def cut(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


def changed(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def lengthened(path: Path) -> None:
    with path.open("ab") as file:
        file.write(b"and more\n")


def folder_moved(path: Path) -> None:
    path.parent.rename(path.parent.with_name("moved"))


ACCIDENTS = (removed, folder_removed, replaced, cut, changed, lengthened, folder_moved)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "logs" / "session.jsonl"


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    return tmp_path / "card" / "session.jsonl"


def whole(journal: FileJournal) -> list[tuple[Record, ...]]:
    return [load(place).records for place in journal.health.places]


@pytest.mark.parametrize("accident", ACCIDENTS)
def test_what_happens_to_the_log_in_mid_session_costs_nothing_that_was_announced(
    path: Path, accident: Callable[[Path], None]
) -> None:
    journal = FileJournal.create(path)
    for record in RECORDS[:3]:
        journal.append(record)
    accident(path)
    for record in RECORDS[3:]:
        journal.append(record)
    journal.close()
    assert load(journal.path).records == RECORDS
    assert journal.health.mended == 1, "it is told"
    assert journal.health.troubles == ()


@pytest.mark.parametrize("accident", ACCIDENTS)
@pytest.mark.parametrize("which", ["log", "copy"])
def test_with_a_copy_both_are_whole_again(path: Path, copy: Path, which: str, accident: Callable[[Path], None]) -> None:
    journal = FileJournal.create(path, copy)
    for record in RECORDS[:3]:
        journal.append(record)
    accident(path if which == "log" else copy)
    for record in RECORDS[3:]:
        journal.append(record)
    journal.close()
    assert whole(journal) == [RECORDS, RECORDS]
    assert journal.health.mended == 1


class Failing(Disk):
    """A disk on which one file cannot be written."""

    def __init__(self, folder: Path, code: int) -> None:
        self.folder = folder
        self.code: int | None = code
        self._of: dict[int, bool] = {}

    def open(self, path: Path, flags: int, mode: int = 0o600) -> int:
        if self.code and path.parent == self.folder and flags & os.O_CREAT and path.name.startswith("session-again"):
            raise OSError(self.code, os.strerror(self.code))
        handle = super().open(path, flags, mode)
        self._of[handle] = path.parent == self.folder
        return handle

    def write(self, handle: int, data: bytes) -> int:
        if self.code and self._of.get(handle):
            raise OSError(self.code, os.strerror(self.code))
        return super().write(handle, data)


CODES = [
    (errno.ENOSPC, Cause.FULL, "free some space"),
    (errno.EDQUOT, Cause.FULL, "free some space"),
    (errno.EIO, Cause.FAILING, "the disk fails"),
    (errno.EROFS, Cause.READ_ONLY, "it is read-only"),
]


@pytest.mark.parametrize(("code", "cause", "words"), CODES)
def test_a_place_that_takes_nothing_is_named_with_what_to_do(
    path: Path, copy: Path, code: int, cause: Cause, words: str
) -> None:
    disk = Failing(copy.parent, code)
    disk.code = None
    journal = FileJournal.create(path, copy, disk)
    journal.append(RECORDS[0])
    disk.code = code
    journal.append(RECORDS[1])
    assert journal.health.places == (path,)
    (trouble,) = journal.health.troubles
    assert (trouble.path, trouble.cause) == (copy, cause)
    assert words in str(trouble)
    assert load(copy).records == RECORDS[:1]
    disk.code = None
    assert journal.try_again()
    assert whole(journal) == [RECORDS[:2], RECORDS[:2]], "what was missed is caught up with"
    journal.close()


def test_with_no_place_left_nothing_counts_until_there_is_one_again(path: Path, copy: Path) -> None:
    disk = Failing(path.parent, errno.ENOSPC)
    disk.code = None
    journal = FileJournal.create(path, None, disk)
    journal.append(RECORDS[0])
    disk.code = errno.ENOSPC
    for _ in range(3):
        with pytest.raises(JournalError, match="free some space; nothing was logged"):
            journal.append(RECORDS[1])
        assert not journal.try_again()
        assert load(path).records == RECORDS[:1]
    disk.code = None
    journal.append(RECORDS[1])
    journal.close()
    assert load(path).records == RECORDS[:2]


def test_resume_takes_the_longer_of_the_two_and_brings_the_other_to_it(path: Path, copy: Path) -> None:
    journal = FileJournal.create(path, copy)
    for record in RECORDS:
        journal.append(record)
    journal.close()
    for short, long in ((path, copy), (copy, path)):
        short.write_bytes(b"".join(load(long).lines[:2]))
        again, loaded = FileJournal.reopen(path, copy)
        assert loaded.records == RECORDS
        assert whole(again) == [RECORDS, RECORDS]
        again.close()
    copy.unlink()
    again, loaded = FileJournal.reopen(path, copy)
    again.append(confirmed(6))
    again.close()
    assert whole(again) == [(*RECORDS, confirmed(6))] * 2


def test_a_copy_of_another_log_is_refused(path: Path, copy: Path) -> None:
    journal = FileJournal.create(path)
    journal.append(RECORDS[0])
    journal.close()
    other = FileJournal.create(copy)
    other.append(confirmed(7))
    other.close()
    with pytest.raises(JournalError):
        FileJournal.reopen(path, copy)
    again, _ = FileJournal.reopen(path)
    again.close()


def test_a_card_that_is_pulled_out_is_not_written_on_the_disk_below_it(
    path: Path, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = FileJournal.create(path, copy)
    journal.append(RECORDS[0])
    folder_removed(copy)
    copy.parent.mkdir()  # the empty folder in which a card is mounted, on another disk than the card was
    real = Disk.stat

    def on_another_disk(disk: Disk, at: Path | int) -> os.stat_result:
        found = real(disk, at)
        if at == copy.parent:
            return os.stat_result([*found[:2], found.st_dev + 1, *found[3:]])
        return found

    monkeypatch.setattr(Disk, "stat", on_another_disk)
    journal.append(RECORDS[1])
    assert not list(copy.parent.iterdir())
    (trouble,) = journal.health.troubles
    assert "its disk or card is not there" in str(trouble)
    assert whole(journal) == [RECORDS[:2]]
    journal.close()


@pytest.mark.parametrize("umask", [0o000, 0o077])
def test_folders_and_files_are_for_their_owner_from_the_first_moment(
    path: Path, copy: Path, umask: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    modes: list[int] = []
    real = Disk.open

    def watched(disk: Disk, at: Path, flags: int, mode: int = 0o600) -> int:
        handle = real(disk, at, flags, mode)
        modes.append(stat.S_IMODE(os.fstat(handle).st_mode))
        return handle

    monkeypatch.setattr(Disk, "open", watched)
    before = os.umask(umask)
    try:
        journal = FileJournal.create(path, copy)
        removed(path)
        journal.append(RECORDS[0])
        journal.close()
    finally:
        os.umask(before)
    assert set(modes) == {0o600}
    assert {stat.S_IMODE(one.parent.stat().st_mode) for one in (path, copy)} == {0o700}


def test_a_link_in_the_place_of_a_log_is_not_followed(path: Path, tmp_path: Path) -> None:
    target = tmp_path / "target.jsonl"
    journal = FileJournal.create(target)
    journal.append(RECORDS[0])
    journal.close()
    path.parent.mkdir()
    path.symlink_to(target)
    with pytest.raises(JournalError):
        FileJournal.reopen(path)
    with pytest.raises(JournalError):
        FileJournal.create(path)


def test_a_slow_disk_is_told_and_keeps_everything(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [0.0]
    monkeypatch.setattr("assistant.session.journal.time.monotonic", lambda: now[0])

    class Slow(Disk):
        def sync(self, handle: int) -> None:
            super().sync(handle)
            now[0] += 1.0

    journal = FileJournal.create(path, None, Slow())
    journal.append(RECORDS[0])
    assert journal.health.slow_s == pytest.approx(1.0)
    journal.close()
    assert salvage(path).records == RECORDS[:1]
