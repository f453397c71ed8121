"""Plan texts: what is right comes out as worked out by hand, what is wrong is refused with place and remedy."""

import json
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.cable.plan_text import PlanError, read_plan
from assistant.cable.splice_plan import in_runs, unjoined
from tests.tables import DATA

PLANS = DATA / "plans"
VALID = sorted((PLANS / "valid").glob("*.toml"))
INVALID = sorted((PLANS / "invalid").glob("*.toml"))
EXAMPLES = sorted((Path(__file__).parents[2] / "demo_sessions" / "plans").glob("*.toml"))


def test_the_trees_are_not_empty() -> None:
    assert len(INVALID) >= 250
    assert len(VALID) >= 2
    assert len(EXAMPLES) == 3


@pytest.mark.parametrize("path", VALID, ids=lambda path: path.stem)
def test_a_right_plan_is_read_as_worked_out_by_hand(path: Path) -> None:
    expected = json.loads(path.with_suffix(".json").read_text())
    plan = read_plan(path.read_text())
    assert plan.title == expected["title"]
    found = [
        {
            "kind": joint.kind.value,
            "places": [
                [plan.end_of(place).name, place.position, *plan.end_of(place).called(place.position)]
                for place in joint.places
            ],
            "protect": joint.protect,
            "reason": joint.reason,
        }
        for joint in plan.joints
    ]
    assert found == expected["joints"]
    assert [joint.number for joint in plan.joints] == list(range(1, len(plan.joints) + 1))


@pytest.mark.parametrize("path", INVALID, ids=lambda path: path.stem)
def test_a_wrong_plan_is_refused_with_its_place_and_what_to_do(path: Path) -> None:
    """Each file says in its first line what it expects: line, column and how the message begins."""
    text = path.read_text()
    expected = text.splitlines()[0].removeprefix("# expects: ")
    with pytest.raises(PlanError) as refused:
        read_plan(text)
    assert str(refused.value).startswith(expected)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("path", INVALID, ids=lambda path: path.stem)
def test_the_place_points_into_the_text(path: Path) -> None:
    text = path.read_text()
    with pytest.raises(PlanError) as refused:
        read_plan(text)
    lines = text.split("\n")
    assert 1 <= refused.value.line <= len(lines)
    assert 1 <= refused.value.column <= len(lines[refused.value.line - 1]) + 1


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_examples_are_right(path: Path) -> None:
    plan = read_plan(path.read_text())
    assert plan.to_join
    assert set(plan.by_number) == set(range(1, len(plan.joints) + 1))


def test_pairs_in_no_join_are_found() -> None:
    plan = read_plan(EXAMPLES[-1].read_text())
    assert {name: in_runs(positions) for name, positions in unjoined(plan).items()} == {
        "feeder": [(105, 106)],
        "old": [(91, 100)],
        "new": [(1, 65), (86, 100), (105, 106)],
    }


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_no_mutilated_plan_raises_anything_but_a_plan_error(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from([path.read_text() for path in EXAMPLES[:1] + VALID]))
    at = data.draw(st.integers(0, len(text)))
    to = data.draw(st.integers(at, min(len(text), at + 40)))
    put_in = data.draw(st.text(alphabet='abz09-,;"[]=. \n\t+#é', max_size=6))
    mutilated = text[:at] + put_in + text[to:]
    try:
        plan = read_plan(mutilated)
    except PlanError as refused:
        assert re.match(r"line \d+, column \d+: .", str(refused))  # noqa: PT017
    else:
        assert all(joint.places for joint in plan.joints)


@given(st.text(max_size=200))
@settings(max_examples=200, deadline=None)
def test_no_text_raises_anything_but_a_plan_error(text: str) -> None:
    with pytest.raises(PlanError):
        read_plan(text)
