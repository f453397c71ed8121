"""The journal: one contract for memory and file, and what is left of a file after every kind of accident."""

import errno
import os
import resource
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from assistant.dialogue.messages import (
    AnnouncementNumber,
    Channel,
    Check,
    Fact,
    Input,
    PairConfirmed,
    Said,
    SpeechEnded,
    Typed,
)
from assistant.session.journal import FileJournal, Journal, JournalError, MemoryJournal, load, salvage
from assistant.session.record import FIRST_SUM, Record, RecordError, decode, encode
from assistant.session.salvage import LoadedLog
from tests.session.lines import line_of


def confirmed(number: int) -> Record:
    """Make a record that confirms the pair of its own number."""
    came: Input = Typed(f"pair {number}", AnnouncementNumber(number))
    fact: Fact = PairConfirmed(pair=number, how=Check.NUMBER, by=Channel.TYPED, asked_back=False)
    at = f"2026-11-25T08:00:{number:02}.250+00:00"
    return Record(number=number, at=at, input=came, facts=(fact, Said(f"{number}, confirmed.")))


RECORDS = tuple(confirmed(number) for number in range(1, 6))


def lines_of(records: tuple[Record, ...], before: str = FIRST_SUM) -> list[bytes]:
    found = []
    for record in records:
        line, before = encode(record, before)
        found.append(line)
    return found


LINES = lines_of(RECORDS)
WHOLE = b"".join(LINES)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "logs" / "session.jsonl"


@pytest.fixture
def written(path: Path) -> Path:
    """Give a log of all the records, closed."""
    journal = FileJournal.create(path)
    for record in RECORDS:
        journal.append(record)
    journal.close()
    assert path.read_bytes() == WHOLE
    return path


def one_line(error: pytest.ExceptionInfo[JournalError], path: Path) -> str:
    """Check that an error is one line that names the file, and give it."""
    text = str(error.value)
    assert "\n" not in text
    assert str(path) in text
    return text


# --- the contract of every journal ----------------------------------------------------------------------


@pytest.fixture(params=["memory", "file"])
def journal_and_kept(request, path: Path) -> Iterator[tuple[Journal, Callable[[], tuple[Record, ...]]]]:
    """Give a journal and a way to see what it has kept."""
    if request.param == "memory":
        memory = MemoryJournal()
        yield memory, lambda: tuple(memory.records)
    else:
        file = FileJournal.create(path)
        yield file, lambda: load(path).records
        file.close()


def test_a_journal_begins_empty(journal_and_kept) -> None:
    _, kept = journal_and_kept
    assert kept() == ()


def test_a_journal_keeps_records_in_order_as_they_were(journal_and_kept) -> None:
    journal, kept = journal_and_kept
    for number, record in enumerate(RECORDS, 1):
        journal.append(record)
        assert kept() == RECORDS[:number], "each counts as soon as append returns"


def test_a_journal_may_be_closed_twice_and_keeps_what_it_has(journal_and_kept) -> None:
    journal, kept = journal_and_kept
    journal.append(RECORDS[0])
    journal.close()
    journal.close()
    assert kept() == RECORDS[:1]


# --- the file -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_only_its_owner_may_read_a_log(path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        FileJournal.create(path).close()
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_log_is_never_written_over(written: Path) -> None:
    with pytest.raises(JournalError) as error:
        FileJournal.create(written)
    assert "File exists" in one_line(error, written)
    assert written.read_bytes() == WHOLE


@pytest.mark.parametrize("first", ["create", "reopen"])
def test_a_log_in_use_is_refused_until_it_is_closed(path: Path, first: str) -> None:
    journal = FileJournal.create(path)
    if first == "reopen":
        journal.close()
        journal, _ = FileJournal.reopen(path)
    journal.append(RECORDS[0])
    with pytest.raises(JournalError) as error:
        FileJournal.reopen(path)
    assert "in use" in one_line(error, path)
    journal.append(RECORDS[1])
    journal.close()
    again, loaded = FileJournal.reopen(path)
    again.close()
    assert loaded.records == RECORDS[:2]


