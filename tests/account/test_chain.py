"""Logs that go on from one another: in order whatever the clocks say, counted once, and what does not fit is told.

What must come out is worked out beside each test from what was put in; there is no outside source for it.
"""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.account.account import Account, account_of
from assistant.account.chain import Fit
from assistant.account.handing_on import handed_on
from assistant.account.story import AccountError
from assistant.account.walk import ReadLog
from assistant.dialogue.messages import Check, EarlierWork, JointsCarried, PairState
from assistant.dialogue.state import UNTOUCHED, Standing
from tests.account.sessions import NINE, TWO_WAYS, Session, read


def heads(*logs: ReadLog) -> dict[str, str]:
    return {log.name: log.sha256 for log in logs}


def on(*logs: ReadLog, hours: float = 24, plan: str = TWO_WAYS, expected: int | None = None, **more: object) -> Session:
    """Begin a session that goes on with these logs, so many hours after nine."""
    account = account_of(list(logs))
    work = handed_on(account, expected, heads(*account.logs))  # type: ignore[arg-type]
    return Session(plan=plan, at=NINE + timedelta(hours=hours), earlier=work, goes_on=True, **more)


def standings(account: Account) -> dict[int, str]:
    return {row.joint.number: row.standing.value for row in account.rows if row.standing is not Standing.OPEN}


def first_day() -> Session:
    return Session(plan=TWO_WAYS, person="crew one").typed("blue white", "orange white", "mark open", "stop for today")


def test_the_second_day_begins_with_what_the_first_came_to_and_asks_no_pair_again() -> None:
    one = first_day().log("a.jsonl")
    two = on(one, person="crew two")
    assert {n for n in two.state.plan.to_join if not two.state.of(n).left} == {1, 2}
    assert two.state.expected == 4
    account = account_of([two.typed("brown white").log("b.jsonl"), one])
    assert [log.name for log in account.logs] == ["a.jsonl", "b.jsonl"], "in the order of the chain"
    made = {row.joint.number: (row.made.person, row.made.log) for row in account.rows if row.made}
    assert made == {1: ("crew one", "a.jsonl"), 2: ("crew one", "a.jsonl"), 4: ("crew two", "b.jsonl")}
    assert account.contradictions == ()
    assert account.notices == ()
    assert account.splice == account_of([one]).splice, "it is the splice of the first day"


def test_a_clock_that_is_a_year_back_does_not_change_the_order() -> None:
    one = first_day().log("a.jsonl")
    two = on(one, hours=-24 * 365).typed("clear open pair 3", "green white")
    account = account_of([two.log("b.jsonl"), one])
    assert [log.name for log in account.logs] == ["a.jsonl", "b.jsonl"]
    assert standings(account)[3] == "confirmed", "what was done last counts, not what has the later time"
    assert account.contradictions == ()
    assert [line for line in account.notices if "behind that of the log that it goes on from" in line]


def test_without_the_first_log_its_work_stands_and_it_is_told_that_nobody_knows_whose_it_is() -> None:
    one = first_day().log("a.jsonl")
    account = account_of([on(one).typed("brown white").log("b.jsonl")])
    assert standings(account) == {1: "confirmed", 2: "confirmed", 3: "faulty", 4: "confirmed"} | SPARE
    assert [row.made.person for row in account.rows if row.made][:2] == ["", ""]
    assert [one.finder for one in account.findings] == [""]
    assert account.chain.links[0].fit is Fit.MISSING
    assert any("which was not given" in line for line in account.notices)


SPARE = {21: "dead", 22: "dead", 23: "spare", 24: "spare", 25: "spare"}


def test_a_first_log_that_was_cut_off_is_shown_by_the_second() -> None:
    day = first_day()
    two = on(day.log("a.jsonl")).typed("brown white").log("b.jsonl")
    lines = day.data().splitlines(keepends=True)
    account = account_of([read("a.jsonl", b"".join(lines[:2])), two])
    assert [link.fit for link in account.chain.links] == [Fit.CUT_OFF]
    assert any("its end was cut off" in line for line in account.notices)
    assert standings(account) == {1: "confirmed", 2: "confirmed", 3: "faulty", 4: "confirmed"} | SPARE
    assert account.contradictions == ()


def test_a_first_log_that_was_written_otherwise_is_shown_by_the_second() -> None:
    two = on(first_day().log("a.jsonl")).typed("brown white").log("b.jsonl")
    other = Session(plan=TWO_WAYS, person="crew one").typed("blue white", "skip pair", "mark open", "stop for today")
    account = account_of([other.log("a.jsonl"), two])
    assert [link.fit for link in account.chain.links] == [Fit.CHANGED]
    assert any("another one now" in line for line in account.notices)


