"""The colour code against published tables; each table names its source in its first lines."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.cable.colour_code import RINGS, TIPS, Colours, Ring, Tip, binder_of, colours_of, group_of, position_of
from tests.tables import rows


def colours(tip: str, ring: str) -> Colours:
    return Colours(Tip(tip.lower()), Ring(ring.lower()))


@pytest.mark.parametrize("row", rows("pair_colours.csv"), ids=lambda row: row["pair"])
def test_pair_colours_table(row: dict[str, str]) -> None:
    """ANSI/ICEA S-80-576-2002 colour table as reproduced; all 25 rows."""
    pair, table = int(row["pair"]), colours(row["tip"], row["ring"])
    assert colours_of(pair) == table
    assert position_of(table) == pair


@pytest.mark.parametrize("row", rows("connector_25pair.csv"), ids=lambda row: row["pair"])
def test_connector_table(row: dict[str, str]) -> None:
    """Pin table of a 25-pair cable in a published switchboard manual: ring on pin n, tip on n + 25."""
    pair = int(row["pair"])
    assert (int(row["ring_pin"]), int(row["tip_pin"])) == (pair, pair + 25)
    assert colours_of(pair) == colours(row["tip_colour"], row["ring_colour"])


@pytest.mark.parametrize("row", rows("binder_groups.csv"), ids=lambda row: row["group"])
def test_binder_table(row: dict[str, str]) -> None:
    """7 CFR 1755.890, colour of bindings; all 24 rows."""
    group, table = int(row["group"]), colours(row["tip_binding"], row["ring_binding"])
    assert binder_of(group) == table
    assert group_of(table) == group


def test_there_is_no_25th_binder() -> None:
    """7 CFR 1755.890 lists 24 groups to 600 pairs; violet-slate is left out."""
    with pytest.raises(ValueError, match="25"):
        binder_of(25)
    with pytest.raises(ValueError, match="violet-slate"):
        group_of(Colours(Tip.VIOLET, Ring.SLATE))


@given(st.integers(1, 25))
def test_there_and_back(position: int) -> None:
    assert position_of(colours_of(position)) == position


def test_every_combination_is_used_once() -> None:
    assert len({position_of(Colours(tip, ring)) for tip in TIPS for ring in RINGS}) == 25


@pytest.mark.parametrize("position", [-1, 0, 26])
def test_positions_outside_the_group_are_refused(position: int) -> None:
    with pytest.raises(ValueError, match=str(position)):
        colours_of(position)
