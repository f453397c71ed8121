"""What a folder of logs may hold: damage, torn ends, odd lines and names. Nothing crashes, nothing is written."""

import itertools
import json
import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.crew.database import of_logs, of_parquet
from assistant.crew.logs import cabling, roll_up, without_half_characters
from assistant.crew.tables import as_csv, as_json, as_tables, questions
from assistant.dialogue.messages import BEFORE_NUMBERS, PairConfirmed, Typed
from assistant.errors import AssistantError
from assistant.session.journal import salvage
from assistant.session.record import FIRST_SUM, encode
from tests.crew.shifts import Shift, log_bytes, shift, told_as
from tests.session.lines import line_of

RECORDS = next(records for records in map(shift, itertools.count()) if len(records) >= 40)
WHOLE = log_bytes(RECORDS)
LINES = WHOLE.splitlines(keepends=True)


def answers(folder: Path) -> tuple[dict[str, tuple[tuple[Any, ...], ...]], list[str]]:
    """Give the rows of every question, printed in all forms on the way, and the logs left out."""
    with of_logs(folder) as (database, loaded):
        found = [(asked, database.ask(asked.query, asked.name)) for asked in questions()]
        assert as_tables(found)
        assert as_csv(found)
        assert set(json.loads(as_json(found))) == {asked.name for asked, _ in found}
        left = [f"{one.path.name}: {one.why}" for one in loaded.left_out]
    return {asked.name: answer.rows for asked, answer in found}, left


def chained(*contents: object) -> bytes:
    """Give lines whose checksums fit, whatever they hold."""
    text, before = b"", FIRST_SUM
    for content in contents:
        line = line_of(content, before)
        before = line[8:24].decode()
        text += line
    return text


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "good.jsonl").write_bytes(WHOLE)
    return tmp_path


