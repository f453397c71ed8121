"""Both ends of a joint: what is told of them, and what a call of either or both does."""

import pytest

from assistant.cable.colour_code import Colours, Ring, Tip
from assistant.cable.plan_text import read_plan
from assistant.cable.splice_plan import JointNumber, Place, Position
from assistant.dialogue.messages import Check, Ends, JoinProtected, Mismatch, PairConfirmed, Speak, Talk, Typed
from assistant.dialogue.scope import scope_of
from assistant.words.parser import Understood, parse
from tests.dialogue.conversation import Conversation, resume, said

TRANSFER = """
title = "yard"
[[end]]
name = "old"
pairs = 25
[[end]]
name = "new"
pairs = 50
[[join]]
kind = "transfer"
from = "old pairs 1-10"
to = "new pairs 5-14"
[[join]]
kind = "half-tap"
from = "old pairs 11-20"
to = "new pairs 31-40"
"""
"""Invented. Colours by 7 CFR 1755.890: pairs 1 to 5 blue, orange, green, brown, slate with white, 6 to 10 with red."""
BRANCH = """
title = "yard"
[[end]]
name = "main"
pairs = 50
[[end]]
name = "onward"
pairs = 50
[[end]]
name = "side"
pairs = 25
[[join]]
kind = "branch"
from = "main pairs 1-10"
to = "onward pairs 1-10"
branch = "side pairs 8-17"
"""
DROP = """
title = "drop"
[[end]]
name = "drop"
pairs = 6
[[end]]
name = "main"
pairs = 25
[[join]]
kind = "half-tap"
from = "drop pairs 1-6"
to = "main pairs 11-16"
"""
PROTECTED = TRANSFER + '[[protect]]\npairs = "old pairs 1"\nreason = "alarm line"\n'


def of(plan: str, **more: object) -> Conversation:
    return Conversation(0, 0, 0, plan_text=plan, **more)


def made(talk: Conversation) -> list[tuple[int, Check, Ends, tuple[int, ...]]]:
    return [(f.pair, f.how, f.ends, f.far_ends) for f in talk.facts if isinstance(f, PairConfirmed)]


def slips(talk: Conversation) -> list[Mismatch]:
    return [fact for fact in talk.facts if isinstance(fact, Mismatch)]


# --- what is told -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("brief", [False, True])
@pytest.mark.parametrize(
    "entries",
    [
        ("orange white", "undo that"),
        ("orange white", "skip this pair", "undo that"),
        ("green red",),
        ("orange white to green white",),
        ("brown white to slate white",),
        ("mark wet",),
        ("hold", "carry on"),
        ("skip this pair",),
        ("finish session", "no"),
        ("next pair",),
        ("previous pair",),
        ("where am i",),
        ("say again",),
        ("what is pair four",),
        ("go to pair 7",),
        ("redo pair 1",),
        ("hello", "next"),
        ("which group",),
        ("brief talk", "orange white"),
    ],
)
def test_whatever_came_between_both_sides_of_the_pair_in_turn_are_told_with_it(
    entries: tuple[str, ...], brief: bool
) -> None:
    """By the arithmetic of the plan: the far side of joint n is pair n + 4, in the code of 7 CFR 1755.890."""
    talk = of(TRANSFER, talk=Talk.BRIEF if brief else Talk.FULL)
    talk.typed("blue white")
    for entry in entries:
        told = talk.typed(entry)
    rings = ("blue", "orange", "green", "brown", "slate")
    expected = talk.state.expected
    assert expected is not None
    near, far = (f"{rings[(n - 1) % 5]} {('white', 'red', 'black')[(n - 1) // 5]}" for n in (expected, expected + 4))
    if near in told.rpartition("Next")[2] or "Expected" in told:
        assert far in told.rpartition(near)[2]
    else:
        assert entries == ("which group",)


def test_both_sides_are_told_when_the_session_is_taken_up_again() -> None:
    talk = of(TRANSFER)
    talk.typed("blue white")
    assert said(talk.put(resume())).endswith(
        "Next two, orange white; to new, group one, binder blue white, pair six, blue red."
    )