def test_a_refused_log_is_not_left_open(written: Path) -> None:
    written.write_bytes(WHOLE.replace(b"pair 2", b"pair 4"))
    for _ in range(2):  # a lock that was left behind would change the second answer
        with pytest.raises(JournalError, match="line 2"):
            FileJournal.reopen(written)


def test_a_log_goes_on_where_it_ended(written: Path) -> None:
    journal, loaded = FileJournal.reopen(written)
    assert (loaded.records, loaded.last_sum) == (RECORDS, decode(LINES[-1], _sum_after(RECORDS[:-1]))[1])
    assert (loaded.length, loaded.torn, loaded.damages) == (len(WHOLE), b"", ())
    journal.append(confirmed(6))
    journal.close()
    assert load(written).records == (*RECORDS, confirmed(6))


def _sum_after(records: tuple[Record, ...]) -> str:
    before = FIRST_SUM
    for record in records:
        _, before = encode(record, before)
    return before


@pytest.mark.parametrize("use", [load, FileJournal.reopen])
def test_a_log_that_is_not_there_is_named(path: Path, use: Callable[[Path], object]) -> None:
    with pytest.raises(JournalError) as error:
        use(path)
    assert "No such file" in one_line(error, path)


def test_a_log_cannot_be_made_inside_a_file(tmp_path: Path) -> None:
    (tmp_path / "logs").write_text("I am a file")
    with pytest.raises(JournalError) as error:
        FileJournal.create(tmp_path / "logs" / "session.jsonl")
    assert "--log" in one_line(error, tmp_path / "logs" / "session.jsonl")


def test_a_closed_log_takes_nothing(written: Path) -> None:
    journal, _ = FileJournal.reopen(written)
    journal.close()
    with pytest.raises(JournalError, match="cannot be written"):
        journal.append(confirmed(6))
    assert written.read_bytes() == WHOLE


# --- when it counts as kept -------------------------------------------------------------------------------


class Calls:
    """Keeps the order of the calls that make a record durable."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.seen: list[str] = []
        for name in ("write", "fsync", "ftruncate"):
            monkeypatch.setattr(os, name, self._watched(name, getattr(os, name)))

    def _watched(self, name: str, real: Callable[..., object]) -> Callable[..., object]:
        def call(handle: int, *more: object) -> object:
            of_folder = stat.S_ISDIR(os.fstat(handle).st_mode)
            result = real(handle, *more)
            self.seen.append(f"{name} folder" if of_folder else name)
            return result

        return call


def test_a_record_is_synced_before_append_returns(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journal = FileJournal.create(path)
    calls = Calls(monkeypatch)
    journal.append(RECORDS[0])
    assert calls.seen == ["write", "fsync"], "one write, then synced"
    journal.append(RECORDS[1])
    assert calls.seen == ["write", "fsync"] * 2
    journal.close()


def test_the_folders_are_synced_when_a_log_is_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # a new name is safe only when the folder that holds it was synced as well (man page fsync(2))
    synced: list[tuple[int, int]] = []
    real = os.fsync

    def fsync(handle: int) -> None:
        found = os.fstat(handle)
        synced.append((found.st_dev, found.st_ino))
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    path = tmp_path / "a" / "b" / "session.jsonl"
    FileJournal.create(path).close()
    for folder in (tmp_path, tmp_path / "a", tmp_path / "a" / "b"):
        assert (folder.stat().st_dev, folder.stat().st_ino) in synced, f"{folder} holds a new name"


def test_a_torn_line_is_safe_aside_before_it_is_cut_off(written: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written.write_bytes(WHOLE[:-3])
    calls = Calls(monkeypatch)
    journal, _ = FileJournal.reopen(written)
    journal.close()
    assert calls.seen == ["write", "fsync", "fsync folder", "ftruncate", "fsync"]


# --- cut off after every byte --------------------------------------------------------------------------------


@pytest.fixture
def no_sync(monkeypatch: pytest.MonkeyPatch) -> None:
    """Spare the disk where thousands of files are written and none is meant to last."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