def test_a_damaged_log_is_named_and_changes_no_figure(folder: Path) -> None:
    before, left = answers(folder)
    assert left == []
    changed = bytearray(WHOLE)
    changed[len(WHOLE) // 2] ^= 1
    line = WHOLE[: len(WHOLE) // 2].count(b"\n") + 1
    (folder / "changed.jsonl").write_bytes(changed)
    (folder / "line missing.jsonl").write_bytes(b"".join(LINES[:5] + LINES[6:]))
    (folder / "swapped.jsonl").write_bytes(b"".join([LINES[1], LINES[0], *LINES[2:]]))
    (folder / "no log.jsonl").write_bytes(b"\x00\xff" * 500 + b"\n" + b"\n" * 3)
    (folder / "empty.jsonl").write_bytes(b"")
    (folder / "not one.txt").write_bytes(b"nothing")
    with of_logs(folder) as (database, loaded):
        after = {asked.name: database.ask(asked.query, asked.name).rows for asked in questions()}
    assert after == before, "they are copies of the good one, be they damaged or not"
    assert sorted(one.path.name for one in loaded.left_out) == ["empty.jsonl", "no log.jsonl"]
    assert {one.why for one in loaded.left_out} == {"holds no whole record"}
    told = "\n".join(loaded.told)
    assert f"changed.jsonl: line {line} " in told
    assert "line missing.jsonl: line 6 is record 7: 1 before it is lost" in told
    assert "swapped.jsonl: line 2 is record 1, in the wrong place" in told


@pytest.mark.parametrize("cut", [1, 2, 30, len(LINES[-1]) - 1])
def test_a_log_with_a_torn_last_line_counts_without_it(cut: int, tmp_path: Path) -> None:
    one, other = tmp_path / "whole", tmp_path / "torn"
    one.mkdir()
    other.mkdir()
    (one / "a.jsonl").write_bytes(b"".join(LINES[:-1]))
    (other / "a.jsonl").write_bytes(WHOLE[:-cut])
    assert answers(other) == answers(one)
    assert (other / "a.jsonl").read_bytes() == WHOLE[:-cut]


@settings(max_examples=30)
@given(st.integers(0, len(WHOLE) - 1), st.integers(0, 255), st.booleans())
def test_of_a_damaged_log_all_counts_that_the_journal_can_prove(
    tmp_path_factory: pytest.TempPathFactory, at: int, byte: int, cut: bool
) -> None:
    folder = tmp_path_factory.mktemp("logs")
    path = folder / "a.jsonl"
    path.write_bytes(WHOLE[:at] if cut else WHOLE[:at] + bytes([byte]) + WHOLE[at + 1 :])
    (found,) = roll_up(folder)
    proven = salvage(path)
    headless = proven.damages and not proven.records[0].facts
    if headless or not proven.count:
        (left,) = found.left_out
        assert "beginning is lost" in left.why or left.why == "holds no whole record"
    else:
        (log,) = found.logs
        assert log.count == proven.count
        assert bool(found.told) == bool(proven.damages or proven.torn or proven.count < len(proven.records))


@pytest.mark.parametrize("number", [1, len(LINES), len(LINES) + 1])
def test_a_torn_end_that_reads_as_a_record_counts_for_nothing(number: int, folder: Path) -> None:
    before = answers(folder)
    tail = b'{"sum":"%s","number":%d,"facts":[{"tag":"pair-confirmed","pair":9}]}' % (b"0" * 16, number)
    (folder / "good.jsonl").write_bytes(WHOLE + tail)
    assert answers(folder) == before


ODD: list[object] = [
    None,
    True,
    -1,
    10**30,
    1e308,
    "",
    "x" * 5000,
    "'; DROP TABLE facts; --",
    "<script>alert(1)</script>",
    "\x00\x1b[2J\n",
    [],
    {},
    [[[]]],
    {"tag": "pair-confirmed"},
    [{"tag": 7}],
]
odd = st.sampled_from(ODD) | st.integers() | st.text() | st.floats(allow_nan=False)
tags = st.sampled_from(
    [
        "session-opened",
        "session-resumed",
        "pair-confirmed",
        "fault-marked",
        "fault-cleared",
        "reopened",
        "undone",
        "asked",
        "answered",
        "missed",
        "mismatch",
        "moved-to",
        "session-ended",
        "unheard-of",
    ]
)
keys = st.sampled_from(
    [
        "pair",
        "how",
        "by",
        "fault",
        "entry",
        "kind",
        "question",
        "yes",
        "person",
        "place",
        "microphone",
        "asking",
        "plan_text",
        "cable_pairs",
        "first",
        "last",
        "app_version",
        "asked_back",
    ]
)
odd_facts = st.builds(lambda tag, more: {**more, "tag": tag}, tags | odd, st.dictionaries(keys, odd, max_size=6))
odd_lines = st.fixed_dictionaries(
    {},
    optional={
        "at": odd
        | st.sampled_from(
            ["2026-03-02T06:30:00+00:00", "2026-03-02T06:30:00", "0001-01-01T00:00:00+23:59", "-infinity"]
        ),
        "input": odd | st.fixed_dictionaries({"tag": st.just("heard"), "judgement": odd}),
        "facts": odd | st.lists(odd | odd_facts, max_size=6),
    },
)


@pytest.fixture(scope="module")
def good_alone(tmp_path_factory: pytest.TempPathFactory) -> tuple[Any, ...]:
    """Give the overview of the good log by itself."""
    folder = tmp_path_factory.mktemp("logs")
    (folder / "good.jsonl").write_bytes(WHOLE)
    return answers(folder)[0]["overview"][0]


@settings(max_examples=15)
@given(contents=st.lists(odd_lines, min_size=1, max_size=25), behind=st.binary(max_size=60))
def test_lines_of_any_content_never_crash_it_and_change_no_other_log(
    tmp_path_factory: pytest.TempPathFactory,
    good_alone: tuple[Any, ...],
    contents: list[dict[str, object]],
    behind: bytes,
) -> None:
    folder = tmp_path_factory.mktemp("logs")
    odd_text = chained(*({"number": number, **content} for number, content in enumerate(contents, 1)))
    (folder / "a.jsonl").write_bytes(odd_text + behind.replace(b"\n", b""))
    (folder / "good.jsonl").write_bytes(WHOLE)
    rows, left = answers(folder)
    assert len(left) == 1, "no session wrote it, so that nothing in it counts"
    assert left[0].startswith("a.jsonl: ")
    assert rows["overview"] == (good_alone,)


@settings(max_examples=15)
@given(texts=st.lists(st.lists(st.binary(max_size=200), max_size=5), min_size=1, max_size=10))
def test_bytes_of_any_kind_never_crash_it(
    tmp_path_factory: pytest.TempPathFactory, good_alone: tuple[Any, ...], texts: list[list[bytes]]
) -> None:
    folder = tmp_path_factory.mktemp("logs")
    for number, lines in enumerate(texts):
        (folder / f"{number}.jsonl").write_bytes(b"\n".join(lines))
    (folder / "good.jsonl").write_bytes(WHOLE)
    rows, left = answers(folder)
    assert len(left) == len(texts)
    assert rows["overview"] == (good_alone,)


def test_whole_lines_that_are_no_json_put_their_log_out(folder: Path) -> None:
    import hashlib

    body = b'"number":1,"facts":[\xff]'
    checksum = hashlib.sha256(FIRST_SUM.encode() + body).hexdigest()[:16].encode()
    (folder / "a.jsonl").write_bytes(b'{"sum":"%s",%s}\n' % (checksum, body))
    (folder / "b.jsonl").write_bytes(chained({"number": 2, "facts": []}))
    (folder / "c.jsonl").write_bytes(chained({"facts": []}))
    rows, left = answers(folder)
    assert [row[0] for row in rows["overview"]] == ["good.jsonl"]
    assert left == [f"{name}.jsonl: holds no whole record" for name in "abc"]


def test_half_characters_in_what_was_typed_lose_no_record(tmp_path: Path) -> None:
    """DuckDB refuses a line with half of a character in it; the record may still confirm a pair."""
    halved = Typed("\ud800 \\ud800 \N{TELEPHONE RECEIVER}", BEFORE_NUMBERS)
    records = [replace(r, input=halved) if any(isinstance(f, PairConfirmed) for f in r.facts) else r for r in RECORDS]
    assert records != RECORDS
    (tmp_path / "a.jsonl").write_bytes(log_bytes(RECORDS))
    before = answers(tmp_path)[0]
    (tmp_path / "a.jsonl").write_bytes(log_bytes(records))
    after, left = answers(tmp_path)
    assert left == []
    assert (after["overview"], after["how_confirmed"]) == (before["overview"], before["how_confirmed"])


@given(st.text(st.characters() | st.sampled_from("\ud800\udfff\\u\U0001f4de")))
def test_only_half_characters_are_replaced(text: str) -> None:
    line = json.dumps({"text": text}).encode()
    joined = json.loads(line)["text"]  # halves that meet are one character
    wanted = re.sub("[\ud800-\udfff]", "?", joined)
    assert json.loads(without_half_characters(line))["text"] == wanted


NAMES = ["plain.jsonl", "a[1]*?.jsonl", "{a,b}.jsonl", "it's.jsonl", "new\nline.jsonl", "Zo\xeb.jsonl", "-x \\.jsonl"]


def test_logs_of_any_name_are_read_once_each(tmp_path: Path) -> None:
    folder = tmp_path / "we[i]rd *"
    folder.mkdir()
    for number, name in enumerate([*NAMES, b"\xff.jsonl".decode("utf-8", "surrogateescape")]):
        (folder / name).write_bytes(
            log_bytes(told_as(r, name[:1].replace("\udcff", "?"), "", timedelta(number)) for r in RECORDS)
        )
    rows, left = answers(folder)
    assert left == []
    assert {row[0] for row in rows["overview"]} == {*NAMES, "\ufffd.jsonl"}
    assert {row[6] for row in rows["overview"]} == {len(RECORDS)}
    with of_logs(folder, tmp_path / "it's [1]*") as _, of_parquet(tmp_path / "it's [1]*") as database:
        assert database.ask("SELECT count(*) FROM sessions", "q").rows == ((len(NAMES) + 1,),)


def test_nothing_is_written_into_the_folder(folder: Path) -> None:
    (folder / "torn.jsonl").write_bytes(WHOLE[:-3])
    folder.chmod(0o500)
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in folder.iterdir()}
    answers(folder)
    folder.chmod(0o700)
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in folder.iterdir()} == before


