"""A log whose end is damaged, as a power cut may leave it: it is gone on with, and what is lost is called again."""

from pathlib import Path

import pytest

from assistant.app.cli import main
from assistant.session.journal import FileJournal, load
from assistant.session.place import JournalError
from assistant.session.record import RecordsLost
from assistant.session.replay import rebuild, settled
from tests.account.sessions import Session


@pytest.fixture
def lines() -> list[bytes]:
    session = Session(cable=6).typed("1 blue white", "2 orange white", "3 green white")
    return session.data().splitlines(keepends=True)


SPOILT = {
    "a flipped bit": lambda line: line.replace(b"green", b"greem"),
    "zeros with a line end": lambda line: bytes(len(line) - 1) + b"\n",
    "half of it and something else": lambda line: line[:50] + b"\n" + b"what was there before\n" + b"and there",
}


@pytest.mark.parametrize("spoil", SPOILT.values(), ids=SPOILT)
def test_what_was_at_the_end_is_kept_aside_and_named_in_the_log(spoil, lines: list[bytes], tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join([*lines[:3], spoil(lines[3])]))
    journal, loaded = FileJournal.reopen(path, settle=settled)
    journal.close()
    assert load(path).records == loaded.records
    gap = loaded.records[-1].input
    assert isinstance(gap, RecordsLost)
    assert {2, 3} <= set(gap.doubtful), "2 may have been taken back, 3 was expected"
    assert (path.with_name("a.jsonl.torn1")).read_bytes() == spoil(lines[3])
    state = rebuild(loaded.records)
    assert {joint for joint in range(1, 7) if state.of(joint).confirmed} <= {1}


def test_a_copy_that_has_it_whole_gives_it_back(lines: list[bytes], tmp_path: Path) -> None:
    path, copy = tmp_path / "a.jsonl", tmp_path / "card" / "a.jsonl"
    copy.parent.mkdir()
    for spoilt, whole in ((path, copy), (copy, path)):
        whole.write_bytes(b"".join(lines))
        spoilt.write_bytes(b"".join([*lines[:3], bytes(99) + b"\n"]))
        journal, loaded = FileJournal.reopen(path, copy, settle=settled)
        journal.close()
        assert len(loaded.records) == 4
        assert path.read_bytes() == copy.read_bytes() == b"".join(lines)


def test_damage_in_the_middle_is_refused(lines: list[bytes], tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join([lines[0], lines[2], lines[3].replace(b"green", b"greem")]))
    before = path.read_bytes()
    with pytest.raises(JournalError, match="repair"):
        FileJournal.reopen(path, settle=settled)
    assert path.read_bytes() == before


def test_work_goes_on_and_asks_for_what_is_lost(
    lines: list[bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join([*lines[:3], lines[3].replace(b"green", b"greem")]))
    newer = tmp_path / "b.jsonl"
    newer.write_bytes(b"".join([lines[0], lines[2]]))  # a newer one that is damaged in the middle blocks nothing
    keys = tmp_path / "keys.txt"
    keys.write_text("")
    assert main(["work", "--resume", "--keys", str(keys), "--voice", "print", "--log", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert f"Passed over: {newer}" in out
    assert "Next three, green white" in out or "Next two, orange white" in out
