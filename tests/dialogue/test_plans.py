"""Properties of work on random plans: every pair once, all accounted for, undo and resume exact."""

import re
from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.cable.colour_code import Colours, Order, ServiceColours
from assistant.cable.plan_text import read_plan
from assistant.cable.splice_plan import Joint, Plan
from assistant.dialogue.messages import (
    CalledOut,
    Check,
    Fact,
    Input,
    Mismatch,
    PairConfirmed,
    PairTest,
    PairTested,
    StartTimer,
    Step,
    TimedOut,
    Typed,
)
from assistant.dialogue.state import State, fold
from assistant.words.numbers import DIGITS, TEENS, spoken, spoken_digits
from tests.cable.plans import plan_texts
from tests.dialogue.conversation import Conversation, resume, said

SLOW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def begin(text: str, **more: object) -> Conversation:
    return Conversation(0, 0, 0, plan_text=text, **more)


def call(plan: Plan, joint: Joint) -> str:
    """Give the words that call the pair of a joint: number and colours, or the number of a service pair."""
    end, address = plan.end_of(joint.lead), plan.address(joint.lead)
    if address.group.service:
        return f"service {spoken(address.position)}"
    assert isinstance(address.colours, Colours)
    number = spoken_digits(end.called(joint.lead.position)[1])
    lead = "pair " if len(number.split()) == 1 else ""
    return f"{lead}{number} {address.colours.ring.value} {address.colours.tip.value}"


def number_of(plan: Plan, joint: Joint) -> int:
    """Give the number by which the pair of a joint is called."""
    return plan.end_of(joint.lead).called(joint.lead.position)[1]


def name(plan: Plan, joint: Joint) -> str:
    """Give the words by which the pair of a joint is announced."""
    address = plan.address(joint.lead)
    colours = address.colours
    assert isinstance(colours, Colours | ServiceColours)
    named = [colours.ring.value, colours.tip.value]
    if isinstance(colours, ServiceColours) or plan.end_of(joint.lead).order is Order.TIP_FIRST:
        named.reverse()
    number = f"service pair {spoken(address.position)}" if address.group.service else spoken(number_of(plan, joint))
    return f"{number}, {' '.join(named)}"


def confirmed(talk: Conversation) -> list[int]:
    return [fact.pair for fact in talk.facts if isinstance(fact, PairConfirmed)]


def make(talk: Conversation, joint: Joint) -> str:
    """Call a joint, and say yes where it is protected."""
    answer = talk.typed(call(talk.state.plan, joint))
    return talk.typed("yes") if talk.state.question is not None else answer


def make_next(talk: Conversation) -> str:
    joint = talk.state.expected_joint
    assert joint is not None
    return make(talk, joint)


def accounts_for_all(state: State) -> None:
    """Check that every joint of the plan is counted once, by counting them another way."""
    tally, known = state.tally(), [state.of(number) for number in state.plan.to_join]
    assert tally.total == len(state.plan.joints)
    kinds = Counter(joint.kind.value for joint in state.plan.joints)
    assert (tally.dead, tally.spare) == (kinds["dead"], kinds["spare"])
    joined = [pair for pair in known if pair.confirmed is not None]
    assert tally.faulty == sum(bool(pair.faults) for pair in known if pair.confirmed is None)
    assert tally.joined_faulty == sum(bool(pair.faults) for pair in joined)
    assert tally.confirmed == sum(not pair.faults for pair in joined)
    assert tally.skipped + tally.open + tally.faulty == len(state.left()) == len(known) - len(joined)


# --- one pass through the plan --------------------------------------------------------------------------


@given(plan_texts())
@SLOW
def test_every_planned_pair_is_announced_once_in_the_order_of_the_work(text: str) -> None:
    talk = begin(text)
    plan = read_plan(text)
    told = [talk.state.last_said]
    for _ in plan.to_join:
        told.append(make_next(talk))
        accounts_for_all(talk.state)
    announced = [found for sentence in told for found in re.findall(r"Next (.+?)(?=[.;])", sentence)]
    assert announced == [name(plan, plan.by_number[number]) for number in plan.to_join]
    assert not any("Back to" in sentence for sentence in told)
    assert told[-1].endswith("No pair waits.")
    assert confirmed(talk) == list(plan.to_join)
    tally = talk.state.tally()
    assert (tally.open, tally.skipped, tally.faulty) == (0, 0, 0)


