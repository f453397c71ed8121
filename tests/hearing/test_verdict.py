"""The verdict as a table: evidence in, judgement out."""

from dataclasses import replace

import pytest

from assistant.hearing import evidence
from assistant.hearing.evidence import NO_RIVAL, Meanings, reading_of
from assistant.hearing.verdict import COSTLY_INTENTS, Circumstances, Judgement, judge
from assistant.ports import Candidate, Opinion, UnfittedHearing
from assistant.words import intents as say
from assistant.words.intents import Intent
from assistant.words.parser import Parsed, parse
from assistant.words.vocabulary import ALL_INTENTS, Scope

SCOPE = Scope(ALL_INTENTS - {say.Yes, say.No}, digits=3, super_units=False)
ACCEPTED, ASK_BACK, IGNORED = Judgement.ACCEPTED, Judgement.ASK_BACK, Judgement.IGNORED


def scored(*candidates: tuple[str, float], free: float = 0.0) -> Opinion:
    return Opinion(ear="whisper", candidates=tuple(Candidate(w, s) for w, s in candidates), free_score=free)


def agreeing(words: str) -> Opinion:
    return Opinion(ear="sphinx", candidates=(Candidate(words, 0.0),))


SILENT = Opinion(ear="sphinx")


@pytest.mark.parametrize(
    ("first", "second", "judgement"),
    [
        (scored(("green red", -1.0), ("brown red", -9.0), free=-1.0), SILENT, ACCEPTED),
        (scored(("green red", -1.0), ("brown red", -3.0), free=-1.0), SILENT, ASK_BACK),
        (scored(("green red", -1.0), ("brown red", -3.0), free=-1.0), agreeing("green red"), ACCEPTED),
        (scored(("green red", -1.0), ("brown red", -3.0), free=-1.0), agreeing("brown red"), ASK_BACK),
        (scored(("green red", -1.0), ("brown red", -1.5), free=-1.0), agreeing("green red"), ASK_BACK),
        (scored(("green red", -4.0), ("brown red", -20.0), free=-0.5), agreeing("green red"), ASK_BACK),
        (scored(("green red", -20.0), free=-1.0), agreeing("green red"), IGNORED),
        (scored(("green red", -20.0), free=-1.0), agreeing("brown red"), IGNORED),
        (scored(free=-1.0), agreeing("green red"), IGNORED),
        (scored(("seven", -1.0), free=-1.0), agreeing("seven"), ASK_BACK),
        (agreeing("green red"), SILENT, ASK_BACK),
        (SILENT, agreeing("green red"), IGNORED),
    ],
)
def test_judgement(first: Opinion, second: Opinion, judgement: Judgement) -> None:
    assert judge((first, second), SCOPE).judgement is judgement


def free(words: str, score: float, rival: float, heard: str, *, free_score: float = 0.0) -> Opinion:
    """One sentence, a rival so many nats below it, and what free hearing wrote."""
    candidates = (Candidate(words, score), Candidate("mark open", score - rival))
    return Opinion(ear="whisper", candidates=candidates, free_words=heard, free_score=free_score)


def test_free_hearing_in_other_writing_is_no_lower_likelihood() -> None:
    """Free hearing writes commas, figures and capitals; that costs tokens, not meaning."""
    reading = reading_of(free("seven orange red", -6.0, 9.0, "7, Orange, red."), Meanings(SCOPE))
    assert (reading.likelihood_ratio, reading.free_agrees) == (0.0, True)
    assert reading_of(free("seven orange red", -6.0, 9.0, "seven oranges"), Meanings(SCOPE)).likelihood_ratio == -6.0


def test_free_hearing_counts_as_agreement_but_not_for_what_may_be_the_end_of_a_longer_call() -> None:
    assert judge((free("where am i", -1.0, 2.0, "where am I?"), SILENT), SCOPE).judgement is ACCEPTED
    assert judge((free("where am i", -1.0, 2.0, "were a my"), SILENT), SCOPE).judgement is ASK_BACK
    assert judge((free("green red", -1.0, 2.0, "green red"), SILENT), SCOPE).judgement is ASK_BACK, "of a longer call"
    assert judge((free("one two six", -1.0, 2.0, "126"), SILENT), SCOPE).judgement is ACCEPTED
    assert judge((free("two six", -1.0, 2.0, "26"), SILENT), SCOPE).judgement is ASK_BACK


