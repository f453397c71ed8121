"""Addresses in cables of every size against published tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.cable.colour_code import Colours, ServiceColours, colours_of
from assistant.cable.makeup import LARGEST_CABLE, SUPER_UNIT_BINDERS, Cable, CableError, Makeup
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


def test_every_pair_of_a_6000_pair_cable_against_the_tables() -> None:
    """7 CFR 1755.890 for super-units and bindings, ANSI/ICEA S-80-576 for pairs; each pair looked up in the tables."""
    cable = Cable(LARGEST_CABLE)
    pair = 0
    for unit in rows("super_units.csv"):
        assert int(unit["first_pair"]) == pair + 1
        for binding in rows("binder_groups.csv"):
            for named in rows("pair_colours.csv"):
                pair += 1
                address = cable.address(pair)
                assert (address.pair, address.position) == (pair, int(named["pair"]))
                assert _shown(address.colours) == (named["tip"].lower(), named["ring"].lower())
                assert _shown(address.group.binder) == (
                    binding["tip_binding"].lower(),
                    binding["ring_binding"].lower(),
                )
                assert address.group.in_super_unit == int(binding["group"])
                assert address.group.super_unit_binder is not None
                assert address.group.super_unit_binder.value == unit["binder"].lower()
        assert int(unit["last_pair"]) == pair
    assert pair == LARGEST_CABLE


def _shown(colours: Colours | ServiceColours | None) -> tuple[str, str]:
    assert colours is not None
    return colours.tip.value, colours.ring.value


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


# --- what a core shows besides its groups ------------------------------------------------------------


@pytest.mark.parametrize("pairs", [50, 100])
def test_multi_units_of_a_6000_pair_cable(pairs: int) -> None:
    """Common practice, no source; the binder is that of the super-unit, white for 1-600 (7 CFR 1755.890)."""
    cable = Cable(LARGEST_CABLE, Makeup(multi_unit=pairs))
    units = {int(row["first_pair"]): row["binder"].lower() for row in rows("super_units.csv")}
    for pair in range(1, LARGEST_CABLE + 1):
        address = cable.address(pair)
        first = max(start for start in units if start <= pair)
        assert address.multi_unit == (pair - first) // pairs + 1
        assert address.multi_unit_binder is not None
        assert address.multi_unit_binder.value == units[first]


def test_a_600_pair_core_has_twelve_multi_units_of_two_groups() -> None:
    """Common practice, no source: unit 2 is green-white and brown-white, 3 is slate-white and blue-red."""
    cable = Cable(600, Makeup(multi_unit=50))
    groups: dict[int, list[int]] = {}
    for group in range(1, 25):
        groups.setdefault(cable.address(cable.group(group).first).multi_unit, []).append(group)
    assert groups == {unit: [2 * unit - 1, 2 * unit] for unit in range(1, 13)}


def test_units_of_8_8_9_in_a_50_pair_core() -> None:
    """Common practice, no source: 1-8, 9-16, 17-25, 26-33, 34-41, 42-50."""
    cable = Cable(50, Makeup(units=(8, 8, 9)))
    runs: dict[tuple[int, int], list[int]] = {}
    for pair in range(1, 51):
        address = cable.address(pair)
        runs.setdefault((address.group.number, address.unit), []).append(pair)
    spans = [(pairs[0], pairs[-1]) for pairs in runs.values()]
    assert spans == [(1, 8), (9, 16), (17, 25), (26, 33), (34, 41), (42, 50)]


def test_units_of_12_13_in_a_50_pair_core() -> None:
    """Common practice, no source: 1-12, 13-25, 26-37, 38-50; both units carry their group's binder."""
    cable = Cable(50, Makeup(units=(12, 13)))
    runs: dict[tuple[int, int], list[int]] = {}
    for pair in range(1, 51):
        address = cable.address(pair)
        runs.setdefault((address.group.number, address.unit), []).append(pair)
        assert address.group.binder == colours_of(1 if pair <= 25 else 2)
    assert {key: (pairs[0], pairs[-1]) for key, pairs in runs.items()} == {
        (1, 1): (1, 12),
        (1, 2): (13, 25),
        (2, 1): (26, 37),
        (2, 2): (38, 50),
    }


