"""The fold takes short ways for long logs; each is held to the long way, which is written out here."""

import random
from dataclasses import FrozenInstanceError, fields, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.dialogue import state as folding
from assistant.dialogue.messages import Fact, GroupTaken, SessionOpened, SessionResumed
from assistant.dialogue.state import State, evolve, initial
from tests.session.test_snapshot import KINDS, alike, session


def the_long_way(state: State, fact: Fact) -> State:
    """Number the announcements as `State.announcement` says: compare all on which an entry acts, after every fact."""
    after = folding._evolve(state, fact)
    if isinstance(fact, folding._READ_BACK_AFTER):
        after = replace(after, reads_back=True)
    if after.end != state.end and not isinstance(fact, GroupTaken):
        after = replace(after, taken_group=None)
    same = folding._acted_on(after) == folding._acted_on(state) and after.undo is state.undo
    if same and not isinstance(fact, folding._TURNS_AWAY):
        return after
    anew = isinstance(fact, SessionOpened | SessionResumed)
    moved = anew or (after.end, after.group_in_work) != (state.end, state.group_in_work)
    number: Any = state.announcement + 1
    return replace(after, announcement=number, group_since=number if moved else after.group_since)


@pytest.mark.parametrize("kind", KINDS)
@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 2**32 - 1))
def test_the_short_ways_come_to_the_same(kind: str, seed: int) -> None:
    short = long = initial()
    for record in session(kind, seed, 40).records:
        for fact in record.facts:
            short, long = evolve(short, fact), the_long_way(long, fact)
            alike(short, long)
        assert short.next_after(None) == first_by_rank(short)


def first_by_rank(state: State) -> int | None:
    """Give the first joint that waits: one that nothing is known of, else a skipped one, else a faulty one."""
    joints = [joint.number for joint in state.plan.joints if joint.kind.joined]
    waiting = [number for number in joints if state.of(number).left and not state.of(number).put_off]
    fresh = [number for number in waiting if state.of(number).fresh]
    whole = [number for number in waiting if not state.of(number).faults]
    return next(iter(fresh or whole or waiting), None)


@settings(deadline=None, max_examples=30)
@given(seed=st.integers(0, 2**32 - 1))
def test_a_state_with_other_fields_is_what_replace_makes_of_it(seed: int) -> None:
    chance = random.Random(seed)
    one, other = session("plan", seed, 20).state, session("straight", seed, 20).state
    names = chance.sample([field.name for field in fields(State)], 4)
    changes = {name: getattr(other, name) for name in names}
    made = folding._with(one, **changes)
    assert type(made) is State
    alike(made, replace(one, **changes))
    assert made.undo is (other.undo if "undo" in names else one.undo)
    assert repr(made) == repr(replace(one, **changes))


def test_a_state_made_so_is_frozen_and_takes_no_other_name() -> None:
    made = folding._with(initial(), ended=True)
    with pytest.raises(FrozenInstanceError):
        made.ended = False  # type: ignore[misc]
    with pytest.raises(AttributeError):
        folding._with(initial(), over=True)