def test_a_copy_under_another_name_counts_once_and_the_link_finds_it() -> None:
    one = first_day()
    two = on(one.log("a.jsonl")).typed("brown white").log("b.jsonl")
    account = account_of([one.log("card.jsonl"), two, one.log("a.jsonl")])
    assert len(account.logs) == 2
    assert [link.fit for link in account.chain.links] == [Fit.FITS]
    assert sum(account.tally[s] for s in (Standing.CONFIRMED,)) == 3


def test_two_that_went_on_side_by_side_are_told_counted_once_and_contradictions_named() -> None:
    """Both confirm pair 4; one marks pair 1, that both know as joined: pair 1 is called again, pair 4 is not."""
    one = first_day().log("a.jsonl")
    two = on(one, hours=24, person="crew two").typed("brown white", "mark wet pair 1").log("b.jsonl")
    three = on(one, hours=25, person="crew three").typed("brown white", "slate white", "redo pair 1", "blue white")
    account = account_of([two, three.log("c.jsonl"), one])
    assert any("both go on from a.jsonl" in line for line in account.notices)
    assert {(found.lead[1], found.what) for found in account.contradictions} == {(4, "was confirmed twice")}
    work = handed_on(account, None, heads(*account.logs))
    assert {head.name for head in work.logs} == {"b.jsonl", "c.jsonl"}
    done = {n for run in work.joints for n in range(run.first, run.last + 1) if run.known.confirmed}
    assert {2, 4, 5} <= done


def test_what_contradicts_is_called_again_once_and_then_is_settled() -> None:
    one = first_day().log("a.jsonl")
    two = on(one, hours=24).typed("brown white").log("b.jsonl")
    three = on(one, hours=25).typed("mark short pair 4").log("c.jsonl")
    four = on(one, two, three, hours=48)
    assert four.state.earlier is not None
    assert four.state.earlier.again == (4,)
    assert four.state.of(4) == PairState(faults=four.state.of(4).faults)  # type: ignore[arg-type]
    assert four.state.of(4).left  # type: ignore[arg-type]
    four.typed("clear short pair 4", "brown white")
    five = on(one, two, three, four.log("d.jsonl"), hours=72)
    assert five.state.earlier is not None
    assert five.state.earlier.again == (), "who knew of both has dealt with it"
    assert not five.state.of(4).left  # type: ignore[arg-type]


def test_an_earlier_log_that_grew_afterwards_is_told_and_both_are_counted() -> None:
    day = Session(plan=TWO_WAYS).typed("blue white")
    two = on(day.log("a.jsonl"), hours=24).typed("go to pair 3", "green white").log("b.jsonl")
    account = account_of([day.typed("orange white").log("a.jsonl"), two])
    assert any("went on by itself to record 3" in line for line in account.notices)
    assert standings(account) == {1: "confirmed", 2: "confirmed", 3: "confirmed"} | SPARE


def test_a_damaged_first_log_has_its_lost_pairs_called_again() -> None:
    """The record of pair 2 is lost: whether it was joined nobody can tell, so that it comes again."""
    day = Session(plan=TWO_WAYS).typed("blue white", "orange white", "green white")
    lines = day.data().splitlines(keepends=True)
    damaged = read("a.jsonl", b"".join([*lines[:2], b"spoilt\n", *lines[3:]]))
    two = on(damaged)
    assert two.state.earlier is not None
    assert 2 in two.state.earlier.again
    assert two.state.of(2).left  # type: ignore[arg-type]
    assert "called again" in two.records[0].facts[-1].text  # type: ignore[union-attr]


def test_a_finished_splice_is_final_until_it_is_opened_again() -> None:
    done = Session(plan=TWO_WAYS).typed("blue white", "finish", "yes")
    account = account_of([done.log("a.jsonl")])
    assert account.finished is not None
    work = handed_on(account, None, heads(*account.logs))
    assert work.finished
    again = Session(plan=TWO_WAYS, at=NINE + timedelta(days=1), earlier=work, goes_on=True)
    again.typed("orange white")
    assert not again.state.of(2).confirmed, "nothing is confirmed before it is said that it is taken up again"  # type: ignore[arg-type]
    again.typed("yes", "orange white")
    assert again.state.of(2).confirmed  # type: ignore[arg-type]
    assert account_of([done.log("a.jsonl"), again.log("b.jsonl")]).finished is None
    assert account_of([first_day().log("a.jsonl")]).finished is None


def test_begun_anew_is_another_splice() -> None:
    one = first_day().log("a.jsonl")
    work = handed_on(account_of([one]), None, heads(one))
    new = Session(plan=TWO_WAYS, at=NINE + timedelta(hours=1), earlier=work).typed("no", "yes", "blue white")
    assert new.state.of(2) == UNTOUCHED  # type: ignore[arg-type]
    with pytest.raises(AccountError, match="begun anew"):
        account_of([one, new.log("b.jsonl")])


