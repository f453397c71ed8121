"""The table is complete, and nothing that can be said or pressed breaks it."""

import random
from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.dialogue.machine import decide
from assistant.dialogue.messages import DeviceFailed, KeysPressed, PairConfirmed, Question, StopAsked, Typed
from assistant.dialogue.modes import Mode
from assistant.dialogue.scope import key_scope_of, scope_of
from assistant.dialogue.state import fold
from assistant.dialogue.table import TABLE, Dispatch, ModeRow, names
from assistant.words import intents as say
from assistant.words.grammar import sample
from assistant.words.intents import Intent
from assistant.words.parser import Ambiguous, Understood, parse, parse_keys
from assistant.words.vocabulary import ALL_INTENTS, ENTRIES, Scope, voice_sentences
from tests.dialogue.conversation import Conversation, utterance
from tests.dialogue.modes import QUESTIONS, in_each_mode


@pytest.mark.parametrize("mode", Mode)
def test_every_mode_has_a_cell_for_every_entry(mode: Mode) -> None:
    row = TABLE[mode]
    assert isinstance(row, ModeRow)
    assert set(row.cells) == set(get_args(Intent)) == ALL_INTENTS


def test_every_question_is_a_mode_that_says_what_yes_and_no_do() -> None:
    assert set(QUESTIONS.values()) == set(get_args(Question))
    for mode in QUESTIONS:
        cells = TABLE[mode].cells
        assert isinstance(cells[say.Yes], Dispatch) or cells[say.Yes] is not cells[say.No]
        assert cells[say.Yes] not in (Dispatch.DROPS_QUESTION, Dispatch.LEAVES_QUESTION)
        assert cells[say.No] not in (Dispatch.DROPS_QUESTION, Dispatch.LEAVES_QUESTION)


def test_the_states_below_cover_all_modes() -> None:
    assert set(in_each_mode()) == set(Mode)


@pytest.mark.parametrize("mode", [mode for mode in Mode if mode is not Mode.ENDED])
def test_every_mode_opens_say_again_and_a_way_on(mode: Mode) -> None:
    opened = scope_of(in_each_mode()[mode].state).intents
    assert say.SayAgain in opened
    assert opened & {say.Help, say.CarryOn}
    assert opened & {say.Finish, say.CarryOn, say.No}


@pytest.mark.parametrize("mode", [mode for mode in Mode if mode is not Mode.ENDED])
def test_no_key_entry_has_two_meanings_in_any_mode(mode: Mode) -> None:
    scope = key_scope_of(in_each_mode()[mode].state)
    chance = random.Random(1)
    for row in ENTRIES:
        if row.keys is None or row.intent not in scope.intents:
            continue
        for _ in range(20):
            keys = "".join(
                {"enter": "\n", "plus": "+", "minus": "-", "times": "*", "slash": "/", "point": "."}.get(k, k)
                for k in sample(row.keys, chance)
            )
            assert not isinstance(parse_keys(keys, scope), Ambiguous), keys


def test_yes_and_no_are_open_only_in_a_question() -> None:
    for mode, talk in in_each_mode().items():
        assert (say.Yes in scope_of(talk.state).intents) == (mode in QUESTIONS)


@given(st.sampled_from(sorted([mode for mode in Mode if mode is not Mode.ENDED], key=str)), st.integers(0, 2**32 - 1))
@settings(max_examples=300)
def test_whatever_a_mode_opens_leads_to_an_answer_and_rebuilds_from_its_facts(mode: Mode, seed: int) -> None:
    talk = in_each_mode()[mode]
    words = " ".join(sample(voice_sentences(scope_of(talk.state)).node, random.Random(seed)))
    assert talk.heard(words), words
    assert fold(talk.facts) == talk.state


def test_every_entry_is_told_apart_by_what_it_names() -> None:
    chance = random.Random(2)
    for row in ENTRIES:
        parsed = sample(row.voice(Scope(ALL_INTENTS)), chance)
        assert parsed
    plain = [cls() for cls in (say.Confirm, say.UndoThat, say.SkipPair, say.ConfirmModule, say.PassedTest, say.Yes)]
    assert {names(intent).value for intent in plain} == {"nothing"}


