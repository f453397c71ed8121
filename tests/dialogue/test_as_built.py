"""What is built otherwise than planned: asked back once, followed, taken back, and never a pair in two joints."""

import io
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from assistant.account.account import account_of
from assistant.app.cli import main
from assistant.cable.splice_plan import ChangeError, JointNumber, Place, with_pair_replaced
from assistant.dialogue import messages as m
from assistant.dialogue.messages import PairState
from assistant.dialogue.modes import Mode
from assistant.dialogue.state import Standing
from assistant.handover.document import as_object
from assistant.handover.page import as_page
from assistant.handover.paper import as_pdf
from assistant.handover.summary import go_back
from assistant.handover.table import as_csv
from assistant.session.replay import rebuild
from tests.account.sessions import NINE, TWO_WAYS, Session
from tests.dialogue.conversation import Conversation, resume

SPARE = "use spare pair ninety nine instead of pair three"
ISSUED = datetime(2026, 1, 31, 12, tzinfo=UTC)


def talk(**more: object) -> Conversation:
    return Conversation(cable=100, first=1, last=50, **more)  # type: ignore[arg-type]


def two_ways(**more: object) -> Conversation:
    made = Conversation(0, 0, 0, plan_text=TWO_WAYS, short_checks=True, **more)  # type: ignore[arg-type]
    made.typed("yes")
    return made


def test_a_spare_is_asked_back_once_with_both_pairs_and_then_followed() -> None:
    made = talk()
    asked = made.typed(SPARE)
    assert asked == (
        "On both sides: use pair nine nine, brown violet, group four, binder brown white, "
        "instead of pair three, green white, group one, binder blue white?"
    )
    assert made.state.plan.at.get(Place(0, 99)) is None, "nothing is changed before yes"
    told = made.typed("yes")
    assert told.endswith("Group four, binder brown white. Next nine nine, brown violet.")
    assert "Not logged" in made.typed("3 green white")
    assert made.typed("99 brown violet").startswith("Nine nine, brown violet, confirmed.")
    assert made.state.of(JointNumber(99)).confirmed is m.Check.NUMBER_AND_COLOURS
    assert made.state.of(JointNumber(3)).confirmed is None


def test_no_leaves_all_as_it_was() -> None:
    made = talk()
    before = made.state.plan
    made.typed(SPARE)
    made.typed("no")
    assert made.state.plan is before
    assert made.state.expected == 1


def test_a_yes_from_before_the_question_builds_nothing() -> None:
    made = talk()
    made.typed("1 blue white")
    early = made.state.announcement
    made.typed(SPARE)
    made.put(m.Typed("yes", early))
    assert made.state.mode is Mode.BUILDING


def test_what_is_heard_unsurely_is_asked_back_once_too() -> None:
    made = talk()
    assert made.heard(SPARE, "ask back").startswith("On both sides: use pair nine nine")
    made.heard("yes")
    assert made.state.expected == 99


def test_the_bad_pair_keeps_its_fault_and_the_spare_has_none() -> None:
    made = talk()
    for words in ("mark open pair 3", SPARE, "yes"):
        made.typed(words)
    bad = made.state.plan.by_number[JointNumber(3)]
    assert made.state.standing(bad) is Standing.DEAD
    assert [fault.value for fault in made.state.of(JointNumber(3)).faults] == ["open"]
    assert made.state.of(JointNumber(99)).faults == ()
    assert "pair three, open" in made.typed("which faults")


@pytest.mark.parametrize(
    "words",
    [
        "use spare pair 99 instead of pair 4",  # used already
        "use spare pair 7 instead of pair 4",  # in a joint of its own
        "use spare pair 3 instead of pair 4",  # the bad one itself
        "use spare pair 4 instead of pair 4",
        "use spare pair 101 instead of pair 4",  # not there
        "use spare pair 98 instead of pair 3",  # replaced already
        "use spare pair 98 instead of pair 60",  # in no joint
        "use spare pair 98 instead of pair 1",  # done
        "use spare pair 98 instead of pair 4 cable two",  # no such cable
        "add a joint pair 99",
        "add a joint pair 1",
        "add a joint pair 3",
        "add a joint pair 60 cable one with pair 61 cable one",
    ],
)
def test_no_other_road_leads_to_a_pair_in_two_joints(words: str) -> None:
    made = talk()
    for entry in ("1 blue white", SPARE, "yes"):
        made.typed(entry)
    plan = made.state.plan
    made.typed(words)
    assert made.state.question is None
    assert made.state.plan is plan


