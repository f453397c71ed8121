"""Table, object and paper: read back by general libraries and compared with the fold of the records."""

import csv
import io
import json
from pathlib import Path

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.account.account import Account, account_of
from assistant.app.cli import main
from assistant.app.plan import as_csv as plan_csv
from assistant.cable.colour_code import Order
from assistant.handover.document import as_object
from assistant.handover.paper import BLANKS, as_pdf
from assistant.handover.summary import duration, headline, joint_runs
from assistant.handover.table import COLUMNS, as_csv
from tests.account.sessions import NINE, SWAPPED, TWO_WAYS, Session
from tests.account.test_account import a_morning

ANY_TEXT = st.text(st.characters(blacklist_categories=["Cs"]), max_size=30)


def account() -> Account:
    return account_of([a_morning().log()])


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_table_has_a_row_for_each_pair_of_the_plan() -> None:
    rows = table(as_csv(account()))
    plan = table(plan_csv(account().plan, Order.RING_FIRST))
    shared = ("turn", "kind", "end", "count", "number", "position", "colours", "group", "binder", "reason")
    assert [{name: row[name] for name in shared} for row in rows] == [
        {name: row[name] for name in shared} for row in plan
    ]
    assert tuple(rows[0]) == COLUMNS
    first = rows[0]
    assert (first["standing"], first["how"], first["by"], first["person"], first["log"], first["record"]) == (
        *("confirmed", "number+colours", "typed", "one"),
        *("a.jsonl", "2"),
    )
    assert {row["faults"] for row in rows if row["number"] == "5"} == {"open"}


@given(st.sampled_from("=+-@\t\r"), ANY_TEXT)
def test_no_cell_is_a_formula(sign: str, rest: str) -> None:
    """Signs from OWASP, CSV injection."""
    session = Session(TWO_WAYS, person=sign + rest).typed("1 blue white")
    rows = table(as_csv(account_of([session.log()])))
    assert not [cell for row in rows for cell in row.values() if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]


def test_the_object_is_json_and_adds_up() -> None:
    found = json.loads(json.dumps(as_object(account())))
    joints = found["joints"]
    assert len(joints) == sum(found["tally"].values()) == 25
    assert found["tally"] == {
        "dead": 2,
        "spare": 3,
        "faulty": 1,
        "joined_faulty": 0,
        "confirmed": 5,
        "skipped": 1,
        "open": 13,
    }
    assert found["confirmed_by"] == {"number+colours": 2, "colours": 1, "number": 1, "word": 1}
    assert joints[6]["confirmed"]["at"] == "2026-11-25T09:01:50.000+00:00"
    assert "not test for voltage" in found["caution"]


def test_runs_hold_every_joint_once() -> None:
    runs = joint_runs(account())
    assert sum(run.count for run in runs) == 25
    assert [(run.standing, run.pairs, run.why) for run in runs][:2] == [
        ("confirmed", ("west elm 1-4", "east ash 101-104"), ""),
        ("faulty", ("west elm 5", "east ash 105"), "open"),
    ]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "0 s"), (59.4, "59 s"), (60, "1 min"), (3599, "1 h 00 min"), (3661, "1 h 01 min"), (90000, "25 h 00 min")],
)
def test_lengths_of_time(seconds: float, text: str) -> None:
    assert duration(seconds) == text


def test_the_headline_of_a_session_without_work_has_no_pace() -> None:
    head = headline(account_of([Session(cable=25).log()]))
    assert (head.to_join, head.confirmed, head.left, head.per_hour) == (25, 0, 25, "")


def read(pdf: bytes) -> tuple[list[str], pypdf.PdfReader]:
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    return [page.extract_text() for page in reader.pages], reader


@pytest.mark.parametrize(("paper", "width_mm"), [("A4", 210.0), ("LETTER", 215.9)])
def test_the_paper_has_the_fields_of_a_splice_record(paper: str, width_mm: float) -> None:
    """Fields: common practice, no source. Sizes: ISO 216 and ANSI/ASME Y14.1."""
    pages, reader = read(as_pdf(account(), paper))
    text = "\n".join(pages)
    assert float(reader.pages[0].mediabox.width) * 25.4 / 72 == pytest.approx(width_mm, abs=0.1)
    for field in ("Elm Road", "pole 7", "aerial", "one", "elm 1-25", "ash 101-125", "west elm 1-4 = east ash 101-104"):
        assert field in text, field
    for field in ("cut off", "water in the case", "12 megohm", "pair 9 brown red", "2 dead, 3 spare", *BLANKS):
        assert field in text, field
    assert "not an electrical test" in text
    assert len(pages) <= 4


