"""Clocks that were set, forward and back, judged by what the maker of the sessions knows."""

from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.account.account import account_of
from assistant.account.times import clock_of
from assistant.session.record import decode
from tests.account.sessions import Session

HOUR = timedelta(hours=1)


def started(boot: str = "start1") -> Session:
    session = Session(cable=6)
    session.boot = boot
    return session.typed("1 blue white", "2 orange white")


@pytest.mark.parametrize(("by", "way"), [(2 * HOUR, "forward by 2 h 00 min"), (-2 * HOUR, "back by 2 h 00 min")])
def test_a_clock_that_was_set_is_told_with_by_how_much_and_time_goes_on_by_the_other(by: timedelta, way: str) -> None:
    session = started()
    session.at += by
    account = account_of([session.typed("3 green white").log()])
    assert any(f"the clock was set {way} before record 4" in notice for notice in account.notices)
    assert account.work_s == pytest.approx(30), "three pairs, ten seconds each, whatever the clock showed"


def test_a_clock_set_back_in_a_long_break_is_told_though_it_never_showed_an_earlier_time() -> None:
    session = started()
    session.at -= HOUR
    (jump,) = clock_of(session.typed("3 green white", after_s=4 * 3600).records).jumps
    assert "set back by 1 h 00 min" in str(jump)


def test_a_long_break_is_no_clock_that_was_set() -> None:
    session = started().typed("3 green white", after_s=9 * 3600)
    assert clock_of(session.records).jumps == ()


def test_what_the_clock_goes_wrong_by_itself_is_not_told() -> None:
    session = started()
    session.at += timedelta(seconds=20)
    assert clock_of(session.typed("3 green white", after_s=12 * 3600).records).jumps == ()


@pytest.mark.parametrize("boot", ["", "start2"])
def test_over_another_start_of_the_machine_nothing_is_known_of_a_step_forward(boot: str) -> None:
    session = started()
    session.boot, session.passed_s = boot, 5.0
    session.at += 2 * HOUR
    assert clock_of(session.typed("3 green white").records).jumps == ()


def test_time_that_no_machine_counts_is_read_as_none() -> None:
    session = started()
    session.passed_s = 1e12
    session.typed("3 green white")
    record, _ = decode(session.data().splitlines(keepends=True)[3], sum_before(session))
    assert record.uptime is None
    assert record.facts == session.records[3].facts


def sum_before(session: Session) -> str:
    return session.data().splitlines()[2][8:24].decode()


@given(st.lists(st.tuples(st.integers(0, 20_000), st.integers(-90_000, 90_000)), max_size=12))
def test_turns_go_on_by_the_clock_that_nobody_sets_however_the_other_is_set(steps) -> None:
    session = started()
    for passed_s, set_s in steps:
        session.at += timedelta(seconds=set_s)
        session.typed("where am i", after_s=passed_s)
    clock = clock_of(session.records)
    known = [(turn, r.uptime.seconds) for turn, r in zip(clock.turns, session.records, strict=True) if r.uptime]
    for (turn, up), (next_turn, next_up) in pairwise(known):
        assert next_turn >= turn
        slack = max(1.0, 0.002 * (next_up - up)) + 0.01
        assert abs((next_turn - turn).total_seconds() - (next_up - up)) <= slack
