"""Properties of work on random plans: every pair once, all accounted for, undo and resume exact."""

import random

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.cable.colour_code import Colours
from assistant.cable.plan_text import read_plan
from assistant.cable.splice_plan import Joint
from assistant.dialogue.messages import (
    CalledOut,
    Check,
    PairConfirmed,
    PairTest,
    PairTested,
    ResumeAsked,
    StartTimer,
    TimedOut,
    Typed,
)
from assistant.dialogue.state import Mode, State, fold
from assistant.words.numbers import spoken_digits
from tests.cable.plans import plan_texts
from tests.dialogue.conversation import Conversation

SLOW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def begin(text: str, **more: object) -> Conversation:
    return Conversation(0, 0, 0, plan_text=text, **more)


def call(state: State, joint: Joint) -> str:
    """Number and colours of the pair that is called for a joint."""
    end, address = state.plan.end_of(joint.lead), state.plan.address(joint.lead)
    assert isinstance(address.colours, Colours)
    number = spoken_digits(end.called(joint.lead.position)[1])
    lead = "pair " if len(number.split()) == 1 else ""
    return f"{lead}{number} {address.colours.ring.value} {address.colours.tip.value}"


def confirmed(talk: Conversation) -> list[int]:
    return [fact.pair for fact in talk.facts if isinstance(fact, PairConfirmed)]


def make_next(talk: Conversation) -> str:
    """Call the expected joint, and say yes where it is protected."""
    joint = talk.state.expected_joint
    assert joint is not None
    answer = talk.typed(call(talk.state, joint))
    return talk.typed("yes") if talk.state.mode is Mode.QUESTION else answer


@given(plan_texts())
@SLOW
def test_every_planned_pair_is_announced_once_in_the_order_of_the_work(text: str) -> None:
    talk = begin(text)
    plan = read_plan(text)
    announced = []
    while (joint := talk.state.expected_joint) is not None:
        announced.append(joint.number)
        make_next(talk)
        assert talk.state.tally().total == len(plan.joints)
    assert announced == list(plan.to_join)
    assert confirmed(talk) == announced
    tally = talk.state.tally()
    assert (tally.open, tally.skipped, tally.faulty) == (0, 0, 0)
    assert tally.dead + tally.spare == len(plan.joints) - len(plan.to_join)


@given(plan_texts())
@SLOW
def test_pairs_that_are_not_joined_are_told_of_and_never_confirmed(text: str) -> None:
    talk = begin(text)
    said = talk.state.last_said
    while talk.state.expected is not None:
        said += " " + make_next(talk)
    left_alone = [joint for joint in talk.state.plan.joints if not joint.kind.joined]
    assert not {joint.number for joint in left_alone} & set(confirmed(talk))
    for joint in left_alone:
        assert f", {joint.kind.value}" in said


@given(plan_texts())
@SLOW
def test_protected_pairs_are_never_confirmed_without_the_yes(text: str) -> None:
    talk = begin(text)
    while (joint := talk.state.expected_joint) is not None:
        talk.typed(call(talk.state, joint))
        if joint.protect:
            assert joint.number not in confirmed(talk)
            assert joint.protect in talk.state.last_said
            talk.typed("yes")
    protected = {f.pair: f.protected for f in talk.facts if isinstance(f, PairConfirmed) and f.protected}
    assert set(protected) == {j.number for j in talk.state.plan.joints if j.protect and j.kind.joined}


ENTRIES = st.lists(st.sampled_from(["make", "skip pair", "mark open", "jump", "redo", "undo that"]), max_size=12)


def act(talk: Conversation, entry: str, rng: random.Random) -> None:
    joints = [joint for joint in talk.state.plan.joints if joint.kind.joined]
    if entry == "make":
        if talk.state.expected is not None:
            make_next(talk)
    elif entry in ("jump", "redo"):
        joint = rng.choice(joints)
        lead = "go to" if entry == "jump" else "redo"
        talk.typed(f"{lead} {call(talk.state, joint)}")
    else:
        talk.typed(entry)


