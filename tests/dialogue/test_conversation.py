"""The conversation as a script: what is said, what is answered, what is logged."""

import pytest

from assistant.cable.colour_code import Order
from assistant.cable.splice_plan import JointNumber
from assistant.dialogue.messages import (
    AnnouncementNumber,
    Channel,
    Check,
    FaultMarked,
    Mismatch,
    Missed,
    MovedTo,
    PairConfirmed,
    PairSkipped,
    SessionEnded,
    Typed,
    Undone,
)
from assistant.dialogue.modes import Mode
from assistant.words.intents import Fault
from tests.dialogue.conversation import Conversation, resume
from tests.dialogue.modes import EARLIER


def confirmed(talk: Conversation) -> list[int]:
    return [fact.pair for fact in talk.facts if isinstance(fact, PairConfirmed)]


@pytest.mark.parametrize(
    ("call", "how"),
    [
        ("seven, orange red", Check.NUMBER_AND_COLOURS),
        ("orange red", Check.COLOURS),
        ("red orange", Check.COLOURS),
        ("pair seven", Check.NUMBER),
        ("confirm pair", Check.WORD),
    ],
)
def test_each_way_to_confirm_is_kept(call: str, how: Check) -> None:
    talk = Conversation(first=7)
    assert talk.heard(call) == "Seven, orange red, confirmed. Next eight, green red."
    assert talk.facts[-2] == PairConfirmed(pair=7, how=how, by=Channel.VOICE, asked_back=False)


def test_the_key_alone_is_kept_as_the_weakest_kind() -> None:
    talk = Conversation(first=7)
    talk.keyed("+")
    assert talk.facts[-2] == PairConfirmed(pair=7, how=Check.KEY, by=Channel.KEYS, asked_back=False)
    talk.keyed("8.32\n")
    assert talk.facts[-2] == PairConfirmed(pair=8, how=Check.NUMBER_AND_COLOURS, by=Channel.KEYS, asked_back=False)


def test_another_pair_is_a_mismatch_and_both_are_said() -> None:
    talk = Conversation(first=7)
    assert talk.heard("green red") == "Not logged. Heard eight, green red. Expected seven, orange red."
    assert talk.facts[-2] == Mismatch(expected=7, heard=(8,), call="green red")
    assert confirmed(talk) == []


def test_number_and_colours_that_disagree_log_nothing_and_are_both_said() -> None:
    talk = Conversation(first=7)
    answer = talk.heard("seven green red")
    assert answer == "Not logged. Heard seven and green red. Green red is eight. Which? Call it again."
    assert talk.facts[-2] == Mismatch(expected=7, heard=(7, 8), call="seven green red")
    assert confirmed(talk) == []


@pytest.mark.parametrize("call", ["pair 0", "pair 26", "pair 99", "nine nine nine"])
def test_a_pair_the_cable_does_not_have(call: str) -> None:
    talk = Conversation()
    assert talk.typed(call).startswith("Not logged. There is no pair")
    assert confirmed(talk) == []


def test_a_pair_that_is_done_is_said_to_be_done() -> None:
    talk = Conversation()
    talk.heard("blue white")
    assert "already done" in talk.heard("blue white")
    assert confirmed(talk) == [1]


def test_groups_are_announced_when_entered_and_closed() -> None:
    talk = Conversation(cable=50, first=24, last=27)
    talk.heard("brown violet")
    answer = talk.heard("slate violet")
    assert answer == (
        "Two five, slate violet, confirmed. Group one closed. Group two, binder orange white. Next two six, blue white."
    )


def test_super_units_are_announced_when_entered() -> None:
    talk = Conversation(cable=1200, first=600, last=601)
    answer = talk.heard("six hundred slate violet")
    assert answer.endswith("Super unit red, group one, binder blue white. Next six zero one, blue white.")


def test_colours_alone_mean_the_group_in_work() -> None:
    talk = Conversation(cable=100, first=30)
    assert talk.heard("slate white") == "Three zero, slate white, confirmed. Next three one, blue red."


def test_the_group_can_be_named_with_the_colours() -> None:
    talk = Conversation(cable=100, first=30)
    assert "Heard five five, slate white" in talk.heard("group three, slate white")
    assert confirmed(talk) == []