def test_number_and_colours_that_agree_check_each_other() -> None:
    """562 is black orange by its position 12; measured on the bench, see CODED."""
    assert judge((free("five six two black orange", -4.0, 1.6, "x"), SILENT), SCOPE).judgement is ACCEPTED
    assert judge((free("six two black orange", -4.0, 1.6, "x"), SILENT), SCOPE).judgement is ASK_BACK


def test_a_number_does_not_check_the_colours_of_the_far_side() -> None:
    """A misheard far side would be kept as checked, at the lower limits of what checks itself."""
    near = "five six two black orange"
    for words, judgement in ((near, ACCEPTED), (f"{near} to red blue", ASK_BACK)):
        assert judge((free(words, -1.0, 1.6, words, free_score=-1.0), SILENT), SCOPE).judgement is judgement


def test_number_and_colours_that_contradict_each_other_are_never_accepted() -> None:
    opinion = free("five six two black green", 0.0, 50.0, "five six two black green")
    assert judge((opinion, agreeing("five six two black green")), SCOPE).judgement is ASK_BACK
    offset = replace(SCOPE, offsets=frozenset({0, 24}))
    assert judge((opinion, agreeing("five six two black green")), offset).judgement is ACCEPTED


def test_two_sentences_of_one_meaning_count_together() -> None:
    opinion = scored(("grey white", -2.0), ("slate white", -2.0), ("green white", -5.0), free=-1.0)
    reading = reading_of(opinion, Meanings(SCOPE))
    assert reading.margin == pytest.approx(3.0 + 0.693, abs=0.01)
    assert reading.intent == reading_of(scored(("gray white", -1.0)), Meanings(SCOPE)).intent


def test_a_costly_entry_needs_a_larger_margin() -> None:
    rival = ("blue white", -4.5)
    assert judge((scored(("confirm", -1.0), rival, free=-1.0), SILENT), SCOPE).judgement is ASK_BACK
    assert judge((scored(("green red", -1.0), rival, free=-1.0), SILENT), SCOPE).judgement is ACCEPTED


def test_one_ear_without_scores_alone_always_asks_back() -> None:
    assert judge((agreeing("seven orange red"),), SCOPE).judgement is ASK_BACK


@pytest.mark.parametrize(("confidence", "judgement"), [(0.95, ACCEPTED), (0.5, IGNORED)])
def test_an_ear_with_word_confidence_needs_it_and_agreement(confidence: float, judgement: Judgement) -> None:
    first = Opinion(ear="vosk", candidates=(Candidate("green red", 0.0),), confidence=confidence)
    assert judge((first, agreeing("green red")), SCOPE).judgement is judgement
    assert judge((first,), SCOPE).judgement in (ASK_BACK, IGNORED)


def test_no_rival_is_the_largest_margin() -> None:
    assert reading_of(scored(("green red", -1.0)), Meanings(SCOPE)).margin == NO_RIVAL


LOUD = Circumstances(speech_s=1.0, over_floor_db=40.0)
NOISY = Circumstances(speech_s=1.0, over_floor_db=12.0)


@pytest.mark.parametrize(
    ("rival", "in_quiet", "in_noise"),
    [(0.9, ASK_BACK, ASK_BACK), (1.5, ACCEPTED, ASK_BACK), (2.1, ACCEPTED, ACCEPTED)],
)
def test_noise_asks_for_a_clearer_margin(rival: float, in_quiet: Judgement, in_noise: Judgement) -> None:
    opinions = (free("green red", -1.0, rival, "x", free_score=-1.0), agreeing("green red"))
    assert judge(opinions, SCOPE, circumstances=LOUD).judgement is in_quiet
    assert judge(opinions, SCOPE, circumstances=NOISY).judgement is in_noise


@pytest.mark.parametrize(("speech_s", "judgement"), [(2.6, ACCEPTED), (2.8, ASK_BACK)])
def test_words_that_leave_much_speech_unexplained_are_asked_back(speech_s: float, judgement: Judgement) -> None:
    """ "four eight five red grey" in noise came out as "purple brown", sure of itself, of 3.5 s of speech."""
    opinions = (scored(("green red", -1.0), ("brown red", -9.0), free=-1.0), SILENT)
    long = replace(LOUD, speech_s=speech_s)
    assert judge(opinions, SCOPE, circumstances=long).judgement is judgement


