"""The snapshot of a log as a file: a cache that may be lost, spoilt, forged or in the way, and changes nothing then."""

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.app import snapshots
from assistant.app.snapshots import EVERY, Snapshots, find, snapshot_file
from assistant.dialogue.state import fold, initial
from assistant.session.journal import FileJournal
from assistant.session.record import FIRST_SUM, Record, encode
from assistant.session.replay import rebuild, settled
from assistant.session.salvage import read_log
from tests.account.sessions import Session
from tests.app.test_cli import run
from tests.session.test_snapshot import alike

FIRST = Session(cable=50, place="yard").typed("confirm", "mark wet", "confirm", "pair nine nine")


def long_log(path: Path, records: int = EVERY + 10) -> Path:
    """Write a log of a few entries, and of many calls that did not fit."""
    before, lines = FIRST_SUM, []
    for number in range(1, records + 1):
        one = FIRST.records[min(number, len(FIRST.records)) - 1]
        line, before = encode(Record(number=number, at=one.at, input=one.input, facts=one.facts), before)
        lines.append(line)
    path.write_bytes(b"".join(lines))
    return path


def resumed(log: Path, *said: str) -> list[str]:
    """Go on with a log and give what is said, without the number of announcements and paths."""
    done = run("work", "--resume", str(log), "--typed", "--voice", "print", stdin="".join(f"{one}\n" for one in said))
    assert (done.returncode, done.stderr) == (0, "")
    return [line for line in done.stdout.splitlines() if line.startswith("<")]


def kept(journal: FileJournal, session: Session) -> Snapshots:
    """Write all records of a session into a journal, telling the keeper of each."""
    keeper, state = Snapshots(journal), initial()
    for record in session.records:
        journal.append(record)
        state = fold(record.facts, state)
        keeper.after(state, record.number)
    keeper.end(state, len(session.records))
    return keeper


def test_going_on_with_a_long_log_is_the_same_with_and_without_its_snapshot(tmp_path: Path) -> None:
    log = long_log(tmp_path / "a.jsonl")
    data = log.read_bytes()
    said = ["undo that", "undo that", "undo that", "where am i", "confirm", "undo that", "which faults"]
    without = resumed(log, *said)
    assert find(log) is not None, "it was kept when the session was left"
    log.write_bytes(data)
    assert resumed(log, *said) != [], "a snapshot of what is no longer there is passed over"
    log.write_bytes(data)
    snapshot_file(log).unlink()
    resumed(log)
    there = find(log)
    assert there is not None
    log.write_bytes(log.read_bytes()[: there.known.length])
    before = log.read_bytes()
    with_it = resumed(log, *said)
    snapshot_file(log).unlink()
    log.write_bytes(before)
    assert with_it == resumed(log, *said)
    assert [line for line in with_it if "Undone" in line] == [line for line in without if "Undone" in line]


def test_a_short_log_has_none(tmp_path: Path) -> None:
    journal = FileJournal.create(tmp_path / "a.jsonl")
    kept(journal, Session(cable=25).typed("confirm").left())
    journal.close()
    assert [path.name for path in tmp_path.iterdir()] == ["a.jsonl"]


