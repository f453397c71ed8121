"""Addresses in cables of every size against published tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.cable.colour_code import colours_of
from assistant.cable.makeup import LARGEST_CABLE, SUPER_UNIT_BINDERS, Cable, CableError
from assistant.cable.splice_plan import straight_sequence
from tests.tables import rows


@pytest.mark.parametrize("row", rows("super_units.csv"), ids=lambda row: row["binder"])
def test_super_unit_table(row: dict[str, str]) -> None:
    """7 CFR 1755.890, table of super-unit binder colours; all 10 rows."""
    cable = Cable(LARGEST_CABLE)
    for pair in (int(row["first_pair"]), int(row["last_pair"])):
        found = cable.address(pair).group.super_unit_binder
        assert found is not None
        assert found.value == row["binder"].lower()


@pytest.mark.parametrize("row", rows("binder_groups.csv"), ids=lambda row: row["group"])
def test_group_ranges_of_a_600_pair_cable(row: dict[str, str]) -> None:
    """7 CFR 1755.890, group pair counts; all 24 rows."""
    group = Cable(600).group(int(row["group"]))
    assert (group.first, group.last) == (int(row["first_pair"]), int(row["last_pair"]))
    assert group.super_unit_binder is None


def test_core_units_table() -> None:
    """Derived from 7 CFR 1755.890 for every size of its list; each row is one group of one cable."""
    for row in rows("core_units.csv"):
        cable = Cable(int(row["cable_pairs"]))
        first, last = int(row["first_pair"]), int(row["last_pair"])
        group = cable.address(first).group
        assert (group.first, group.last) == (first, last)
        binder = group.binder
        shown = f"{binder.tip.value}-{binder.ring.value}" if binder else ""
        assert shown == row["group_binding"].lower()
        unit = group.super_unit_binder
        assert (unit.value if unit else "") == row["super_unit_binder"].lower()
        if row["group_in_super_unit"]:
            assert group.in_super_unit == int(row["group_in_super_unit"])


def test_pair_2713() -> None:
    """The worked example of the trade notes: violet unit, 13th group, black-green twice."""
    address = Cable(LARGEST_CABLE).address(2713)
    assert address.group.super_unit_binder is not None
    assert address.group.super_unit_binder.value == "violet"
    assert (address.group.in_super_unit, address.position) == (13, 13)
    assert (address.group.first, address.group.last) == (2701, 2725)
    assert address.colours == address.group.binder == colours_of(13)


def test_every_pair_of_every_size_there_and_back() -> None:
    """Every pair of a 6000-pair cable, whose smaller cables are its beginnings."""
    cable = Cable(LARGEST_CABLE)
    for pair in range(1, LARGEST_CABLE + 1):
        address = cable.address(pair)
        assert cable.pair_in(address.group.number, address.colours) == pair
        assert address.group.first <= pair <= address.group.last


@given(st.integers(1, LARGEST_CABLE).flatmap(lambda size: st.tuples(st.just(size), st.integers(1, size))))
def test_a_smaller_cable_is_the_beginning_of_a_larger(size_and_pair: tuple[int, int]) -> None:
    size, pair = size_and_pair
    small, large = Cable(size).address(pair), Cable(LARGEST_CABLE).address(pair)
    assert (small.colours, small.group.number) == (large.colours, large.group.number)
    assert small.group.last == min(large.group.last, size)


def test_after_group_24_comes_the_next_super_unit() -> None:
    cable = Cable(1200)
    before, after = cable.address(600).group, cable.address(601).group
    assert (before.in_super_unit, before.super_unit_binder) == (24, SUPER_UNIT_BINDERS[0])
    assert (after.in_super_unit, after.super_unit_binder) == (1, SUPER_UNIT_BINDERS[1])
    assert after.number == 25


def test_a_cable_of_one_group_has_no_binder_and_one_of_600_no_super_unit() -> None:
    assert Cable(25).address(25).group.binder is None
    assert Cable(26).address(25).group.binder is not None
    assert Cable(600).address(600).group.super_unit_binder is None
    assert Cable(601).address(600).group.super_unit_binder is not None


@pytest.mark.parametrize("size", [-5, 0, 6001])
def test_sizes_without_published_colours_are_refused(size: int) -> None:
    with pytest.raises(CableError, match=str(size)):
        Cable(size)


@pytest.mark.parametrize("row", rows("cable_sizes.csv"), ids=lambda row: row["pairs"])
def test_every_listed_size_is_taken(row: dict[str, str]) -> None:
    """7 CFR 1755.890 (a)(2): the sizes (its gauge columns are inferred and not used)."""
    pairs = int(row["pairs"])
    assert Cable(pairs).address(pairs).pair == pairs


@pytest.mark.parametrize(("first", "last"), [(0, 5), (5, 4), (1, 51), (51, 60)])
def test_impossible_sequences_are_refused(first: int, last: int) -> None:
    with pytest.raises(CableError):
        straight_sequence(Cable(50), first, last)