def test_a_log_cut_after_any_byte_holds_all_whole_lines_and_goes_on(tmp_path: Path, no_sync) -> None:
    for length in range(len(WHOLE) + 1):
        path = tmp_path / f"{length}.jsonl"
        path.write_bytes(WHOLE[:length])
        whole = WHOLE[:length].count(b"\n")
        kept = len(b"".join(LINES[:whole]))
        torn = WHOLE[kept:length]

        journal, loaded = FileJournal.reopen(path)
        assert loaded.records == RECORDS[:whole], length
        assert (loaded.length, loaded.torn) == (kept, torn), length
        aside = path.with_name(f"{path.name}.torn1")
        assert aside.exists() == bool(torn), length
        if torn:
            assert aside.read_bytes() == torn
            assert stat.S_IMODE(aside.stat().st_mode) == 0o600
            aside.unlink()
        assert path.read_bytes() == WHOLE[:kept], length

        journal.append(confirmed(whole + 1))
        journal.close()
        assert load(path).records == (*RECORDS[:whole], confirmed(whole + 1)), length
        assert load(path).torn == b"", length
        path.unlink()


def test_every_torn_line_has_a_file_of_its_own(written: Path) -> None:
    for number in (1, 2, 3):
        with written.open("ab") as file:
            file.write(b'{"sum":"%d' % number)
        journal, loaded = FileJournal.reopen(written)
        journal.close()
        assert loaded.torn == b'{"sum":"%d' % number
        assert written.read_bytes() == WHOLE
    asides = sorted(written.parent.glob("*.torn*"))
    assert [aside.name for aside in asides] == [f"{written.name}.torn{number}" for number in (1, 2, 3)]
    assert [aside.read_bytes() for aside in asides] == [b'{"sum":"%d' % number for number in (1, 2, 3)]


def test_space_that_was_given_but_never_filled_counts_as_torn(written: Path) -> None:
    # some file systems lengthen a file before its data are down, which leaves zeros after a power cut
    written.write_bytes(WHOLE + bytes(300))
    loaded = load(written)
    assert (loaded.records, loaded.torn) == (RECORDS, bytes(300))


