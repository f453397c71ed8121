"""Rules for modules: pairs are called out to the splicer at a pace."""

from assistant.cable.splice_plan import Joint, JointNumber
from assistant.dialogue import sentences, wording
from assistant.dialogue.messages import (
    CalledOut,
    CallingDropped,
    Check,
    Missed,
    PaceSet,
    PairConfirmed,
    StartTimer,
    Step,
)
from assistant.dialogue.rules import following
from assistant.dialogue.rules.entry import Entry, announce, announce_again, put, tell, then
from assistant.dialogue.state import State, evolve, fold
from assistant.words import intents as say

USUAL_PACE_S = 3.0
PACE_STEP = 1.25
QUICKEST_S, SLOWEST_S = 0.5, 20.0


def call_out(state: State, _: Entry) -> Step:
    """Begin to call the pairs of the module out."""
    made = state.expected_joint
    if made is None:
        return announce(state)
    module = _not_called(state, made) if state.pace_s else _to_call(state, made)
    if not module:
        return announce_again(state, sentences.NOTHING_CALLED_OUT())
    pace = state.pace_s or USUAL_PACE_S
    begun = Step((PaceSet(pace),)) + tell(wording.calling_out(state, len(module), pace, _protected(state, made)))
    return begun + Step(effects=(StartTimer(pace, module[0].number),))


def call_next(state: State, joint: JointNumber) -> Step:
    """Call the pair whose turn it is, and set the timer for the one after it; the last one ends it.

    What was joined or marked since the timer was set is passed over.
    """
    stopped = not state.pace_s or state.held or state.question is not None
    if stopped or joint in state.called_out:  # two timers may run for one pair
        return Step()
    made = state.plan.by_number[joint]
    waiting = _not_called(state, made)
    if not waiting:
        return _all_called(state)
    if made not in waiting:
        return call_next(state, waiting[0].number)
    fact = CalledOut(joint)
    called = Step((fact,)) + put(evolve(state, fact), wording.called_out(state, made))
    if len(waiting) > 1:
        return called + Step(effects=(StartTimer(state.pace_s, waiting[1].number),))
    return called + _all_called(fold(called.facts, state))


def _to_call(state: State, made: Joint) -> list[Joint]:
    """Give the pairs of the module from this one on that may be called out: a protected one is called by itself."""
    return [j for j in state.module_of(made) if not j.protect]


def _protected(state: State, made: Joint) -> list[Joint]:
    return [j for j in state.module_of(made) if j.protect]


def _not_called(state: State, made: Joint) -> list[Joint]:
    """Give the pairs of the module from this one on that wait to be called out."""
    return [j for j in _to_call(state, made) if j.number not in state.called_out]


def _all_called(state: State) -> Step:
    ended = PaceSet(0.0)
    after = fold((ended,), state)
    return Step((ended,)) + announce_again(after)


def change_pace(state: State, entry: Entry) -> Step:
    """Call faster or slower."""
    if not state.pace_s:
        return tell(sentences.NOTHING_CALLED_OUT())
    factor = 1 / PACE_STEP if isinstance(entry.intent, say.Faster) else PACE_STEP
    pace = round(min(SLOWEST_S, max(QUICKEST_S, state.pace_s * factor)), 1)
    return Step((PaceSet(pace),)) + tell(wording.pace(pace)) + resume_pace(state)


def resume_pace(state: State) -> Step:
    """Set the timer again for the next pair that was not called out yet; with none left, the calling ends."""
    made = state.expected_joint
    if not state.pace_s or made is None:
        return Step()
    waiting = _not_called(state, made)
    return Step(effects=(StartTimer(state.pace_s, waiting[0].number),)) if waiting else _all_called(state)


def confirm_module(state: State, entry: Entry) -> Step:
    """Confirm all pairs that were called out, in one entry; protected ones are left to be called by themselves."""
    safe = [state.plan.by_number[number] for number in state.called_out if not state.plan.by_number[number].protect]
    if not safe:
        return announce_again(state, sentences.NOTHING_CALLED_OUT())
    left_out = _protected(state, safe[0])
    facts = [
        PairConfirmed(
            pair=made.number, how=Check.MODULE, by=entry.by, asked_back=entry.asked_back, same_entry=made is not safe[0]
        )
        for made in safe
    ]
    told_of = safe[-1]
    return then(
        state,
        PaceSet(0.0),
        *facts,
        told=lambda s: wording.module_confirmed(s, safe, left_out),
        before=told_of,
    )


def undo(state: State, entry: Entry) -> Step:
    """Take back the last entry since the calling began; without one, the calling itself, of which nothing is logged."""
    if state.entries_since_calling or state.kept_last:
        return following.undo(state, entry)
    return then(state, CallingDropped(), told=lambda _: sentences.CALLING_DROPPED())


def nothing_called_out(state: State, _: Entry) -> Step:
    """Refuse to confirm a module of which nothing was called out."""
    return Step((Missed("not now"),)) + announce_again(state, sentences.NOTHING_CALLED_OUT())


def say_confirm_module(state: State, _: Entry) -> Step:
    """Refuse an entry without a pair while pairs are called out: which of them was meant cannot be known."""
    return Step((Missed("not now"),)) + tell(sentences.SAY_CONFIRM_MODULE())