def test_undo_takes_the_spare_back_with_all_that_came_after_it_taken_back_first() -> None:
    made = talk()
    before = made.state.plan
    for entry in (SPARE, "yes", "99 brown violet", "undo that", "undo that"):
        answer = made.typed(entry)
    assert "Undone: spare used instead of three, green white." in answer
    assert made.state.plan is before
    assert made.state.expected == 1
    made.typed(SPARE)
    assert made.state.mode is Mode.BUILDING, "it can be used again"


def test_a_joint_cannot_be_changed_that_is_made_but_after_it_was_opened_again() -> None:
    made = talk()
    made.typed("1 blue white")
    assert made.typed("use spare pair 99 instead of pair 1") == (
        "Not logged. Say redo first, it is done: one, blue white. Next two, orange white."
    )
    made.typed("redo pair 1")
    made.typed("use spare pair 99 instead of pair 1")
    assert made.state.mode is Mode.BUILDING


def test_with_two_cables_the_cable_must_be_said() -> None:
    made = two_ways()
    answer = made.typed("use spare pair 23 instead of pair 3")
    assert "Not logged. Say the cable of each pair too: cable one is west and cable two is east." in answer
    assert made.typed("use spare pair 23 instead of pair 3 cable one").startswith(
        "On cable west: use elm, pair two three, green violet, instead of elm, pair three, green white?"
    )
    made.typed("yes")
    joint = made.state.expected_joint
    assert joint is not None
    assert joint.places == (Place(0, 23), Place(1, 3))
    made.typed("23 green violet")
    assert made.state.of(joint.number).confirmed is m.Check.NUMBER_AND_COLOURS


def test_on_the_far_cable_the_called_pair_stays_and_its_mate_is_another() -> None:
    made = two_ways()
    made.typed("use spare pair 125 instead of pair 103 cable two")
    answer = made.typed("yes")
    assert answer.endswith("Next three, green white; to east, ash, group one, pair one two five, slate violet.")
    joint = made.state.expected_joint
    assert joint is not None
    assert joint.places == (Place(0, 3), Place(1, 25))


def test_a_pair_found_working_is_no_spare_any_more() -> None:
    made = two_ways()
    made.typed("put off found working pair 23")
    made.typed("yes")
    made.typed("use spare pair 23 instead of pair 3 cable one")
    assert made.state.question is None
    made.typed("undo that")
    made.typed("use spare pair 23 instead of pair 3 cable one")
    assert made.state.mode is Mode.BUILDING


def test_what_is_put_off_does_not_come_back_by_itself_and_is_told_at_the_end() -> None:
    made = Conversation(cable=3, first=1, last=3)
    assert made.typed("put off defective after drying pair 1") == "Leave one, blue white, defective after drying?"
    made.typed("yes")
    made.typed("2 orange white")
    assert "No pair waits." in made.typed("3 green white")
    assert "Put off: pair one." in made.typed("finish")
    made.typed("no")
    made.typed("go to pair 1")
    made.typed("1 blue white")
    assert made.state.tally().confirmed == 3


def test_what_is_reversed_on_purpose_is_no_fault_and_is_put_right_only_after_a_question() -> None:
    """7 CFR 1755.403(d)(6)(v): such a pair is tagged and left."""
    made = talk()
    for words in ("1 blue white", "mark reversed pair 1"):
        made.typed(words)
    assert made.typed("tag reversal pair 1") == "Reversed on purpose, and tagged: one, blue white?"
    made.typed("yes")
    assert made.state.of(JointNumber(1)) == PairState(confirmed=m.Check.NUMBER_AND_COLOURS, reversed_on_purpose=True)
    assert made.typed("mark reversed pair 1").startswith("Not logged.")
    assert "that is to stay so" in made.typed("clear reversed pair 1")
    made.typed("no")
    assert made.state.of(JointNumber(1)).reversed_on_purpose
    made.typed("redo pair 1")
    assert made.state.of(JointNumber(1)).reversed_on_purpose
    made.typed("clear reversed pair 1")
    made.typed("yes")
    assert not made.state.of(JointNumber(1)).reversed_on_purpose


def test_an_added_joint_comes_next_and_is_followed() -> None:
    made = two_ways()
    made.typed("add a joint pair 23 cable one with pair 123 cable two")
    made.typed("yes")
    assert "confirmed" in made.typed("23 green violet")
    assert made.state.tally().total == 25
    assert made.state.tally().spare == 2


def test_in_any_order_the_spare_is_called_and_the_bad_pair_is_not() -> None:
    made = talk(any_order=True)
    made.typed(SPARE)
    made.typed("yes")
    assert "Not logged" in made.typed("pair 3 green white")
    assert "confirmed" in made.typed("pair 99 brown violet")


