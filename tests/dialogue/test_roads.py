"""Roads by which a pair was once logged or shown that nobody had called; each is closed as a class, not as a case."""

import ast
import random
import re
from pathlib import Path

import pytest

from assistant.cable.splice_plan import JointNumber, Site
from assistant.dialogue import sentences
from assistant.dialogue.checks import CHECKS
from assistant.dialogue.messages import (
    BEFORE_NUMBERS,
    NOT_YET,
    AnnouncementNumber,
    KeysPressed,
    Missed,
    PairConfirmed,
    PairTest,
    PairTested,
    SessionEnded,
    Speak,
    TimedOut,
    Typed,
)
from assistant.dialogue.modes import Mode
from assistant.dialogue.state import Standing
from assistant.words.intents import Fault
from tests.bench.interleavings import drive, name
from tests.dialogue.conversation import Conversation, resume, said, utterance


def confirmed(talk: Conversation) -> list[int]:
    return [fact.pair for fact in talk.facts if isinstance(fact, PairConfirmed)]


# --- a question moves the work ---


@pytest.mark.parametrize("question", ["what is pair forty seven", "what is group two", "group two"])
def test_a_question_about_a_pair_or_group_does_not_move_the_work(question: str) -> None:
    talk = Conversation(cable=50)
    before = talk.state
    answer = talk.typed(question)
    assert answer.endswith("Next one, blue white.")
    assert (talk.state.pairs, talk.state.expected, talk.state.end) == (before.pairs, before.expected, before.end)
    assert talk.typed("blue white").startswith("One, blue white, confirmed.")


@pytest.mark.parametrize(
    "between", ["what is pair forty seven", "pair 40", "mark wet pair 40", "undo that", "which faults"]
)
def test_in_any_order_colours_alone_never_borrow_a_group(between: str) -> None:
    talk = Conversation(cable=50, any_order=True)
    for entry in ("pair one", "pair two", between):
        talk.typed(entry)
    before = confirmed(talk)
    assert "Say the group." in talk.typed("green white")
    assert confirmed(talk) == before


def test_in_any_order_a_group_is_taken_by_name_and_told() -> None:
    talk = Conversation(cable=50, any_order=True)
    assert "colours alone count there" in talk.typed("go to group two")
    talk.typed("green white")
    assert confirmed(talk) == [28]
    talk.put(resume())
    assert "Say the group." in talk.typed("brown white")


def test_colours_called_before_the_next_group_was_told_do_not_count_in_it() -> None:
    talk = Conversation(cable=50, first=25)
    early = talk.state.announcement
    talk.typed("slate violet")
    assert "Say the group." in said(talk.put(Typed("blue white", early)))
    assert "Say the group." in said(talk.put(utterance("blue white", after=early)))
    assert confirmed(talk) == [25]
    assert talk.typed("blue white").startswith("Two six, blue white, confirmed.")


def test_colours_called_before_an_undo_led_to_another_group_do_not_count_in_that() -> None:
    talk = Conversation(cable=50, first=25)
    talk.typed("slate violet")
    early = talk.state.announcement
    talk.typed("undo that")
    assert "Say the group." in said(talk.put(utterance("slate violet", after=early)))
    assert confirmed(talk) == [25]


def test_colours_asked_back_count_in_the_group_in_which_they_were_called() -> None:
    talk = Conversation(cable=50, first=25)
    early = talk.state.announcement
    talk.typed("slate violet")
    talk.put(utterance("blue white", "ask back", after=early))
    assert talk.state.mode is Mode.UNSURE
    assert "Say the group." in talk.typed("yes")
    assert confirmed(talk) == [25]


# --- keys that confirm what nobody called ---


def test_keys_made_at_once_confirm_one_pair() -> None:
    talk = Conversation()
    number = talk.state.announcement
    for _ in range(10):
        talk.put(KeysPressed("+", number))
    assert confirmed(talk) == [1]
    assert talk.facts.count(Missed("too early")) == 9


@pytest.mark.parametrize("number", [NOT_YET, AnnouncementNumber(10**6)])
@pytest.mark.parametrize("keys", ["+", "-", "/6", "*1\n", "*+1\n"])
def test_a_key_made_before_anything_was_told_or_out_of_nowhere_changes_nothing(
    keys: str, number: AnnouncementNumber
) -> None:
    talk = Conversation()
    before = talk.state
    talk.put(KeysPressed(keys, number))
    assert (talk.state.pairs, talk.state.expected) == (before.pairs, before.expected)


def test_a_plus_while_the_pair_is_being_told_is_too_early_and_a_minus_takes_back_what_is_read_back() -> None:
    """What is read back is said first, the pair in turn last: it has been heard to the end, or it has not."""
    talk = Conversation()
    told = talk.state.announcement
    talk.typed("blue white")
    assert "came before" in said(talk.put(KeysPressed("+", after=told, during=talk.state.announcement)))
    assert confirmed(talk) == [1]
    assert said(talk.put(KeysPressed("-", after=told, during=talk.state.announcement))).startswith("Undone: one")