@pytest.mark.parametrize("words", ["brown yellow", "eight five", "eight five red grey"])
def test_in_noise_what_may_have_lost_its_beginning_needs_the_second_ear_or_a_clear_margin(words: str) -> None:
    """ "four four brown yellow" came out as "brown yellow" at 5 dB, 3.6 nats before anything else."""
    opinion = free(words, -1.0, 3.6, "x", free_score=-1.0)
    assert judge((opinion, SILENT), SCOPE, circumstances=NOISY).judgement is ASK_BACK
    assert judge((opinion, SILENT), SCOPE, circumstances=LOUD).judgement is ACCEPTED
    assert judge((opinion, agreeing(words)), SCOPE, circumstances=NOISY).judgement is ACCEPTED
    whole = free("four eight five red grey", -1.0, 3.6, "x", free_score=-1.0)
    assert judge((whole, SILENT), SCOPE, circumstances=NOISY).judgement is ACCEPTED


@pytest.mark.parametrize(
    ("words", "heard", "agrees"),
    [
        ("brown yellow", "brown yellow brown yellow", True),
        ("brown yellow", "Brown yellow, brown yellow, brow", True),
        ("brown yellow", "brown yellow, brown", True),
        ("say again", "say again say again", True),
        ("seven orange red", "seven orange red, seven", True),
        ("brown yellow", "brown yellow green", False),
        ("brown yellow", "brown yellow brown red", False),
        ("three seven", "three seven, three seven", False),
        ("three seven", "three seven three", False),
        ("five five", "five five five five", False),
    ],
)
def test_free_hearing_that_goes_round_agrees_with_what_it_says_once_but_for_numbers(
    words: str, heard: str, agrees: bool
) -> None:
    reading = reading_of(free(words, -6.0, 9.0, heard), Meanings(SCOPE))
    assert reading.free_agrees is agrees
    assert reading.likelihood_ratio == (0.0 if agrees else -6.0)


def test_a_figure_that_free_hearing_writes_is_a_figure_and_no_pair() -> None:
    """Typed, "7" means pair seven; heard, it is half of a string as well."""
    assert not reading_of(free("pair seven", -1.0, 9.0, "7."), Meanings(SCOPE)).free_agrees
    assert reading_of(free("pair seven", -1.0, 9.0, "Pair 7."), Meanings(SCOPE)).free_agrees


def test_every_word_sequence_is_parsed_once_an_utterance(monkeypatch: pytest.MonkeyPatch) -> None:
    parsed: list[str] = []

    def counting(text: str, scope: Scope) -> Parsed:
        parsed.append(text)
        return parse(text, scope)

    monkeypatch.setattr(evidence, "parse", counting)
    first = scored(("green red", -1.0), ("brown red", -2.0), ("green red", -3.0), ("green, red", -4.0))
    first = replace(first, free_words="Green red, green red.")
    judge((first, agreeing("green red"), agreeing("brown red")), SCOPE)
    assert sorted(parsed) == ["brown red", "green red", "green red green red"]


@pytest.mark.parametrize("intent", sorted(COSTLY_INTENTS, key=lambda intent: intent.__name__))
def test_each_entry_that_changes_the_record_without_naming_a_pair_needs_the_larger_margin(intent: type[Intent]) -> None:
    words = COSTLY_WORDS[intent]
    scope = replace(SCOPE, intents=ALL_INTENTS)
    assert isinstance(reading_of(scored((words, -1.0)), Meanings(scope)).intent, intent)
    for rival, judgement in ((3.9, ASK_BACK), (4.1, ACCEPTED)):
        opinion = scored((words, -1.0), ("green red", -1.0 - rival), free=-1.0)
        assert judge((opinion, SILENT), scope).judgement is judgement


COSTLY_WORDS: dict[type[Intent], str] = {
    say.Confirm: "confirm that",
    say.UndoThat: "undo that",
    say.SkipPair: "skip this pair",
    say.MarkFault: "mark open",
    say.JoinedFaulty: "joined but wet",
    say.ClearFault: "clear open",
    say.Redo: "redo pair four seven",
    say.ConfirmModule: "confirm module",
    say.PassedTest: "test good",
    say.FailedTest: "test bad",
    say.GroupGood: "group good",
    say.GoToCable: "go to cable two",
    say.GoTo: "go to pair four seven",
    say.HoldOn: "hold on",
    say.Finish: "finish session",
    say.StopForToday: "stop for today",
    say.Yes: "yes",
}
"""What is costly, as the safety of the record wants it: losing one of these is a decision, not a slip."""