@given(plan_texts(), st.integers(0, 99), st.sets(st.integers(1, 50)))
@SLOW
def test_what_was_passed_over_or_skipped_comes_back_in_the_order_of_the_work(
    text: str, jump: int, skips: set[int]
) -> None:
    """After a jump first what is further on, then what was passed over, then what was skipped."""
    talk = begin(text)
    plan = talk.state.plan
    act(talk, "jump", jump)
    assert talk.state.expected is not None
    start = plan.to_join.index(talk.state.expected)
    turns = plan.to_join[start:] + plan.to_join[:start]
    skipped = [number for number in turns if number in skips]
    for number in [*turns, *skipped]:
        assert talk.state.expected == number
        if number in skips and not talk.state.of(number).skipped:
            talk.typed("skip pair")
        else:
            make_next(talk)
        accounts_for_all(talk.state)
    assert talk.state.expected is None
    assert confirmed(talk) == [number for number in turns if number not in skips] + skipped


def test_a_skipped_pair_waits_until_all_others_are_made_wherever_the_work_jumps() -> None:
    talk = Conversation(cable=5)
    for entry in ("go to pair 2", "skip pair", "go to pair 1"):
        talk.typed(entry)
    order = []
    for _ in range(5):
        order.append(talk.state.expected)
        make_next(talk)
    assert order == [1, 3, 4, 5, 2]


ONE_PAIR_FAULTS = ("open", "short", "ground", "reversal", "wet", "noisy", "voltage", "unbalance")


@given(st.lists(st.sampled_from(ONE_PAIR_FAULTS), min_size=1, max_size=5, unique=True), st.data())
@SLOW
def test_each_fault_is_cleared_by_itself_and_the_pair_waits_all_the_while(
    faults: list[str], data: st.DataObject
) -> None:
    talk = Conversation(cable=3)
    for fault in faults:
        talk.typed(f"mark {fault} pair 2")
    left = list(faults)
    for fault in data.draw(st.permutations(faults)):
        assert 2 in talk.state.left()
        talk.typed(f"clear {fault} pair 2")
        left.remove(fault)
        assert [fault.value.split()[-1] for fault in talk.state.of(2).faults] == left
    assert 2 in talk.state.left()
    assert talk.typed("which faults") == "No pair is marked."


def number_in(words: str) -> int:
    whole = (*DIGITS, *TEENS)
    words = words.removeprefix("pairs ").removeprefix("pair ")
    return whole.index(words) if words in whole else int("".join(str(DIGITS.index(word)) for word in words.split()))


def numbers_in(names: str) -> list[int]:
    """Give the numbers of a list such as "one and four through six"."""
    found: list[int] = []
    for part in re.split(", | and ", names):
        first, _, last = part.partition(" through ")
        found += range(number_in(first), number_in(last or first) + 1)
    return found


@given(plan_texts())
@SLOW
def test_pairs_that_are_not_joined_are_told_of_once_and_never_confirmed(text: str) -> None:
    talk = begin(text)
    plan = talk.state.plan
    told = [talk.state.last_said, *(make_next(talk) for _ in plan.to_join)]
    left_alone = [joint for joint in plan.joints if not joint.kind.joined]
    wanted = Counter((number_of(plan, joint), joint.kind.value) for joint in left_alone)
    sentences = [found for answer in told for found in re.findall(r"Leave (.+?), (dead|spare)(?:, cut off)?\.", answer)]
    whole = [(names, kind) for names, kind in sentences if ", total " not in names]
    found = Counter((number, kind) for names, kind in whole for number in numbers_in(names))
    if whole == sentences:
        assert found == wanted
    else:  # of many runs the first few are told
        assert found <= wanted
    assert bool(sentences) == bool(left_alone)
    assert not {joint.number for joint in left_alone} & set(confirmed(talk))


@given(plan_texts())
@SLOW
def test_a_call_of_a_pair_that_is_not_joined_or_not_in_turn_logs_nothing(text: str) -> None:
    talk = begin(text)
    for joint in talk.state.plan.joints:
        if joint.number == talk.state.expected or joint.lead.end != talk.state.end:
            continue
        before = talk.state
        talk.typed(call(talk.state.plan, joint))
        assert (talk.state.pairs, talk.state.expected, talk.state.question) == (before.pairs, before.expected, None)
        assert isinstance(talk.facts[-2], Mismatch)
    assert confirmed(talk) == []