def test_what_is_listened_for_never_depends_on_the_expected_pair() -> None:
    """A recogniser that is led towards the expected pair makes the worst of all errors."""
    scopes = set()
    talk = Conversation(cable=100)
    for _ in range(100):
        scopes.add(scope_of(talk.state))
        talk.typed("confirm")
    assert len(scopes) == 1


ENTRY = st.one_of(
    st.integers(0, 2**32 - 1).map(lambda seed: ("heard", seed)),
    st.integers(0, 2**32 - 1).map(lambda seed: ("doubtful", seed)),
    st.sampled_from(
        ["blue white", "confirm", "undo that", "skip pair", "mark open", "finish", "yes", "no", "hold on"]
    ).map(lambda text: ("typed", text)),
    st.text(alphabet="0123456789+-*/.\n", max_size=8).map(lambda keys: ("keys", keys)),
)


def put(talk: Conversation, kind: str, what: object) -> None:
    if kind == "typed":
        talk.typed(str(what))
    elif kind == "keys":
        talk.keyed(str(what))
    else:
        words = " ".join(sample(voice_sentences(scope_of(talk.state)).node, random.Random(int(str(what)))))
        talk.heard(words, "accepted" if kind == "heard" else "ask back")


@given(st.lists(ENTRY, max_size=25), st.integers(1, 60), st.booleans())
@settings(max_examples=150, deadline=None)
def test_no_entry_breaks_a_session_and_the_facts_alone_rebuild_it(
    entries: list[tuple[str, object]], cable: int, asking: bool
) -> None:
    talk = Conversation(cable=cable, asking=asking)
    for kind, what in entries:
        if talk.state.mode is Mode.ENDED:
            break
        put(talk, kind, what)
    assert fold(talk.facts) == talk.state
    done = {pair for pair, known in talk.state.pairs.items() if known.confirmed}
    assert done <= {fact.pair for fact in talk.facts if isinstance(fact, PairConfirmed)}


@given(st.lists(ENTRY, max_size=15), st.sampled_from(["confirm", "skip pair", "mark open", "go to pair 3"]))
@settings(max_examples=100, deadline=None)
def test_undo_restores_pairs_and_place(entries: list[tuple[str, object]], last: str) -> None:
    talk = Conversation(cable=30)
    for kind, what in entries:
        if talk.state.mode is Mode.ENDED:
            return
        put(talk, kind, what)
    if talk.state.mode is not Mode.FOLLOWING:
        return
    before, undo_before = talk.state, talk.state.undo
    talk.typed(last)
    if talk.state.undo is undo_before:
        return
    talk.typed("undo that")
    now = talk.state
    assert (now.pairs, now.expected, now.group_in_work) == (before.pairs, before.expected, before.group_in_work)
    assert talk.state.undo is undo_before


@given(st.text(max_size=30))
@settings(deadline=None)
def test_any_text_and_any_keys_get_an_answer(text: str) -> None:
    talk = Conversation()
    number = talk.state.announcement
    for came in (Typed(text, number), KeysPressed(text, number), utterance(text), utterance(text, "ask back")):
        assert decide(talk.state, came).facts


def test_a_broken_device_and_a_stop_are_kept() -> None:
    talk = Conversation()
    assert "failed" in "".join(str(fact) for fact in talk.put(DeviceFailed("microphone", "unplugged")).facts)
    assert talk.put(StopAsked("end of input")).facts
    assert talk.state.mode is Mode.FOLLOWING


def test_what_is_heard_after_the_end_changes_nothing() -> None:
    talk = Conversation(cable=1)
    talk.typed("confirm")
    talk.typed("finish")
    before = talk.state
    talk.put(utterance("undo that"))
    talk.typed("undo that")
    assert talk.state == before


@given(st.integers(0, 2**32 - 1))
def test_what_the_hearing_found_is_what_the_words_mean(seed: int) -> None:
    """The meaning comes with the words and is not kept: a record without it comes to the same."""
    talk = Conversation(cable=100)
    scope = scope_of(talk.state)
    words = " ".join(sample(voice_sentences(scope).node, random.Random(seed)))
    found = parse(words, scope)
    assert isinstance(found, Understood)
    heard = utterance(words, after=talk.state.announcement)
    assert decide(talk.state, replace(heard, meaning=found.intent)).facts == decide(talk.state, heard).facts
