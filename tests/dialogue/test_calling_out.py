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
