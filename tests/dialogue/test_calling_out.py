"""What happens to the calling out of a module when something comes between."""

import pytest

from assistant.cable.splice_plan import JointNumber
from assistant.dialogue.messages import CalledOut, Check, PairConfirmed, StartTimer, Step, TimedOut, Typed
from assistant.dialogue.modes import Mode
from tests.dialogue.conversation import Conversation, said

SIX = """
title = "yard"
[[end]]
name = "north"
pairs = 50
[[end]]
name = "south"
pairs = 50
[[join]]
kind = "straight"
from = "north pairs 1-4, 26-28"
to = "south pairs 1-4, 26-28"
[[protect]]
pairs = "north pairs 2"
reason = "alarm line"
"""

OFFSET = """
title = "yard"
[[end]]
name = "old"
pairs = 25
[[end]]
name = "new"
pairs = 50
[[join]]
kind = "transfer"
from = "old pairs 1-4"
to = "new pairs 5-6, 28-29"
"""


def timer_of(step: Step) -> list[int]:
    return [effect.joint for effect in step.effects if isinstance(effect, StartTimer)]


def called(talk: Conversation) -> list[int]:
    return [fact.pair for fact in talk.facts if isinstance(fact, CalledOut)]


def run_out(talk: Conversation, step: Step) -> str:
    """Let every timer that is set come to its end, and give what was said last."""
    while timers := timer_of(step):
        step = talk.put(TimedOut(JointNumber(timers[0])))
    return said(step)


def type_in(talk: Conversation, text: str) -> Step:
    return talk.put(Typed(text, talk.state.announcement))


@pytest.mark.parametrize("answer", ["no", "where am i", "undo that", "one"])
def test_the_calls_go_on_behind_a_question(answer: str) -> None:
    talk = Conversation(cable=25, last=4)
    type_in(talk, "call them out")
    talk.put(TimedOut(JointNumber(1)))
    type_in(talk, "finish session")
    assert talk.put(TimedOut(JointNumber(2))).facts == ()
    step = type_in(talk, answer)
    assert timer_of(step) == [2]
    assert run_out(talk, step).endswith("All called. Say confirm module, or call single pairs.")
    assert called(talk) == [1, 2, 3, 4]


def test_a_question_that_leads_to_another_mode_calls_nothing() -> None:
    talk = Conversation(cable=25, last=4)
    type_in(talk, "call them out")
    type_in(talk, "finish session")
    assert timer_of(type_in(talk, "hold on")) == []
    assert timer_of(type_in(talk, "carry on")) == [1]
    type_in(talk, "finish session")
    assert timer_of(type_in(talk, "go to pair three")) == []


def test_the_calls_go_on_behind_a_pair_that_was_joined_before_its_turn() -> None:
    talk = Conversation(cable=25, last=3)
    type_in(talk, "call them out")
    type_in(talk, "blue white")
    step = talk.put(TimedOut(JointNumber(1)))
    assert said(step) == "Two, orange white."
    run_out(talk, step)
    assert called(talk) == [2, 3]


def test_a_pair_marked_before_its_turn_is_neither_called_out_nor_confirmed() -> None:
    talk = Conversation(cable=25, last=5)
    type_in(talk, "call them out")
    talk.put(TimedOut(JointNumber(1)))
    step = talk.put(TimedOut(JointNumber(2)))
    type_in(talk, "mark open pair three")
    run_out(talk, step)
    assert called(talk) == [1, 2, 4, 5]
    told = said(type_in(talk, "confirm module"))
    assert "Total pairs: four, from one, blue white through five, slate white, confirmed." in told
    assert "Not among them: pair three." in told
    assert talk.state.of(JointNumber(3)).confirmed is None


def test_a_pair_marked_as_the_last_in_turn_ends_the_calls() -> None:
    talk = Conversation(cable=25, last=2)
    type_in(talk, "call them out")
    step = talk.put(TimedOut(JointNumber(1)))
    type_in(talk, "mark open pair two")
    assert run_out(talk, step) == "All called. Say confirm module, or call single pairs."
    assert not talk.state.pace_s


def test_with_nothing_left_to_call_the_pair_in_turn_is_told() -> None:
    talk = Conversation(cable=25, last=2)
    step = type_in(talk, "call them out")
    type_in(talk, "blue white")
    type_in(talk, "mark open")
    assert talk.state.mode is Mode.CALLING
    type_in(talk, "mark open pair two")
    assert run_out(talk, step) == "Next two, orange white. It is marked open."
    assert talk.state.mode is Mode.FOLLOWING


def test_asking_for_the_calls_again_goes_on_where_they_are() -> None:
    talk = Conversation(cable=25, last=4)
    type_in(talk, "call them out")
    talk.put(TimedOut(JointNumber(1)))
    step = type_in(talk, "call them out")
    assert said(step).startswith("Calling out, total pairs: three.")
    assert timer_of(step) == [2]


