"""What an account may never get wrong in silence: order, copies, other splices, faults, losses."""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from assistant.account.account import Account, account_of
from assistant.account.story import AccountError
from assistant.account.walk import ReadLog
from assistant.app.cli import main
from assistant.dialogue.state import Standing
from assistant.handover.document import as_object
from assistant.handover.page import as_page
from assistant.handover.table import as_csv
from assistant.session.replay import rebuild
from tests.account.sessions import NINE, TWO_WAYS, Session, read
from tests.dialogue.conversation import resume


def standings(account: Account) -> dict[int, str]:
    return {row.joint.number: row.standing.value for row in account.rows if row.standing is not Standing.OPEN}


def by_fold(session: Session) -> dict[int, str]:
    state = rebuild(session.records)
    found = {joint.number: state.standing(joint).value for joint in state.plan.joints}
    return {number: standing for number, standing in found.items() if standing != "open"}


def set_back() -> Session:
    """Give a session whose clock is set back by three hours in the middle."""
    session = Session(cable=6).typed("1 blue white", "2 orange white", "3 green white", "4 brown white")
    session.at -= timedelta(hours=3)
    return session.typed("mark wet pair 2", "redo pair 3")


# --- the clock --------------------------------------------------------------------------------------------------------


def test_in_a_log_the_order_of_the_records_rules_and_not_the_clock() -> None:
    session = set_back()
    account = account_of([session.log()])
    assert standings(account) == by_fold(session) == {1: "confirmed", 2: "joined_faulty", 4: "confirmed"}
    assert account.work_s == pytest.approx(50), "seven records ten seconds apart, and nothing over the jump"


