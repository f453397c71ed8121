"""A changed, lost, inserted or moved line is found and named; who cuts off the end or rewrites all is not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.session.damage import damage_of
from assistant.session.journal import lines_of
from assistant.session.record import FIRST_SUM
from tests.account.sessions import Session
from tests.session.lines import line_of

WHOLE = lines_of(
    Session(cable=25)
    .typed("1 blue white", "2 orange white", "note seen", "skip pair", "undo that", "where am i")
    .data()
)
PLACES = st.integers(0, len(WHOLE) - 1)


def test_a_whole_log_has_no_damage() -> None:
    assert damage_of(WHOLE) == []
    assert len(WHOLE) == 7


@given(PLACES, st.data())
def test_a_changed_letter_is_found_in_its_line_or_the_next(place: int, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(WHOLE[place]) - 2))
    other = data.draw(st.integers(0, 255).filter(lambda b: b not in (WHOLE[place][at], 10)))
    changed = WHOLE[place][:at] + bytes([other]) + WHOLE[place][at + 1 :]
    found = damage_of([*WHOLE[:place], changed, *WHOLE[place + 1 :]])
    assert found
    assert {one.line for one in found} <= {place + 1, place + 2}


@given(st.integers(0, len(WHOLE) - 2))
def test_a_lost_line_is_found_by_the_number_behind_it(place: int) -> None:
    (found,) = damage_of([*WHOLE[:place], *WHOLE[place + 1 :]])
    assert (found.line, found.what) == (place + 1, f"is record {place + 2}: 1 before it is lost")


def test_several_lost_lines_are_counted() -> None:
    (found,) = damage_of([WHOLE[0], *WHOLE[4:]])
    assert found.what == "is record 5: 3 before it are lost"


@given(PLACES, PLACES)
def test_two_lines_that_changed_places_are_found(one: int, other: int) -> None:
    moved = WHOLE.copy()
    moved[one], moved[other] = moved[other], moved[one]
    assert bool(damage_of(moved)) == (one != other)


@given(PLACES)
def test_a_line_put_in_with_a_fitting_sum_is_found(place: int) -> None:
    """Whoever knows the format can make a line that follows the one before; the next one shows it."""
    before = FIRST_SUM if place == 0 else WHOLE[place - 1][8:24].decode()
    forged = line_of({"number": place + 1, "at": "2026-11-25T09:00:00+00:00", "input": {}, "facts": []}, before)
    found = damage_of([*WHOLE[:place], forged, *WHOLE[place:]])
    assert [one.line for one in found] == [place + 2]
    assert "lines were put in or moved" in found[0].what


@pytest.mark.parametrize("line", [b"\n", b"{}\n", b"\xff\xfe\n", b'{"sum":"0000000000000000","number":true}\n'])
def test_what_is_no_record_is_named(line: bytes) -> None:
    found = damage_of([*WHOLE, line])
    assert [one.line for one in found] == [len(WHOLE) + 1]


@given(st.lists(st.binary(max_size=60)))
def test_nothing_raises(lines: list[bytes]) -> None:
    assert len(damage_of([line + b"\n" for line in lines])) == len(lines)


def test_a_cut_end_does_not_show_here() -> None:
    """Stated, not wished: only a seal shows it."""
    assert damage_of(WHOLE[:-2]) == []