def test_a_protected_pair_is_asked_back_with_both_its_sides() -> None:
    talk = of(PROTECTED)
    told = talk.typed("blue white to slate white")
    assert told == "One, blue white; to new, slate white, is protected, alarm line. Joined all the same?"
    assert talk.state.question == JoinProtected(
        joint=JointNumber(1),
        how=Check.COLOURS,
        by=talk.state.question.by,  # type: ignore[union-attr]
        asked_back=False,
        ends=Ends.BOTH,
        far_ends=(1,),
    )
    assert talk.typed("yes").startswith("One, blue white; to new, slate white, confirmed.")
    assert made(talk) == [(1, Check.COLOURS, Ends.BOTH, (1,))]


# --- what is confirmed --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "how", "ends", "far_ends"),
    [
        ("blue white", Check.COLOURS, Ends.NEAR, ()),
        ("pair one", Check.NUMBER, Ends.NEAR, ()),
        ("blue white to slate white", Check.COLOURS, Ends.BOTH, (1,)),
        ("white blue to white grey", Check.COLOURS, Ends.BOTH, (1,)),
        ("one blue white to slate white", Check.NUMBER_AND_COLOURS, Ends.BOTH, (1,)),
        ("group one blue white to slate white", Check.COLOURS, Ends.BOTH, (1,)),
        ("confirm", Check.WORD, Ends.NEAR, ()),
    ],
)
def test_what_was_checked_is_kept_with_the_confirmation(
    call: str, how: Check, ends: Ends, far_ends: tuple[int, ...]
) -> None:
    talk = of(TRANSFER)
    told = talk.typed(call)
    assert made(talk) == [(1, how, ends, far_ends)]
    read_back = (
        "One, blue white; to new, slate white, confirmed." if ends is Ends.BOTH else "One, blue white, confirmed."
    )
    assert told.startswith(read_back)


@pytest.mark.parametrize("keys", [".11.51\n", "1.11.51\n"])
def test_both_sides_by_keys(keys: str) -> None:
    talk = of(TRANSFER)
    talk.keyed(keys)
    assert made(talk)[0][2:] == (Ends.BOTH, (1,))


def test_of_a_branch_the_far_side_is_the_one_that_is_coloured_otherwise() -> None:
    talk = of(BRANCH)
    talk.typed("blue white to blue white")
    assert made(talk) == [], "that is how it goes straight on, and says nothing of the side cable"
    talk.typed("blue white to green red")
    assert made(talk) == [(1, Check.COLOURS, Ends.BOTH, (2,))]


def test_where_two_far_sides_differ_no_one_pair_of_colours_stands_for_both() -> None:
    talk = of(BRANCH.replace('to = "onward pairs 1-10"', 'to = "onward pairs 2-11"'))
    for far in ("orange white", "green red"):
        assert "Its far sides differ. Call the first pair alone." in talk.typed(f"blue white to {far}")
    assert made(talk) == []
    talk.typed("blue white")
    assert made(talk) == [(1, Check.COLOURS, Ends.NEAR, ())]


def test_in_a_straight_sequence_the_same_pair_lies_on_the_other_side() -> None:
    talk = Conversation(25)
    assert talk.typed("blue white to orange white").startswith(
        "Not logged. Heard one, blue white, to orange white. Orange white on the other side goes to two, orange white."
    )
    assert talk.typed("blue white to blue white").startswith(
        "One, blue white; to the other side, blue white, confirmed."
    )
    assert made(talk) == [(1, Check.COLOURS, Ends.BOTH, ())]


def test_brief_talk_needs_no_read_back_where_both_sides_agree_and_one_where_only_the_far_side_was_called() -> None:
    for plan, calls, tone in (
        (TRANSFER, ("blue white to slate white", "orange white to blue red"), True),
        (DROP, ("blue white", "orange black"), False),
    ):
        talk = of(plan, talk=Talk.BRIEF)
        talk.typed(calls[0])
        step = talk.put(Typed(calls[1], talk.state.announcement))
        assert [effect.tone for effect in step.effects if isinstance(effect, Speak)] == [tone]
        assert ("confirmed" in said(step)) is not tone


# --- what is not ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("far", "told"),
    [
        ("green red", "Green red on new goes to four, brown white."),
        ("blue white", "Blue white on new is not in this plan."),
        ("orange red", "Orange red on new goes to three, green white."),
    ],
)
def test_a_far_side_that_does_not_fit_logs_nothing_and_says_which_joint_it_would_be(far: str, told: str) -> None:
    talk = of(TRANSFER)
    answer = talk.typed(f"blue white to {far}")
    assert answer.startswith(f"Not logged. Heard one, blue white, to {far}. {told} Expected one, blue white; to new,")
    assert made(talk) == []
    (slip,) = slips(talk)
    assert (slip.expected, slip.heard) == (1, (1,))
    assert [place.end for place in slip.far] == [1]