@given(plan_texts(), st.integers(0, 2))
@SLOW
def test_protected_pairs_are_confirmed_only_by_the_yes(text: str, noes: int) -> None:
    talk = begin(text)
    for _ in talk.state.plan.to_join:
        before, joint = talk.state, talk.state.expected_joint
        assert joint is not None
        if joint.protect:
            assert f"Protected, {joint.protect}. Next" in before.last_said
            for entry in [call(before.plan, joint), "confirm"][:noes]:
                talk.typed(entry)
                assert talk.state.question is not None
                talk.typed("no")
                assert (talk.state.pairs, talk.state.expected) == (before.pairs, before.expected)
        make(talk, joint)
    assert talk.state.expected is None
    protected = {f.pair: f.protected for f in talk.facts if isinstance(f, PairConfirmed) and f.protected}
    assert protected == {j.number: j.protect for j in talk.state.plan.joints if j.protect and j.kind.joined}


@pytest.mark.parametrize("calls", ["pair nine brown red", "pair nine", "brown red"])
def test_a_position_that_is_in_no_count_can_be_called_as_it_is_announced(calls: str) -> None:
    text = (
        'title = "Short count"\n[[end]]\nname = "west"\npairs = 20\ncount = "oak 301-305"\n'
        '[[end]]\nname = "east"\npairs = 20\n'
        '[[join]]\nkind = "straight"\nfrom = "west pairs 9, 5"\nto = "east pairs 1-2"\n'
    )
    talk = begin(text)
    assert "Next nine, brown red" in talk.state.last_said
    talk.typed(calls)
    assert confirmed(talk) == [1]
    assert "Next three zero five, slate white" in talk.state.last_said


# --- undo and resume --------------------------------------------------------------------------------------

WORK = ("make", "skip pair", "mark open", "jump", "redo", "fault elsewhere", "confirm")
TESTING = ("start verification", "test good", "mark noisy", "end verification", "reading five hundred ohms")
ENTRY = st.tuples(st.sampled_from([*WORK, *WORK, *TESTING]), st.integers(0, 99))
UNDO = ("undo that", 0)


def act(talk: Conversation, entry: str, which: int) -> None:
    plan = talk.state.plan
    joint = plan.by_number[plan.to_join[which % len(plan.to_join)]]
    testing = talk.state.verifying is not None
    match entry:
        case "make":
            if talk.state.expected is not None and not testing:
                make_next(talk)
        case "confirm":
            talk.typed("confirm")
            if talk.state.question is not None:
                talk.typed("yes")
        case "jump":
            talk.typed(f"go to {call(plan, joint)}")
        case "redo":
            talk.typed(f"redo {call(plan, joint)}")
        case "fault elsewhere":
            if not testing:  # what undo does to these in a test is told below
                talk.typed(f"mark wet pair {number_of(plan, joint)}")
        case _:
            talk.typed(entry)


@given(plan_texts(), st.lists(ENTRY, max_size=14))
@SLOW
def test_undo_at_any_depth_restores_what_was(text: str, entries: list[tuple[str, int]]) -> None:
    talk = begin(text)
    trail = []
    for entry, which in entries:
        before = talk.state
        act(talk, entry, which)
        assert talk.state.question is None
        accounts_for_all(talk.state)
        if talk.state.undo is not before.undo:
            trail.append(before)
    if talk.state.verifying is not None:  # in it only what it logged can be taken back
        talk.typed("end verification")
    if talk.state.kept_last:  # a reading stays, and is not passed over unasked
        assert talk.typed("undo that").startswith("A note or a reading stays")
    for was in reversed(trail):
        assert talk.typed("undo that").startswith("Undone: ")
        now = talk.state
        assert (now.pairs, now.expected, now.verifying) == (was.pairs, was.expected, None)
        assert now.undo is was.undo
        assert now.tally() == was.tally()
    assert talk.typed("undo that").startswith("There is nothing to undo.")


class Recorded(Conversation):
    """A conversation that keeps the facts of each record."""

    def __init__(self, text: str) -> None:
        self.records: list[tuple[Fact, ...]] = []
        super().__init__(0, 0, 0, plan_text=text)

    def put(self, came: Input) -> Step:
        step = super().put(came)
        self.records.append(step.facts)
        return step