def test_the_costly_entries_are_these() -> None:
    assert set(COSTLY_WORDS) == COSTLY_INTENTS


@pytest.mark.parametrize(("lower", "judgement"), [(1.9, ACCEPTED), (2.1, ASK_BACK), (4.9, ASK_BACK), (5.1, IGNORED)])
def test_what_is_less_likely_than_free_hearing_is_asked_back_and_then_ignored(
    lower: float, judgement: Judgement
) -> None:
    opinion = free("green red", -1.0 - lower, 20.0, "x", free_score=-1.0)
    assert judge((opinion, agreeing("green red")), SCOPE, circumstances=LOUD).judgement is judgement


def test_what_is_asked_back_has_its_words_and_meaning_and_what_is_ignored_has_none() -> None:
    asked = judge((scored(("seven", -1.0), free=-1.0),), SCOPE)
    assert (asked.words, asked.intent) == ("seven", say.BareNumber(7))
    ignored = judge((scored(("green red", -20.0), free=-1.0),), SCOPE)
    assert (ignored.words, ignored.intent) == ("", None)


@pytest.mark.parametrize(
    ("words", "heard", "lower", "judgement"),
    [
        ("green red", "x", 11.9, ACCEPTED),
        ("green red", "x", 12.1, ASK_BACK),
        ("green red", "Green red, green red.", 20.0, ACCEPTED),
        ("undo that", "and do that", 7.9, ACCEPTED),
        ("undo that", "and do that", 8.1, ASK_BACK),
    ],
)
def test_what_only_the_fit_hears_is_asked_back(words: str, heard: str, lower: float, judgement: Judgement) -> None:
    """A fitted ear hears our words in "vicar" and "nets"; the model as it came does not."""
    unfitted = UnfittedHearing(free_words=heard, free_score=-2.0, best_score=-2.0 - lower)
    opinion = replace(free(words, -1.0, 20.0, words), ear="fitted", unfitted=unfitted)
    assert judge((opinion, agreeing(words)), SCOPE, circumstances=LOUD).judgement is judgement


@pytest.mark.parametrize("quiet", [True, False])
@pytest.mark.parametrize(
    ("words", "second_agrees", "in_quiet", "in_noise"),
    [
        ("where am i", False, 3.0, 3.0),
        ("where am i", True, 1.0, 2.0),
        ("green red", False, 3.0, 4.5),
        ("green red", True, 1.0, 2.0),
        ("undo that", False, 4.0, 4.0),
        ("undo that", True, 2.0, 2.0),
        ("five six two black orange", False, 1.5, 1.5),
        ("five six two black orange", True, 0.7, 0.7),
        ("six two black orange", False, 3.0, 4.5),
    ],
)
def test_each_kind_of_entry_needs_its_margin_and_not_a_tenth_less(
    words: str, second_agrees: bool, in_quiet: float, in_noise: float, quiet: bool
) -> None:
    """The table of thresholds as it was measured; see `verdict` for where."""
    margin = in_quiet if quiet else in_noise
    second = agreeing(words) if second_agrees else SILENT
    for rival, judgement in ((margin - 0.1, ASK_BACK), (margin + 0.1, ACCEPTED)):
        opinion = free(words, -1.0, rival, "x", free_score=-1.0)
        assert judge((opinion, second), SCOPE, circumstances=LOUD if quiet else NOISY).judgement is judgement


@pytest.mark.parametrize(
    ("words", "ratio"), [("where am i", -2.0), ("undo that", -2.0), ("five six two black orange", -4.0)]
)
@pytest.mark.parametrize("quiet", [True, False])
def test_each_kind_of_entry_needs_its_likelihood_ratio(words: str, ratio: float, quiet: bool) -> None:
    for lower, judgement in ((ratio - 0.1, ASK_BACK), (ratio + 0.1, ACCEPTED)):
        opinion = free(words, lower, 30.0, "x")
        assert judge((opinion, agreeing(words)), SCOPE, circumstances=LOUD if quiet else NOISY).judgement is judgement


def test_where_quiet_begins() -> None:
    opinions = (free("green red", -1.0, 1.5, "x", free_score=-1.0), agreeing("green red"))
    for over_floor_db, judgement in ((25.0, ACCEPTED), (24.9, ASK_BACK)):
        found = judge(opinions, SCOPE, circumstances=replace(LOUD, over_floor_db=over_floor_db))
        assert found.judgement is judgement


