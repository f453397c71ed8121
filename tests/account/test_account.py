"""One account of a splice: against what was said word by word, and against the fold of the same records."""

from collections import Counter
from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.account.account import Account, account_of
from assistant.account.story import AccountError
from assistant.account.topics import Topic
from assistant.account.work_time import MOST_SLICES, pace, stretches
from assistant.dialogue.state import Standing
from assistant.session.replay import rebuild
from tests.account.sessions import NINE, SWAPPED, TWO_WAYS, Session
from tests.dialogue.conversation import resume


def a_morning() -> Session:
    return Session(TWO_WAYS, person="one", place="pole 7").typed(
        "1 blue white",  # number and colours
        "orange white",  # colours
        "pair 9 brown red",  # slip: 3 is expected
        "pair 3",  # number alone
        "confirm that",  # 4, by a word
        "mark open",  # 5
        "skip pair",  # 6
        "7 orange red",
        "undo that",
        "7 orange red",
        "note water in the case",
        "reading twelve mega ohms",
    )


def test_every_row_tells_how_it_came_to_stand_so() -> None:
    account = account_of([a_morning().log()])
    told = {
        row.joint.number: (row.standing.value, row.how) for row in account.rows if row.standing not in (Standing.OPEN,)
    }
    assert told == {
        1: ("confirmed", "number+colours"),
        2: ("confirmed", "colours"),
        3: ("confirmed", "number"),
        4: ("confirmed", "word"),
        5: ("faulty", ""),
        6: ("skipped", ""),
        7: ("confirmed", "number+colours"),
        **dict.fromkeys((21, 22), ("dead", "")),
        **dict.fromkeys((23, 24, 25), ("spare", "")),
    }
    assert account.rows[6].made is not None
    assert (account.rows[6].made.person, account.rows[6].made.by, account.rows[6].made.asked_back) == (
        "one",
        "typed",
        False,
    )
    assert account.rows[6].made.at == NINE + timedelta(seconds=110), "the second time: the first was taken back"
    assert str(account.rows[6].sides[0]) == "west elm 7 orange red"
    assert str(account.rows[6].sides[1]) == "east ash 107 orange red"


def test_slips_corrections_notes_and_readings_are_listed() -> None:
    account = account_of([a_morning().log()])
    (slip,) = account.slips
    assert [account.called(spot) for spot in slip.expected] == ["west elm 3 green white"]
    assert [account.called(spot) for spot in slip.called] == ["west elm 9 brown red"]
    assert slip.followed_by == "west 3 confirmed by number at 09:00:50"
    topics = [(line.record, topic) for _, line in account.lines for topic in line.topics]
    assert (4, Topic.MISMATCH) in topics
    assert [record for record, topic in topics if topic is Topic.CORRECTION] == [10]
    assert [(r.text, account.called(r.lead) if r.lead else "") for r in account.remarks] == [
        ("water in the case", "west elm 8 green red"),
        ("12 megohm", "west elm 8 green red"),
    ]


def test_a_slip_that_nothing_followed_says_so() -> None:
    account = account_of([Session(cable=25).typed("pair 9 brown red").log()])
    assert [slip.followed_by for slip in account.slips] == ["nothing more in this log"]


def test_sittings_tell_who_and_how_each_ended() -> None:
    session = a_morning().left()
    session.put(resume(torn_bytes=0, app_version="later", person="two", microphone="headset B"), after_s=86400)
    account = account_of([session.typed("finish session", "yes").log()])
    assert [(s.person, s.microphone, s.app_version, s.taken_up, s.end) for s in account.sittings] == [
        ("one", "", "test", False, "left (end of input)"),
        ("two", "headset B", "later", True, "finished"),
    ]
    assert len(account.stretches) == 2
    assert account.place == "pole 7"


def test_a_session_that_just_stops_broke_off() -> None:
    assert [s.end for s in account_of([a_morning().log()]).sittings] == ["broke off"]