@given(plan_texts(), st.lists(st.one_of(ENTRY, ENTRY, ENTRY, st.just(UNDO)), max_size=14), st.integers(0, 999))
@SLOW
def test_resuming_at_any_record_is_as_if_never_stopped(text: str, entries: list[tuple[str, int]], cut: int) -> None:
    """The first facts are folded as from a log; an entry that was cut off and those behind it are made again."""
    whole = Recorded(text)
    ends = []
    for entry, which in entries:
        act(whole, entry, which)
        ends.append(len(whole.records))
    kept = cut % len(whole.records) + 1
    resumed = begin(text)
    resumed.state = fold(fact for facts in whole.records[:kept] for fact in facts)
    resumed.put(resume())
    assert resumed.state.question is None
    finished = sum(end <= kept for end in ends)
    for entry, which in entries[finished:]:
        act(resumed, entry, which)
    for state in (whole.state, resumed.state):
        accounts_for_all(state)
    now, was = resumed.state, whole.state
    assert (now.pairs, now.expected, now.verifying) == (was.pairs, was.expected, was.verifying)
    assert (now.end, now.group_in_work, now.tally()) == (was.end, was.group_in_work, was.tally())


def verifying_with_fault(result: str) -> Conversation:
    talk = Conversation(cable=3)
    for entry in ("pair 1", "pair 2", "start verification", "mark wet pair 1", result):
        talk.typed(entry)
    return talk


def test_undo_of_a_failed_test_takes_the_fault_back_with_it_and_no_other() -> None:
    talk = verifying_with_fault("mark open")
    assert [fault.value for fault in talk.state.of(1).faults] == ["wet", "open"]
    assert dict(talk.state.of(1).tests) == {PairTest.CONTINUITY: False}
    talk.typed("undo that")
    assert [fault.value for fault in talk.state.of(1).faults] == ["wet"]
    assert talk.state.of(1).tests == ()


def test_undo_of_a_passed_test_leaves_a_fault_that_was_marked_before_it() -> None:
    talk = verifying_with_fault("test good")
    talk.typed("undo that")
    assert [fault.value for fault in talk.state.of(1).faults] == ["wet"]


# --- in any order -------------------------------------------------------------------------------------------


@given(plan_texts(one_lead=True, two_counts=False), st.data())
@SLOW
def test_a_partner_may_call_in_any_order_and_what_was_not_called_is_listed(text: str, data: st.DataObject) -> None:
    talk = begin(text, any_order=True)
    plan = talk.state.plan
    order = data.draw(st.permutations(plan.to_join))
    called = order[: data.draw(st.integers(0, len(order)))]
    for number in called:
        make(talk, plan.by_number[number])
        accounts_for_all(talk.state)
    assert confirmed(talk) == called
    left = [number for number in plan.to_join if number not in called]
    assert list(talk.state.left()) == left
    told = talk.typed("how many left").lower()
    names = [spoken(number_of(plan, plan.by_number[number])) for number in left]
    names = [f"pair {one}" for one in names]
    listed = ", ".join(names[:4])
    match len(names):
        case 0:
            assert told == "no pair waits."
        case 1 | 2 | 3 | 4:
            assert told == f"not done: {listed}.".replace(f", {names[-1]}.", f" and {names[-1]}.")
        case many:
            assert told == f"not done: {listed} and more, total {spoken(many)}."


TWO_CABLES = """
title = "Two cables"
[[end]]
name = "north"
pairs = 10
[[end]]
name = "south"
pairs = 60
[[end]]
name = "on"
pairs = 70
[[join]]
kind = "straight"
from = "north pairs 1-2"
to = "on pairs 61-62"
[[join]]
kind = "straight"
from = "south pairs 51-52"
to = "on pairs 51-52"
"""


def test_a_partner_may_call_pairs_of_every_cable() -> None:
    """A number that the cable in hand does not have is another's; one that it has is never taken for another's.

    The cable in hand is told of and stays, whatever was called last; each answer says the cable.
    """
    talk = begin(TWO_CABLES, any_order=True)
    assert "Cable north in hand." in talk.state.last_said
    for entry in ("pair 51", "pair 52"):
        assert talk.typed(entry).startswith("Cable south. Five ")
    assert confirmed(talk) == [3, 4]
    assert talk.typed("pair 2").startswith("Cable north. Two, orange white, confirmed.")
    assert talk.typed("go to cable two").startswith("No pair waits on cable south.")
    assert talk.typed("pair 1").startswith("Cable north. One, blue white, confirmed.")
    assert confirmed(talk) == [3, 4, 2, 1]
    assert talk.state.expected is None


