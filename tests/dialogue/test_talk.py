"""How it is talked: brief talk leaves out the read-back where the work goes on plainly, and changes nothing else."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.dialogue.messages import Fact, Repeated, Said, SessionOpened, Speak, Talk, TalkSet, Typed
from assistant.dialogue.rules.talking import FASTEST, LOUDEST, SLOWEST, SOFTEST
from assistant.dialogue.state import fold
from tests.account.sessions import TWO_WAYS
from tests.dialogue.conversation import Conversation, resume, said
from tests.session.test_snapshot import KINDS, came

BRIEF = Talk.BRIEF


def brief(cable: int = 50, **more: object) -> Conversation:
    """Brief talk, with the first pair confirmed: that one is read back, since the session has just begun."""
    talk = Conversation(cable, talk=BRIEF, **more)
    assert talk.typed("one blue white") == "One, blue white, confirmed. Next two, orange white."
    return talk


def spoken(talk: Conversation, text: str) -> Speak:
    step = talk.put(Typed(text, talk.state.announcement))
    (sentence,) = [effect for effect in step.effects if isinstance(effect, Speak)]
    return sentence


def test_where_the_work_goes_on_plainly_a_tone_and_the_next_pair_answer() -> None:
    talk = brief()
    sentence = spoken(talk, "two orange white")
    assert (sentence.tone, sentence.text) == (True, "Three, green white.")
    assert sentence.announcement == talk.state.announcement, "it puts the next pair"
    assert spoken(talk, "green white").text == "Four, brown white."


@pytest.mark.parametrize(
    ("before", "call"),
    [
        ((), "pair two"),
        ((), "confirm"),
        (("green white",), "two orange white"),
        (("hold", "carry on"), "two orange white"),
        (("two orange white", "undo"), "two orange white"),
        (("mark wet pair 9",), "two orange white"),
        (("go to pair five",), "five slate white"),
        (("skip",), "three green white"),
        (("finish session", "no"), "two orange white"),
        (("full talk",), "two orange white"),
    ],
)
def test_weak_calls_and_those_behind_a_break_a_jump_or_a_doubt_are_read_back(
    before: tuple[str, ...], call: str
) -> None:
    talk = brief()
    for text in before:
        talk.typed(text)
    sentence = spoken(talk, call)
    assert not sentence.tone
    assert "confirmed. Next" in sentence.text


def test_an_unsure_call_that_was_asked_back_is_read_back() -> None:
    talk = brief()
    talk.heard("two orange white", "ask back")
    assert talk.heard("yes") == "Two, orange white, confirmed. Next three, green white."


def test_a_new_group_is_told_with_the_read_back_of_the_last_pair() -> None:
    talk = Conversation(50, first=24, talk=BRIEF)
    talk.typed("two four brown violet")
    assert talk.typed("two five slate violet").startswith("Two five, slate violet, confirmed. Group one closed.")
    talk.typed("two six blue white")
    assert spoken(talk, "two seven orange white").tone


def test_a_pair_that_is_marked_or_protected_is_read_back_and_the_one_before_it_too() -> None:
    protected = TWO_WAYS + '\n[[protect]]\npairs = "west elm 3"\nreason = "alarm line"\n'
    talk = Conversation(0, 0, 0, plan_text=protected, talk=BRIEF)
    answers = []
    for joint in talk.state.plan.joints[:3]:
        number, colours = joint.lead.position, talk.state.plan.address(joint.lead).colours
        assert colours is not None
        answers.append(talk.typed(f"{number} {colours.ring.value} {colours.tip.value}"))
    assert "confirmed" in answers[1], "the next one is protected"
    assert "Joined all the same?" in answers[2]


def test_in_any_order_there_is_no_next_pair_and_all_are_read_back() -> None:
    talk = Conversation(50, talk=BRIEF, any_order=True)
    talk.typed("pair one")
    assert talk.typed("two orange white") == "Two, orange white, confirmed. Total not done: four eight."


def test_a_session_goes_on_to_talk_as_it_did() -> None:
    talk = Conversation(25)
    for text in ("brief talk", "faster talk", "louder talk"):
        talk.typed(text)
    talk.put(resume())
    state = fold(talk.facts)
    assert (state.talk, state.words_a_minute, state.loudness) == (BRIEF, 172, 141)
    assert TalkSet(BRIEF, 172, 141) in talk.facts


@pytest.mark.parametrize(
    ("wish", "field", "bound"),
    [
        ("faster talk", "words_a_minute", FASTEST),
        ("slower talk", "words_a_minute", SLOWEST),
        ("louder talk", "loudness", LOUDEST),
        ("softer talk", "loudness", SOFTEST),
    ],
)
def test_rate_and_loudness_have_bounds_and_say_so(wish: str, field: str, bound: int) -> None:
    """Bounds: 120 words a minute for numbers to be copied, clearly worse at 250 (Human Factors 30(6), 1988)."""
    talk = Conversation(25)
    for _ in range(20):
        answer = talk.typed(wish)
    assert getattr(talk.state, field) == bound
    assert answer == "It goes no further."


def kept(facts: tuple[Fact, ...]) -> list[Fact]:
    return [fact for fact in facts if not isinstance(fact, Said | Repeated | SessionOpened)]


@pytest.mark.parametrize("kind", KINDS)
@settings(deadline=None, max_examples=25)
@given(seed=st.integers(0, 2**32 - 1))
def test_however_it_is_talked_the_same_is_logged(kind: str, seed: int) -> None:
    """The same inputs, at random, in both talks: nothing that is kept but the sentences differs."""
    options = dict(KINDS[kind])
    cable, plan = options.pop("cable", 0), options.pop("plan", "")
    full, short = (Conversation(cable, 1 if cable else 0, cable, plan_text=plan, talk=talk, **options) for talk in Talk)
    chance = random.Random(seed)
    for _ in range(60):
        entered = came(chance, full.state)
        one, other = full.put(entered), short.put(entered)
        assert kept(one.facts) == kept(other.facts)
        assert full.state.announcement == short.state.announcement
        if said(one) != said(other) and isinstance(entered, Typed):
            assert "confirmed" in said(one), "only a read-back may be left out"