def test_two_logs_of_one_plan_are_one_account() -> None:
    first = Session(TWO_WAYS, person="one", place="pole 7").typed("1 blue white", "2 orange white").left()
    second = Session(TWO_WAYS, at=NINE + timedelta(days=1), person="two", place="pole 7").typed(
        "go to pair 3", "3 green white"
    )
    account = account_of([second.log("b.jsonl"), first.log("a.jsonl")])
    assert [log.name for log in account.logs] == ["a.jsonl", "b.jsonl"]
    assert [(row.made.person if row.made else None) for row in account.rows[:4]] == ["one", "one", "two", None]
    assert account.tally[Standing.CONFIRMED] == 3
    assert account.contradictions == ()


def test_a_pair_confirmed_in_two_logs_is_a_contradiction() -> None:
    first = Session(TWO_WAYS, place="pole 7").typed("1 blue white", "2 orange white")
    second = Session(TWO_WAYS, at=NINE + timedelta(days=1), place="pole 7").typed("1 blue white")
    (found,) = account_of([first.log("a.jsonl"), second.log("b.jsonl")]).contradictions
    assert (found.lead, found.what) == (("west", 1), "was confirmed twice")
    assert found.later is not None
    assert (found.earlier.log, found.earlier.record, found.later.log, found.later.record) == (
        "a.jsonl",
        2,
        "b.jsonl",
        2,
    )


def test_a_pair_confirmed_with_different_mates_is_named_so() -> None:
    first = Session(TWO_WAYS, place="pole 7").typed("1 blue white", "2 orange white")
    second = Session(SWAPPED, at=NINE + timedelta(days=1), place="pole 7").typed("1 blue white")
    logs = [first.log("a.jsonl"), second.log("b.jsonl")]
    with pytest.raises(AccountError, match=r"other plans: [0-9a-f]{12}; [0-9a-f]{12}\); give .* or --together"):
        account_of(logs)
    account = account_of(logs, together=True)
    assert "put together all the same" in account.notices[0]
    told = {(one.lead, one.what) for one in account.contradictions}
    assert told == {
        (("west", 1), "was confirmed twice, with different mates"),
        (("west", 2), "was confirmed with other mates than the newest plan has"),
    }
    assert account.rows[1].standing is Standing.OPEN, "what was joined to another mate is not this joint"


def test_a_fault_that_another_log_confirms_is_a_contradiction() -> None:
    first = Session(TWO_WAYS, place="pole 7").typed("mark short")
    second = Session(TWO_WAYS, at=NINE + timedelta(days=1), place="pole 7").typed("1 blue white")
    account = account_of([first.log("a.jsonl"), second.log("b.jsonl")])
    (found,) = account.contradictions
    assert found.what == "was marked short and never cleared, then confirmed"
    assert account.rows[0].standing is Standing.JOINED_FAULTY, "no log says that the fault was mended"
    assert account.changes[-1].standing is Standing.JOINED_FAULTY


def test_a_pair_reopened_and_made_again_in_one_log_contradicts_nothing() -> None:
    session = Session(TWO_WAYS).typed("1 blue white", "redo pair 1", "1 blue white")
    assert account_of([session.log()]).contradictions == ()


@pytest.mark.parametrize(
    ("sessions", "line"),
    [
        ([Session(TWO_WAYS), Session(cable=25)], "is of another splice than"),
        ([Session(cable=25), Session(cable=50)], r"25 pairs; 50 pairs\); give the logs of one splice$"),
        ([Session(cable=25, asking=True)], "a session of questions only"),
    ],
)
def test_logs_that_do_not_belong_together_are_refused(sessions: list[Session], line: str) -> None:
    with pytest.raises(AccountError, match=line):
        account_of([session.log(f"{i}.jsonl") for i, session in enumerate(sessions)])


def test_times_too_far_apart_for_any_calendar_are_named() -> None:
    from dataclasses import replace

    session = Session(cable=25).typed("1 blue white", "2 orange white", "3 green white")
    years = ("2026", "9525", "0142", "9525")
    records = tuple(replace(one, at=year + one.at[4:]) for one, year in zip(session.records, years, strict=True))
    with pytest.raises(AccountError, match=r"^a\.jsonl: record 4 has a time that no clock can show after"):
        account_of([replace(session.log(), records=records)])