def test_a_minus_made_before_the_read_back_began_takes_nothing_back() -> None:
    talk = Conversation()
    talk.typed("blue white")
    told = talk.state.announcement
    talk.typed("orange white")
    assert "came before" in said(talk.put(KeysPressed("-", after=told, during=told)))
    assert confirmed(talk) == [1, 2]
    assert talk.state.of(JointNumber(2)).confirmed is not None


def test_the_same_utterance_twice_does_not_answer_whether_it_was_said() -> None:
    """What names nothing must be said again after the question; a pair that is named twice is named twice."""
    talk = Conversation()
    once = talk.state.announcement
    for _ in range(2):
        talk.put(utterance("joined but wet", "ask back", after=once))
    assert confirmed(talk) == []
    for _ in range(2):
        talk.put(utterance("blue white", "ask back", after=once))
    assert confirmed(talk) == [1]


def test_a_plus_for_a_question_that_was_dropped_confirms_nothing() -> None:
    talk = Conversation(cable=3)
    talk.typed("finish")
    of_the_question = talk.state.announcement
    talk.typed("blue white")
    assert "came before" in said(talk.put(KeysPressed("+", of_the_question)))
    assert confirmed(talk) == [1]


def test_minus_twice_at_a_question_answers_it_and_takes_nothing_back() -> None:
    talk = Conversation(cable=3)
    talk.typed("blue white")
    talk.typed("finish")
    number = talk.state.announcement
    for _ in range(2):
        talk.put(KeysPressed("-", number))
    assert talk.state.of(JointNumber(1)).confirmed is not None


def test_minus_in_a_verification_takes_back_only_what_that_logged() -> None:
    talk = Conversation(cable=3)
    for entry in ("blue white", "start verification", "test good"):
        talk.typed(entry)
    assert talk.keyed("-").startswith("Undone: test of one")
    assert talk.keyed("-").startswith("There is nothing to undo in this verification.")
    assert talk.state.mode is Mode.VERIFYING
    assert talk.state.of(JointNumber(1)).confirmed is not None


def test_a_fault_key_waits_for_enter() -> None:
    talk = Conversation()
    before = talk.state.pairs
    talk.keyed("*1")
    assert talk.state.pairs == before
    assert talk.keyed("*1\n").startswith("One, blue white, not joined, marked open.")


@pytest.mark.parametrize(
    ("mode", "entries", "does"),
    [
        ("verifying", ["blue white", "start verification"], "continuity good"),
        ("holding", ["hold on"], "Carrying on."),
    ],
)
def test_the_most_frequent_entry_of_a_mode_is_one_key(mode: str, entries: list[str], does: str) -> None:
    talk = Conversation(cable=3)
    for entry in entries:
        talk.typed(entry)
    assert talk.state.mode.value == mode
    assert does in talk.keyed("+")


def test_the_plus_key_confirms_a_module_only_when_all_of_it_was_called() -> None:
    talk = Conversation(cable=25, last=3)
    talk.typed("call them out")
    talk.put(TimedOut(JointNumber(1)))
    talk.keyed("+")
    assert confirmed(talk) == []
    for turn in (2, 3):
        talk.put(TimedOut(JointNumber(turn)))
    talk.keyed("+")
    assert confirmed(talk) == [1, 2, 3]
    assert talk.typed("undo that").startswith("Undone: module up to three")
    assert talk.state.left() == (1, 2, 3)


@pytest.mark.parametrize("entry", ["undo that", "skip this pair", "mark open", "joined but wet", "confirm pair"])
def test_what_names_nothing_and_answers_no_question_says_so(entry: str) -> None:
    talk = Conversation(cable=3)
    talk.typed("blue white")
    talk.typed("finish session")
    told = talk.typed(entry)
    assert told.startswith("Not logged: that was no answer to the question, which is closed. Next two")
    assert confirmed(talk) == [1]


@pytest.mark.parametrize("short", [False, True])
def test_checks_that_were_not_answered_are_asked_after_an_interruption(short: bool) -> None:
    talk = Conversation(cable=3, site=Site.MANHOLE, short_checks=short)
    waiting = talk.state.unchecked
    talk.typed("yes")
    left = () if short else waiting[1:]
    talk.put(resume())
    asked = []
    while talk.state.unchecked:
        asked.append(talk.state.unchecked[0])
        talk.typed("yes")
    assert asked == list(left or ["voltage"])
    assert talk.state.mode is Mode.FOLLOWING


