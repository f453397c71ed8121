"""Work on several cables: a number alone may be of either, so that what is told names the cable."""

from assistant.dialogue.messages import FaultMarked, PairConfirmed
from tests.dialogue.conversation import Conversation

TWO = """
title = "yard"
[[end]]
name = "north"
pairs = 50
[[end]]
name = "spur"
pairs = 50
[[end]]
name = "south"
pairs = 100
[[join]]
kind = "straight"
from = "north pairs 1-3, 26-28"
to = "south pairs 1-3, 26-28"
[[join]]
kind = "straight"
from = "spur pairs 1-3, 26-28"
to = "south pairs 51-53, 76-78"
"""


def in_any_order() -> Conversation:
    return Conversation(plan_text=TWO, any_order=True)


def test_lists_of_pairs_name_the_cables() -> None:
    talk = Conversation(plan_text=TWO)
    for entry in ("pair one", "pair two", "go to cable two", "joined but wet", "mark open"):
        talk.typed(entry)
    told = talk.typed("finish session")
    assert (
        "Not done: cable north, pair three, pair two six, pair two seven and pair two eight; cable spur, pair" in told
    )
    assert "Faulty and not joined: cable spur, pair two." in told
    assert "Joined with a fault: cable spur, pair one." in told
    talk.typed("no")
    assert "cable spur, pair one, wet; cable spur, pair two, open" in talk.typed("which faults")


def test_faults_and_what_is_taken_back_name_the_cable_in_any_order() -> None:
    talk = in_any_order()
    talk.typed("go to cable two")
    assert talk.typed("mark open pair three").startswith("Cable spur, three, green white, not joined, marked open.")
    assert talk.typed("clear open pair three").startswith("Cable spur, three, green white, open cleared.")
    assert talk.typed("undo that").startswith("Undone: clearing of cable spur, three, green white.")
    assert [fact.pair for fact in talk.facts if isinstance(fact, FaultMarked)] == [9]


def test_every_test_names_its_cable() -> None:
    talk = Conversation(plan_text=TWO)
    for entry in ("pair one", "go to cable two", "pair one", "start verification"):
        talk.typed(entry)
    assert talk.state.last_said.endswith("Cable north. Group one, continuity: one, blue white.")
    assert talk.typed("test good").endswith("Cable spur. Group one, continuity: one, blue white.")


def test_the_cable_that_a_verification_leaves_in_hand_is_told() -> None:
    talk = in_any_order()
    for entry in ("pair one", "go to cable two", "start verification"):
        talk.typed(entry)
    assert "Cable north in hand." in talk.typed("end verification")


def test_a_group_taken_in_one_cable_counts_in_no_other() -> None:
    talk = in_any_order()
    for entry in ("pair one", "go to cable two", "go to group two", "start verification", "end verification"):
        talk.typed(entry)
    assert talk.state.end_in_work.name == "north"
    assert talk.typed("orange white").startswith("Not logged. Orange white may be pair two or pair two seven.")
    assert [fact.pair for fact in talk.facts if isinstance(fact, PairConfirmed)] == [1]