def test_a_record_without_a_time_is_named() -> None:
    session = Session(cable=25).typed("1 blue white")
    from dataclasses import replace

    session.records[1] = replace(session.records[1], at="noon")
    with pytest.raises(AccountError, match=r"a\.jsonl: record 2 has no time of day with its zone \('noon'\)"):
        account_of([session.log()])


ENTRIES = (
    *("1 blue white", "orange white", "3 green white", "confirm that", "mark wet", "skip pair", "undo that"),
    *("redo pair 2", "go to pair 9", "9 brown red", "clear wet pair 1", "mark open pair 2", "yes", "no", "7"),
    *(
        "start verification",
        "test good",
        "mark short",
        "end verification",
        "reading three ohms",
        "call them out",
        "note wet",
    ),
    *("put off found dead pair 2", "put off defective after drying pair 4", "put off found working pair 23"),
    *("use spare pair 23 for pair 2 cable one", "use spare pair 24 for pair 3 cable one", "yes", "yes", "yes"),
    *("use spare pair 12 for pair 3", "add a joint pair 12", "12 orange black", "undo that"),
    *("use spare pair 122 for pair 101 cable two", "use spare pair 122 for pair 1 cable two"),
    *("add a joint pair 25 cable one with pair 125 cable two", "24 brown violet", "25 slate violet"),
)


@given(st.lists(st.sampled_from(ENTRIES), max_size=40), st.booleans())
def test_the_account_of_one_log_is_its_fold_and_its_changes_lead_there(words: list[str], planned: bool) -> None:
    session = Session(TWO_WAYS if planned else "", cable=12, **({} if planned else {"last": 10})).typed("yes", *words)
    account = account_of([session.log()])
    state = rebuild(session.records)
    assert {row.joint.number: (row.standing, row.known) for row in account.rows} == {
        joint.number: (state.standing(joint), state.of(joint.number)) for joint in state.plan.joints
    }
    assert after_changes(account) == [row.standing for row in account.rows]
    assert account.tally == Counter(state.standing(joint) for joint in state.plan.joints)
    assert all(row.how == known.value for row in account.rows if row.how and (known := row.known.confirmed))
    assert account.contradictions == ()


def after_changes(account: Account) -> list[Standing]:
    """Apply all changes to the state before any, as the slider of the page does."""
    standing = [Standing(r.joint.kind.value) if not r.joint.kind.joined else Standing.OPEN for r in account.rows]
    for change in account.changes:
        standing[account.row_of[change.lead]] = change.standing
    return standing


@given(st.lists(st.integers(0, 10**6), min_size=1, max_size=60))
def test_stretches_hold_every_time_and_pauses_are_long(seconds: list[int]) -> None:
    times = sorted(NINE + timedelta(seconds=s) for s in seconds)
    found = stretches(times)
    assert all(any(s.began <= at <= s.ended for s in found) for at in times)
    assert all(b.began - a.ended > timedelta(minutes=10) for a, b in pairwise(found))
    assert {s.began for s in found} | {s.ended for s in found} <= set(times)


@pytest.mark.parametrize(("seconds", "count"), [(600, 1), (601, 2)])
def test_a_pause_of_more_than_ten_minutes_parts_two_stretches(seconds: int, count: int) -> None:
    """Ten minutes: common practice, no source; so long nobody stands at a splice without an entry."""
    assert len(stretches([NINE, NINE + timedelta(seconds=seconds)])) == count


@given(st.lists(st.integers(0, 10**9), min_size=1, max_size=60))
def test_slices_count_every_pair_once_and_are_few(seconds: list[int]) -> None:
    times = sorted(NINE + timedelta(seconds=s) for s in seconds)
    found = pace(times, times[0], times[-1])
    assert sum(one.confirmed for one in found) == len(times)
    assert len(found) <= MOST_SLICES + 2
