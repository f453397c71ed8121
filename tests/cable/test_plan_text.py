"""Plan texts: what is right comes out as worked out by hand, what is wrong is refused with place and remedy."""

import ast
import inspect
import json
import re
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.app.plan import load_plan
from assistant.cable import counts, plan_text
from assistant.cable.plan_text import PlanError, read_plan
from assistant.cable.splice_plan import End, Plan, in_runs, unjoined
from tests.cable.plans import plan_texts
from tests.tables import DATA

PLANS = DATA / "plans"
VALID = sorted((PLANS / "valid").glob("*.toml"))
INVALID = sorted((PLANS / "invalid").glob("*.toml"))
EXAMPLES = sorted((Path(__file__).parents[2] / "demo_sessions" / "plans").glob("*.toml"))
EXPECTS = "# expects: "
NO_TOML = "this is no TOML"
"""How far an expectation goes where the rest of the message is Python's own."""


def test_the_trees_are_not_empty() -> None:
    assert len(INVALID) >= 400
    assert len(VALID) >= 12
    assert len(EXAMPLES) == 3


def end_found(end: End) -> dict[str, object]:
    """Give an end as the expectations write it: what is as usual is left out."""
    makeup = end.cable.makeup
    found: dict[str, object] = {
        "gauge": end.gauge_awg,
        "counts": [str(count) for count in end.counts],
        "naming": end.order.value if end.order else None,
        "units": list(makeup.units),
        "multi_unit": makeup.multi_unit,
        "super_unit": makeup.super_unit if makeup.super_unit != 600 else None,
        "screened": makeup.screened,
    }
    return {"name": end.name, "pairs": end.cable.pairs} | {key: value for key, value in found.items() if value}


def as_found(plan: Plan) -> dict[str, object]:
    return {
        "title": plan.title,
        "site": plan.site.value if plan.site else None,
        "work": plan.work.value,
        "ends": [end_found(end) for end in plan.ends],
        "unjoined": {name: [list(run) for run in in_runs(positions)] for name, positions in unjoined(plan).items()},
        "joints": [
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
        ],
    }


@pytest.mark.parametrize("path", VALID, ids=lambda path: path.stem)
def test_a_right_plan_is_read_as_worked_out_by_hand(path: Path) -> None:
    expected = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    assert expected.pop("worked out by hand")
    plan = read_plan(path.read_text(encoding="utf-8"))
    assert as_found(plan) == expected
    assert [joint.number for joint in plan.joints] == list(range(1, len(plan.joints) + 1))


@pytest.mark.parametrize("path", INVALID, ids=lambda path: path.stem)
def test_a_wrong_plan_is_refused_with_its_place_and_what_to_do(path: Path) -> None:
    """Each file says in its first line what it expects: line, column and message."""
    text = path.read_text(encoding="utf-8")
    first = text.split("\n", 1)[0]
    assert first.startswith(EXPECTS)
    expected = first.removeprefix(EXPECTS)
    with pytest.raises(PlanError) as refused:
        read_plan(text)
    told = str(refused.value)
    if expected.endswith(NO_TOML):
        assert told.startswith(f"{expected}: ")
        assert told.endswith("; correct it there")
    else:
        assert told == expected
    assert "\n" not in told
    points_into(refused.value, text)


def points_into(refused: PlanError, text: str) -> None:
    lines = text.split("\n")
    assert 1 <= refused.line <= len(lines)
    assert 1 <= refused.column <= len(lines[refused.line - 1]) + 1


def words_in(module: ModuleType) -> set[str]:
    """Give the pieces of text of a module that are read by people: several words, no description."""
    tree = ast.parse(inspect.getsource(module))
    described = (ast.Module, ast.ClassDef, ast.FunctionDef)
    descriptions = {ast.get_docstring(node, clean=False) for node in ast.walk(tree) if isinstance(node, described)}
    remarks = {node.value.value for node in ast.walk(tree) if _is_text(node)}
    texts = {node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    pieces = texts - descriptions - remarks
    return {text for text in pieces if re.search(r"[a-z] | [a-z]", text) and "\\" not in text}


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)


def test_every_error_of_the_reader_is_met_by_a_wrong_plan() -> None:
    told = []
    for path in INVALID:
        with pytest.raises(PlanError) as refused:
            read_plan(path.read_text(encoding="utf-8"))
        told.append(str(refused.value))
    words = words_in(plan_text) | words_in(counts)
    assert len(words) > 40
    assert [text for text in sorted(words) if not any(text in message for message in told)] == []