def test_records_that_come_while_it_is_read_are_not_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from assistant.crew import loading

    path = tmp_path / "a.jsonl"
    path.write_bytes(b"".join(LINES[:10]))

    def walk_then_grow(folder: Path) -> list[object]:
        found = list(roll_up(folder))
        path.write_bytes(WHOLE)
        return list(found)

    monkeypatch.setattr(loading, "roll_up", walk_then_grow)
    assert answers(tmp_path)[0]["overview"][0][6] == 10


def test_a_plan_that_cannot_be_read_puts_its_log_out(folder: Path) -> None:
    opened = {"tag": "session-opened", "plan_text": "no plan", "asking": False, **OPENED}
    (folder / "a.jsonl").write_bytes(chained({"number": 1, "at": AT, "input": STARTED, "facts": [opened]}))
    rows, left = answers(folder)
    assert [row[0] for row in rows["overview"]] == ["good.jsonl"]
    assert "a.jsonl: record 1 cannot follow those before it (PlanError" in left[0]


AT = "2026-03-02T06:30:00+00:00"
STARTED = {"tag": "resume-asked", "torn_bytes": 0}
OPENED = {
    "cable_pairs": 0,
    "first": 0,
    "last": 0,
    "pair_order": "ring-first",
    "binder_order": "ring-first",
    "app_version": "test",
}
TWO_KINDS = """
title = "Two"
[[end]]
name = "a"
pairs = 12
[[end]]
name = "b"
pairs = 12
[[join]]
kind = "transfer"
from = "a pairs 1"
to = "b pairs 2"
[[join]]
kind = "straight"
from = "a pairs 2-3"
to = "b pairs 3-4"
"""