def test_the_spare_is_tested_and_the_bad_pair_is_not() -> None:
    made = talk()
    for words in (SPARE, "yes", "99 brown violet"):
        made.typed(words)
    assert "Group four, continuity: nine nine, brown violet." in made.typed("start verification")


def test_a_resumed_session_goes_on_with_the_spare() -> None:
    made = talk()
    made.typed(SPARE)
    made.typed("yes")
    made.put(resume())
    assert made.state.expected == 99


def test_a_forged_fact_that_joins_a_pair_twice_is_refused() -> None:
    made = talk()
    with pytest.raises(ChangeError):
        with_pair_replaced(made.state.plan, Place(0, 3), Place(0, 4), JointNumber(4))


# --- the account ------------------------------------------------------------------------------------


def built() -> Session:
    words = ("yes", "mark open pair 3", "use spare pair 123 for pair 103 cable two", "yes", "3 green white")
    more = ("put off found dead pair 5", "yes", "add a joint pair 25 cable one with pair 125 cable two", "yes")
    return Session(TWO_WAYS, place="pole 7").typed(*words, *more)


def test_every_form_tells_what_was_built_otherwise() -> None:
    account = account_of([built().log()])
    found = as_object(account, issued=ISSUED)
    kinds = [(one["kind"], one["pairs"]) for one in found["as_built"]]  # type: ignore[index, union-attr]
    assert kinds == [
        ("spare used", ["east ash 103 green white", "east ash 123 green violet"]),
        ("put off", ["west elm 5 slate white"]),
        ("joint added", ["west elm 25 slate violet", "east ash 125 slate violet"]),
    ]
    paper = PdfReader(io.BytesIO(as_pdf(account, issued=ISSUED)))
    printed = " ".join(" ".join(page.extract_text() for page in paper.pages).split())
    for text in (as_page(account, issued=ISSUED), as_csv(account), printed):
        assert "east ash 123 green violet is used in place of east ash 103 green white" in text
        assert "put off: found dead" in text
        assert "not in the plan: west elm 25 slate violet = east ash 125 slate violet" in text


def test_what_to_go_back_for_names_the_reason_that_a_pair_was_put_off_for() -> None:
    (skipped,) = [one for one in go_back(account_of([built().log()])) if one.title == "skipped"]
    assert [(one.what, [run.text for run in one.runs]) for one in skipped.errands] == [
        ("put off: found dead", ["west elm 5"])
    ]


