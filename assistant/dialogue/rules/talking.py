"""Rules for how the assistant talks: how much, how fast, how loud, and when a pair is read back."""

from dataclasses import replace

from assistant.cable.splice_plan import Joint
from assistant.dialogue import sentences, wording
from assistant.dialogue.messages import Check, Ends, PairConfirmed, Said, Speak, Step, Talk, TalkSet
from assistant.dialogue.modes import Mode
from assistant.dialogue.rules.entry import Entry, announce, tell
from assistant.dialogue.state import State, evolve
from assistant.words import intents as say
from assistant.words.intents import TalkWish

SLOWEST, FASTEST = 120, 250
"""Words a minute: 120 for numbers to be copied; at 250 transcription is clearly worse (Human Factors 30(6), 1988)."""
RATE_STEP = 1.15
SOFTEST, LOUDEST = 25, 400
"""Percent; never down to silence (MIL-STD-1472E)."""
LOUDNESS_STEP = 1.41
_SURE = (Check.NUMBER_AND_COLOURS, Check.COLOURS)
"""Ways of naming a pair that need no read-back where the work goes on plainly."""


def change_talk(state: State, entry: Entry) -> Step:
    """Talk differently, and say so in the new way."""
    intent = entry.intent
    assert isinstance(intent, say.ChangeTalk)
    now = TalkSet(state.talk, state.words_a_minute, state.loudness)
    wanted = _wanted(now, intent.wish)
    changes_talk = intent.wish in (TalkWish.BRIEF, TalkWish.FULL)
    if wanted == now and not changes_talk:
        return tell(sentences.TALK_AT_ITS_END())
    return Step((wanted,)) + tell(wording.talk_changed(intent.wish, wanted))


def _wanted(now: TalkSet, wish: TalkWish) -> TalkSet:
    match wish:
        case TalkWish.BRIEF:
            return replace(now, talk=Talk.BRIEF)
        case TalkWish.FULL:
            return replace(now, talk=Talk.FULL)
        case TalkWish.FASTER | TalkWish.SLOWER:
            factor = RATE_STEP if wish is TalkWish.FASTER else 1 / RATE_STEP
            rate = round(now.words_a_minute * factor)
            return replace(now, words_a_minute=min(FASTEST, max(SLOWEST, rate)))
        case TalkWish.LOUDER | TalkWish.SOFTER:
            factor = LOUDNESS_STEP if wish is TalkWish.LOUDER else 1 / LOUDNESS_STEP
            return replace(now, loudness=min(LOUDEST, max(SOFTEST, round(now.loudness * factor))))


def confirmed(state: State, fact: PairConfirmed, made: Joint) -> Step:
    """Let a pair be confirmed; read it back and announce the next one, or in brief talk only announce that."""
    after = evolve(state, fact)
    if not _goes_on_plainly(state, after, fact, made):
        return Step((fact,)) + announce(after, wording.confirmed(after, made, fact.ends), before=made)
    text = wording.next_in_brief(after, made)
    return Step((fact, Said(text)), (Speak(text, after.announcement, tone=True),))


def _goes_on_plainly(state: State, after: State, fact: PairConfirmed, made: Joint) -> bool:
    """Tell whether brief talk may do without the read-back.

    The pair was called surely and is in order, nothing came between it and the one before, and the next one is
    further on in the same group and nothing is to be said of it but its name.
    """
    if state.talk is not Talk.BRIEF or state.reads_back or fact.asked_back or fact.how not in _SURE or made.protect:
        return False
    if fact.ends is Ends.FAR:
        return False
    following = after.expected_joint
    if state.mode is not Mode.FOLLOWING or following is None or following.protect or after.of(made.number).faults:
        return False
    further = state.plan.turn[following.number] > state.plan.turn[made.number]
    return further and after.of(following.number).fresh and not wording.on_the_way(after, made, following)