def test_the_same_account_gives_the_same_paper() -> None:
    assert as_pdf(account()) == as_pdf(account())


@given(ANY_TEXT)
def test_whatever_a_log_holds_becomes_a_paper(text: str) -> None:
    session = Session(TWO_WAYS, person=text, place=text).typed(f"note {text}", "1 blue white")
    pages, _ = read(as_pdf(account_of([session.log()])))
    assert "Splice record" in pages[0]


def test_marks_in_a_text_stay_text_on_paper() -> None:
    session = Session(TWO_WAYS).typed("note <b>wet</b> & <font size=99>dry</font>")
    text = " ".join(" ".join(read(as_pdf(account_of([session.log()])))[0]).split())
    assert "<b>wet</b> & <font size=99>dry</font>" in text


def test_contradictions_stand_on_paper_and_in_the_object() -> None:
    first = Session(TWO_WAYS, place="pole 7").typed("1 blue white").log("a.jsonl")
    second = Session(SWAPPED, at=NINE.replace(day=26), place="pole 7").typed("1 blue white").log("b.jsonl")
    both = account_of([first, second], together=True)
    assert "twice, with different mates" in " ".join(" ".join(read(as_pdf(both))[0]).split())
    (found,) = as_object(both)["contradictions"]  # type: ignore[misc]
    assert [entry["mates"] for entry in found["entries"]] == [
        ["east ash 101 blue white"],
        ["east ash 102 orange white"],
    ]


@pytest.mark.parametrize("suffix", ["html", "csv", "json", "pdf"])
def test_report_by_suffix(suffix: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = a_morning().write(tmp_path / "a.jsonl")
    out = tmp_path / f"out.{suffix.upper()}"
    assert main(["report", str(log), "-o", str(out)]) == 0
    assert f"{out}: {out.stat().st_size:,} bytes; logs: 1, records: 13" in capsys.readouterr().out
    starts = {"html": b"<!DOCTYPE html>", "csv": b"\xef\xbb\xbfturn,", "json": b"{\n", "pdf": b"%PDF-"}
    assert out.read_bytes().startswith(starts[suffix])


@pytest.mark.parametrize(
    ("logs", "out", "line"),
    [
        (["a.jsonl"], "x.doc", r"x\.doc: \.doc is no form of report; end it in \.html, \.csv, \.json, \.pdf"),
        (["a.jsonl"], "x", "x: no suffix is no form of report"),
        (["a.jsonl"], "no/x.csv", "cannot be written"),
        (["a.jsonl", "a.jsonl"], "x.csv", "the same log is given twice"),
        (["nothing.jsonl"], "x.csv", r"nothing\.jsonl: cannot be read"),
        (["headless.jsonl"], "x.csv", r"headless\.jsonl: its beginning is lost"),
        (["empty.jsonl"], "x.csv", r"empty\.jsonl: holds no session"),
        (["a.jsonl", "other.jsonl"], "x.csv", "is of another splice than"),
    ],
)
def test_what_cannot_be_reported_is_one_line(
    logs: list[str], out: str, line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    a_morning().write(tmp_path / "a.jsonl")
    Session(cable=50).typed("1 blue white").write(tmp_path / "other.jsonl")
    headless = Session(cable=25).typed("1 blue white", "2 orange white").data()
    (tmp_path / "headless.jsonl").write_bytes(headless.replace(b"ring-first", b"ring-furst"))
    (tmp_path / "empty.jsonl").write_bytes(b"")
    assert main(["report", *(str(tmp_path / log) for log in logs), "-o", str(tmp_path / out)]) == 2
    errors = capsys.readouterr().err.splitlines()
    assert len(errors) == 1
    import re

    assert re.search(line, errors[0]), errors[0]
    assert not (tmp_path / out).exists()