@pytest.mark.parametrize("path", INVALID, ids=lambda path: path.stem)
def test_a_wrong_plan_is_refused_at_the_same_place_with_other_line_ends(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    with pytest.raises(PlanError) as here:
        read_plan(text)
    with pytest.raises(PlanError) as there:
        read_plan(text.replace("\n", "\r\n"))
    assert str(there.value) == str(here.value)


@pytest.mark.parametrize("path", VALID + EXAMPLES, ids=lambda path: path.stem)
def test_a_file_may_come_from_any_editor(path: Path, tmp_path: Path) -> None:
    """With a byte order mark and two-character line ends, as some editors save text."""
    text = path.read_text(encoding="utf-8")
    copy = tmp_path / "copy.toml"
    copy.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    plan, kept = load_plan(copy)
    assert (plan, kept) == (read_plan(text), text)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_examples_are_right(path: Path) -> None:
    plan = read_plan(path.read_text(encoding="utf-8"))
    assert plan.to_join
    assert set(plan.by_number) == set(range(1, len(plan.joints) + 1))


def test_pairs_in_no_join_are_found() -> None:
    plan = read_plan(EXAMPLES[-1].read_text(encoding="utf-8"))
    assert {name: in_runs(positions) for name, positions in unjoined(plan).items()} == {
        "feeder": [(105, 106)],
        "old": [(91, 100)],
        "new": [(1, 65), (86, 100), (105, 106)],
    }


# --- texts that nobody would write ---------------------------------------------------------------------

TEXTS = [path.read_text(encoding="utf-8") for path in EXAMPLES + VALID + INVALID if path.stat().st_size < 4000]


def reads_or_refuses(text: str) -> None:
    """Check that a text is a whole plan, or is refused in one line with a place inside it."""
    try:
        plan = read_plan(text)
    except PlanError as refused:
        assert re.match(r"line \d+, column \d+: .", str(refused))  # noqa: PT017
        assert len(str(refused).splitlines()) == 1  # noqa: PT017
        points_into(refused, text)
    else:
        places = [place for joint in plan.joints for place in joint.places]
        assert len(places) == len(set(places)) >= 1
        assert all(plan.ends[place.end].cable.has(place.position) for place in places)


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_no_plan_with_a_piece_cut_or_put_in_raises_anything_but_a_plan_error(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from(TEXTS))
    at = data.draw(st.integers(0, len(text)))
    to = data.draw(st.integers(at, min(len(text), at + 40)))
    put_in = data.draw(st.text(alphabet="abz09-,;\"'[]{}=.+_ \n\t#é\u2028\x85", max_size=6))
    reads_or_refuses(text[:at] + put_in + text[to:])


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_no_plan_with_lines_cut_flipped_or_doubled_raises_anything_but_a_plan_error(data: st.DataObject) -> None:
    lines = data.draw(st.sampled_from(TEXTS)).split("\n")
    for _ in range(data.draw(st.integers(1, 4))):
        first, second = (data.draw(st.integers(0, max(0, len(lines) - 1))) for _ in "ab")
        match data.draw(st.sampled_from(["cut", "flip", "double", "end here", "turn"])):
            case "cut":
                del lines[first : first + 1]
            case "flip" if lines:
                lines[first], lines[second] = lines[second], lines[first]
            case "double" if lines:
                lines.insert(second, lines[first])
            case "end here":
                del lines[first + 1 :]
            case "turn" if lines:
                lines[first] = lines[first][::-1]
    reads_or_refuses("\n".join(lines))


VALUES = (
    *("0", "-1", "1.5", "nan", "true", "[]", "[[]]", "{}", "[{}]", "2026-03-01", "12:00:00", "0xFFFFFF", "9" * 30),
    *('""', '"pairs"', '"service"', '"a a 1"', "'''\n'''", '"\\u0000"', f'"{"x" * 200}"'),
)


@given(st.data())
@settings(max_examples=100, deadline=None)
def test_no_value_of_another_type_raises_anything_but_a_plan_error(data: st.DataObject) -> None:
    lines = data.draw(st.sampled_from(TEXTS)).split("\n")
    keyed = [number for number, line in enumerate(lines) if re.match(r"\w+ = ", line)]
    for number in data.draw(st.lists(st.sampled_from(keyed or [0]), max_size=3)):
        value = data.draw(st.sampled_from(VALUES))
        lines[number] = f"{lines[number].split(' = ')[0]} = {value}"
    reads_or_refuses("\n".join(lines))


@given(st.text(max_size=200))
@settings(max_examples=200, deadline=None)
def test_no_text_raises_anything_but_a_plan_error(text: str) -> None:
    with pytest.raises(PlanError) as refused:
        read_plan(text)
    points_into(refused.value, text)


@given(plan_texts())
@settings(max_examples=100, deadline=None)
def test_random_right_plans_are_read(text: str) -> None:
    """The strategy of the property tests makes plans that can be followed, or those tests would show nothing."""
    plan = read_plan(text)
    assert plan.to_join
    reads_or_refuses(text)
