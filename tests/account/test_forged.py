"""Whole logs that no session wrote: any facts in any order. One line or an account, never anything else."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.account.account import account_of
from assistant.account.walk import ReadLog
from assistant.app.cli import main
from assistant.errors import AssistantError
from assistant.handover.document import as_object
from assistant.handover.page import as_page
from assistant.handover.paper import as_pdf
from assistant.handover.table import as_csv
from assistant.session.record import FIRST_SUM, Record, encode
from tests.account.sessions import NINE, TWO_WAYS, Session
from tests.session.strategies import facts, inputs

BEGUN = Session(TWO_WAYS).typed("yes", "1 blue white").records
TIMES = st.datetimes(timezones=st.timezones()).map(lambda at: at.isoformat()) | st.text(max_size=20)


@st.composite
def forged(draw: st.DrawFn) -> list[Record]:
    """Records after a true beginning, each with any input, any facts and often a true time."""
    count = draw(st.integers(1, 6))
    records = list(BEGUN)
    for number in range(len(BEGUN) + 1, len(BEGUN) + count + 1):
        at = draw(st.just(BEGUN[-1].at) | TIMES)
        happened = tuple(draw(st.lists(facts, max_size=3)))
        records.append(Record(number=number, at=at, input=draw(inputs), facts=happened))
    return records


def whole(records: list[Record]) -> bytes:
    last_sum, lines = FIRST_SUM, []
    for record in records:
        line, last_sum = encode(record, last_sum)
        lines.append(line)
    return b"".join(lines)


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(forged())
def test_every_form_or_one_line(records: list[Record]) -> None:
    log = ReadLog(name="a.jsonl", records=tuple(records), sha256="", last_sum="")
    account, line = None, ""
    try:
        account = account_of([log])
    except AssistantError as error:
        line = str(error)
    if account is None:
        assert line.startswith("a.jsonl: ")
        assert "no session wrote this" in line or "has no time of day" in line
        return
    as_object(account, issued=NINE)
    as_csv(account)
    assert as_pdf(account, issued=NINE).startswith(b"%PDF-")
    assert "<script>" in as_page(account, issued=NINE)


@pytest.mark.parametrize(
    "arguments", [["replay"], ["replay", "--check"], ["replay", "--rerun"], ["report", "-o", "x.html"]]
)
def test_the_commands_refuse_what_no_session_wrote(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from assistant.dialogue.messages import Channel, Check, PairConfirmed

    monkeypatch.chdir(tmp_path)
    fact = PairConfirmed(pair=999, how=Check.NUMBER, by=Channel.KEYS, asked_back=False)
    log = tmp_path / "a.jsonl"
    log.write_bytes(whole([*BEGUN, replace(BEGUN[-1], number=len(BEGUN) + 1, facts=(fact,))]))
    assert main([*arguments, str(log)]) == 2
    errors = capsys.readouterr().err.splitlines()
    assert len(errors) == 1
    assert "record 4 cannot follow those before it (KeyError: 999); no session wrote this" in errors[0]


def test_an_entry_taken_back_of_a_pair_that_is_not_there_is_one_line_with_its_log() -> None:
    from assistant.dialogue.messages import Undone

    records = [*BEGUN, replace(BEGUN[-1], number=len(BEGUN) + 1, facts=(Undone(entry="", pair=0),))]
    with pytest.raises(AssistantError, match=r"^a\.jsonl: record 4 cannot follow those before it"):
        account_of([ReadLog(name="a.jsonl", records=tuple(records), sha256="", last_sum="")])


def test_times_that_no_calendar_holds_are_one_line() -> None:
    """Found by the forged logs by chance: a clock set back by thousands of years, and then forward."""
    days = ("9000-01-01", "0100-01-01", "5000-01-01")
    records = [replace(BEGUN[-1], number=len(BEGUN) + i, at=f"{day}T00:00:00+00:00") for i, day in enumerate(days, 1)]
    with pytest.raises(AssistantError, match=r"^a\.jsonl: record 6 has a time that no clock can show after"):
        account_of([ReadLog(name="a.jsonl", records=(*BEGUN, *records), sha256="", last_sum="")])


def test_a_check_that_is_no_more_asked_is_shown_by_its_name() -> None:
    from assistant.dialogue.messages import Channel, CheckAnswered

    fact = CheckAnswered(check="wind and rain", done=True, by=Channel.KEYS)
    records = [*BEGUN, replace(BEGUN[-1], number=len(BEGUN) + 1, facts=(fact,))]
    page = as_page(account_of([ReadLog(name="a.jsonl", records=tuple(records), sha256="", last_sum="")]), issued=NINE)
    assert ">wind and rain</td>" in page