def test_checks_broken_off_before_any_answer_are_all_asked_again() -> None:
    for short in (False, True):
        talk = Conversation(cable=3, site=Site.MANHOLE, short_checks=short)
        waiting = talk.state.unchecked
        talk.put(resume())
        assert talk.state.unchecked == waiting


def test_help_in_the_checks_tells_of_their_answers_alone() -> None:
    talk = Conversation(cable=3, site=Site.MANHOLE)
    assert talk.typed("help") == "You can say: yes; no. The keypad card has all."


def test_a_pair_is_not_split_with_itself() -> None:
    talk = Conversation(cable=3)
    told = talk.typed("mark split pair one and pair one")
    assert told == "Not logged. Name two pairs of this work. Next one, blue white."


def test_with_one_cable_no_cables_are_counted() -> None:
    assert Conversation(cable=3).typed("go to cable two").startswith("There is only one cable.")


@pytest.mark.parametrize("call", ["orange white", "pair nine nine", "three blue white", "joined but wet pair two"])
def test_a_plus_meant_for_a_call_that_did_not_fit_confirms_nothing(call: str) -> None:
    """Who keys plus behind a call, before hearing that it did not fit, does not mean the pair that is expected."""
    talk = Conversation(cable=25)
    before = talk.state.announcement
    talk.typed(call)
    told = said(talk.put(KeysPressed("+", before)))
    assert told.startswith("Not logged: that came before the pair was told.")
    assert confirmed(talk) == []
    assert "confirmed" in talk.keyed("+")


def test_old_records_count_as_they_did() -> None:
    talk = Conversation()
    talk.put(KeysPressed("+", BEFORE_NUMBERS))
    assert confirmed(talk) == [1]


def test_no_adapter_stamps_its_inputs_as_old() -> None:
    """Only reading an old line may, which is in `session/record.py`."""
    package = Path(sentences.__file__).parents[1]
    using = {path.parent.name for path in package.rglob("*.py") if "BEFORE_NUMBERS" in path.read_text()}
    assert using == {"dialogue", "rules", "session"}


@pytest.mark.parametrize("seed", range(3))
def test_random_interleavings_confirm_nothing_that_was_not_named_or_told(seed: int) -> None:
    """The long form is a bench of its own; its oracle reads no code of the dialogue."""
    counts = drive(1500, random.Random(seed))
    assert counts["confirmed"] > 0


# --- faulty pairs ---


def test_a_faulty_pair_that_is_not_joined_stays_in_the_work() -> None:
    talk = Conversation(cable=3)
    for entry in ("mark open", "orange white", "mark wet"):
        talk.typed(entry)
    assert talk.state.left() == (1, 3)
    assert talk.typed("finish") == "Faulty and not joined: pair one and pair three. That is final. Finish all the same?"
    talk.typed("no")
    assert "It is marked open." in talk.typed("next")
    assert talk.typed("blue white").startswith("One, blue white, confirmed, and marked open.")
    assert talk.state.standing(talk.state.plan.by_number[JointNumber(1)]) is Standing.JOINED_FAULTY


def test_a_cleared_pair_is_in_the_hand_and_comes_next() -> None:
    talk = Conversation(cable=5)
    for entry in ("mark open", "orange white", "green white"):
        talk.typed(entry)
    assert talk.typed("clear open pair one").endswith("Next one, blue white.")
    assert talk.typed("blue white") == "One, blue white, confirmed. Next four, brown white."


def test_joined_but_bad_is_one_entry_and_one_undo() -> None:
    talk = Conversation(cable=3)
    assert talk.typed("joined but wet") == "One, blue white, confirmed, and marked wet. Next two, orange white."
    assert talk.state.of(JointNumber(1)).faults == (Fault.WET,)
    talk.typed("undo that")
    assert talk.state.pairs.get(JointNumber(1)) is None


def test_joined_but_bad_of_another_pair_than_the_expected_is_a_mismatch() -> None:
    talk = Conversation(cable=5)
    assert talk.typed("joined but wet pair three").startswith("Not logged. Heard three, green white.")
    assert confirmed(talk) == []


def test_the_end_tells_of_each_kind_of_unfinished() -> None:
    talk = Conversation(cable=3)
    for entry in ("joined but noisy", "mark open", "finish"):
        talk.typed(entry)
    assert talk.state.last_said == (
        "Not done: pair three. Faulty and not joined: pair two. Joined with a fault: pair one. "
        "That is final. Finish all the same?"
    )
    talk.typed("yes")
    assert SessionEnded(confirmed=0, faulty=1, left=1, joined_faulty=1) in talk.facts


def test_a_fault_outlives_the_joint_that_is_opened_again() -> None:
    talk = Conversation(cable=2)
    for entry in ("joined but wet", "redo pair one", "blue white"):
        talk.typed(entry)
    assert talk.state.of(JointNumber(1)).faults == (Fault.WET,)


