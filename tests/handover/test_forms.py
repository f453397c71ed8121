"""Table, object and paper: read back by general libraries and compared with the fold of the records."""

import csv
import io
import json
import re
import sys
import unicodedata
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import jsonschema
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.account.account import Account, account_of
from assistant.app.cli import main
from assistant.app.plan import as_csv as plan_csv
from assistant.app.report import account_from
from assistant.cable.colour_code import Order
from assistant.dialogue.state import Standing
from assistant.handover.document import as_object
from assistant.handover.paper import BLANKS, SIGNERS, as_pdf
from assistant.handover.summary import RecordVerdict, duration, go_back, headline, joint_runs, verdict
from assistant.handover.table import COLUMNS, as_csv
from assistant.mending import install_command
from assistant.session.replay import rebuild
from assistant.texts import csv_cell
from tests.account.sessions import NINE, SWAPPED, TWO_WAYS, Session
from tests.account.sessions import read as read_as_log
from tests.account.test_account import a_morning
from tests.handover import big

ROOT = Path(__file__).parents[2]
ISSUED = datetime(2026, 11, 27, 8, 30, tzinfo=UTC)
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
    assert tuple(rows[0]) == tuple(COLUMNS)
    first = rows[0]
    assert (first["standing"], first["how"], first["by"], first["person"], first["log"], first["record"]) == (
        *("confirmed", "number+colours", "typed", "one"),
        *("a.jsonl", "2"),
    )
    assert (first["asked_back"], first["at_utc"]) == ("false", "2026-11-25T09:00:20Z")
    (fifth,) = [row for row in rows if row["number"] == "5"]
    assert (fifth["faults"], fifth["found_by"], fifth["found_at_utc"], fifth["found_record"]) == (
        *("open", "one"),
        *("2026-11-25T09:01:10Z", "a.jsonl 7"),
    )


@given(st.sampled_from("=+-@\t\r"), ANY_TEXT)
def test_no_cell_is_a_formula(sign: str, rest: str) -> None:
    """Signs from OWASP, CSV injection."""
    session = Session(TWO_WAYS, person=sign + rest).typed("1 blue white")
    rows = table(as_csv(account_of([session.log()])))
    assert not [cell for row in rows for cell in row.values() if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]


@given(st.text() | st.text("\u202e\u2066\u200f\x00\x1b\r\n\t =+-@"))
def test_a_cell_of_text_keeps_all_that_can_be_printed_and_nothing_that_steers_or_is_computed(text: str) -> None:
    """Control and bidi signs: Unicode categories Cc and Cf; first signs: OWASP, CSV injection."""
    cell = str(csv_cell(text))
    assert not [sign for sign in cell if unicodedata.category(sign) in ("Cc", "Cf", "Cs")]
    kept = [sign for sign in text if unicodedata.category(sign)[0] in "LNPS"]
    assert [sign for sign in cell.removeprefix("'") if unicodedata.category(sign)[0] in "LNPS"] in (kept, kept[1:])
    assert not cell.lstrip().startswith(("=", "+", "-", "@"))


def test_times_in_a_cell_are_whole_seconds_of_utc() -> None:
    west = timezone(timedelta(hours=-7))
    assert csv_cell(datetime(2026, 11, 25, 2, 0, 20, 999_000, tzinfo=west)) == "2026-11-25T09:00:20Z"
    assert csv_cell(datetime(2026, 11, 25, 9, 0, 20)) == "2026-11-25T09:00:20Z", "without a zone it is in UTC"
    assert [csv_cell(value) for value in (True, False, 7, 0.5, None)] == ["true", "false", 7, 0.5, None]


def closed(schema: Any) -> Any:
    """Give a schema that allows no name besides those that it has."""
    if isinstance(schema, list):
        return [closed(one) for one in schema]
    if not isinstance(schema, dict):
        return schema
    made = {name: closed(one) for name, one in schema.items()}
    return {**made, "additionalProperties": False} if made.get("type") == "object" and "properties" in made else made