@pytest.fixture
def nothing_set_right(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out what finds a changed bit, which takes long for thousands of logs; test_salvage tests it."""
    monkeypatch.setattr("assistant.session.salvage.MOST_SET_RIGHT", 0)


# --- every byte changed ----------------------------------------------------------------------------------------


def _load_or_error(path: Path, data: bytes) -> LoadedLog | str:
    path.write_bytes(data)
    text = ""
    try:
        return load(path)
    except JournalError as error:
        text = str(error)
    assert "\n" not in text
    assert path.read_bytes() == data, "a damaged log is left untouched"
    return text


@pytest.mark.parametrize("change", [0x01, 0x80, 0xFF])
def test_a_changed_byte_never_makes_another_record(path: Path, change: int, nothing_set_right) -> None:
    path.parent.mkdir()
    starts = [len(b"".join(LINES[:number])) for number in range(len(LINES))]
    for place in range(len(WHOLE)):
        data = bytearray(WHOLE)
        data[place] ^= change
        line = sum(start <= place for start in starts)
        found = _load_or_error(path, bytes(data))
        assert isinstance(found, str), f"byte {place} of line {line} was changed and not found"
        assert f"line {line} is damaged" in found, place
        kept = [one for one in salvage(path).records if one.facts]
        assert set(kept) <= set(RECORDS), place
        assert len(kept) >= len(RECORDS) - 1, "the record of that line, and no other"


def test_a_byte_that_becomes_a_line_end_is_found(path: Path, nothing_set_right) -> None:
    path.parent.mkdir()
    last_start = len(WHOLE) - len(LINES[-1])
    for place in range(len(WHOLE) - 1):
        if WHOLE[place : place + 1] == b"\n":
            continue
        found = _load_or_error(path, WHOLE[:place] + b"\n" + WHOLE[place + 1 :])
        assert isinstance(found, str), place
        if place >= last_start:
            assert f"line {len(LINES)} is damaged" in found


def test_the_reading_of_one_line_never_gives_another_record() -> None:
    # the same on the level of one line, every bit of it
    before = _sum_after(RECORDS[:2])
    line = LINES[2]
    for place in range(len(line)):
        for bit in range(8):
            changed = bytearray(line)
            changed[place] ^= 1 << bit
            with pytest.raises(RecordError):
                decode(bytes(changed), before)


# --- lost, inserted and moved lines ------------------------------------------------------------------------------


def _without(number: int) -> list[bytes]:
    return LINES[: number - 1] + LINES[number:]


@pytest.mark.parametrize("number", range(1, len(LINES)))
def test_a_lost_line_is_found(path: Path, number: int) -> None:
    path.parent.mkdir()
    found = _load_or_error(path, b"".join(_without(number)))
    assert isinstance(found, str)
    assert f"line {number} is damaged" in found


@pytest.mark.parametrize("number", range(1, len(LINES) + 1))
@pytest.mark.parametrize(
    "extra",
    [LINES[0], LINES[3], b"\n", b"{}\n", b"# a remark\n", lines_of((confirmed(1),), "f" * 16)[0]],
    ids=["first", "fourth", "empty", "braces", "remark", "stranger"],
)
def test_an_inserted_line_is_found(path: Path, number: int, extra: bytes) -> None:
    path.parent.mkdir()
    lines = [*LINES[: number - 1], extra, *LINES[number - 1 :]]
    found = _load_or_error(path, b"".join(lines))
    wrong = next(place for place, line in enumerate(lines, 1) if place > len(LINES) or line != LINES[place - 1])
    assert isinstance(found, str)
    assert f"line {wrong} is damaged" in found


@pytest.mark.parametrize(("one", "other"), [(a, b) for a in range(1, 6) for b in range(a + 1, 6)])
def test_lines_that_changed_places_are_found(path: Path, one: int, other: int) -> None:
    path.parent.mkdir()
    lines = list(LINES)
    lines[one - 1], lines[other - 1] = lines[other - 1], lines[one - 1]
    found = _load_or_error(path, b"".join(lines))
    assert isinstance(found, str)
    assert f"line {one} is damaged" in found


def test_lines_of_another_log_are_found(path: Path) -> None:
    path.parent.mkdir()
    others = lines_of(tuple(confirmed(number) for number in (1, 2, 3)), "f" * 16)
    found = _load_or_error(path, b"".join([*LINES[:2], *others]))
    assert isinstance(found, str)
    assert "line 3 is damaged" in found


# --- whole lines are never taken for torn ones ------------------------------------------------------------------------


def test_a_last_line_of_a_later_version_is_not_cut_off(written: Path) -> None:
    later = {"number": 6, "at": "", "input": {"tag": "typed", "text": "x"}, "facts": [{"tag": "sung", "song": "x"}]}
    line = line_of(later, _sum_after(RECORDS))
    written.write_bytes(WHOLE + line)
    with pytest.raises(JournalError) as error:
        FileJournal.reopen(written)
    assert "later version" in one_line(error, written)
    assert written.read_bytes() == WHOLE + line
    (later_record,) = load(written).records[len(RECORDS) :]
    assert [fact.tag for fact in later_record.later] == ["sung"], "it is read as far as it is known"


def test_a_last_line_with_a_wrong_number_is_not_cut_off(written: Path) -> None:
    line, _ = encode(confirmed(9), _sum_after(RECORDS))
    written.write_bytes(WHOLE + line)
    with pytest.raises(JournalError) as error:
        FileJournal.reopen(written)
    assert "line 6" in one_line(error, written)
    assert "is record 9: 3 before it are lost" in one_line(error, written)
    assert written.read_bytes() == WHOLE + line


# --- a full disk ------------------------------------------------------------------------------------------------------


@contextmanager
def room_for(size: int) -> Iterator[None]:
    """Let no file grow beyond a size, as on a full disk; Python ignores the signal, so that write fails."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_on_a_full_disk_nothing_half_counts_and_the_journal_goes_on(path: Path, no_sync) -> None:
    journal = FileJournal.create(path)
    journal.append(RECORDS[0])
    start = len(LINES[0])
    for taken in range(len(LINES[1])):  # the kernel takes so many bytes of the line, then no more
        with room_for(start + taken), pytest.raises(JournalError) as error:
            journal.append(RECORDS[1])
        assert "free some space" in one_line(error, path)
        assert path.read_bytes() == LINES[0], taken
    for record in RECORDS[1:]:
        journal.append(record)
    journal.close()
    assert path.read_bytes() == WHOLE


@pytest.mark.parametrize("call", ["write", "fsync"])
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO, errno.EDQUOT])
def test_what_failed_to_be_written_or_synced_does_not_count(
    path: Path, monkeypatch: pytest.MonkeyPatch, call: str, code: int
) -> None:
    journal = FileJournal.create(path)
    journal.append(RECORDS[0])

    def fail(*_: object) -> int:
        raise OSError(code, os.strerror(code))

    with monkeypatch.context() as patched:
        patched.setattr(os, call, fail)
        with pytest.raises(JournalError) as error:
            journal.append(RECORDS[1])
    assert os.strerror(code) in one_line(error, path)
    assert ("free some space" in str(error.value)) == (code != errno.EIO), "a dying disk is not a full one"
    assert path.read_bytes() == LINES[0]
    journal.append(RECORDS[1])
    journal.close()
    assert load(journal.path).records == RECORDS[:2]
    assert (journal.path != path) == (call == "fsync"), "what failed to be synced once is not trusted again"


