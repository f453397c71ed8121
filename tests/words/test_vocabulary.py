"""Every sentence the vocabulary can make parses back to exactly its meaning, and nothing else does."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.cable.colour_code import Colours, Ring, Tip, colours_of
from assistant.words import intents as say
from assistant.words.grammar import Automaton, sample
from assistant.words.intents import Ask, CallGroup, CallPair, Fault, GoTo, Intent, MarkFault
from assistant.words.numbers import DIGITS, long_number, spoken, spoken_digits
from assistant.words.parser import NoMatch, Understood, parse, parse_keys, words_in
from assistant.words.vocabulary import (
    ALL_INTENTS,
    ENTRIES,
    FAULT_WORDS,
    KEY_SIGNS,
    KEYS,
    Scope,
    key_sentences,
    text_sentences,
    voice_sentences,
)
from tests.tables import rows

ALL = Scope(ALL_INTENTS)
SCOPES = [
    Scope(ALL_INTENTS, digits=2, groups=False, super_units=False),
    Scope(ALL_INTENTS, digits=3, super_units=False),
    Scope(ALL_INTENTS, digits=4),
]
WHITE_BLUE = colours_of(1)


def pair(number: int | None = None, colours: Colours | None = None, group: CallGroup | None = None) -> CallPair:
    return CallPair(number=number, colours=colours, group=group)


# The forms come from the issue that asked for them; the numbers are ordinary English.
SAID: list[tuple[str, Intent]] = [
    ("pair forty seven", pair(47)),
    ("four seven", pair(47)),
    ("one two six", pair(126)),
    ("one hundred twenty six", pair(126)),
    ("one hundred and twenty six", pair(126)),
    ("one twenty six", pair(126)),
    ("twenty seven thirteen", pair(2713)),
    ("twenty seven hundred thirteen", pair(2713)),
    ("two thousand seven hundred and thirteen", pair(2713)),
    ("two seven one three", pair(2713)),
    ("one zero zero", pair(100)),
    ("pair seven", pair(7)),
    ("orange violet", pair(colours=Colours(Tip.VIOLET, Ring.ORANGE))),
    ("violet orange", pair(colours=Colours(Tip.VIOLET, Ring.ORANGE))),
    ("purple gray", pair(colours=Colours(Tip.VIOLET, Ring.SLATE))),
    ("mauve grey", pair(colours=Colours(Tip.VIOLET, Ring.SLATE))),
    ("pair blue white", pair(colours=WHITE_BLUE)),
    ("forty seven, orange violet", pair(47, Colours(Tip.VIOLET, Ring.ORANGE))),
    ("seven orange red", pair(7, Colours(Tip.RED, Ring.ORANGE))),
    ("group three", CallGroup(number=3)),
    ("binder orange white", CallGroup(binder=Colours(Tip.WHITE, Ring.ORANGE))),
    ("binder group white orange", CallGroup(binder=Colours(Tip.WHITE, Ring.ORANGE))),
    ("super unit red", CallGroup(super_unit=Tip.RED)),
    ("super unit red group three", CallGroup(number=3, super_unit=Tip.RED)),
    ("group three blue white", pair(colours=WHITE_BLUE, group=CallGroup(number=3))),
    ("what is slate violet", Ask(pair(colours=Colours(Tip.VIOLET, Ring.SLATE)))),
    ("go to group three", GoTo(CallGroup(number=3))),
    ("go to pair twelve", GoTo(pair(12))),
    ("mark reversed", MarkFault(fault=Fault.REVERSAL)),
    ("mark ground pair forty seven", MarkFault(fault=Fault.GROUND, pair=47)),
    ("confirm", say.Confirm()),
    ("undo that", say.UndoThat()),
    ("say again", say.SayAgain()),
    ("seven", say.BareNumber(7)),
    ("47", pair(47)),
    ("7", pair(7)),
    ("pair 0", pair(0)),
    ("Where am I?", say.WhereAmI()),
]


@pytest.mark.parametrize(("text", "intent"), SAID)
def test_what_people_say(text: str, intent: Intent) -> None:
    assert parse(text, ALL) == Understood(intent)


NO_ENTRY = (
    *("", "oh seven", "four oh", "blue orange", "violet white", "binder", "mark", "open", "wet", "go to", "right"),
    *("done", "blue white blue", "pair", "group", "yes no", "white gray green", "back", "wait"),
)


@pytest.mark.parametrize("text", NO_ENTRY)
def test_what_is_no_entry(text: str) -> None:
    assert parse(text, ALL) == NoMatch()


@given(st.integers(0, 2**32 - 1), st.sampled_from(SCOPES))
@settings(max_examples=600, deadline=None)
def test_every_sentence_parses_to_exactly_one_meaning(seed: int, scope: Scope) -> None:
    words = sample(voice_sentences(scope).node, random.Random(seed))
    assert isinstance(parse(" ".join(words), ALL), Understood)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=200, deadline=None)
def test_every_key_entry_parses_to_exactly_one_meaning_where_plus_and_minus_have_one(seed: int) -> None:
    """The plus key is the most frequent entry of each mode; that no mode gives it two is tested with the table."""
    other_uses_of_plus_and_minus = {say.Yes, say.No, say.ConfirmModule, say.PassedTest, say.CarryOn}
    scope = Scope(ALL_INTENTS - other_uses_of_plus_and_minus)
    named = {name: sign for sign, name in KEYS.items()}
    keys = "".join(named[key] for key in sample(key_sentences(scope).node, random.Random(seed)))
    assert isinstance(parse_keys(keys, scope), Understood)


@given(st.integers(1, 9999), st.integers(0, 2**32 - 1))
@settings(max_examples=300, deadline=None)
def test_every_form_of_a_number_means_that_number(number: int, seed: int) -> None:
    """Every spoken form is one of ordinary English; the digit form is ICAO's (Annex 10 vol. II 5.2.1.4.1)."""
    assert parse(f"pair {spoken_digits(number)}", ALL) == Understood(pair(number))
    assert parse(f"pair {spoken(number)}", ALL) == Understood(pair(number))
    words = sample(long_number(4), random.Random(seed))
    understood = parse(" ".join(words), ALL)
    assert isinstance(understood, Understood)
    assert isinstance(understood.intent, CallPair)
    value = understood.intent.number
    assert value is not None
    assert 10 <= value <= 9999