def test_behind_a_module_with_a_protected_pair_the_pair_in_turn_is_told() -> None:
    talk = Conversation(plan_text=SIX)
    run_out(talk, type_in(talk, "call them out"))
    told = said(type_in(talk, "confirm module"))
    assert "Not among them, protected: pair two. Each is called by itself." in told
    assert told.endswith("Group two, binder orange white. Next two six, blue white.")
    assert talk.state.mode is Mode.FOLLOWING
    assert [f.pair for f in talk.facts if isinstance(f, PairConfirmed) and f.how is Check.MODULE] == [1, 3, 4]


def test_protected_pairs_are_named_as_left_out_before_and_after_and_never_called() -> None:
    talk = Conversation(plan_text=SIX)
    step = type_in(talk, "call them out")
    assert "Calling out, total pairs: three." in said(step)
    assert said(step).endswith("Not among them, protected: pair two. Each is called by itself.")
    run_out(talk, step)
    assert called(talk) == [1, 3, 4]


def test_the_far_side_is_told_whole_only_where_the_offset_changes() -> None:
    talk = Conversation(plan_text=OFFSET)
    step, told = type_in(talk, "call them out"), []
    while timers := timer_of(step):
        step = talk.put(TimedOut(JointNumber(timers[0])))
        told.append(said(step).partition(" All called")[0])
    assert told == [
        "One, blue white; to new, group one, binder blue white, pair five, slate white.",
        "Two, orange white; to new, blue red.",
        "Three, green white; to new, group two, binder orange white, pair two eight, green white.",
        "Four, brown white.",
    ]


def test_undoing_takes_back_the_calling_and_not_what_was_logged_before_it() -> None:
    talk = Conversation(cable=25)
    type_in(talk, "blue white")
    step = type_in(talk, "call them out")
    talk.put(TimedOut(JointNumber(timer_of(step)[0])))
    told = said(type_in(talk, "undo that"))
    assert told == "Undone: the calling out. Nothing of it is logged. Next two, orange white."
    assert talk.state.mode is Mode.FOLLOWING
    assert talk.state.of(JointNumber(1)).confirmed is not None
    assert said(type_in(talk, "undo that")).startswith("Undone: one, blue white.")


def test_undoing_takes_back_first_what_was_logged_since_the_calling_began() -> None:
    talk = Conversation(cable=25, last=5)
    run_out(talk, type_in(talk, "call them out"))
    type_in(talk, "three green white")
    assert said(type_in(talk, "undo that")).startswith("Undone: three, green white.")
    assert talk.state.called_out == (1, 2, 4, 5), "what was taken back is called by itself"
    type_in(talk, "confirm module")
    assert talk.state.left() == (3,)
    type_in(talk, "undo that")
    assert talk.state.left() == (1, 2, 3, 4, 5)


@pytest.mark.parametrize("call", ["three green white", "pair 3 green white", "green white to green white"])
def test_a_single_pair_of_the_module_may_be_called_out_of_its_turn(call: str) -> None:
    talk = Conversation(cable=25, last=5)
    run_out(talk, type_in(talk, "call them out"))
    assert "confirmed." in said(type_in(talk, call))
    assert talk.state.expected == 1
    type_in(talk, "confirm module")
    assert [(f.pair, f.how is Check.MODULE) for f in talk.facts if isinstance(f, PairConfirmed)] == [
        (3, False),
        (1, True),
        (2, True),
        (4, True),
        (5, True),
    ]


@pytest.mark.parametrize("call", ["green white", "pair three"])
def test_out_of_its_turn_a_pair_is_called_so_that_no_misheard_word_makes_it_another(call: str) -> None:
    """Green and brown are next-door in number and sound alike (own phoneme comparison): another would be logged."""
    talk = Conversation(cable=25, last=5)
    run_out(talk, type_in(talk, "call them out"))
    assert "Out of turn, call it by number and colours." in said(type_in(talk, call))
    assert talk.state.left() == (1, 2, 3, 4, 5)


def test_a_pair_that_was_not_called_out_yet_is_no_single_pair_of_the_module() -> None:
    talk = Conversation(cable=25, last=5)
    step = type_in(talk, "call them out")
    talk.put(TimedOut(JointNumber(timer_of(step)[0])))
    assert said(type_in(talk, "three green white")).startswith("Not logged. Heard three, green white.")
    assert talk.state.left() == (1, 2, 3, 4, 5)


def test_behind_a_single_pair_the_calls_go_on_with_those_that_were_not_called() -> None:
    talk = Conversation(cable=25, last=4)
    step = type_in(talk, "call them out")
    talk.put(TimedOut(JointNumber(1)))
    step = talk.put(TimedOut(JointNumber(2)))
    assert said(type_in(talk, "two orange white")) == "Two, orange white, confirmed. Called out up to one, blue white."
    run_out(talk, step)
    assert called(talk) == [1, 2, 3, 4]


def test_behind_a_hold_it_is_told_how_far_the_calling_had_come() -> None:
    talk = Conversation(cable=25, last=4)
    type_in(talk, "call them out")
    talk.put(TimedOut(JointNumber(1)))
    type_in(talk, "hold on")
    step = type_in(talk, "carry on")
    assert said(step) == "Carrying on. Called out up to one, blue white."
    assert timer_of(step) == [2]