def test_where_the_half_line_cannot_be_taken_back_nothing_may_follow_it(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = FileJournal.create(path)
    journal.append(RECORDS[0])

    def fail(*_: object) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    size = len(LINES[0]) + 20
    with monkeypatch.context() as patched, room_for(size):
        patched.setattr(os, "ftruncate", fail)
        with pytest.raises(JournalError):
            journal.append(RECORDS[1])
    assert path.read_bytes() == (LINES[0] + LINES[1])[:size]
    journal.append(RECORDS[1])
    journal.close()
    assert load(journal.path).records == RECORDS[:2]
    assert journal.path == path.with_name("session-again2.jsonl")
    again, loaded = FileJournal.reopen(path)
    assert (loaded.records, loaded.torn) == (RECORDS[:1], LINES[1][:20])
    again.append(RECORDS[1])
    again.close()
    assert load(path).records == RECORDS[:2]


@pytest.mark.parametrize("room", [0, 5])
def test_a_torn_line_that_cannot_be_moved_aside_stays_where_it_is(written: Path, room: int) -> None:
    torn = b'{"sum":"0123'
    written.write_bytes(WHOLE + torn)
    with room_for(room), pytest.raises(JournalError) as error:
        FileJournal.reopen(written)
    assert "free some space" in one_line(error, written)
    assert written.read_bytes() == WHOLE + torn
    journal, loaded = FileJournal.reopen(written)
    journal.close()
    assert loaded.torn == torn
    assert [aside.read_bytes() for aside in written.parent.glob("*.torn*")] == [torn]


def test_a_record_that_is_none_leaves_the_journal_as_it_was(path: Path) -> None:
    journal = FileJournal.create(path)
    journal.append(RECORDS[0])
    with pytest.raises(KeyError):
        journal.append(Record(number=2, at="", input=SpeechEnded(), facts=("no fact",)))  # type: ignore[arg-type]
    journal.append(RECORDS[1])
    journal.close()
    assert load(path).records == RECORDS[:2]
