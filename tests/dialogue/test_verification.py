"""Verification at working speed: by groups, in one run of all tests, with bare failures, and readings as numbers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.account.account import account_of
from assistant.cable.splice_plan import JointNumber
from assistant.dialogue import messages as m
from assistant.dialogue.messages import PairTest, ReadingLogged
from assistant.words.intents import Measured, Unit
from assistant.words.parser import NoMatch, Understood, parse, parse_keys
from assistant.words.vocabulary import Scope
from tests.account.sessions import Session
from tests.dialogue.conversation import Conversation, resume
from tests.words.test_vocabulary import ALL

RING = ("blue", "orange", "green", "brown", "slate")
TIP = ("white", "red", "black", "yellow", "violet")


def colours(pair: int) -> str:
    """By the code of 7 CFR 1755.890: 5 ring by 5 tip colours."""
    return f"{RING[(pair - 1) % 5]} {TIP[(pair - 1) // 5 % 5]}"


def joined(*pairs: int, size: int = 50) -> Conversation:
    made = Conversation(cable=size, any_order=True)
    for pair in pairs:
        made.typed(f"pair {pair} {colours(pair)}")
    return made


def results(made: Conversation, pair: int) -> dict[PairTest, bool]:
    return dict(made.state.of(JointNumber(pair)).tests)


def test_a_group_passes_at_once_and_what_is_left_out_is_told() -> None:
    made = joined(1, 2, 3, 4, 26)
    made.typed("mark wet pair 3")
    assert made.typed("start verification").endswith("Group one, continuity: one, blue white.")
    answer = made.typed("group good")
    assert answer.startswith(
        "Total pairs: three, from one, blue white through four, brown white, continuity good. "
        "Not among them, marked or failed: pair three. Not joined: pair five, pair six, pair seven, pair eight and "
        "more, total two one."
    )
    assert [results(made, pair) for pair in (1, 2, 4)] == [{PairTest.CONTINUITY: True}] * 3
    assert results(made, 3) == results(made, 26) == results(made, 5) == {}


def test_a_failed_pair_is_not_made_good_with_its_group() -> None:
    made = joined(1, 2, 3)
    made.typed("start verification")
    assert made.typed("test bad").startswith("One, blue white, continuity failed. To mark its fault, name the pair.")
    made.typed("group good")
    assert [results(made, pair)[PairTest.CONTINUITY] for pair in (1, 2, 3)] == [False, True, True]
    made.typed("mark open pair 1")
    assert results(made, 1) == {PairTest.CONTINUITY: False}


def test_group_good_from_before_the_group_was_told_counts_for_nothing() -> None:
    made = joined(1, 2, 26, 27)
    made.typed("start verification")
    early = made.state.announcement
    made.typed("group good")
    in_turn = made.state.joint_in_turn
    assert in_turn is not None
    told = made.put(m.Typed("group good", early))
    assert [fact for fact in told.facts if isinstance(fact, m.PairTested)] == []
    assert results(made, 26) == {}


def test_one_undo_takes_the_whole_group_back() -> None:
    made = joined(1, 2, 3)
    made.typed("start verification")
    before = made.state.pairs
    made.typed("group good")
    made.typed("undo that")
    assert made.state.pairs == before
    assert made.state.joint_in_turn is not None
    assert made.state.joint_in_turn.number == 1


def test_all_tests_in_one_run_are_told_by_name_and_logged_each() -> None:
    made = joined(1, 2, 3)
    assert made.typed("start verification all tests").endswith(
        "Group one, continuity, grounds, shorts: one, blue white."
    )
    assert made.typed("test good").startswith("One, blue white, continuity, grounds, shorts good.")
    assert results(made, 1) == dict.fromkeys(PairTest, True)
    assert "Which test failed?" in made.typed("test bad")
    assert results(made, 2) == {}
    made.typed("mark short")
    assert results(made, 2) == {PairTest.SHORT: False}
    assert made.state.joint_in_turn is not None
    assert made.state.joint_in_turn.number == 3
    answer = made.typed("group good")
    assert answer.endswith(
        "Verification. Pairs tested for continuity, grounds, shorts, total two. Pairs failed, total one."
    )


def test_the_place_is_kept_through_a_stop_and_a_resumption() -> None:
    made = joined(1, 2, 3)
    made.typed("start verification all tests")
    made.typed("test good")
    made.put(resume())
    assert made.state.verifying is not None
    assert (made.state.verifying.joint, made.state.verifying.all_tests) == (2, True)
    made.typed("end verification")
    assert "two, orange white" in made.typed("start verification all tests")


SPOKEN = [
    ("reading five point two mega ohms pair forty seven", Measured(number=5, decimals="2", unit=Unit.MEGOHM, pair=47)),
    ("reading 5.2 mega ohms", Measured(number=5, decimals="2", unit=Unit.MEGOHM)),
    ("reading 0.05 ohms", Measured(number=0, decimals="05", unit=Unit.OHM)),
    ("reading one point zero five volts", Measured(number=1, decimals="05", unit=Unit.VOLT)),
]


@pytest.mark.parametrize(("text", "intent"), SPOKEN)
def test_a_reading_is_the_number_that_was_said(text: str, intent: Measured) -> None:
    assert parse(text, ALL) == Understood(intent)


@pytest.mark.parametrize(
    "text", ["reading .5 ohms", "reading 5,2 ohms", "reading -48 volts", "pair 1.2", "1.2 blue white"]
)
def test_a_number_that_is_not_understood_whole_is_no_other_number(text: str) -> None:
    """Found on the way: 5.2 was taken for 52, and -48 for 48."""
    assert parse(text, ALL) == NoMatch()


def test_a_reading_is_keyed_with_its_pair() -> None:
    scope = Scope(frozenset({Measured}))
    wanted = Measured(number=5, decimals="2", unit=Unit.MEGOHM, pair=47)
    assert parse_keys("47..-25.2\n", scope) == Understood(wanted)


@given(st.integers(1, 999), st.text("0123456789", max_size=3))
def test_every_reading_comes_out_as_it_went_in(whole: int, decimals: str) -> None:
    made = joined(4)
    number = f"{whole}.{decimals}" if decimals else str(whole)
    assert "Four, brown white, reading" in made.typed(f"reading {number} mega ohms pair 4")
    (fact,) = [fact for fact in made.facts if isinstance(fact, ReadingLogged)]
    assert (fact.pair, fact.value) == (4, number)


def test_a_reading_of_a_named_pair_leaves_the_pair_in_turn() -> None:
    made = joined(1, 2)
    made.typed("start verification")
    assert made.typed("reading 5.2 mega ohms pair 2") == "Two, orange white, reading five point two megohms."
    made.typed("test good")
    assert results(made, 1) == {PairTest.CONTINUITY: True}


def test_the_account_has_readings_and_tests_by_name() -> None:
    session = Session(cable=25).typed("1 blue white", "2 orange white", "start verification", "group good")
    session.typed("reading 5.2 mega ohms pair 2")
    rows = account_of([session.log()]).rows
    assert dict(rows[0].known.tests) == {PairTest.CONTINUITY: True}
    assert [remark.text for remark in rows[1].remarks] == ["5.2 megohm"]


WORDS = (
    *("start verification", "start verification all tests", "test good", "test bad", "group good", "undo that"),
    *("mark short", "mark open pair 2", "clear open pair 2", "redo pair 3", "end verification", "pair 3", "pair 27"),
)


@given(st.lists(st.sampled_from(WORDS), max_size=40))
def test_group_good_confirms_only_joined_unmarked_pairs_of_its_group_without_result(words: list[str]) -> None:
    """Held by a plain reading of the records before it."""
    made = joined(1, 2, 3, 5, 26, 27, 30)
    for said in words:
        before, turn = made.state, made.state.joint_in_turn
        facts = made.put(m.Typed(said, made.state.announcement)).facts
        passed = [fact for fact in facts if isinstance(fact, m.PairTested) and fact.passed]
        if said != "group good" or before.verifying is None:
            assert len({fact.pair for fact in passed}) <= 1
            continue
        for fact in passed:
            known = before.of(fact.pair)
            assert turn is not None
            assert (int(fact.pair) - 1) // 25 == (int(turn.number) - 1) // 25
            assert known.confirmed is not None
            assert not known.faults
            assert fact.test not in dict(known.tests) or before.verifying.all_tests
            assert all(good for _, good in known.tests)


# --- mended pairs -------------------------------------------------------------------------------------------------


def test_a_mended_pair_has_to_be_tested_again_since_its_tests_were_of_what_it_was_before() -> None:
    made = joined(1, 2, 3)
    for said in ("start verification", "mark open pair 1", "group good"):
        made.typed(said)
    assert results(made, 1) == {PairTest.CONTINUITY: False}
    assert made.typed("clear open pair 1").startswith("One, blue white, open cleared. To be tested again.")
    assert results(made, 1) == {}
    for said in ("group good", "group good"):
        told = made.typed(said)
    assert results(made, 1) == {PairTest.GROUND: True, PairTest.SHORT: True}, "what is new of it"
    assert told.endswith("Group one, continuity: one, blue white.")


def test_after_all_tests_of_all_pairs_a_mended_one_is_in_turn_at_once() -> None:
    made = joined(1, 2)
    for said in ("start verification all tests", "mark open pair 1", "group good"):
        made.typed(said)
    assert made.state.verifying is not None
    assert made.state.verifying.joint is None
    assert "One, blue white" in made.typed("clear open pair 1")
    assert made.state.verifying.joint == 1


def test_a_mend_of_a_pair_that_was_never_tested_says_nothing_of_tests() -> None:
    made = joined(1, 2)
    made.typed("mark open pair 1")
    assert "test" not in made.typed("clear open pair 1")


def test_taking_back_the_mend_brings_back_what_was_tested() -> None:
    made = joined(1, 2)
    for said in ("start verification", "mark open pair 1", "clear open pair 1", "undo that"):
        made.typed(said)
    assert results(made, 1) == {PairTest.CONTINUITY: False}
    assert made.state.of(1).faults
