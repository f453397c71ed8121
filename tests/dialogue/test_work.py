"""More than straight sequences: plans, checks, faults, calling out, testing, notes, a partner at the far end."""

import re
from pathlib import Path

import pytest

from assistant.cable.colour_code import Order
from assistant.cable.splice_plan import JointNumber, Site
from assistant.dialogue.checks import CHECKS, checks_for
from assistant.dialogue.messages import (
    Channel,
    Check,
    CheckAnswered,
    FaultCleared,
    FaultMarked,
    NoteKept,
    NoteRecorded,
    PairConfirmed,
    PairTest,
    PairTested,
    ReadingLogged,
    RecordNote,
    StartTimer,
    TimedOut,
    Typed,
)
from assistant.dialogue.modes import Mode
from assistant.dialogue.rules.calling_out import QUICKEST_S, SLOWEST_S
from assistant.dialogue.state import Standing
from assistant.words.intents import Fault, Unit
from tests.dialogue.conversation import Conversation, resume, said, utterance

PLANS = Path(__file__).parents[2] / "demo_sessions" / "plans"


class Follows(Conversation):
    """A conversation that follows a plan, its checks answered."""

    def __init__(self, name: str = "", text: str = "", **more: object) -> None:
        self.text = text or (PLANS / f"{name}.toml").read_text()
        super().__init__(0, 0, 0, plan_text=self.text, **more)


def confirmed(talk: Conversation) -> list[int]:
    return [fact.pair for fact in talk.facts if isinstance(fact, PairConfirmed)]


SMALL = """
title = "Test"
[[end]]
name = "west"
pairs = 100
count = "oak 101-200"
[[end]]
name = "east"
pairs = 100
count = "elm 11-110"
[[join]]
kind = "straight"
from = "west oak 101-103"
to = "east elm 11-13"
[[join]]
kind = "dead"
from = "west oak 104-110"
reason = "cut off"
[[join]]
kind = "spare"
from = "west oak 111"
[[join]]
kind = "transfer"
from = "west oak 112-114"
to = "east elm 36,38,37"
[[protect]]
pairs = "west oak 103"
reason = "alarm circuit"
"""


def test_both_ends_are_said_where_they_are_called_otherwise() -> None:
    talk = Follows(text=SMALL)
    assert said(talk.put(resume())).endswith(
        "Cable west. Group one, binder blue white. "
        "Next one zero one, blue white; to east, elm, group one, binder blue white, pair eleven, blue white."
    )
    assert talk.typed("blue white").endswith("Next one zero two, orange white.")


def test_dead_and_spare_pairs_are_told_of_when_they_are_passed() -> None:
    talk = Follows(text=SMALL)
    for call in ("blue white", "orange white"):
        talk.typed(call)
    talk.typed("green white")
    answer = talk.typed("yes")
    assert "Leave pairs one zero four through one one zero, dead, cut off. Leave pair one one one, spare." in answer
    assert answer.endswith(
        "Next one one two, orange black; to east, elm, group two, binder orange white, pair three six, blue white."
    )
    assert confirmed(talk) == [1, 2, 3]


def test_colours_follow_the_position_and_names_follow_the_count() -> None:
    """Main 76 is the first pair of the sheath: blue white, though 76 would be blue white by chance; 77 orange."""
    talk = Follows("main-900-branch")
    assert "Next seven six, blue white." in talk.state.last_said
    talk.typed("go to pair 351")
    assert "three five one, blue white" in talk.state.last_said
    assert "to branch, main, group one, binder blue white, pair three five one, blue white" in talk.state.last_said


def test_count_numbers_off_the_boundary_carry_the_colours_of_their_position() -> None:
    """Numbers 110 to 112 are positions 1 to 3; by its last two digits 110 would be slate red."""
    text = SMALL.replace("oak 101-200", "oak 110-209").replace("oak 101-103", "oak 110-112")
    text = (
        text.replace("oak 104-110", "oak 113-119").replace("oak 111", "oak 120").replace("oak 112-114", "oak 121-123")
    )
    talk = Follows(text=text.replace("oak 120", "oak 120", 1).replace("oak 103", "oak 112"))
    assert "Next one one zero, blue white" in talk.state.last_said