def test_skipped_pairs_come_back_at_the_end() -> None:
    talk = Conversation(cable=3)
    assert talk.heard("skip this pair") == "One, blue white, skipped. Next two, orange white."
    talk.heard("orange white")
    assert talk.heard("green white") == "Three, green white, confirmed. Back to one, blue white."
    assert talk.heard("blue white") == "One, blue white, confirmed. No pair waits."
    assert [type(f) for f in talk.facts if isinstance(f, PairSkipped)] == [PairSkipped]


def test_pairs_passed_over_by_a_jump_come_back() -> None:
    talk = Conversation(cable=4)
    assert talk.heard("go to pair four") == "Next four, brown white."
    assert talk.facts[-2] == MovedTo(4)
    assert talk.heard("brown white") == "Four, brown white, confirmed. Back to one, blue white."


def test_a_fault_on_the_expected_pair_moves_on_and_one_on_another_pair_does_not() -> None:
    talk = Conversation()
    assert talk.heard("mark open") == "One, blue white, not joined, marked open. Next two, orange white."
    assert talk.heard("mark wet pair nine") == "Nine, brown red, not joined, marked wet. Next two, orange white."
    assert [f for f in talk.facts if isinstance(f, FaultMarked)] == [
        FaultMarked(pair=1, fault=Fault.OPEN, by=Channel.VOICE),
        FaultMarked(pair=9, fault=Fault.WET, by=Channel.VOICE),
    ]


def test_undo_takes_back_whatever_came_last() -> None:
    talk = Conversation()
    states = [talk.state]
    for entry in ("blue white", "skip pair", "mark open", "go to pair 20"):
        talk.typed(entry)
        states.append(talk.state)
    for before, entry in zip(
        reversed(states[:-1]), ("moved-to", "fault-marked", "pair-skipped", "pair-confirmed"), strict=True
    ):
        talk.typed("undo that")
        undone = [f for f in talk.facts if isinstance(f, Undone)][-1]
        assert undone.entry == entry
        assert (talk.state.pairs, talk.state.expected) == (before.pairs, before.expected)
    assert talk.typed("undo that") == "There is nothing to undo. Next one, blue white."


def test_a_doubtful_call_is_asked_back_and_counts_after_yes() -> None:
    talk = Conversation(first=7)
    assert talk.heard("orange red", "ask back") == "Did you say, orange red?"
    assert talk.state.mode is Mode.UNSURE
    assert talk.heard("yes") == "Seven, orange red, confirmed. Next eight, green red."
    assert PairConfirmed(pair=7, how=Check.COLOURS, by=Channel.VOICE, asked_back=True) in talk.facts


def test_the_same_call_again_answers_the_question() -> None:
    talk = Conversation(first=7)
    talk.heard("orange red", "ask back")
    assert "confirmed" in talk.heard("orange red", "ask back")


def test_another_call_drops_the_question() -> None:
    talk = Conversation(first=7)
    talk.heard("green red", "ask back")
    assert "confirmed" in talk.heard("orange red")
    assert confirmed(talk) == [7]


def test_no_drops_the_doubtful_call() -> None:
    talk = Conversation(first=7)
    talk.heard("orange red", "ask back")
    assert talk.heard("no").startswith("Say again")
    assert talk.state.mode is Mode.FOLLOWING
    assert confirmed(talk) == []


def test_a_doubtful_call_that_contradicts_itself_is_told_of_at_once() -> None:
    talk = Conversation(first=7)
    answer = talk.heard("seven green red", "ask back")
    assert answer == "Not logged. Heard seven and green red. Green red is eight. Which? Call it again."
    assert talk.state.mode is Mode.FOLLOWING


def test_a_doubtful_yes_does_not_count() -> None:
    talk = Conversation(first=7)
    talk.heard("orange red", "ask back")
    assert talk.heard("yes", "ask back") == "Say yes, or no. Did you say, orange red?"
    assert confirmed(talk) == []


@pytest.mark.parametrize("word", ["yes", "no"])
def test_yes_and_no_are_closed_while_no_question_is_open(word: str) -> None:
    talk = Conversation()
    talk.typed(word)
    assert talk.facts[-2] == Missed("not now")


def test_ignored_speech_is_kept_and_not_answered() -> None:
    talk = Conversation()
    assert talk.heard("", "ignored") == ""
    assert talk.facts[-1] == Missed("ignored")


def test_a_number_of_one_word_is_no_entry() -> None:
    talk = Conversation(first=7)
    assert talk.heard("seven") == "Say pair before a number, or add the colours."
    assert confirmed(talk) == []


