"""Accepted, asked back or ignored: the one judgement on what the ears say of an utterance.

All thresholds stand here, each with where it was measured. They are the same for every pair:
nothing here may know which pair is expected.
"""

from dataclasses import dataclass
from enum import Enum
from typing import TypeGuard

from assistant.cable.colour_code import PAIRS_PER_GROUP, position_of
from assistant.hearing.evidence import Meanings, Reading, reading_of
from assistant.hearing.tuning import UNTUNED, Tuning
from assistant.ports import Opinion
from assistant.words import intents as say
from assistant.words.intents import Intent
from assistant.words.vocabulary import Scope


class Judgement(Enum):
    """What becomes of an utterance."""

    ACCEPTED = "accepted"
    ASK_BACK = "ask back"
    IGNORED = "ignored"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The judgement on one utterance with all that led to it."""

    judgement: Judgement
    words: str
    """The sentence accepted or asked back; empty where there is none worth asking about."""
    intent: Intent | None
    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """Limits in nats; measured on human and synthetic voices in quiet and at 10 dB of noise."""

    likelihood_ratio: float
    """Least log likelihood ratio against free hearing."""
    margin_alone: float
    """Least margin to the second meaning for the first ear alone."""
    margin_agreed: float
    """Least margin where the second ear finds the same meaning."""


USUAL = Thresholds(likelihood_ratio=-2.0, margin_alone=3.0, margin_agreed=1.0)
"""292 human calls each on recorded evidence, the second ear choosing. A margin of 1 where it agrees: in quiet 95.5 %
right, 0 wrong, at 5 dB 71.2 % and 7. A margin of 2: in quiet 92.8 %, at 5 dB 68.8 % and 4. Hence the two."""
USUAL_IN_NOISE = Thresholds(likelihood_ratio=-2.0, margin_alone=3.0, margin_agreed=2.0)
FITTED = Thresholds(likelihood_ratio=-2.0, margin_alone=3.0, margin_agreed=2.0)
FITTED_IN_NOISE = Thresholds(likelihood_ratio=-2.0, margin_alone=3.0, margin_agreed=3.0)
"""For the fitted ear, whose margins are wider. On recorded evidence a nat more, in quiet and in noise, costs one right
call of 200 and refuses two of five pieces of talk that were accepted ("pear tree", "borderline" at 5 dB)."""
TAIL_MARGIN_IN_NOISE = 4.5
"""For what may be the end of a longer call (colours alone, a number that is shorter than the cable's), which the
second ear does not choose. 292 human calls at 5 dB: one of two wrong entries less, for 6 right ones of 194."""
QUIET_DB = 25.0
"""Level over the floor from which it is quiet. 292 human calls each: in quiet 95 % lie above 40, of those at 10 dB
of noise 90 % below 33 and 75 % below 19."""
COSTLY = Thresholds(likelihood_ratio=-2.0, margin_alone=4.0, margin_agreed=2.0)
"""The same run: two thirds of the remaining chatter goes, for a tenth of the right ones."""
CODED = Thresholds(likelihood_ratio=-4.0, margin_alone=1.5, margin_agreed=0.7)
"""For a number of full length whose colours agree with it: the two check each other. 292 human calls, tried on
recorded evidence: in quiet 91.4 to 92.1 % right, at 10 dB 68.8 to 73.3 %, wrong 0 and 1 as without it. That free
hearing counts as agreement brought 93.2 % and 76.4 %, again 0 and 1 wrong."""
COSTLY_INTENTS: frozenset[type[Intent]] = frozenset(
    {
        *(say.Confirm, say.UndoThat, say.SkipPair, say.MarkFault, say.JoinedFaulty, say.ClearFault, say.Redo),
        *(say.ConfirmModule, say.PassedTest, say.GoTo, say.GoToCable, say.HoldOn, say.Finish, say.Yes),
        *(say.FailedTest, say.GroupGood, say.StopForToday),
    }
)
"""Entries that change the record without naming a pair, or move the place."""
LIKELIHOOD_RATIO_TO_ASK = -5.0
"""Worse than this the utterance is taken for talk that was not meant for us. That a second ear chooses the same
tells nothing here: with it 45 of 180 pieces of talk in quiet were asked back, 22 without."""
MOST_S_PER_WORD, MOST_S_MORE = 1.2, 0.3
"""An utterance with speech for longer than this had words that were not understood, and is asked back. Of the right
ones at 10 dB 95 % take up to 0.93 s a word; of the four wrong ones that had lost their figures all took over 1.3."""
UNFITTED_RATIO, UNFITTED_RATIO_COSTLY = -12.0, -8.0
"""Least ratio that the model as it came gives the sentence of the fitted ear, which leans towards our words: whether
this is a call at all must not be judged by the fit alone. Of 208 right calls on recorded evidence 4 are asked back by
it; -8 and -5 asked 12 back. Talk of that evidence is refused by the fitted ear's own ratio already."""
LEAST_CERTAINTY_IN_NOISE = -1.2
"""Least log probability that the fitted ear gives a meaning in noise, if number and colours do not check each other:
at less than 0.3 it hears words most likely that are not ours, though none of them alone is likelier. On recorded
evidence no right call of 120 in noise falls below, and the one piece of talk of 180 that was accepted at 5 dB does
("visual" as "three zero", 0.17), with two of three numbers that were cut in the middle of a call at 10 dB."""
CONFIDENCE_TO_ASK = 0.7
"""Least word confidence of an ear that gives one; a judgement, not measured with an English model."""

FITTED_EAR = "fitted"
"""Its margins and ratios come of one fit, so that entries of COSTLY_INTENTS need a second ear that chooses the same. On
recorded evidence that one chooses the leading ear's meaning in 192 of 226 right calls, and in 9 of 77 misheard ones."""
SCORING_EARS = frozenset({"whisper", FITTED_EAR})
"""Ears whose margins and likelihood ratios were measured and may accept alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What is known of an utterance besides the opinions of the ears."""

    speech_s: float = 0.0
    """Time from the first speech to the last."""
    over_floor_db: float = 99.0
    """Level of its loud parts over the floor."""


IDEAL = Circumstances()


def judge(
    opinions: tuple[Opinion, ...],
    scope: Scope,
    tuning: Tuning = UNTUNED,
    circumstances: Circumstances = IDEAL,
) -> Verdict:
    """Judge one utterance; the first opinion leads, a second one can only support it.

    An ear that gives no usable scores never accepts alone: it asks back, and it accepts together
    with a second ear that found the same meaning.
    """
    meanings = Meanings(scope)
    readings = tuple(reading_of(opinion, meanings) for opinion in opinions)
    first, others = readings[0], readings[1:]
    agreed = first.intent is not None and any(other.intent == first.intent for other in others)
    judgement = Judgement.IGNORED
    if first.intent is not None:
        scoring = first.ear in SCORING_EARS
        quiet = circumstances.over_floor_db >= QUIET_DB
        judgement = _judge_unscored(first, agreed)
        if scoring:
            judgement = _judge_scored(first, scope, tuning, second_agrees=agreed, quiet=quiet)
        longest_s = MOST_S_PER_WORD * len(first.words.split()) + MOST_S_MORE
        doubtful = circumstances.speech_s > longest_s or not _may_be_accepted(first.intent, scope)
        doubtful = doubtful or _only_the_fit_hears_it(first, second_agrees=agreed)
        if judgement is Judgement.ACCEPTED and doubtful:
            judgement = Judgement.ASK_BACK
    words = "" if judgement is Judgement.IGNORED else first.words
    intent = None if judgement is Judgement.IGNORED else first.intent
    return Verdict(judgement=judgement, words=words, intent=intent, readings=readings)


def _only_the_fit_hears_it(reading: Reading, *, second_agrees: bool) -> bool:
    """Tell whether nothing but the fitted model speaks for the sentence.

    That is so where the model as it came finds it far less likely than what it hears itself, and, for an entry that
    changes the record without naming a pair, where the second ear does not choose it.
    """
    if reading.ear != FITTED_EAR:
        return False
    costly = type(reading.intent) in COSTLY_INTENTS
    least = UNFITTED_RATIO_COSTLY if costly else UNFITTED_RATIO
    unlikely = reading.unfitted_ratio is not None and reading.unfitted_ratio < least
    return unlikely or (costly and not second_agrees)


def _may_be_accepted(intent: Intent, scope: Scope) -> bool:
    """Refuse a bare number, and a number and colours that contradict each other: most likely one was misheard."""
    if isinstance(intent, say.BareNumber):
        return False
    return not _is_coded(intent) or agrees_with_itself(intent, scope)


def _is_coded(intent: Intent | None) -> TypeGuard[say.CallPair]:
    return isinstance(intent, say.CallPair) and intent.number is not None and intent.colours is not None


def _is_colours_alone(intent: Intent | None) -> bool:
    return isinstance(intent, say.CallPair) and intent.number is None and intent.colours is not None


def agrees_with_itself(call: say.CallPair, scope: Scope) -> bool:
    """Tell whether number and colours can be of one pair, in any count of the cables in hand."""
    assert call.number is not None
    assert call.colours is not None
    position = position_of(call.colours)
    return any((call.number - offset - 1) % PAIRS_PER_GROUP + 1 == position for offset in scope.offsets)


def _may_have_lost_figures(intent: Intent | None, scope: Scope) -> bool:
    """Tell whether a number is shorter than the cable allows: it may be a longer one cut at either end."""
    return isinstance(intent, say.CallPair) and intent.number is not None and len(str(intent.number)) < scope.digits


def _judge_scored(reading: Reading, scope: Scope, tuning: Tuning, *, second_agrees: bool, quiet: bool) -> Judgement:
    short = _may_have_lost_figures(reading.intent, scope)
    fitted = reading.ear == FITTED_EAR
    usual = (FITTED if fitted else USUAL) if quiet else (FITTED_IN_NOISE if fitted else USUAL_IN_NOISE)
    limits = COSTLY if type(reading.intent) in COSTLY_INTENTS else usual
    may_be_a_tail = short or _is_colours_alone(reading.intent)
    agreed = second_agrees or (reading.free_agrees and not may_be_a_tail)
    if _is_coded(reading.intent):
        whole = not short and reading.intent.far is None  # colours of a far side are checked by no number
        limits = CODED if whole and agrees_with_itself(reading.intent, scope) else usual
        agreed = second_agrees
    margin = limits.margin_agreed if agreed else limits.margin_alone
    if not quiet and not agreed and may_be_a_tail:
        margin = max(margin, TAIL_MARGIN_IN_NOISE)
    margin += tuning.extra_margin(reading.words)
    ratio = min(limits.likelihood_ratio, tuning.likelihood_ratio)
    uncertain = fitted and not quiet and limits is not CODED and reading.certainty < LEAST_CERTAINTY_IN_NOISE
    if reading.likelihood_ratio >= ratio and reading.margin >= margin and not uncertain:
        return Judgement.ACCEPTED
    if reading.likelihood_ratio >= LIKELIHOOD_RATIO_TO_ASK:
        return Judgement.ASK_BACK
    return Judgement.IGNORED


def _judge_unscored(reading: Reading, agreed: bool) -> Judgement:
    if reading.confidence is not None and reading.confidence < CONFIDENCE_TO_ASK:
        return Judgement.IGNORED
    return Judgement.ACCEPTED if agreed else Judgement.ASK_BACK