def test_replay_tells_what_was_asked_and_answered(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = built().write(tmp_path / "a.jsonl")
    assert main(["replay", str(log)]) == 0
    told = capsys.readouterr().out
    assert "use ash, pair one two three, green violet, instead of ash, pair one zero three, green white?" in told
    assert main(["replay", str(log), "--only", "corrections"]) == 0
    assert "Ash, pair one zero three, green white is replaced." in capsys.readouterr().out


def test_the_fault_stays_with_the_far_pair_that_is_left() -> None:
    account = account_of([built().log()])
    rows = {str(row.sides[0]): row for row in account.rows}
    bad, good = rows["east ash 103 green white"], rows["west elm 3 green white"]
    assert (bad.standing, [fault.value for fault in bad.known.faults]) == (Standing.DEAD, ["open"])
    assert (good.standing, good.known.faults) == (Standing.CONFIRMED, ())


def test_what_one_log_built_otherwise_stands_in_the_account_of_both() -> None:
    later = Session(TWO_WAYS, place="pole 7", at=NINE.replace(hour=12)).typed("yes", "1 blue white")
    account = account_of([built().log("a.jsonl"), later.log("b.jsonl")])
    rows = {str(row.sides[0]): row for row in account.rows}
    assert [str(one) for one in rows["west elm 3 green white"].sides][1] == "east ash 123 green violet"
    assert account.contradictions == ()


def test_a_spare_that_two_logs_use_otherwise_is_told() -> None:
    later = Session(TWO_WAYS, place="pole 7", at=NINE.replace(hour=12))
    later.typed("yes", "use spare pair 123 for pair 104 cable two", "yes", "go to pair 4", "4 brown white")
    account = account_of([built().log("a.jsonl"), later.log("b.jsonl")])
    assert any("does not go together with what b.jsonl has" in line for line in account.notices)
    assert any("other mates than the newest plan has" in one.what for one in account.contradictions)


# --- random sessions --------------------------------------------------------------------------------

WORDS = (
    *(
        "1 blue white",
        "2 orange white",
        "confirm that",
        "mark wet",
        "skip pair",
        "undo that",
        "undo that",
        "7 orange red",
    ),
    *("use spare pair 23 for pair 2 cable one", "use spare pair 24 for pair 2 cable one", "yes", "yes", "yes", "no"),
    *("use spare pair 122 for pair 101 cable two", "use spare pair 123 for pair 102 cable two", "23 green violet"),
    *(
        "use spare pair 12 for pair 3",
        "use spare pair 11 for pair 12",
        "use spare pair 3 for pair 4",
        "12 orange black",
    ),
    *("add a joint pair 12", "add a joint pair 25 cable one with pair 125 cable two", "25 slate violet", "redo pair 2"),
    *("put off found dead pair 2", "put off found working pair 23", "put off no access pair 4", "go to pair 4"),
    *("mark open pair 2", "clear open pair 2", "start verification", "test good", "end verification", "call them out"),
    *("mark reversed pair 2", "tag reversal pair 2", "clear reversed pair 2", "yes"),
)


def plain_count(session: Session) -> Counter[str]:
    """Count how joints stand by a list of entries of its own, with what was taken back taken off its end."""
    entries = _standing(session)
    begun = rebuild(session.records[:1]).plan
    kinds = {joint.number: joint.kind.value if not joint.kind.joined else "join" for joint in begun.joints}
    joined, faults, later = set(), Counter[tuple[int, str]](), set()
    for fact in entries:
        match fact:
            case m.PairReplaced(pair=pair, number=number):
                kinds |= {pair: "dead", number: "join"}
                joined.discard(number)
                later.discard(number)
            case m.JointAdded(pair=pair):
                kinds[pair] = "join"
                later.discard(pair)
            case m.PairConfirmed(pair=pair):
                joined.add(pair)
                later.discard(pair)
            case m.Reopened(pair=pair):
                joined.discard(pair)
            case m.FaultMarked(pair=pair, fault=fault_of):
                faults[pair, fault_of.value] = 1
            case m.ReversalTagged(pair=pair, tagged=True):
                faults.pop((pair, "reversal"), None)
            case m.FaultCleared(pair=pair, fault=fault_of):
                del faults[pair, fault_of.value]
    faulty = {pair for pair, _ in faults}
    count: Counter[str] = Counter()
    for number, kind in kinds.items():
        if kind != "join":
            count[kind] += 1
        elif number in faulty:
            count["joined_faulty" if number in joined else "faulty"] += 1
        else:
            count["confirmed" if number in joined else "waiting"] += 1
    taken = {
        place
        for fact in entries
        if isinstance(fact, m.PairReplaced | m.JointAdded)
        for place in ([fact.new] if isinstance(fact, m.PairReplaced) else fact.places)
    }
    count["spare"] = sum(j.kind.value == "spare" and j.lead not in taken for j in begun.joints)
    return +count


@given(st.lists(st.sampled_from(WORDS), max_size=60), st.sampled_from(("plan", "sequence", "any order")))
def test_fold_account_and_plain_count_agree_and_no_pair_is_in_two_joints(words: list[str], kind: str) -> None:
    planned = kind == "plan"
    more: dict[str, object] = {} if planned else {"last": 10, "any_order": kind == "any order"}
    session = Session(TWO_WAYS if planned else "", cable=12, **more)
    if planned:
        session.typed("yes")
    for said in words:
        session.typed(said)
        places = [place for joint in session.state.plan.joints for place in joint.places]
        assert len(places) == len(set(places)), said
        assert session.state.tally().total == len(session.state.plan.joints)
    tally, plain = session.state.tally(), plain_count(session)
    assert (tally.confirmed, tally.joined_faulty, tally.faulty) == tuple(
        plain[name] for name in ("confirmed", "joined_faulty", "faulty")
    )
    assert (tally.dead, tally.spare, tally.open + tally.skipped) == (plain["dead"], plain["spare"], plain["waiting"])
    again = rebuild(session.records)
    assert (again.plan, again.pairs, again.expected) == (
        session.state.plan,
        session.state.pairs,
        session.state.expected,
    )
    account = account_of([session.log()])
    assert account.tally == Counter(again.standing(joint) for joint in again.plan.joints)
    built_otherwise = [fact for fact in _standing(session) if isinstance(fact, get_args(m.AsBuiltFact))]
    assert [one.fact for one in account.as_built] == built_otherwise


def _standing(session: Session) -> list[m.Fact]:
    entries: list[m.Fact] = []
    for record in session.records:
        for fact in record.facts:
            if isinstance(fact, m.Undone):
                entries.pop()
            elif isinstance(fact, get_args(m.EntryFact)):
                entries.append(fact)
    return entries