def test_on_hold_nothing_is_taken_until_carry_on() -> None:
    talk = Conversation()
    assert talk.heard("hold on") == "Holding. Say carry on."
    assert talk.heard("blue white") == ""
    assert talk.typed("blue white") == "On hold. Say carry on."
    assert confirmed(talk) == []
    assert talk.heard("carry on") == "Carrying on. Next one, blue white."
    talk.heard("blue white")
    assert confirmed(talk) == [1]


def test_finish_asks_while_pairs_are_left() -> None:
    talk = Conversation(cable=2)
    talk.heard("blue white")
    assert talk.heard("finish session") == "Not done: pair two. That is final. Finish all the same?"
    assert talk.heard("yes").startswith("Finished. Total not done: one. Total done: one.")
    assert SessionEnded(confirmed=1, faulty=0, left=1) in talk.facts
    assert talk.state.mode is Mode.ENDED


def test_finish_does_not_ask_when_all_is_done() -> None:
    talk = Conversation(cable=1)
    talk.heard("blue white")
    assert talk.heard("finish session") == (
        "Finished. Total not done: zero. Total done: one. A confirmation by voice or key is not an electrical test."
    )


def test_asking_answers_and_logs_no_pair() -> None:
    talk = Conversation(cable=100, asking=True)
    assert talk.heard("pair forty seven") == (
        "Pair four seven, orange violet, group two, binder orange white. Next four eight, green violet."
    )
    assert talk.heard("next pair").startswith("Pair four eight, green violet")
    assert talk.heard("previous pair").startswith("Pair four seven, orange violet")
    assert talk.heard("which group") == "Group two, binder orange white. Pairs two six through five zero."
    assert talk.heard("slate violet").startswith("Pair five zero")
    assert talk.heard("confirm") != ""
    assert confirmed(talk) == []


def test_colours_without_a_group_list_the_candidates() -> None:
    talk = Conversation(cable=100, asking=True)
    assert talk.heard("slate violet") == (
        "Slate violet may be pair two five, pair five zero, pair seven five or pair one zero zero. Say the group."
    )


def test_violet_slate_is_no_binder() -> None:
    talk = Conversation(cable=1200, asking=True)
    assert talk.heard("binder slate violet").startswith("Violet slate is no binder.")


def test_tip_first_is_a_setting_for_pairs_and_binders_each() -> None:
    talk = Conversation(cable=50, first=26, pair_order=Order.TIP_FIRST)
    assert talk.heard("blue white") == "Two six, white blue, confirmed. Next two seven, white orange."
    talk = Conversation(cable=50, asking=True, binder_order=Order.TIP_FIRST)
    assert "orange violet, group two, binder white orange" in talk.heard("pair forty seven")


def test_help_tells_only_what_is_open() -> None:
    talk = Conversation()
    assert "; yes;" not in talk.heard("help")
    talk.heard("blue white", "ask back")
    assert "yes; no" in talk.typed("help")


def test_the_word_confirmed_is_said_only_when_a_pair_was_confirmed() -> None:
    talk = Conversation(cable=50)
    for entry in (
        "orange white",
        "mark open",
        "skip pair",
        "undo that",
        "where am i",
        "how many left",
        "help",
        "pair 99",
    ):
        assert "confirmed" not in talk.typed(entry), entry
    assert "confirmed" in talk.typed("orange white")


def test_a_session_that_was_cut_off_before_it_was_said_whether_to_go_on_asks_again() -> None:
    talk = Conversation(cable=25, earlier=EARLIER)
    talk.put(resume())
    assert talk.state.mode is Mode.CHOOSING
    talk.typed("blue red")
    assert not talk.state.of(JointNumber(6)).confirmed, "nothing counts before the answer"
    assert talk.typed("yes").startswith("Check for voltage before you touch.")
    assert talk.typed("blue red").startswith("Six, blue red, confirmed.")


def test_a_choice_is_taken_only_after_the_question_was_told() -> None:
    """A yes that was said before the question, or to another one, begins nothing and loses nothing."""
    talk = Conversation(cable=25, earlier=EARLIER)
    for answer in ("yes", "no"):
        talk.put(Typed(answer, AnnouncementNumber(talk.state.announcement - 1)))
        assert talk.state.mode is Mode.CHOOSING
    talk.typed("no")
    talk.put(Typed("yes", AnnouncementNumber(talk.state.announcement - 1)))
    assert talk.state.mode is Mode.RENEWING
    talk.heard("yes", "ask back")
    assert talk.state.mode is Mode.RENEWING, "an unsure answer is asked for again"