def test_the_time_of_a_module_counts_for_its_first_pair(tmp_path: Path) -> None:
    opened = {"tag": "session-opened", "plan_text": TWO_KINDS, "asking": False, **OPENED}
    by = {"tag": "pair-confirmed", "how": "module", "by": "keys", "asked_back": False}
    done = [{**by, "pair": pair} for pair in (1, 2, 3)]
    (tmp_path / "a.jsonl").write_bytes(
        chained(
            {"number": 1, "at": AT, "input": STARTED, "facts": [opened]},
            {
                "number": 2,
                "at": "2026-03-02T07:36:00+01:00",
                "input": {"tag": "keys-pressed", "keys": "+"},
                "facts": done,
            },
        )
    )
    rows, _ = answers(tmp_path)
    assert rows["pairs_per_hour"] == (("straight", 2, 0, 0.0, None), ("transfer", 1, 0, 0.1, None)), (
        "six minutes are too few for a rate"
    )


def test_plans_are_read_once() -> None:
    cabling.cache_clear()
    plan = Shift(1, cable=0, first=0, last=0, plan_text=_plan()).talk.state.plan
    found = [cabling(_plan(), 0, 0, 0) for _ in range(3)][-1]
    assert cabling.cache_info().misses == 1
    by_number = {n: run.kind for run in found.runs for n in range(run.first, run.last + 1)}
    assert by_number == {number: joint.kind.value for number, joint in plan.by_number.items()}
    joined = {n for run in found.runs if run.joined for n in range(run.first, run.last + 1)}
    assert joined == set(plan.to_join)


def _plan() -> str:
    from tests.crew.shifts import PLANS

    return PLANS[-1]


@pytest.mark.parametrize("names", [[], ["a.txt"], ["damaged.jsonl"]])
def test_a_folder_without_logs_that_count_is_one_line(names: list[str], tmp_path: Path) -> None:
    for name in names:
        (tmp_path / name).write_bytes(b"?\n?\n")
    with pytest.raises(AssistantError) as error, of_logs(tmp_path):
        pass
    assert str(error.value).startswith(f"{tmp_path}: ")
    assert "\n" not in str(error.value)


def test_a_chain_made_here_is_one_the_program_makes() -> None:
    line, _ = encode(RECORDS[0], FIRST_SUM)
    assert line == LINES[0]
