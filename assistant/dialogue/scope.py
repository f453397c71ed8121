"""What can be said, typed or keyed in a state: to the recognisers, the parser and the help alike.

Never depends on which pair is expected: a misheard word that equals the expected pair is the worst error there is.
"""

from dataclasses import replace

from assistant.dialogue.modes import MUST_BE_ANSWERED
from assistant.dialogue.rules import session
from assistant.dialogue.state import State
from assistant.dialogue.table import CLOSED, TABLE
from assistant.words import intents as say
from assistant.words.intents import Intent
from assistant.words.vocabulary import Scope

_NOT_IN_QUESTIONS: frozenset[type[Intent]] = frozenset(
    {
        say.Confirm,
        say.UndoThat,
        say.HoldOn,
        say.PassedTest,
        say.FailedTest,
        say.GroupGood,
        say.ConfirmModule,
        say.CarryOn,
    }
)
"""They share their keys with yes and no, or sound like them."""


def scope_of(state: State) -> Scope:
    """Give what is listened for."""
    base = TABLE[state.base_mode].cells
    if state.question is not None:
        open_now = {intent for intent, cell in base.items() if cell not in CLOSED} - _NOT_IN_QUESTIONS
        open_now |= {say.Yes, say.No}
    else:
        open_now = {intent for intent, cell in TABLE[state.mode].cells.items() if cell not in CLOSED}
    groups = max(end.cable.groups for end in state.plan.ends)
    open_now -= _without_use(state, groups)
    return Scope(
        intents=frozenset(open_now),
        digits=max(2, len(str(_largest_number(state)))),
        groups=groups > 1,
        super_units=any(end.cable.super_units > 1 for end in state.plan.ends),
        service=any(end.cable.service_pairs for end in state.plan.ends),
        both_ends=state.plan.sides_differ,
        offsets=frozenset(offset for end in state.plan.ends for offset in end.offsets),
    )


def told_scope_of(state: State) -> Scope:
    """Give what help tells of: a question before the work takes no entry but its answer, whatever is listened for."""
    scope = scope_of(state)
    if state.mode not in MUST_BE_ANSWERED:
        return scope
    cells = TABLE[state.mode].cells
    return replace(scope, intents=frozenset(i for i in scope.intents if cells[i] is not session.ask_check_again))


def _without_use(state: State, groups: int) -> set[type[Intent]]:
    """Give the intents that this session cannot use; fewer open sentences are heard more surely."""
    unused: set[type[Intent]] = set() if groups > 1 else {say.CallGroup}
    if len(state.plan.ends) == 1:
        unused.add(say.GoToCable)
        if state.settings.any_order and groups == 1:
            unused.add(say.GoTo)
    if not state.pace_s:
        unused |= {say.Faster, say.Slower}
    if not state.called_out:
        unused.add(say.ConfirmModule)
    return unused


def _largest_number(state: State) -> int:
    """Give the largest number by which a pair of any end is called; the same whichever pair is expected."""
    return max(max([end.cable.pairs, *(count.run.last for count in end.counts)]) for end in state.plan.ends)


def typed_scope_of(state: State) -> Scope:
    """Give what is understood when typed: numbers of any length, so that none is misread."""
    return Scope(intents=scope_of(state).intents | {say.CallGroup})


def key_scope_of(state: State) -> Scope:
    """Give what is understood when keyed; a module is not confirmed by a key while its pairs are still called."""
    scope = typed_scope_of(state)
    return replace(scope, intents=scope.intents - {say.ConfirmModule}) if state.pace_s else scope