SAME_NUMBERS = """
title = "Same numbers on both"
[[end]]
name = "north"
pairs = 20
[[end]]
name = "south"
pairs = 20
[[join]]
kind = "straight"
from = "north pairs 1-2"
to = "south pairs 9-10"
[[join]]
kind = "dead"
from = "north pairs 9"
"""


@pytest.mark.parametrize("calls", ["pair nine brown red", "pair nine", "brown red", "pair ten slate red", "slate red"])
def test_in_any_order_a_call_confirms_only_the_pair_that_it_names(calls: str) -> None:
    """Pair 9 of the cable in hand is dead and 10 is in no join; those of the other cable are joined to 1 and 2."""
    talk = begin(SAME_NUMBERS, any_order=True)
    talk.typed(calls)
    assert confirmed(talk) == []


@pytest.mark.parametrize("entry", ["undo that", "mark open pair 9"])
def test_in_any_order_no_answer_says_that_no_pair_is_left_while_some_are(entry: str) -> None:
    talk = Conversation(cable=30, any_order=True)
    talk.typed("pair 3")
    assert "No pair waits" not in talk.typed(entry)


@pytest.mark.parametrize("entries", [["mark open pair 9", "clear open pair 9"], ["pair 9", "redo pair 9"]])
def test_in_any_order_no_pair_is_ever_expected(entries: list[str]) -> None:
    talk = Conversation(cable=30, any_order=True)
    for entry in entries:
        talk.typed(entry)
    assert talk.state.expected is None


# --- modules ------------------------------------------------------------------------------------------------


def call_out(talk: Conversation, most: int) -> list[str]:
    """Have pairs called out, stopped after so many, and give what was said of each."""
    step = talk.put(Typed("call them out", talk.state.announcement))
    told: list[str] = []
    while (timers := [e for e in step.effects if isinstance(e, StartTimer)]) and len(told) < most:
        step = talk.put(TimedOut(timers[0].joint))
        told.append(said(step))
    return told


@given(plan_texts(), st.integers(1, 30))
@SLOW
def test_a_module_confirms_exactly_what_was_called_out_and_is_not_protected(text: str, most: int) -> None:
    """Through the whole plan; what is protected is made by its name."""
    talk = begin(text)
    plan = talk.state.plan

    def waits_with(first: Joint, other: Joint) -> bool:
        same_group = plan.address(other.lead).group.number == plan.address(first.lead).group.number
        together = (
            other.lead.end == first.lead.end and same_group and plan.turn[other.number] >= plan.turn[first.number]
        )
        return together and other.kind.joined and not other.protect and talk.state.of(other.number).left

    for _ in plan.to_join:  # more often than can be needed
        joint = talk.state.expected_joint
        if joint is None:
            break
        module = [other.number for other in plan.joints if waits_with(joint, other)]
        behind, done = len(talk.facts), confirmed(talk)
        told = call_out(talk, most)
        called = [fact.pair for fact in talk.facts[behind:] if isinstance(fact, CalledOut)]
        assert called == module[:most]
        assert all(name(plan, plan.by_number[n]) in words.lower() for n, words in zip(called, told, strict=True))
        assert confirmed(talk) == done
        talk.typed("confirm module")
        assert confirmed(talk) == done + called
        accounts_for_all(talk.state)
        while (expected := talk.state.expected_joint) is not None and expected.protect:
            make(talk, expected)
            assert expected.number in confirmed(talk)
    how = {fact.pair: fact.how for fact in talk.facts if isinstance(fact, PairConfirmed)}
    assert sorted(how) == sorted(confirmed(talk)) == sorted(plan.to_join)
    by_module = {number for number, by in how.items() if by is Check.MODULE}
    assert by_module == {number for number in plan.to_join if not plan.by_number[number].protect}


@given(plan_texts(), st.integers(1, 6), st.sampled_from(["fault elsewhere", "make"]))
@SLOW
def test_what_was_dealt_with_after_it_was_called_out_is_not_confirmed_again(text: str, most: int, entry: str) -> None:
    talk = begin(text)
    first = talk.state.expected
    call_out(talk, most)
    act(talk, entry, 0)
    talk.typed("confirm module")
    assert confirmed(talk).count(first) <= 1
    assert entry != "make" or first in confirmed(talk)
    assert len(confirmed(talk)) == len(set(confirmed(talk)))