def test_digit_words_are_those_of_the_standard() -> None:
    """ICAO Annex 10 vol. II, plain forms."""
    assert [row["plain"] for row in rows("spoken_digits.csv")] == list(DIGITS)


@given(st.integers(13, 9999))
def test_above_twelve_no_teen_or_ten_is_spoken(number: int) -> None:
    """-teen and -ty are a documented error source (Pennsylvania Patient Safety Advisory 2006)."""
    assert set(spoken(number).split()) <= set(DIGITS)


@pytest.mark.parametrize("scope", SCOPES)
def test_no_one_word_number_is_an_entry_by_voice(scope: Scope) -> None:
    for word in (*DIGITS[1:], "ten", "fifteen", "forty"):
        assert parse(word, scope) == Understood(
            say.BareNumber({"ten": 10, "fifteen": 15, "forty": 40}.get(word) or DIGITS.index(word))
        )


def test_the_words_that_were_ruled_out_are_not_in_the_vocabulary() -> None:
    """Measured or computed collisions: right/white, wait/white, back/black, done/one, oh/four, correct/correction."""
    ruled_out = {"oh", "niner", "right", "wait", "back", "done", "correct", "correction", "resume", "to", "for"}
    assert not (voice_sentences(ALL).words - {"to", "for"}) & ruled_out
    behind = [words for row in ENTRIES for words in row.examples if " for " in words]
    assert behind == ["stop for today"], "it stands nowhere near a number"


@pytest.mark.parametrize("fault", Fault)
def test_fault_names_stand_behind_a_lead_word(fault: Fault) -> None:
    for words in FAULT_WORDS[fault]:
        assert parse(words, ALL) == NoMatch()
        assert parse(f"mark {words}", ALL) == Understood(MarkFault(fault=fault))


@given(st.integers(0, 2**32 - 1), st.sampled_from(SCOPES))
@settings(max_examples=300, deadline=None)
def test_the_automaton_takes_every_sentence_and_stops_where_it_ends(seed: int, scope: Scope) -> None:
    automaton: Automaton = voice_sentences(scope).automaton
    words = sample(voice_sentences(scope).node, random.Random(seed))
    assert automaton.may_end(automaton.after(words))


@given(st.lists(st.sampled_from(sorted(voice_sentences(SCOPES[1]).words)), min_size=1, max_size=5))
@settings(max_examples=500, deadline=None)
def test_the_automaton_takes_nothing_that_does_not_parse(words: list[str]) -> None:
    automaton = text_sentences(SCOPES[1]).automaton
    taken = automaton.may_end(automaton.after(words))
    assert taken == isinstance(parse(" ".join(words), SCOPES[1]), Understood)


def test_every_entry_has_words_keys_help_and_examples_that_mean_it() -> None:
    for entry in ENTRIES:
        if entry.intent is say.BareNumber:
            continue
        assert entry.keys is not None, entry.name
        assert entry.help
        assert entry.key_text
        for example in entry.examples:
            understood = parse(example, ALL)
            assert isinstance(understood, Understood), example
            assert isinstance(understood.intent, entry.intent)


def test_the_keys_written_in_the_table_are_the_keys() -> None:
    for entry in ENTRIES:
        for text in entry.key_text.split(" · ") if entry.key_text and "," not in entry.key_text else []:
            keys = text.replace(" Enter", "\n").replace("Enter", "\n")
            understood = parse_keys(keys, Scope(frozenset({entry.intent})))
            assert isinstance(understood, Understood), (entry.name, text)


def test_keys_are_those_of_a_numeric_keypad() -> None:
    assert {*KEY_SIGNS.values()} == {"Enter", "+", "-", "*", "/", "."}


def test_what_is_typed_and_what_is_heard_differ_only_by_short_forms() -> None:
    typed, heard = text_sentences(SCOPES[1]).automaton, voice_sentences(SCOPES[1]).automaton
    for word in ("undo", "skip", "next", "finish"):
        assert typed.may_end(typed.after([word]))
        assert not heard.may_end(heard.after([word]))


@given(st.text(max_size=40))
@settings(deadline=None)
def test_no_text_breaks_the_parser(text: str) -> None:
    words_in(text)
    parse(text, ALL)
    parse_keys(text, ALL)
