"""The recorded demo sessions, sent through today's rules: same facts, same sentences."""

from pathlib import Path

import pytest

from assistant.dialogue.messages import Heard, KeysPressed, PairConfirmed, Typed
from assistant.session.journal import load
from assistant.session.replay import rebuild, rerun

FOLDER = Path(__file__).parents[2] / "demo_sessions"
SESSIONS = sorted(path.parent.name for path in FOLDER.glob("*/session.jsonl"))


def test_there_are_demo_sessions() -> None:
    assert len(SESSIONS) >= 3
    listed = (FOLDER / "README.md").read_text()
    assert all(f"`{name}`" in listed for name in SESSIONS)


@pytest.mark.parametrize("name", SESSIONS)
def test_todays_rules_come_to_the_same(name: str) -> None:
    loaded = load(FOLDER / name / "session.jsonl")
    assert not loaded.torn
    assert list(rerun(loaded.records)) == []
    assert rebuild(loaded.records).opened


PUT_IN = [name for name in SESSIONS if not name.endswith("-spoken")]


@pytest.mark.parametrize("name", PUT_IN)
def test_the_log_holds_what_was_put_in(name: str) -> None:
    folder = FOLDER / name
    inputs = [record.input for record in load(folder / "session.jsonl").records]
    if (folder / "words.txt").exists():
        lines = (folder / "words.txt").read_text().splitlines()
        put_in = [came.text for came in inputs if isinstance(came, Typed)]
    else:
        lines = [line for line in (folder / "keys.txt").read_text().splitlines() if not line.startswith("#")]
        put_in = [came.keys.strip() for came in inputs if isinstance(came, KeysPressed)]
    assert put_in == lines[: len(put_in)]
    assert len(put_in) >= len(lines) - 1  # a last answer may come after the session has ended


SPOKEN = [name for name in SESSIONS if name.endswith("-spoken")]


@pytest.mark.parametrize("name", SPOKEN)
def test_a_spoken_session_made_every_joint_of_its_plan(name: str) -> None:
    records = load(FOLDER / name / "session.jsonl").records
    tally = rebuild(records).tally()
    assert (tally.open, tally.skipped, tally.faulty) == (0, 0, 0)
    assert tally.confirmed > 0
    assert sum(isinstance(record.input, Heard) for record in records) > tally.confirmed


def test_the_straight_session_confirmed_what_it_should() -> None:
    """Worked out by hand from words.txt; 28 was confirmed, undone and confirmed again."""
    records = load(FOLDER / "straight-50-pair" / "session.jsonl").records
    confirmed = [fact.pair for record in records for fact in record.facts if isinstance(fact, PairConfirmed)]
    assert confirmed == [20, 21, 22, 23, 24, 26, 27, 28, 28, 30, 31, 32, 25]
    assert rebuild(records).left() == (29,)  # marked open and never joined