@given(plan_texts(), ENTRIES, st.integers(0, 99))
@SLOW
def test_undo_at_any_depth_restores_what_was(text: str, entries: list[str], seed: int) -> None:
    talk, rng = begin(text), random.Random(seed)
    trail = [talk.state]
    for entry in entries:
        if entry == "undo that":
            continue
        before = talk.state.undo
        act(talk, entry, rng)
        assert talk.state.mode is Mode.FOLLOWING
        if talk.state.undo is not before:
            trail.append(talk.state)
    for earlier in reversed(trail[:-1]):
        talk.typed("undo that")
        assert (talk.state.pairs, talk.state.expected) == (earlier.pairs, earlier.expected)
        assert talk.state.tally() == earlier.tally()
    assert talk.typed("undo that") == "There is nothing to undo."


@given(plan_texts(), ENTRIES, st.integers(0, 99), st.integers(0, 200))
@SLOW
def test_resuming_at_any_record_is_as_if_never_stopped(text: str, entries: list[str], seed: int, cut: int) -> None:
    whole, rng = begin(text), random.Random(seed)
    steps = [tuple(whole.facts)]
    for entry in entries:
        before = len(whole.facts)
        act(whole, entry, rng)
        steps.append(tuple(whole.facts[before:]))
    at = cut % len(steps)
    resumed = begin(text)
    resumed.state = fold(fact for step in steps[: at + 1] for fact in step)
    resumed.put(ResumeAsked(torn_bytes=0))
    resumed.state = fold((fact for step in steps[at + 1 :] for fact in step), resumed.state)
    assert (resumed.state.pairs, resumed.state.expected) == (whole.state.pairs, whole.state.expected)
    assert resumed.state.tally().total == len(whole.state.plan.joints)


@given(plan_texts(), st.integers(0, 99))
@SLOW
def test_a_partner_may_call_in_any_order_and_what_was_not_called_is_listed(text: str, seed: int) -> None:
    talk, rng = begin(text, any_order=True), random.Random(seed)
    joints = [talk.state.plan.by_number[number] for number in talk.state.plan.to_join]
    rng.shuffle(joints)
    same_end = [joint for joint in joints if joint.lead.end == talk.state.end]
    called = same_end[: len(same_end) // 2 + 1]
    for joint in called:
        talk.typed(call(talk.state, joint))
        if joint.protect:
            talk.typed("yes")
    assert confirmed(talk) == [joint.number for joint in called]
    assert set(talk.state.left()) == {joint.number for joint in joints} - {joint.number for joint in called}
    if talk.state.left():
        assert "not called" in talk.typed("how many left")


@given(plan_texts())
@SLOW
def test_a_module_confirms_exactly_what_was_called_out_and_is_not_protected(text: str) -> None:
    talk = begin(text)
    module = [joint.number for joint in talk.state.module_of(talk.state.expected_joint)]  # type: ignore[arg-type]
    step = talk.put(Typed("call them out"))
    while timers := [effect for effect in step.effects if isinstance(effect, StartTimer)]:
        step = talk.put(TimedOut(timers[0].joint))
    assert [fact.pair for fact in talk.facts if isinstance(fact, CalledOut)] == module
    talk.typed("confirm module")
    safe = [number for number in module if not talk.state.plan.by_number[number].protect]
    assert confirmed(talk) == safe
    assert all(fact.how is Check.MODULE for fact in talk.facts if isinstance(fact, PairConfirmed))


@given(plan_texts(), st.lists(st.booleans(), min_size=1, max_size=30))
@SLOW
def test_the_verification_pass_visits_every_joined_pair_once_for_each_test(text: str, results: list[bool]) -> None:
    talk = begin(text)
    while talk.state.expected is not None:
        make_next(talk)
    talk.typed("start verification")
    turn = 0
    while talk.state.verifying is not None and talk.state.verifying.joint is not None:
        talk.typed("test good" if results[turn % len(results)] else "mark noisy")
        turn += 1
    visited = [(fact.test, fact.pair) for fact in talk.facts if isinstance(fact, PairTested)]
    assert visited == [(test, number) for test in PairTest for number in talk.state.plan.to_join]
    for number in talk.state.plan.to_join:
        assert len(talk.state.of(number).tests) == len(PairTest)