@pytest.mark.parametrize(("confidence", "judgement"), [(0.7, ACCEPTED), (0.69, IGNORED)])
def test_the_least_word_confidence(confidence: float, judgement: Judgement) -> None:
    first = Opinion(ear="vosk", candidates=(Candidate("green red", 0.0),), confidence=confidence)
    assert judge((first, agreeing("green red")), SCOPE).judgement is judgement


def test_a_reading_without_a_meaning_says_so() -> None:
    nothing = reading_of(scored(("no sentence of ours", -1.0), free=-1.0), Meanings(SCOPE))
    assert (nothing.intent, nothing.words, nothing.margin, nothing.likelihood_ratio) == (None, "", 0.0, -NO_RIVAL)


def test_the_words_of_a_meaning_are_those_of_its_likeliest_sentence() -> None:
    reading = reading_of(scored(("grey white", -3.0), ("slate white", -1.0), free=-2.0), Meanings(SCOPE))
    assert (reading.words, reading.likelihood_ratio) == ("slate white", 0.0), "more likely than free hearing is no more"


def test_what_changes_the_record_needs_a_second_ear_beside_the_fitted_one() -> None:
    """Its free hearing shares the fit, and is none."""
    unfitted = UnfittedHearing(free_words="undo that", free_score=-2.0, best_score=-2.0)
    sure = replace(free("undo that", -1.0, 50.0, "undo that", free_score=-1.0), ear="fitted", unfitted=unfitted)
    assert judge((sure, agreeing("undo that")), SCOPE).judgement is ACCEPTED
    assert judge((sure, agreeing("green red")), SCOPE).judgement is ASK_BACK
    assert judge((sure,), SCOPE).judgement is ASK_BACK
    assert judge((replace(sure, ear="whisper"),), SCOPE).judgement is ACCEPTED


@pytest.mark.parametrize(("circumstances", "margin"), [(LOUD, 2.0), (NOISY, 3.0)])
def test_the_fitted_ear_needs_a_nat_more_where_the_second_agrees(circumstances: Circumstances, margin: float) -> None:
    """ "pear tree" led by 1.2 nats in quiet, "borderline" by 2.7 at 5 dB, both with the second ear."""
    for rival, judgement in ((margin - 0.1, ASK_BACK), (margin + 0.1, ACCEPTED)):
        opinion = replace(free("green red", -1.0, rival, "x", free_score=-1.0), ear="fitted")
        assert judge((opinion, agreeing("green red")), SCOPE, circumstances=circumstances).judgement is judgement


@pytest.mark.parametrize(
    ("score", "over_floor_db", "judgement"),
    [(-1.0, 12.0, ACCEPTED), (-1.8, 12.0, ASK_BACK), (-1.8, 40.0, ACCEPTED)],
)
def test_in_noise_a_meaning_that_the_fitted_ear_finds_improbable_is_asked_back(
    score: float, over_floor_db: float, judgement: Judgement
) -> None:
    """ "Visual" at 5 dB: "three zero" led by 5.8 nats and was what free hearing came to, at a probability of 0.17."""
    leading = Opinion(
        ear="fitted",
        candidates=(Candidate("three zero", score), Candidate("three three zero", score - 5.8)),
        free_words="three zero",
        free_score=score,
        unfitted=UnfittedHearing(free_words="please help", free_score=-7.6, best_score=-6.6),
    )
    about = Circumstances(speech_s=0.6, over_floor_db=over_floor_db)
    assert judge((leading, agreeing("three zero")), SCOPE, circumstances=about).judgement is judgement


def test_number_and_colours_that_check_each_other_may_be_less_probable() -> None:
    leading = Opinion(
        ear="fitted",
        candidates=(Candidate("one two seven orange white", -1.8),),
        free_words="one two seven orange white",
        free_score=-1.8,
    )
    about = Circumstances(speech_s=2.0, over_floor_db=12.0)
    verdict = judge((leading, agreeing("one two seven orange white")), SCOPE, circumstances=about)
    assert verdict.judgement is ACCEPTED


def test_the_sentences_of_one_meaning_are_probable_together() -> None:
    opinion = scored(("grey red", -1.5), ("gray red", -1.5))
    assert reading_of(opinion, Meanings(SCOPE)).certainty == pytest.approx(-1.5 + 0.693, abs=0.01)
