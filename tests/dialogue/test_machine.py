"""The table is complete, and nothing that can be said or pressed breaks it."""

import random
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.dialogue.machine import RULES, decide, scope_of
from assistant.dialogue.messages import DeviceFailed, Heard, KeysPressed, PairConfirmed, StopAsked, Typed
from assistant.dialogue.state import Mode, State, fold
from assistant.words import intents as say
from assistant.words.grammar import sample
from assistant.words.intents import Intent
from assistant.words.vocabulary import ALL_INTENTS, voice_sentences
from tests.dialogue.conversation import Conversation, utterance


@pytest.mark.parametrize("mode", [mode for mode in Mode if mode is not Mode.QUESTION])
def test_every_mode_has_a_rule_for_every_intent(mode: Mode) -> None:
    assert set(RULES[mode]) == set(get_args(Intent)) == ALL_INTENTS


def in_each_mode() -> dict[Mode, State]:
    asking = Conversation(cable=100, asking=True)
    following = Conversation(cable=100)
    question = Conversation(cable=100)
    question.heard("blue white", "ask back")
    holding = Conversation(cable=100)
    holding.heard("hold on")
    verifying = Conversation(cable=100)
    verifying.typed("blue white")
    verifying.typed("start verification")
    talks = (asking, following, question, holding, verifying)
    return {talk.state.mode: talk.state for talk in talks}


def test_the_states_above_cover_all_modes() -> None:
    assert set(in_each_mode()) == set(Mode) - {Mode.ENDED}


@pytest.mark.parametrize("mode", in_each_mode())
def test_every_mode_opens_say_again_and_a_way_on(mode: Mode) -> None:
    opened = scope_of(in_each_mode()[mode]).intents
    assert say.SayAgain in opened
    assert opened & {say.Help, say.CarryOn}
    assert opened & {say.Finish, say.CarryOn, say.No}


def test_yes_and_no_are_open_only_in_a_question() -> None:
    for mode, state in in_each_mode().items():
        assert (say.Yes in scope_of(state).intents) == (mode is Mode.QUESTION)


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
    left = set(talk.state.left())
    assert all(pair in left or not talk.state.of(pair).left for pair in talk.state.plan.to_join)


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
    assert (talk.state.pairs, talk.state.expected, talk.state.group) == (before.pairs, before.expected, before.group)
    assert talk.state.undo is undo_before


@given(st.text(max_size=30))
@settings(deadline=None)
def test_any_text_and_any_keys_get_an_answer(text: str) -> None:
    talk = Conversation()
    for came in (Typed(text), KeysPressed(text), utterance(text), utterance(text, "ask back")):
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
    talk.put(Heard(judgement="accepted", words="undo that", readings=()))
    talk.typed("undo that")
    assert talk.state == before