@pytest.mark.parametrize(
    ("marked", "test"),
    [
        ("mark open pair one", PairTest.CONTINUITY),
        ("mark ground pair one", PairTest.GROUND),
        ("mark short pair one", PairTest.SHORT),
        ("mark cross pair one", PairTest.SHORT),
    ],
)
def test_a_fault_marked_by_name_fails_the_test_that_it_belongs_to(marked: str, test: PairTest) -> None:
    talk = Conversation(cable=3)
    for entry in ("blue white", "orange white", "start verification", "test good"):
        talk.typed(entry)
    talk.typed(marked)
    results = [fact for fact in talk.facts if isinstance(fact, PairTested)]
    assert (results[-1].pair, results[-1].test, results[-1].passed) == (1, test, False)
    assert "Pairs failed, total one." in talk.typed("end verification")


@pytest.mark.parametrize("marked", ["mark transposed", "mark noisy", "mark voltage", "mark unbalance"])
def test_a_fault_that_none_of_the_tests_shows_fails_none_and_the_pair_stays_in_turn(marked: str) -> None:
    talk = Conversation(cable=3)
    for entry in ("blue white", "start verification"):
        talk.typed(entry)
    assert talk.typed(marked).endswith("Continuity: one, blue white.")
    assert not [fact for fact in talk.facts if isinstance(fact, PairTested)]


def test_a_verification_keeps_its_place() -> None:
    talk = Conversation(cable=3)
    for entry in ("pair 1", "pair 2", "pair 3", "start verification", "test good", "end verification"):
        talk.typed(entry)
    assert talk.typed("start verification").endswith("Continuity: two, orange white.")


# --- words with one meaning ---


def test_every_sentence_stands_in_the_list() -> None:
    """In the dialogue no other file holds a spoken text of several words that ends a sentence; the card is print."""
    folder = Path(sentences.__file__).parent
    for path in (*folder.glob("*.py"), *(folder / "rules").glob("*.py")):
        if path.name in ("sentences.py", "checks.py", "card.py"):
            continue
        tree = ast.parse(path.read_text())
        docs = {
            id(node.body[0].value)
            for node in ast.walk(tree)  # type: ignore[attr-defined]
            if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) and ast.get_docstring(node)
        }
        texts = [
            node.value
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
        ]
        alone = {n.value.value for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)}
        spoken = [text for text in texts if re.search(r"[a-z] [a-z].*[.?!]$", text) and text not in alone]
        assert spoken == [], path.name


AMBIGUOUS = ("left", "right", " open.", " open ", "opens", "wait.")


@pytest.mark.parametrize("key", list(sentences.all_sentences()))
def test_a_sentence_has_one_meaning_by_ear(key: str) -> None:
    """A noun stands before a bare count; no word is a fault and a state, or a side and a remainder."""
    sentence = sentences.all_sentences()[key]
    fixed = re.sub(r"{\w+}", "#", sentence.text).lower()
    assert not [word for word in AMBIGUOUS if word in f" {fixed} "], fixed
    numbers = re.sub(r"{(count|whole|failed|number|run|seconds)}", "#", sentence.text)
    assert not re.search(r"#\W*#", numbers), "two numbers without a word between"
    for count in re.finditer(r"{count}|{whole}|{failed}", sentence.text):
        before = sentence.text[: count.start()].rstrip(" :,").split()
        assert before, fixed
        assert {"total", "groups", "pairs", "joints", "units", "done", "skipped", "faulty", "dead", "spare"} & set(
            before[-2:]
        ) or "Total" in sentence.text, fixed
    assert str(sentence).strip()


def test_checks_say_no_word_of_two_meanings() -> None:
    assert not [check.name for check in CHECKS if re.search(r"\b(left|open)\b", check.asks)]


def test_everything_said_by_the_session_speaks_the_announcement_it_puts() -> None:
    """What carries the number of an announcement names the pair in turn, or asks the question."""
    talk = Conversation(cable=60)
    chance = random.Random(5)
    entries = [
        "confirm",
        "mark open",
        "skip",
        "undo",
        "what is pair 9",
        "go to group two",
        "finish",
        "no",
        "hold on",
        "carry on",
        "pair 99",
        "help",
        "next",
        "where am i",
        "redo pair 1",
        "clear open pair 1",
        "how many left",
    ]
    for _ in range(400):
        step = talk.put(Typed(chance.choice(entries), talk.state.announcement))
        for effect in step.effects:
            if isinstance(effect, Speak) and effect.announcement is not None:
                assert effect.announcement == talk.state.announcement
                made = talk.state.expected_joint
                if talk.state.question is None and made is not None and not talk.state.held:
                    assert name(int(made.number)) in effect.text.lower()