def test_a_protected_pair_is_told_of_before_and_asked_back() -> None:
    talk = Follows(text=SMALL)
    talk.typed("blue white")
    assert "Protected, alarm circuit. Next one zero three, green white." in talk.typed("orange white")
    assert (
        talk.typed("103 green white") == "One zero three, green white is protected, alarm circuit. Joined all the same?"
    )
    assert confirmed(talk) == [1, 2]
    talk.typed("no")
    assert confirmed(talk) == [1, 2]
    talk.typed("green white")
    talk.typed("yes")
    fact = [f for f in talk.facts if isinstance(f, PairConfirmed)][-1]
    assert (fact.pair, fact.how, fact.protected) == (3, Check.COLOURS, "alarm circuit")


def test_units_and_multi_units_are_announced_only_where_the_core_has_them() -> None:
    talk = Follows("aerial-50-straight")
    for _ in checks_for(Site.AERIAL):
        talk.typed("yes")
    talk.typed("go to pair 8")
    assert talk.typed("green red") == "Eight, green red, confirmed. Unit two. Next nine, brown red."
    main = Follows("main-900-branch")
    main.typed("go to pair 125")
    assert main.typed("slate violet").endswith(
        "Multi unit two, binder white, group three, binder green white. Next one two six, blue white."
    )
    plain = Conversation(cable=50, first=8)
    assert plain.typed("green red") == "Eight, green red, confirmed. Next nine, brown red."


def test_300_pair_super_units_are_not_given_colours() -> None:
    text = SMALL.replace('pairs = 100\ncount = "oak 101-200"', "pairs = 900\nsuper_unit = 300").replace("oak", "pairs")
    text = text.replace("pairs 101-103", "pairs 301-303").replace("pairs 103", "pairs 303")
    talk = Follows(text=text)
    assert "Super unit two, group one. Next three zero one, blue white" in talk.state.last_said


def test_service_pairs_are_called_by_number_or_by_their_two_tip_colours() -> None:
    talk = Follows("transfer-screened")
    talk.typed("go to service 1")
    talk.typed("service white red")
    talk.typed("yes")
    assert talk.typed("service 2").startswith(
        "Service pair two, white black, confirmed. Next service pair three, white yellow"
    )
    assert talk.typed("white yellow").startswith("Service pair three, white yellow, confirmed.")


def test_a_jump_to_a_cable_a_group_and_a_number_of_another_count() -> None:
    talk = Follows("transfer-screened")
    assert "Cable new. Group three" in talk.typed("go to cable 3")
    assert "Cable old. Group one" in talk.typed("go to pair 9")
    assert "Next two six, blue white" in talk.typed("go to group 2")
    assert talk.typed("go to cable 7").startswith(
        "The plan has cables one through three. Next two six, blue white; to "
    )


# --- checks ---


def test_the_checks_of_a_place_come_before_the_first_pair_and_none_can_be_skipped() -> None:
    talk = Follows("aerial-50-straight", site=Site.AERIAL)
    assert talk.state.mode is Mode.CHECKING
    talk.typed("blue white")
    talk.typed("carry on")
    assert confirmed(talk) == []
    for check in checks_for(Site.AERIAL):
        assert check.asks in talk.state.last_said
        talk.typed("yes")
    answered = [f for f in talk.facts if isinstance(f, CheckAnswered)]
    assert [f.check for f in answered] == [check.name for check in checks_for(Site.AERIAL)]
    assert all(f.done for f in answered)
    assert "Next one, blue white." in talk.state.last_said
    talk.typed("blue white")
    assert confirmed(talk) == [1]


def test_no_leaves_a_check_open() -> None:
    talk = Conversation(cable=25, site=Site.MANHOLE)
    assert talk.typed("no").startswith("Do that first. Your site rules come first.")
    assert talk.typed("blue white") != ""
    assert confirmed(talk) == []
    first = checks_for(Site.MANHOLE)[0].name
    assert [(f.check, f.done) for f in talk.facts if isinstance(f, CheckAnswered)] == [(first, False)]


def test_short_checks_are_one_question_that_names_each() -> None:
    talk = Conversation(cable=25, site=Site.MANHOLE, short_checks=True)
    assert all(check.name in talk.state.last_said for check in checks_for(Site.MANHOLE))
    assert "Next one, blue white." in talk.typed("yes")