def test_whole_groups_have_no_units() -> None:
    address = Cable(600).address(300)
    assert (address.unit, address.multi_unit, address.multi_unit_binder) == (0, 0, None)


def test_300_pair_super_units_are_not_given_colours_that_no_source_has() -> None:
    cable = Cable(1200, Makeup(super_unit=300, multi_unit=50))
    assert cable.super_units == 4
    for group in (cable.group(number) for number in range(1, cable.groups + 1)):
        assert group.super_unit_binder is None
        assert (group.binder is None) == (group.super_unit > 1)
        assert group.in_super_unit <= 12
    assert all(cable.address(pair).multi_unit_binder is None for pair in (1, 301, 1200))
    assert cable.address(301).colours == colours_of(1)


@pytest.mark.parametrize("row", rows("screened_counts.csv"), ids=lambda row: row["carrier_pairs"])
def test_screened_counts_table(row: dict[str, str]) -> None:
    """7 CFR 1755.890, screened cable pair counts; all rows."""
    cable = Cable(int(row["total_pairs"]), Makeup(screened=True))
    assert (cable.carrier_pairs, cable.service_pairs) == (int(row["carrier_pairs"]), int(row["service_pairs"]))


@pytest.mark.parametrize("row", rows("service_pairs.csv"), ids=lambda row: row["service_pair"])
def test_service_pair_table(row: dict[str, str]) -> None:
    """7 CFR 1755.890, colour code for service pairs, read as far as pair 9; both conductors take tip colours."""
    cable = Cable(418, Makeup(screened=True))
    address = cable.address(cable.carrier_pairs + int(row["service_pair"]))
    assert isinstance(address.colours, ServiceColours)
    assert (address.colours.tip.value, address.colours.ring.value) == (row["tip"].lower(), row["ring"].lower())
    assert address.group.service


@pytest.mark.parametrize("row", rows("screened_counts.csv"), ids=lambda row: row["total_pairs"])
def test_service_pairs_of_every_screened_cable(row: dict[str, str]) -> None:
    """7 CFR 1755.890, colour code for service pairs; those that its table does not list have no colours."""
    listed = {
        int(line["service_pair"]): (line["tip"].lower(), line["ring"].lower()) for line in rows("service_pairs.csv")
    }
    cable = Cable(int(row["total_pairs"]), Makeup(screened=True))
    carriers = int(row["carrier_pairs"])
    for number in range(1, int(row["service_pairs"]) + 1):
        address = cable.address(carriers + number)
        assert (address.position, address.group.service, address.group.binder) == (number, True, None)
        if number in listed:
            assert _shown(address.colours) == listed[number]
        else:
            assert address.colours is None
    assert not cable.address(carriers).group.service
    assert not cable.has(carriers + int(row["service_pairs"]) + 1)


def test_service_pairs_beyond_the_table_have_no_colours() -> None:
    cable = Cable(418, Makeup(screened=True))
    assert [cable.address(400 + number).colours for number in range(10, 19)] == [None] * 9


@pytest.mark.parametrize(
    "settings", [{"units": (5, 20)}, {"multi_unit": 75}, {"super_unit": 500}], ids=lambda settings: next(iter(settings))
)
def test_cores_that_were_never_described_are_refused(settings: dict[str, object]) -> None:
    with pytest.raises(CableError):
        Makeup(**settings)  # type: ignore[arg-type]


def test_an_unknown_screened_size_is_refused_with_those_there_are() -> None:
    with pytest.raises(CableError, match="28, 54, 106, 158, 210, 314, 418"):
        Cable(100, Makeup(screened=True))