def test_a_far_side_of_another_joint_that_is_made_already_is_told_so() -> None:
    talk = of(TRANSFER)
    talk.typed("blue white")
    assert "Slate white on new goes to one, blue white, already done." in talk.typed("orange white to slate white")


def test_a_far_side_lies_in_the_group_of_its_joint() -> None:
    talk = of(TRANSFER)
    talk.typed("go to pair 11")
    talk.typed("blue black to orange red")
    assert slips(talk)[0].far == (Place(1, Position(32)),)
    assert "goes to twelve, orange black" in talk.state.last_said


def test_both_sides_the_wrong_way_round_are_another_joint_or_none() -> None:
    talk = of(TRANSFER)
    talk.typed("slate white to blue white")
    assert made(talk) == []
    assert slips(talk)[0].heard == (5,)


def test_the_colours_of_the_far_side_alone_count_only_where_the_called_cable_has_no_pair_of_them() -> None:
    talk = of(DROP)
    assert talk.typed("blue black").startswith("One, blue white; to main, blue black, confirmed.")
    assert made(talk) == [(1, Check.COLOURS, Ends.FAR, (1,))]
    assert talk.typed("green black").startswith("Not logged. Heard the far side of three, green white; to main, green ")
    assert len(made(talk)) == 1
    wide = of(DROP.replace('name = "drop"\npairs = 6', 'name = "drop"\npairs = 25'))
    answer = wide.typed("blue black")
    assert "The expected pair has those colours on its far side. Call both sides." in answer
    assert made(wide) == [], "pair 11 of that cable may be in the hand, though no joint has it"


def test_no_far_side_stands_for_its_joint_where_two_joints_share_its_colours() -> None:
    plan = read_plan(DROP.replace("pairs = 25", "pairs = 50").replace("11-16", "11-13, 36-38"))
    assert plan.by_far_side(0) == {}
    assert read_plan(DROP).by_far_side(0)[Colours(Tip.BLACK, Ring.BLUE)] == 1
    assert read_plan(DROP.replace("11-16", "2-7")).by_far_side(0) == {}


def test_the_far_side_alone_counts_only_if_the_cable_was_in_work_when_it_was_called() -> None:
    two = (
        DROP
        + '[[end]]\nname = "last"\npairs = 6\n'
        + '[[join]]\nkind = "straight"\nfrom = "last pairs 1"\nto = "main pairs 20"\n'
    )
    talk = of(two)
    early = talk.state.announcement
    talk.typed("go to cable three")
    talk.put(Typed("slate yellow", early))
    assert made(talk) == []
    talk.typed("slate yellow")
    assert made(talk) == [(7, Check.COLOURS, Ends.FAR, (1,))]


# --- where it is listened for -----------------------------------------------------------------------------------


def test_both_sides_are_listened_for_only_where_the_plan_has_joints_whose_sides_differ() -> None:
    assert scope_of(of(TRANSFER).state).both_ends
    assert not scope_of(Conversation(50).state).both_ends
    alike = TRANSFER.replace("new pairs 5-14", "new pairs 1-10").replace("new pairs 31-40", "new pairs 11-20")
    assert not scope_of(of(alike).state).both_ends
    closed = parse("blue white to slate white", scope_of(of(alike).state))
    assert not isinstance(closed, Understood)


@pytest.mark.parametrize("words", ["go to blue white to slate white", "what is blue white to slate white"])
def test_only_a_call_may_name_both_sides(words: str) -> None:
    talk = of(TRANSFER)
    assert "Not understood" in talk.typed(words)


def test_in_a_verification_a_far_side_that_does_not_fit_calls_no_pair_to_test() -> None:
    talk = of(TRANSFER)
    for call in ("blue white", "orange white", "start verification"):
        talk.typed(call)
    assert talk.typed("orange white to slate white").startswith("Not logged. Call a pair that is joined.")
    assert talk.typed("orange white to blue red").endswith("two, orange white.")


def test_in_any_order_a_far_side_must_fit_the_pair_that_is_called() -> None:
    talk = of(TRANSFER, any_order=True)
    talk.typed("go to group one")
    assert "Slate white on new goes to one" in talk.typed("green white to slate white")
    talk.typed("green white to orange red")
    assert made(talk) == [(3, Check.COLOURS, Ends.BOTH, (1,))]