@pytest.fixture
def often(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep snapshots of short logs too."""
    monkeypatch.setattr(snapshots, "EVERY", 3)


@pytest.mark.usefixtures("often")
def test_it_is_kept_for_its_owner_only_and_holds_the_state(tmp_path: Path) -> None:
    session = Session(cable=25).typed("confirm", "mark wet", "confirm", "skip this pair", "confirm").left()
    old = os.umask(0)
    try:
        journal = FileJournal.create(tmp_path / "a.jsonl")
        kept(journal, session)
    finally:
        os.umask(old)
    journal.close()
    file = snapshot_file(tmp_path / "a.jsonl")
    assert file.stat().st_mode & 0o777 == 0o600
    found = find(tmp_path / "a.jsonl")
    assert found is not None
    alike(found.state, rebuild(session.records[: found.known.number]))


@pytest.mark.usefixtures("often")
def test_an_ended_session_leaves_none(tmp_path: Path) -> None:
    journal = FileJournal.create(tmp_path / "a.jsonl")
    kept(journal, Session(cable=25).typed("confirm", "confirm", "confirm", "confirm", "finish session", "yes"))
    journal.close()
    assert [path.name for path in tmp_path.iterdir()] == ["a.jsonl"]


def spoil_link(file: Path) -> None:
    file.rename(file.with_suffix(".elsewhere"))
    file.symlink_to(file.with_suffix(".elsewhere"))


SPOILT: dict[str, Callable[[Path], object]] = {
    "a link": spoil_link,
    "writable by others": lambda file: file.chmod(0o666),
    "writable by the group": lambda file: file.chmod(0o620),
    "empty": lambda file: file.write_bytes(b""),
    "torn": lambda file: os.truncate(file, 200),
    "of other bytes": lambda file: file.write_bytes(os.urandom(2000)),
    "a folder": lambda file: (file.unlink(), file.mkdir()),
    "a pipe that nobody writes to": lambda file: (file.unlink(), os.mkfifo(file)),
}


@pytest.mark.usefixtures("often")
@pytest.mark.parametrize("spoil", SPOILT.values(), ids=SPOILT)
def test_what_is_no_snapshot_of_ours_is_not_read(tmp_path: Path, spoil: Callable[[Path], object]) -> None:
    log = tmp_path / "a.jsonl"
    journal = FileJournal.create(log)
    session = Session(cable=25).typed("confirm", "confirm", "confirm", "confirm").left()
    kept(journal, session)
    journal.close()
    assert find(log) is not None
    spoil(snapshot_file(log))
    assert find(log) is None
    journal, loaded = FileJournal.reopen(log)
    Snapshots(journal, loaded).end(rebuild(loaded.records), loaded.last_number + 3)  # nothing raises
    journal.close()


@pytest.mark.usefixtures("often")
def test_another_version_of_the_program_does_not_read_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = tmp_path / "a.jsonl"
    journal = FileJournal.create(log)
    kept(journal, Session(cable=25).typed("confirm", "confirm", "confirm", "confirm").left())
    journal.close()
    monkeypatch.setattr(snapshots, "program", lambda: "0" * 64)
    assert find(log) is None
    monkeypatch.setattr(snapshots, "program", lambda: "")
    assert find(log) is None, "where its text is not there, nothing is known of the program"


def test_the_digest_of_the_program_covers_what_makes_states() -> None:
    folder = Path(snapshots.__file__).parent.parent
    covered = {path.parent.name for name in snapshots._FOLDING for path in (folder / name).rglob("*.py")}
    assert {"cable", "words", "dialogue", "session"} <= covered
    assert re.fullmatch("[0-9a-f]{64}", snapshots.program())


@pytest.mark.usefixtures("often")
def test_a_disk_with_little_room_keeps_it_for_the_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(snapshots, "LEAST_FREE", 10**18)
    journal = FileJournal.create(tmp_path / "a.jsonl")
    kept(journal, Session(cable=25).typed("confirm", "confirm", "confirm", "confirm").left())
    journal.close()
    assert [path.name for path in tmp_path.iterdir()] == ["a.jsonl"]


@pytest.mark.usefixtures("often")
def test_a_log_with_a_gap_has_none(tmp_path: Path) -> None:
    """Behind a gap an entry may be taken back that was lost; whoever did not see the gap would call that forged."""
    lines = Session(cable=25).typed(*["confirm"] * 8).data().splitlines(keepends=True)
    repaired = settled(read_log(b"".join([*lines[:3], b"x" * 40 + b"\n", *lines[4:]])))
    log = tmp_path / "a.jsonl"
    log.write_bytes(b"".join(repaired.lines))
    journal, loaded = FileJournal.reopen(log)
    keeper = Snapshots(journal, loaded)
    keeper.end(rebuild(loaded.records), loaded.last_number)
    journal.close()
    assert loaded.damages == ()
    assert not snapshot_file(log).exists()


def test_only_going_on_reads_one() -> None:
    """What checks, reports or counts must not believe a cache."""
    folder = Path(snapshots.__file__).parent.parent
    reading = {path.name for path in folder.rglob("*.py") if re.search(r"\bsnapshots?\b", path.read_text())}
    assert reading == {"work.py", "snapshots.py", "snapshot.py"}