def test_resuming_asks_for_voltage_again() -> None:
    talk = Conversation(cable=25, site=Site.CABINET, short_checks=True)
    talk.typed("yes")
    talk.typed("blue white")
    answer = said(talk.put(resume()))
    assert answer.endswith("Are shield and pairs checked for voltage with a known good detector?")
    assert "Next two, orange white" in talk.typed("yes")


def test_every_check_names_what_it_rests_on_and_every_place_has_voltage() -> None:
    assert all(check.rests_on for check in CHECKS)
    assert all("voltage" in {check.name for check in checks_for(site)} for site in Site)
    assert "atmosphere" in {check.name for check in checks_for(Site.MANHOLE)}


@pytest.mark.parametrize("asks", [check.asks for check in CHECKS])
def test_no_check_asks_whether_something_is_not_so(asks: str) -> None:
    """ "Yes" to "is there no thunder?" may mean either (common practice of questionnaires, no source)."""
    assert not re.match(r"(is|are) (there )?(no|not)\b", asks.lower())


# --- faults ---


def test_a_split_names_two_pairs_and_where_it_is_mended() -> None:
    """Reflectometer application note on split pairs: mended elsewhere it leaves two faults."""
    talk = Conversation(cable=25)
    answer = talk.typed("mark split pair six and pair nine")
    assert "marked split with nine, brown red" in answer
    assert "mended at the splice where it was made" in answer
    assert talk.facts[-3:-1] == [
        FaultMarked(pair=6, fault=Fault.SPLIT, by=Channel.TYPED, other=9),
        FaultMarked(pair=9, fault=Fault.SPLIT, by=Channel.TYPED, other=6, same_entry=True),
    ]


def test_neither_pair_of_a_split_counts_as_good_and_both_are_taken_back_together() -> None:
    """A conductor of each is in the other (definition of a split pair)."""
    talk = Conversation(cable=25, last=2)
    talk.typed("blue white")
    talk.typed("orange white")
    talk.typed("mark split pair one and pair two")
    assert talk.state.with_standing(Standing.JOINED_FAULTY) == (1, 2)
    assert talk.typed("which faults") == "Marked, total pairs two: pair one, split; pair two, split."
    assert talk.typed("undo that").startswith("Undone: fault of one, blue white and two, orange white.")
    assert talk.state.with_standing(Standing.CONFIRMED) == (1, 2)


def test_faults_are_listed_and_cleared() -> None:
    talk = Conversation(cable=25)
    talk.typed("mark open")
    talk.typed("mark wet pair 9")
    assert talk.typed("which faults") == "Marked, total pairs two: pair one, open; pair nine, wet."
    assert talk.typed("clear short pair 9") == "Nine, brown red is not marked short. Next two, orange white."
    assert talk.typed("clear wet pair 9") == "Nine, brown red, wet cleared. Next nine, brown red."
    assert FaultCleared(pair=9, fault=Fault.WET, by=Channel.TYPED) in talk.facts
    assert talk.typed("which faults") == "Marked, total pairs one: pair one, open."


def test_a_reopened_pair_waits_again() -> None:
    talk = Conversation(cable=3)
    for call in ("blue white", "orange white", "green white"):
        talk.typed(call)
    assert talk.typed("redo pair 2") == "Two, orange white, opened again. Next two, orange white."
    assert talk.state.left() == (2,)
    assert "confirmed" in talk.typed("orange white")


# --- calling out ---


def test_pairs_of_a_module_are_called_out_and_confirmed_together() -> None:
    talk = Conversation(cable=50, first=1, last=30)
    step = talk.put(Typed("call them out", talk.state.announcement))
    assert [e for e in step.effects if isinstance(e, StartTimer)] == [StartTimer(3.0, 1)]
    for turn in range(1, 26):
        step = talk.put(TimedOut(turn))
        timers = [e for e in step.effects if isinstance(e, StartTimer)]
        assert timers == ([StartTimer(3.0, turn + 1)] if turn < 25 else [])
    assert talk.state.last_said == "All called. Say confirm module, or call single pairs."
    assert confirmed(talk) == []
    answer = talk.typed("confirm module")
    assert answer.startswith("Total pairs: two five, from one, blue white through two five, slate violet, confirmed.")
    assert confirmed(talk) == list(range(1, 26))
    assert {f.how for f in talk.facts if isinstance(f, PairConfirmed)} == {Check.MODULE}
    assert talk.state.expected == 26