def test_every_form_says_that_the_clock_was_set(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = set_back().write(tmp_path / "a.jsonl")
    for suffix in ("html", "csv", "json"):
        out = tmp_path / f"x.{suffix}"
        assert main(["report", str(log), "-o", str(out)]) == 0
        assert "the clock was set back by 2 h 59 min before record 6" in out.read_text(), suffix
    capsys.readouterr()
    assert main(["replay", "--check", str(log)]) == 0
    assert "the clock was set back by 2 h 59 min before record 6" in capsys.readouterr().out
    assert main(["replay", str(log)]) == 0
    assert capsys.readouterr().out.count("(the clock was set here)") == 1


def test_report_and_check_give_one_tally(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = set_back().write(tmp_path / "a.jsonl")
    main(["replay", "--check", str(log)])
    assert "2 confirmed, 1 confirmed with a fault outstanding, 0 faulty, 3 left" in capsys.readouterr().out
    main(["report", str(log), "-o", str(tmp_path / "x.json")])
    tally = json.loads((tmp_path / "x.json").read_text())["tally"]
    assert (tally["confirmed"], tally["joined_faulty"], tally["faulty"], tally["open"]) == (2, 1, 0, 3)


def test_where_a_clock_was_set_the_order_between_logs_is_told_to_be_unsure() -> None:
    first = set_back()
    second = Session(cable=6, at=NINE - timedelta(hours=2)).typed(
        "go to pair 5", "mark open", "go to pair 1", "skip pair"
    )
    first.typed("5 slate white")
    told = {one.what for one in account_of([first.log("a.jsonl"), second.log("b.jsonl")]).contradictions}
    assert told, "something of the two cannot both be right"


# --- copies -----------------------------------------------------------------------------------------------------------


def long_day() -> Session:
    return Session(TWO_WAYS, place="pole 7").typed(
        "yes", "1 blue white", "2 orange white", "mark short", "4 brown white"
    )


def test_a_longer_copy_of_the_same_log_counts_once() -> None:
    session = long_day()
    monday = session.log("monday.jsonl")
    tuesday = session.typed("5 slate white").log("tuesday.jsonl")
    for order in ([monday, tuesday], [tuesday, monday]):
        account = account_of(order)
        assert account.contradictions == ()
        assert standings(account)[5] == "confirmed"
        assert [log.name for log in account.logs] == ["tuesday.jsonl"]
        assert "monday.jsonl is the beginning of tuesday.jsonl (records 1 to 6 of 7); it counts once" in account.notices


def test_a_renamed_copy_counts_once() -> None:
    session = long_day()
    account = account_of([session.log("a.jsonl"), session.log("b.jsonl")])
    assert account.contradictions == ()
    assert account.notices == ("b.jsonl is the same log as a.jsonl; it counts once",)


def test_a_log_carried_on_in_two_places_counts_its_beginning_once() -> None:
    one, other = long_day(), long_day()
    for session, person in ((one, "one"), (other, "two")):
        session.put(resume(torn_bytes=0, person=person))
    one.typed("yes", "5 slate white", "6 blue red")
    other.typed("yes", "redo pair 1", "go to pair 1", "1 blue white", "go to pair 7", "7 orange red")
    account = account_of([one.log("a.jsonl"), other.log("b.jsonl")])
    assert account.contradictions == (), "what b opened again was joined by itself, in the beginning that both have"
    assert {n for n, s in standings(account).items() if s == "confirmed"} == {1, 2, 4, 5, 6, 7}
    assert any("are one log up to record 6, and both went on from there" in line for line in account.notices)
    assert len([line for _, line in account.lines if line.record == 5]) == 2 - 1


def test_both_places_confirming_the_same_pair_is_a_contradiction() -> None:
    one, other = long_day(), long_day()
    one.typed("5 slate white", after_s=11)
    other.typed("5 slate white", after_s=12)
    (found,) = account_of([one.log("a.jsonl"), other.log("b.jsonl")]).contradictions
    assert found.what == "was confirmed twice"


def test_what_is_lost_in_one_copy_is_taken_from_the_other() -> None:
    data = long_day().data()
    lines = data.splitlines(keepends=True)
    broken = b"".join([*lines[:2], lines[2].replace(b"blue", b"blve"), *lines[3:]])
    shorter = b"".join(lines[:4])
    account = account_of([read("a.jsonl", broken), read("b.jsonl", shorter)])
    assert standings(account) == by_fold(long_day())
    assert "a.jsonl: record 3 is lost, and taken from b.jsonl" in account.notices


# --- other splices ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "other", "line"),
    [
        ({"place": "pole 14"}, {"place": "pole 15"}, "other places: pole 14; pole 15"),
        ({"place": "pole 14"}, {}, "other places: pole 14; none given"),
        ({}, {"at": NINE + timedelta(days=1)}, "begun on other days: 2026-11-25; 2026-11-26"),
    ],
)
@pytest.mark.parametrize("plan", ["", TWO_WAYS])
def test_logs_of_other_places_are_refused_by_name_unless_together(
    plan: str, one: dict[str, object], other: dict[str, object], line: str
) -> None:
    logs = [Session(plan, **one).typed("yes", "1 blue white").log("a.jsonl")]  # type: ignore[arg-type]
    logs.append(Session(plan, **other).typed("yes", "1 blue white").log("b.jsonl"))  # type: ignore[arg-type]
    with pytest.raises(AccountError, match=line):
        account_of(logs)
    account = account_of(logs, together=True)
    assert any(line in notice for notice in account.notices)


def test_a_second_day_at_the_same_place_is_the_same_splice() -> None:
    first = Session(TWO_WAYS, place="pole 14").typed("yes", "1 blue white")
    second = Session(TWO_WAYS, place="pole 14", at=NINE + timedelta(days=1)).typed(
        "yes", "go to pair 2", "2 orange white"
    )
    assert standings(account_of([first.log("a.jsonl"), second.log("b.jsonl")]))[2] == "confirmed"


def test_other_plans_of_the_same_title_are_told_apart() -> None:
    changed = TWO_WAYS.replace('reason = "cut off"', 'reason = "cut"')
    logs = [Session(plan, place="x").log(f"{i}.jsonl") for i, plan in enumerate((TWO_WAYS, changed))]
    with pytest.raises(AccountError, match="other plans: "):
        account_of(logs)


# --- confirmed with a fault outstanding -------------------------------------------------------------------------------


def fault_then_confirmed() -> list[ReadLog]:
    first = Session(TWO_WAYS, place="pole 7").typed("yes", "mark short")
    second = Session(TWO_WAYS, place="pole 7", at=NINE + timedelta(hours=1)).typed("yes", "1 blue white")
    return [first.log("a.jsonl"), second.log("b.jsonl")]


def test_a_fault_that_nobody_cleared_stands_beside_the_confirmation_in_every_form() -> None:
    account = account_of(fault_then_confirmed())
    assert standings(account)[1] == "joined_faulty"
    found = as_object(account, issued=NINE)
    assert found["tally"]["joined_faulty"] == 1  # type: ignore[index]
    assert found["tally"]["confirmed"] == 0  # type: ignore[index]
    rows = as_csv(account).splitlines()
    assert "joined_faulty" in rows[1]
    assert "short" in rows[1]
    page = as_page(account, issued=NINE)
    assert "Go back for 20 of 20 joints: 1 contradicted between logs; 1 joined, fault outstanding; 19 left." in page
    assert "left but 1 joined, outstanding: short" in page


def test_a_fault_marked_in_another_log_after_the_confirmation_stands_too() -> None:
    first = Session(TWO_WAYS, place="pole 7").typed("yes", "1 blue white")
    second = Session(TWO_WAYS, place="pole 7", at=NINE + timedelta(hours=1)).typed("yes", "mark wet")
    account = account_of([first.log("a.jsonl"), second.log("b.jsonl")])
    assert standings(account)[1] == "joined_faulty"
    assert [one.what for one in account.contradictions] == ["was confirmed, then marked wet in another log"]


def test_a_fault_that_the_same_log_cleared_is_gone() -> None:
    session = Session(TWO_WAYS).typed("yes", "mark short", "clear short pair 1", "go to pair 1", "1 blue white")
    account = account_of([session.log()])
    assert standings(account)[1] == by_fold(session)[1] == "confirmed"


# --- losses -----------------------------------------------------------------------------------------------------------


def lines_of_a_day() -> list[bytes]:
    words = ("yes", "1 blue white", "2 orange white", "3 green white", "4 brown white", "undo that", "4 brown white")
    return Session(TWO_WAYS).typed(*words).data().splitlines(keepends=True)


@pytest.mark.parametrize("lost", range(2, 8))
def test_no_pair_counts_that_the_lost_record_may_have_changed(lost: int) -> None:
    lines = lines_of_a_day()
    whole = account_of([read("a.jsonl", b"".join(lines))])
    account = account_of([read("a.jsonl", b"".join([*lines[: lost - 1], *lines[lost:]]))])
    confirmed = {row.joint.number for row in account.rows if row.standing is Standing.CONFIRMED}
    right = {row.joint.number for row in whole.rows if row.standing is Standing.CONFIRMED}
    assert confirmed <= right
    assert any(f"record {lost} is lost" in notice for notice in account.notices)
    again = {row.joint.number for row in account.doubtful}
    assert right - confirmed <= again, "what is not counted is named, to be called again"


def test_an_entry_taken_back_that_was_lost_leaves_its_pair_in_doubt() -> None:
    lines = lines_of_a_day()
    account = account_of([read("a.jsonl", b"".join([*lines[:5], *lines[6:7]]))])  # the second call of 4 and its undo
    assert standings(account).get(4) is None
    assert "4" in {str(row.joint.number) for row in account.doubtful}


def test_a_log_without_its_beginning_is_one_line() -> None:
    with pytest.raises(AccountError, match=r"^a\.jsonl: its beginning is lost, so that nobody can tell which cable"):
        account_of([read("a.jsonl", b"".join(lines_of_a_day()[1:]))])


def test_what_a_later_version_wrote_leaves_its_pair_in_doubt() -> None:
    lines = lines_of_a_day()[:3]
    later = json.dumps({"number": 4, "at": "2026-11-25T10:00:00+00:00", "input": {"tag": "typed", "text": "x"}})
    from tests.session.lines import line_of

    content = json.loads(later) | {"facts": [{"tag": "solder-found", "pair": 1}]}
    account = account_of([read("a.jsonl", b"".join([*lines, line_of(content, lines[-1][8:24].decode())]))])
    assert 1 not in standings(account)
    assert [row.joint.number for row in account.doubtful] == [1]
    assert any("was written by a later version" in notice for notice in account.notices)


def test_a_mark_taken_back_in_one_log_does_not_take_back_that_of_another() -> None:
    """Found by the mixes: both logs marked the same fault, and one of them took its own mark back."""
    first = Session(TWO_WAYS, place="pole 7").typed("yes", "mark short")
    second = Session(TWO_WAYS, place="pole 7", at=NINE + timedelta(hours=1))
    second.typed("yes", "mark short", "undo that", "1 blue white")
    assert standings(account_of([first.log("a.jsonl"), second.log("b.jsonl")]))[1] == "joined_faulty"


def test_a_fault_mended_in_another_log_is_gone() -> None:
    first = Session(TWO_WAYS, place="pole 7").typed("yes", "mark short")
    second = Session(TWO_WAYS, place="pole 7", at=NINE + timedelta(hours=1))
    second.typed("yes", "mark short", "clear short pair 1", "1 blue white")
    assert standings(account_of([first.log("a.jsonl"), second.log("b.jsonl")]))[1] == "confirmed"