def every_example() -> Iterator[tuple[str, Account]]:
    """Give accounts of all demo sessions that join anything, and of what the demos do not have."""
    for path in sorted((ROOT / "demo_sessions").glob("*/session.jsonl")):
        if path.parent.name != "questions":
            yield path.parent.name, account_from([path])[0]
    morning = Session(TWO_WAYS, place="pole 7").typed("mark wet", "1 blue white", "note damp", "reading two ohms")
    other = Session(SWAPPED, at=NINE.replace(day=26), place="pole 7", person="two").typed("1 blue white", "9 brown red")
    yield "contradictions", account_of([morning.log("a.jsonl"), other.log("b.jsonl")], together=True)
    lines = a_morning().data().splitlines(keepends=True)
    yield "damaged", account_of([read_as_log("c.jsonl", b"".join([*lines[:4], *lines[6:]]))])
    yield "large", account_of([big.log(900, 30)])


def test_every_example_is_as_the_published_schema_says(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON Schema, draft 2020-12, by a general validator; here no name is allowed that the schema does not have."""
    assert main(["report", "--schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    check = jsonschema.Draft202012Validator(closed(schema), format_checker=jsonschema.FormatChecker())
    seen = []
    for name, account in every_example():
        found = json.loads(json.dumps(as_object(account, issued=ISSUED)))
        assert [f"{list(error.path)}: {error.message[:200]}" for error in check.iter_errors(found)] == [], name
        assert check.is_valid({**found, "other": 1}) is False
        seen.append(found)
    assert len(seen) >= 10
    for name in ("go_back", "findings", "contradictions", "notices", "checks", "notes", "mismatches"):
        assert any(found[name] for found in seen), f"no example has {name}"


def test_the_columns_are_told_of_and_the_developers_page_has_them(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", "--columns"]) == 0
    told = capsys.readouterr().out.strip()
    assert told in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert [line.split(" | ")[0].strip("| ") for line in told.splitlines()[2:]] == list(COLUMNS)


def test_the_object_is_json_and_adds_up() -> None:
    found = json.loads(json.dumps(as_object(account(), issued=ISSUED)))
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
        ("faulty, not joined: open", ("west elm 5", "east ash 105"), ""),
    ]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "0 s"), (59.4, "59 s"), (60, "1 min"), (3599, "1 h 00 min"), (3661, "1 h 01 min"), (90000, "25 h 00 min")],
)
def test_lengths_of_time(seconds: float, text: str) -> None:
    assert duration(seconds) == text


def test_the_verdict_does_not_call_done_what_the_logs_leave_in_doubt() -> None:
    session = Session(cable=2).typed("1 blue white", "2 orange white")
    whole = account_of([session.log()])
    nothing = "Nothing to go back for: all 2 joints are confirmed, no fault outstanding"
    assert verdict(whole) == RecordVerdict(True, nothing)
    broken = account_of([replace(session.log(), seal="broken", seal_line="broken")])
    assert verdict(broken) == RecordVerdict(False, f"{nothing}; 1 of 1 logs with a broken seal")
    torn = account_of([replace(session.log(), torn_bytes=7)])
    assert verdict(torn) == RecordVerdict(False, f"{nothing}; see what must be known of the logs")


def test_a_pair_with_faults_of_two_finders_names_both() -> None:
    first = Session(TWO_WAYS, person="one", place="pole 7").typed("mark open")
    second = Session(TWO_WAYS, person="two", place="pole 7", at=NINE.replace(day=26)).typed("mark wet")
    (reason, *_) = go_back(account_of([first.log("a.jsonl"), second.log("b.jsonl")]))
    assert [(one.what, one.found_by, one.count) for one in reason.errands] == [("open, wet", "one, two", 1)]


def test_the_headline_of_a_session_without_work_has_no_pace() -> None:
    head = headline(account_of([Session(cable=25).log()]))
    assert (head.to_join, head.confirmed, head.left, head.per_hour) == (25, 0, 25, "")


def pdf_of(*sessions: Session, paper: str = "A4") -> tuple[str, pypdf.PdfReader]:
    """Give the text of the paper, on one line, and the reader."""
    logs = [session.log(f"{index}.jsonl") for index, session in enumerate(sessions)]
    reader = pypdf.PdfReader(io.BytesIO(as_pdf(account_of(logs), paper, issued=ISSUED)))
    return on_one_line(reader), reader


def on_one_line(reader: pypdf.PdfReader) -> str:
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


@pytest.mark.parametrize(("paper", "width_mm"), [("A4", 210.0), ("LETTER", 215.9)])
def test_the_paper_has_the_fields_of_a_splice_record(paper: str, width_mm: float) -> None:
    """Fields: common practice, no source. Sizes: ISO 216 and ANSI/ASME Y14.1."""
    text, reader = pdf_of(a_morning(), paper=paper)
    assert float(reader.pages[0].mediabox.width) * 25.4 / 72 == pytest.approx(width_mm, abs=0.1)
    for field in ("Elm Road", "pole 7", "aerial", "first opened 2026-11-25", "elm 1-25", "ash 101-125"):
        assert field in text, field
    for field in (
        "cut off",
        "water in the case",
        "12 megohm",
        "pair 9 brown red",
        "2 dead, 3 spare",
        *BLANKS,
        *SIGNERS,
    ):
        assert field in text, field
    for field in (
        "Go back for 15 of 20 joints: 1 faulty, not joined; 1 skipped; 13 left.",
        "transfer west elm 1-20 group 1: blue white .. slate yellow east ash 101-120 left but 1-4 confirmed · "
        "5 faulty, not joined: open · 6 skipped · 7 confirmed one, 11-25",
        "west elm 5 slate white open one, 2026-11-25 09:01, record 7 outstanding",
        "2026-11-25 one 5 2 min -",
        "Dead, spare and protected kind reason how many pairs dead cut off 2 west elm 21-22 spare 3 west elm 23-25",
        "not an electrical test",
        "issued 2026-11-27 08:30 UTC",
        "page 1 of 2",
        "page 2 of 2",
    ):
        assert field in text, field
    assert text.count("Splice record: Elm Road, pole 7") == len(reader.pages), "each page names the splice"


def test_protected_pairs_stand_with_their_reason() -> None:
    protected = TWO_WAYS + '\n[[protect]]\npairs = "west elm 7-8"\nreason = "alarm line"\n'
    text, _ = pdf_of(Session(protected).typed("yes"))
    assert "protected alarm line 2 west elm 7-8" in text
    assert "PROTECTED: alarm line" in text


def test_what_not_all_pairs_of_a_line_have_is_not_said_of_all() -> None:
    session = Session(cable=3).typed("1 blue white", "2 orange white", "3 green white", "start verification")
    text, _ = pdf_of(session.typed("test good", "test good"))
    assert "pair 1-3 group 1: blue white .. green white confirmed not given, 11-25 passed continuity but 3 not" in text


def test_the_paper_is_tagged_and_names_itself() -> None:
    """ISO 14289-1 (PDF/UA-1): a structure tree, a language, a title that is shown, the mark of the standard."""
    text, reader = pdf_of(a_morning())
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata is not None
    assert (reader.metadata.title, reader.metadata.author) == ("Splice record: Elm Road", "one")
    assert b"<pdfuaid:part>1<" in root["/Metadata"].get_data()
    kinds = Counter(structure(root["/StructTreeRoot"]))
    assert kinds["/Table"] >= 8
    assert kinds["/TH"] > kinds["/Table"]
    assert kinds["/TD"] > 50
    assert {"/H1", "/TR"} <= set(kinds)
    assert "Splice record" in text


def structure(node: Any) -> Iterator[str]:
    """Give the kind of every element below one of the structure tree."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, list):
        for one in node:
            yield from structure(one)
    elif isinstance(node, dict):
        if "/S" in node:
            yield node["/S"]
        if "/K" in node:
            yield from structure(node["/K"])


def test_every_font_is_in_the_paper() -> None:
    _, reader = pdf_of(a_morning())
    fonts = [
        font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        for page in reader.pages
        for font in page["/Resources"]["/Font"].values()
    ]
    assert fonts
    assert all({"/FontFile2", "/FontFile3"} & set(font) for font in fonts)


@pytest.mark.parametrize("name", ["Zoë Łódź", "Żółć Ñandú Ő", "Ελένη", "Ольга", "Şükrü Đorđe", "☎ ✓ → ½"])
def test_letters_beyond_latin_1_stand_on_paper(name: str) -> None:
    text, _ = pdf_of(Session(TWO_WAYS, person=name, place=name).typed("1 blue white"))
    assert text.count(name) >= 3, "as place in the header, as splicer, as finder"


def test_a_letter_that_no_font_has_is_shown_by_its_number() -> None:
    text, _ = pdf_of(Session(TWO_WAYS, person="水 Li 😀", place="pole 7").typed("1 blue white"))
    assert "[U+6C34] Li [U+1F600], 11-25" in text


def test_the_same_account_and_time_give_the_same_paper() -> None:
    assert as_pdf(account(), issued=ISSUED) == as_pdf(account(), issued=ISSUED)


@settings(max_examples=30)
@given(ANY_TEXT)
def test_whatever_a_log_holds_becomes_a_paper(text: str) -> None:
    shown, _ = pdf_of(Session(TWO_WAYS, person=text, place=text).typed(f"note {text}", "1 blue white"))
    assert "Splice record: Elm Road" in shown


def test_marks_in_a_text_stay_text_on_paper() -> None:
    text, _ = pdf_of(Session(TWO_WAYS).typed('note #panic("x") *wet* <b>dry</b> $a$ \\ @b [c]'))
    assert '#panic("x") *wet* <b>dry</b> $a$ \\ @b [c]' in text


def test_what_was_mended_says_how_and_by_whom() -> None:
    first = Session(TWO_WAYS, person="one", place="pole 7").typed("mark open", "mark wet", "undo that")
    second = Session(TWO_WAYS, person="two", place="pole 7", at=NINE.replace(day=26))
    text, _ = pdf_of(first, second.typed("mark open", "clear open pair 1", "1 blue white"))
    for line in (
        "west elm 1 blue white open one, 2026-11-25 09:00, 0.jsonl record 2 cleared: two, 2026-11-26 09:00, 1.jsonl "
        "record 3",
        "west elm 2 orange white wet one, 2026-11-25 09:00, 0.jsonl record 3 mark taken back: one, 2026-11-25 09:00, "
        "0.jsonl record 4",
    ):
        assert line in text


STANDS = {
    "confirmed": Standing.CONFIRMED,
    "joined, outstanding:": Standing.JOINED_FAULTY,
    "faulty, not joined:": Standing.FAULTY,
    "left": Standing.OPEN,
    "skipped": Standing.SKIPPED,
    "dead": Standing.DEAD,
    "spare": Standing.SPARE,
}
WORD = "|".join(STANDS)
ROW = re.compile(r"(?:straight|transfer|dead|spare) (in\w) main (\d+)(?:-(\d+))? (?=group)")
FIRST = re.compile(rf"(?:{WORD})")
OTHERS = re.compile(rf"(\d+)(?:-(\d+))? ({WORD})")


def read_back(text: str) -> dict[tuple[str, int], Standing]:
    """Give how each joint stands, by the end and number that is called, from the text of the paper alone."""
    joints = text[text.index("Joints A line for each run") : text.index("In no join of the plan")]
    starts = list(ROW.finditer(joints))
    found: dict[tuple[str, int], Standing] = {}
    for row, after in zip(starts, [*starts[1:], None], strict=True):
        told = joints[row.end() : after.start() if after else len(joints)]
        first = int(row[2])
        numbers = range(first, int(row[3] or first) + 1)
        usual = FIRST.search(told)
        assert usual is not None
        assert not {(row[1], number) for number in numbers} & set(found), "each joint stands on paper once"
        found |= {(row[1], number): STANDS[usual[0]] for number in numbers}
        for other in OTHERS.finditer(told, usual.end()):
            some = range(int(other[1]), int(other[2] or other[1]) + 1)
            assert set(some) <= set(numbers)
            found |= {(row[1], number): STANDS[other[3]] for number in some}
    return found


@pytest.mark.parametrize(("joints", "faults", "most_pages"), [(900, 30, 4), (3600, 100, 8), (12_000, 330, 20)])
def test_every_joint_is_read_back_from_paper_as_the_fold_has_it(joints: int, faults: int, most_pages: int) -> None:
    log = big.log(joints, faults)
    reader = pypdf.PdfReader(io.BytesIO(as_pdf(account_of([log]), issued=ISSUED)))
    state = rebuild(log.records)
    wanted = {
        (state.plan.end_of(joint.lead).name, int(joint.lead.position)): state.standing(joint)
        for joint in state.plan.joints
    }
    assert len(wanted) == joints
    assert read_back(on_one_line(reader)) == wanted
    assert len(reader.pages) <= most_pages


def test_contradictions_stand_on_paper_and_in_the_object() -> None:
    first = Session(TWO_WAYS, place="pole 7").typed("1 blue white").log("a.jsonl")
    second = Session(SWAPPED, at=NINE.replace(day=26), place="pole 7").typed("1 blue white").log("b.jsonl")
    both = account_of([first, second], together=True)
    reader = pypdf.PdfReader(io.BytesIO(as_pdf(both, issued=ISSUED)))
    told = (
        "contradicted between logs (1) what entries how many pairs was confirmed twice, with different mates a.jsonl "
        "record 2, 2026-11-25 09:00: confirmed with east ash 101 blue white; b.jsonl record 2, 2026-11-26 09:00: "
        "confirmed with east ash 102 orange white 1 west elm 1"
    )
    assert told in on_one_line(reader)
    (found,) = as_object(both, issued=ISSUED)["contradictions"]  # type: ignore[misc]
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
        ([], "x.csv", "give the logs of one splice and -o FILE"),
        (["a.jsonl"], "x.doc", r"x\.doc: \.doc is no form of report; end it in \.html, \.csv, \.json, \.pdf"),
        (["a.jsonl"], "x", "x: no suffix is no form of report"),
        (["a.jsonl"], "no/x.csv", "cannot be written"),
        (["a.jsonl", "a.jsonl"], "x.csv", "the same log is given twice"),
        (["nothing.jsonl"], "x.csv", r"nothing\.jsonl: cannot be read"),
        (["foreign.jsonl"], "x.csv", r"foreign\.jsonl: holds no record .*: it is no log of this program"),
        (["headless.jsonl"], "x.csv", r"headless\.jsonl: its beginning is lost"),
        (["empty.jsonl"], "x.csv", r"empty\.jsonl: is empty; give the log of a session"),
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
    (tmp_path / "foreign.jsonl").write_bytes(b'{"a": 1}\nhello\n\xff\x00')
    assert main(["report", *(str(tmp_path / log) for log in logs), "-o", str(tmp_path / out)]) == 2
    errors = capsys.readouterr().err.splitlines()
    assert len(errors) == 1
    import re

    assert re.search(line, errors[0]), errors[0]
    assert not (tmp_path / out).exists()


def test_without_the_typesetter_the_line_says_what_to_do_from_this_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    log = a_morning().write(tmp_path / "a.jsonl")
    assert main(["report", str(log), "-o", str(tmp_path / "a.pdf")]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert install_command("office") in line
    assert not (tmp_path / "a.pdf").exists()