def test_holding_stops_the_calls_and_carrying_on_goes_on_where_they_stopped() -> None:
    talk = Conversation(cable=25)
    talk.typed("call them out")
    talk.put(TimedOut(1))
    talk.typed("hold on")
    assert talk.put(TimedOut(2)).facts == ()
    step = talk.put(Typed("carry on", talk.state.announcement))
    assert [e for e in step.effects if isinstance(e, StartTimer)] == [StartTimer(3.0, 2)]


def test_the_pace_can_be_changed() -> None:
    talk = Conversation(cable=25)
    assert talk.typed("faster") == "Not now. Expected one, blue white."
    talk.typed("call them out")
    assert talk.typed("faster") == "One every two point four seconds, or as long as a call takes."
    assert talk.typed("slower") == "One every three seconds, or as long as a call takes."
    told = [talk.typed("faster") for _ in range(5)]
    assert "One every one second, or as long as a call takes." in told


def test_a_pair_is_called_out_once_though_two_timers_run_for_it() -> None:
    """Changing the pace starts a new timer beside the one that runs."""
    talk = Conversation(cable=25)
    talk.typed("call them out")
    talk.put(TimedOut(1))
    talk.typed("faster")
    assert talk.put(TimedOut(2)).facts
    assert talk.put(TimedOut(2)).facts == ()
    assert talk.state.called_out == (1, 2)


def test_protected_pairs_are_not_confirmed_with_their_module() -> None:
    talk = Follows(text=SMALL)
    left_out = "Not among them, protected: pair one zero three."
    assert left_out in talk.typed("call them out")
    for turn in (1, 2):
        talk.put(TimedOut(turn))
    assert left_out in talk.typed("confirm module")
    assert confirmed(talk) == [1, 2]
    assert talk.state.expected == 3


# --- verification ---


def test_every_joined_pair_is_tested_grounds_before_shorts() -> None:
    """US Army subcourse SS0438A: test for grounds before shorts, since a ground can mislead."""
    talk = Conversation(cable=2)
    talk.typed("blue white")
    talk.typed("orange white")
    assert talk.typed("start verification").endswith("Continuity: one, blue white.")
    answers = [talk.typed("test good") for _ in range(6)]
    assert answers[1] == "Two, orange white, continuity good. Grounds: one, blue white."
    assert answers[3] == "Two, orange white, grounds good. Shorts: one, blue white."
    assert answers[5].endswith(
        "Verification. Pairs tested for continuity, grounds, shorts, total two. Pairs failed, total zero."
    )
    results = [f for f in talk.facts if isinstance(f, PairTested)]
    assert [(f.pair, f.test) for f in results] == [(pair, test) for test in PairTest for pair in (1, 2)]


def test_a_failed_test_marks_the_fault_and_undo_takes_both_back() -> None:
    talk = Conversation(cable=2)
    talk.typed("blue white")
    talk.typed("orange white")
    talk.typed("start verification")
    before = talk.state
    assert talk.typed("mark open") == "One, blue white, continuity failed, marked open. Continuity: two, orange white."
    assert talk.typed("which faults") == "Marked, total pairs one: pair one, open."
    talk.typed("undo that")
    assert (talk.state.pairs, talk.state.verifying) == (before.pairs, before.verifying)


def test_a_reading_is_a_measurement_with_its_unit_and_no_test() -> None:
    """7 CFR 1755.401 keeps a measurement (a number) apart from a test (a check mark)."""
    talk = Conversation(cable=2)
    talk.typed("blue white")
    talk.typed("start verification")
    assert talk.typed("reading five hundred mega ohms") == "One, blue white, reading five zero zero megohms."
    assert talk.facts[-2] == ReadingLogged(pair=1, number=500, unit=Unit.MEGOHM, by=Channel.TYPED)
    assert not [f for f in talk.facts if isinstance(f, PairTested)]


# --- notes and the far end ---


def test_a_typed_note_is_tied_to_the_pair_in_turn() -> None:
    talk = Conversation(cable=25, first=7)
    assert talk.typed("Note: sheath is nicked") != ""
    assert talk.typed("note sheath is nicked at the north side") == "Note kept."
    assert talk.facts[-2] == NoteKept(pair=7, text="sheath is nicked at the north side", file="", sha256="")