def test_a_seal_of_the_second_log_stands_for_the_first_to_the_last_byte() -> None:
    one = first_day().log("a.jsonl")
    two = replace(on(one).typed("brown white").log("b.jsonl"), seal="holds", seal_line="sealed by key k, holds")
    named = {log.name: log.seal_line for log in account_of([one, two]).logs}
    assert named["a.jsonl"] == "not sealed; b.jsonl goes on from it as it is, and is sealed by key k, holds"
    touched = replace(one, sha256="1" * 64)
    assert {log.name: log.seal_line for log in account_of([touched, two]).logs}["a.jsonl"] == "not sealed"


ENTRIES = st.lists(
    st.sampled_from(
        [
            "confirm",
            "confirm",
            "confirm",
            "undo that",
            "skip pair",
            "mark open",
            "mark wet pair 2",
            "clear open",
            "clear wet pair 2",
            "redo pair 1",
            "go to pair 9",
            "put off no access pair 5",
            "yes",
            "no",
            "joined but wet",
            "start verification",
            "test good",
            "test bad",
            "end verification",
            "group good",
            "use spare pair 23 instead of pair 4 cable one",
            "tag reversal pair 3",
        ]
    ),
    max_size=25,
)


@settings(deadline=None, max_examples=60)
@given(st.lists(ENTRIES, min_size=1, max_size=4), st.lists(st.integers(-5000, 5000), min_size=4, max_size=4))
def test_the_account_of_a_chain_is_what_its_last_day_knows(days: list[list[str]], hours: list[int]) -> None:
    """Whatever was done on whatever day by whatever clock: one account, no contradiction, and the fold agrees."""
    logs: list[ReadLog] = []
    session: Session | None = None
    for number, entries in enumerate(days):
        if session is None:
            session = Session(plan=TWO_WAYS)
        else:
            expected = session.state.expected
            session = on(*logs, hours=hours[number], expected=expected)
        logs.append(session.typed(*entries).left().log(f"{number}.jsonl"))
    assert session is not None
    account = account_of(logs[::-1])
    assert account.contradictions == ()
    assert [log.name for log in account.logs] == [log.name for log in logs]
    assert account.plan.joints == session.state.plan.joints
    assert {row.joint.number: row.known for row in account.rows} == {
        joint.number: session.state.of(joint.number) for joint in session.state.plan.joints
    }
    assert all(row.made is not None for row in account.rows if row.how or row.known.confirmed), "it is known by whom"


def test_what_is_carried_is_short_for_a_long_cable() -> None:
    known = PairState(Check.COLOURS)
    work = EarlierWork(logs=(), joints=(JointsCarried(first=1, last=3600, known=known),))  # type: ignore[arg-type]
    session = Session(cable=3600, earlier=work, goes_on=True)
    assert not session.state.left()
    assert len(session.data()) < 4000
    made = handed_on(account_of([session.log("a.jsonl")]), None, {"a.jsonl": ""})
    assert made.joints == work.joints


def test_a_forged_beginning_names_no_joint_that_is_not_there() -> None:
    """Numbers that the plan does not have are passed over; a range of a thousand million costs nothing."""
    work = EarlierWork(logs=(), joints=(JointsCarried(first=-5, last=10**9, known=PairState(Check.KEY)),))  # type: ignore[arg-type]
    session = Session(plan=TWO_WAYS, earlier=work, goes_on=True)
    assert set(session.state.pairs) == set(session.state.plan.by_number)


@settings(deadline=None, max_examples=60)
@given(ENTRIES, ENTRIES, ENTRIES, st.lists(st.integers(-5000, 5000), min_size=2, max_size=2))
def test_who_goes_on_from_two_that_did_not_know_of_one_another_has_the_account_of_both(
    first: list[str], second: list[str], third: list[str], hours: list[int]
) -> None:
    """What the next one begins with is what the report says, but for pairs that are to be called again."""
    one = Session(plan=TWO_WAYS).typed(*first).left().log("a.jsonl")
    two = on(one, hours=hours[0]).typed(*second).left().log("b.jsonl")
    three = on(one, hours=hours[1]).typed(*third).left().log("c.jsonl")
    account = account_of([one, two, three])
    four = on(one, two, three, hours=6000)
    assert four.state.earlier is not None
    again = set(four.state.earlier.again)
    assert four.state.plan.joints == account.plan.joints
    for row in account.rows:
        known = four.state.of(row.joint.number)
        assert known == row.known or (row.joint.number in again and known.left)
    both = account_of([four.left().log("d.jsonl"), three, two, one])
    assert {row.joint.number: row.known for row in both.rows} == {
        row.joint.number: four.state.of(row.joint.number) for row in both.rows
    }
    assert both.logs[-1].name == "d.jsonl"
