"""The programs of faults in short, and that each of them finds the fault that it is there for."""

from pathlib import Path

import pytest

from assistant.account import account as accounts
from assistant.session import salvage
from assistant.session.journal import FileJournal
from assistant.session.place import Disk, LogPlace
from tests.bench.faults.bits import flipped_bits, lost_blocks
from tests.bench.faults.kills import kills
from tests.bench.faults.mixes import mixes
from tests.bench.faults.outcome import Outcome
from tests.bench.faults.places import accidents, failing_disks
from tests.bench.faults.power import RecordingDisk, power_cuts

RECORDS = 120


def nothing_lost(outcome: Outcome, times: int) -> None:
    assert outcome.lost == []
    assert (outcome.tried, outcome.survived) == (times, times)


def test_flipped_bits_and_lost_blocks() -> None:
    nothing_lost(flipped_bits(60, records=RECORDS), 60)
    nothing_lost(lost_blocks(40, records=RECORDS), 40)


def test_other_programs_at_the_log() -> None:
    nothing_lost(accidents(40), 40)


def test_disks_that_fail() -> None:
    nothing_lost(failing_disks(40), 40)


def test_power_cuts() -> None:
    nothing_lost(power_cuts(150), 150)


def test_kills() -> None:
    nothing_lost(kills(2), 2)


def test_mixes() -> None:
    nothing_lost(mixes(15), 15)


# --- each finds what it is there for ------------------------------------------------------------------------------


def test_a_reader_that_believes_numbers_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    real = salvage._read_piece

    def believing(piece: salvage._Piece, order: int) -> None:
        real(piece, order)
        piece.line = piece.line or piece.unproven

    monkeypatch.setattr(salvage, "_read_piece", believing)
    assert flipped_bits(60, records=RECORDS).lost


def test_a_journal_that_does_not_look_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(LogPlace, "_check", lambda *_: None)
    assert accidents(40).lost


def test_a_journal_that_counts_what_no_place_took_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    real = FileJournal._keep

    def hopeful(journal: FileJournal, **how: bool) -> bool:
        real(journal, **how)
        return True

    monkeypatch.setattr(FileJournal, "_keep", hopeful)
    assert failing_disks(40).lost


@pytest.mark.parametrize("forgets", ["sync", "sync_folder"])
def test_a_journal_that_does_not_wait_for_the_disk_is_found(forgets: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def nothing(_: Disk, at: int | Path) -> None:
        """Return at once."""

    monkeypatch.setattr(RecordingDisk, forgets, nothing)
    assert power_cuts(150).lost


def test_an_account_that_counts_copies_twice_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    from assistant.account.copies import Sorted

    def all_of_them(logs: list[accounts.ReadLog]) -> Sorted:
        return Sorted(logs=list(logs), first_own={log.name: 1 for log in logs})

    monkeypatch.setattr(accounts, "sort_out", all_of_them)
    assert mixes(15).lost