def test_a_spoken_note_is_recorded_and_tied_to_its_place() -> None:
    talk = Conversation(cable=25, first=7, microphone="headset")
    step = talk.put(utterance("record a note", after=talk.state.announcement))
    assert RecordNote() in step.effects
    talk.put(NoteRecorded(file="note-1.flac", seconds=4.2, sha256="ab"))
    assert talk.facts[-2] == NoteKept(pair=7, text="", file="note-1.flac", sha256="ab")
    assert said(talk.put(NoteRecorded(file="", seconds=0, sha256=""))) == "The note could not be recorded."


def test_a_partner_calls_in_any_order() -> None:
    talk = Conversation(cable=30, any_order=True)
    assert talk.typed("pair 27") == "Two seven, orange white, confirmed. Total not done: two nine."
    assert talk.typed("blue white").startswith("Not logged. Blue white may be pair one or pair two six. Say the group.")
    assert talk.typed("group two blue white") == "Two six, blue white, confirmed. Total not done: two eight."
    assert talk.typed("group one slate violet").startswith("Two five, slate violet, confirmed.")
    assert talk.typed("pair 25").startswith("Not logged. Heard two five, slate violet, already done.")
    assert talk.typed("how many left") == (
        "Not done: pair one, pair two, pair three, pair four and more, total two seven."
    )
    assert confirmed(talk) == [27, 26, 25]


@pytest.mark.parametrize("order", Order)
def test_an_end_may_set_its_own_naming_order(order: Order) -> None:
    text = SMALL.replace('name = "west"', f'name = "west"\nnaming = "{order.value}"')
    talk = Follows(text=text)
    wanted = "blue white" if order is Order.RING_FIRST else "white blue"
    assert f"Next one zero one, {wanted}" in talk.state.last_said


def test_a_session_without_a_plan_follows_a_straight_sequence() -> None:
    talk = Conversation(cable=25, first=3, last=4)
    assert talk.state.plan.to_join == (3, 4)


@pytest.mark.parametrize(("word", "bound"), [("faster", QUICKEST_S), ("slower", SLOWEST_S)])
def test_the_pace_has_bounds(word: str, bound: float) -> None:
    talk = Conversation(cable=25)
    talk.typed("call them out")
    for _ in range(30):
        talk.typed(word)
    assert talk.state.pace_s == bound
    assert (QUICKEST_S, SLOWEST_S) == (0.5, 20.0)  # common practice, no source: what a hand can follow, and not forget


def test_without_a_microphone_no_note_is_recorded_and_it_is_said() -> None:
    talk = Conversation(cable=25)
    assert talk.typed("record a note").startswith("Nothing can be recorded")


@pytest.mark.parametrize("entry", ["reading five volts", "note the lid is cracked"])
def test_undo_behind_a_note_or_a_reading_does_not_take_the_entry_before_it_unasked(entry: str) -> None:
    talk = Conversation(cable=25)
    for one in ("blue white", entry):
        talk.typed(one)
    assert talk.typed("undo that").startswith("A note or a reading stays in the log.")
    assert confirmed(talk) == [1]
    assert talk.state.of(JointNumber(1)).confirmed is not None
    assert talk.typed("undo that").startswith("Undone: one, blue white.")


SITES_OF = {
    "traffic": {Site.MANHOLE, Site.BURIED, Site.CABINET},
    "atmosphere": {Site.MANHOLE},
    "attendant": {Site.MANHOLE},
    "power": {Site.AERIAL, Site.BURIED},
    "lightning": {Site.AERIAL, Site.BURIED, Site.CABINET},
    "voltage": set(Site),
    "bonding": set(Site),
    "sharp edges": set(Site),
}
"""Sources stand beside each check; that one is asked at every place where it applies is a decision, not a slip."""


def test_each_check_is_asked_at_the_places_that_it_is_for() -> None:
    assert {check.name: set(check.sites) for check in CHECKS} == SITES_OF


def test_taking_back_an_entry_of_before_a_break_says_so_and_whose_it_was() -> None:
    made = Conversation(person="lee")
    made.typed("1 blue white")
    assert made.typed("undo that").startswith("Undone: one, blue white.")
    made.typed("1 blue white")
    made.put(resume(person="kim"))
    made.typed("2 orange white")
    assert made.typed("undo that").startswith("Undone: two, orange white.")
    assert made.typed("undo that").startswith("Undone, of before the break by lee: one, blue white.")