def test_a_module_may_be_called_out_once_more() -> None:
    talk = Conversation(cable=25, last=3)
    first = call_out(talk, 3)
    assert len(first) == 3
    assert call_out(talk, 3) == first


@pytest.mark.parametrize("entry", ["skip this pair", "mark open", "joined but wet", "clear open", "confirm"])
def test_while_pairs_are_called_out_nothing_counts_that_names_none_of_them(entry: str) -> None:
    """Which of them was meant cannot be known."""
    talk = Conversation(cable=25, last=3)
    call_out(talk, 3)
    before = talk.state.pairs
    talk.typed(entry)
    assert talk.state.pairs == before
    talk.typed("mark open pair 2")
    talk.typed("confirm module")
    assert confirmed(talk) == [1, 3]


# --- verification -------------------------------------------------------------------------------------------


FAULT_OF = {PairTest.CONTINUITY: "mark open", PairTest.GROUND: "mark ground", PairTest.SHORT: "mark short"}


@given(plan_texts(), st.lists(ENTRY, max_size=14), st.lists(st.booleans(), min_size=1, max_size=30))
@SLOW
def test_the_verification_pass_visits_every_joined_pair_once_for_each_test(
    text: str, entries: list[tuple[str, int]], results: list[bool]
) -> None:
    """Grounds before shorts: US Army subcourse SS0438A, since a ground can mislead."""
    talk = begin(text)
    for entry, which in entries:
        if entry not in TESTING:
            act(talk, entry, which)
    joined = [number for number in talk.state.plan.to_join if talk.state.of(number).confirmed is not None]
    opening = talk.typed("start verification")
    if not joined:
        assert opening.startswith("No pair is joined yet.")
        return
    logged: dict[int, dict[PairTest, bool]] = {number: {} for number in joined}
    order = (PairTest.CONTINUITY, PairTest.GROUND, PairTest.SHORT)
    for turn, (test, number) in enumerate((test, number) for test in order for number in joined):
        assert talk.state.verifying is not None
        assert (talk.state.verifying.test, talk.state.verifying.joint) == (test, number)
        logged[number][test] = results[turn % len(results)]
        talk.typed("test good" if logged[number][test] else FAULT_OF[test])
        accounts_for_all(talk.state)
    assert talk.state.verifying is not None
    assert talk.state.verifying.joint is None
    for number in joined:
        known = talk.state.of(number)
        assert (len(known.tests), dict(known.tests)) == (len(order), logged[number])
        assert known.failed == (False in logged[number].values())
        found_by_tests = {fault.value for fault in known.faults} & {"open", "ground", "short"}
        assert found_by_tests >= {FAULT_OF[test].removeprefix("mark ") for test, good in known.tests if not good}
    failed = sum(False in found.values() for found in logged.values())
    told = talk.typed("test good")
    tests = "continuity, grounds, shorts"
    assert f"Pairs tested for {tests}, total {spoken(len(joined))}. Pairs failed, total {spoken(failed)}." in told
    visited = [(fact.test, fact.pair) for fact in talk.facts if isinstance(fact, PairTested)]
    assert visited == [(test, number) for test in order for number in joined]


def test_a_joint_that_is_opened_again_while_it_is_in_turn_is_not_tested() -> None:
    talk = Conversation(cable=3)
    for entry in ("pair 1", "pair 2", "start verification", "redo pair 1", "test good"):
        talk.typed(entry)
    assert [fact.pair for fact in talk.facts if isinstance(fact, PairTested)] == [2]


def test_in_a_test_every_answer_tells_the_pair_in_turn() -> None:
    talk = Conversation(cable=3)
    for entry in ("pair 1", "start verification"):
        talk.typed(entry)
    assert talk.typed("mark wet pair 1").endswith("Continuity: one, blue white.")


# --- a plan without a title -----------------------------------------------------------------------------------


def test_a_plan_without_a_title_is_told_of_as_a_plan() -> None:
    talk = begin(TWO_CABLES.replace('title = "Two cables"', ""))
    assert "pairs one through four" not in talk.state.last_said
    assert "Total joints: four." in talk.state.last_said
    assert "pairs one through four" not in talk.typed("go to pair 7")
