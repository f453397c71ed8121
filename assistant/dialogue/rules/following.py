"""Rules that follow the plan: confirm, mark, skip, move and take back."""

from assistant.cable.makeup import Address
from assistant.cable.splice_plan import Joint, Place
from assistant.dialogue import wording
from assistant.dialogue.messages import (
    Answered,
    Asked,
    Channel,
    Check,
    FaultCleared,
    FaultMarked,
    JoinProtected,
    Mismatch,
    MovedTo,
    PairConfirmed,
    PairSkipped,
    Reopened,
    Step,
    Undone,
)
from assistant.dialogue.resolve import (
    Disagreement,
    Groups,
    Nothing,
    Pairs,
    TheGroup,
    ThePair,
    resolve_group,
    resolve_pair,
)
from assistant.dialogue.rules.entry import Entry, tell, then
from assistant.dialogue.rules.joints import in_turn, joint_called, joint_named
from assistant.dialogue.state import State
from assistant.words import intents as say
from assistant.words.intents import CallGroup, CallPair, Intent


def call_pair(state: State, entry: Entry) -> Step:
    """Compare a called pair with the expected one: confirm it, or say both."""
    call = entry.intent
    assert isinstance(call, CallPair)
    if state.any_order:
        named = joint_named(state, call)
        if named is not None and state.of(named.number).left:
            return _confirm(state, entry, named, _check_of(call))
    match resolve_pair(call, state.end_in_work, state.group):
        case ThePair(address) if (made := _expected_at(state, address)) is not None:
            return _confirm(state, entry, made, _check_of(call))
        case ThePair(address):
            told = wording.mismatch(state, address)
            return _mismatch(state, entry, (address.pair,), told)
        case Pairs(addresses) as several:
            told = f"{wording.NOT_LOGGED} {wording.answer_many(several, state)}"
            return _mismatch(state, entry, tuple(a.pair for a in addresses), told)
        case Disagreement(number, _, other) as disagreement:
            heard = (number.pair,) if other is None else (number.pair, other)
            return _mismatch(state, entry, heard, wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            told = f"{wording.NOT_LOGGED} {wording.nothing(nothing, call, state.end_in_work)} {wording.expected(state)}"
            return _mismatch(state, entry, (), told)


def contradicts_itself(state: State, intent: Intent) -> bool:
    """Tell whether a call's number and colours are of two pairs; nothing is logged of it, whoever heard it."""
    if not isinstance(intent, CallPair):
        return False
    return isinstance(resolve_pair(intent, state.end_in_work, state.group), Disagreement)


def _expected_at(state: State, address: Address) -> Joint | None:
    """Give the expected joint if this is the pair that is to be called for it."""
    made = state.expected_joint
    return made if made is not None and made.lead == Place(state.end, address.pair) else None


def _check_of(call: CallPair) -> Check:
    if call.number is None:
        return Check.COLOURS
    return Check.NUMBER if call.colours is None else Check.NUMBER_AND_COLOURS


def _confirm(state: State, entry: Entry, made: Joint, how: Check) -> Step:
    if made.protect:
        asked = Asked(JoinProtected(joint=made.number, how=how, by=entry.by, asked_back=entry.asked_back))
        return Step((asked,)) + tell(wording.join_protected(state, made))
    fact = PairConfirmed(pair=made.number, how=how, by=entry.by, asked_back=entry.asked_back)
    return then(state, fact, told=lambda s: wording.confirmed(s, made))


def join_protected(state: State, question: JoinProtected) -> Step:
    """Confirm a protected pair after all."""
    made = state.plan.by_number[question.joint]
    fact = PairConfirmed(
        pair=made.number, how=question.how, by=question.by, asked_back=question.asked_back, protected=made.protect
    )
    return then(state, Answered(yes=True), fact, told=lambda s: wording.confirmed(s, made))


def _mismatch(state: State, entry: Entry, heard: tuple[int, ...], told: str) -> Step:
    made = state.expected_joint
    expected = None if made is None else made.lead.position
    return Step((Mismatch(expected=expected, heard=heard, call=entry.call),)) + tell(told)


def confirm(state: State, entry: Entry) -> Step:
    """Confirm the expected pair, which was not named; kept as the weakest kind."""
    made = state.expected_joint
    if made is None:
        return tell(wording.expected(state))
    how = Check.KEY if entry.by is Channel.KEYS else Check.WORD
    return _confirm(state, entry, made, how)


def skip(state: State, _: Entry) -> Step:
    """Leave the expected pair for later."""
    made = state.expected_joint
    if made is None:
        return tell(wording.expected(state))
    return then(state, PairSkipped(made.number), told=lambda s: wording.skipped(s, made))


def mark_fault(state: State, entry: Entry) -> Step:
    """Log a fault on the expected pair or the one named."""
    intent = entry.intent
    assert isinstance(intent, say.MarkFault)
    made = state.expected_joint if intent.pair is None else joint_called(state, intent.pair)
    if made is None:
        if intent.pair is not None:
            return tell(wording.outside(state, intent.pair))
        return tell("No pair is expected. Name the pair: mark, the fault, pair, and its number.")
    moves = made.number == state.expected and state.verifying is None
    other = None if intent.other is None else joint_called(state, intent.other)
    if intent.other is not None and (other is None or other is made):
        return tell(wording.outside(state, intent.other))
    fact = FaultMarked(pair=made.number, fault=intent.fault, by=entry.by, other=None if other is None else other.number)
    return then(state, fact, told=lambda s: wording.marked(s, made, intent.fault, moves, other))


def clear_fault(state: State, entry: Entry) -> Step:
    """Log that a fault is mended."""
    intent = entry.intent
    assert isinstance(intent, say.ClearFault)
    made = in_turn(state) if intent.pair is None else joint_called(state, intent.pair)
    if made is None or intent.fault not in state.of(made.number).faults:
        return tell(wording.no_such_fault(state, made, intent.fault))
    fact = FaultCleared(pair=made.number, fault=intent.fault, by=entry.by)
    return then(state, fact, told=lambda s: wording.cleared(s, made, intent.fault))


def redo(state: State, entry: Entry) -> Step:
    """Log that a joint was opened again."""
    intent = entry.intent
    assert isinstance(intent, say.Redo)
    made = joint_named(state, intent.call) if isinstance(intent.call, CallPair) else None
    if made is None:
        return tell(wording.name_one_pair(state))
    if state.of(made.number).left:
        return tell(wording.still_open(state, made))
    return then(state, Reopened(made.number), told=lambda s: wording.reopened(s, made))


def go_to(state: State, entry: Entry) -> Step:
    """Carry on from the named pair, or from the first open pair of the named group."""
    intent = entry.intent
    assert isinstance(intent, say.GoTo)
    if isinstance(intent.call, CallGroup):
        return _go_to_group(state, intent.call)
    made = joint_named(state, intent.call)
    if made is not None:
        return then(state, MovedTo(made.number), told=lambda s: wording.moved(s, made))
    match resolve_pair(intent.call, state.end_in_work, state.group):
        case ThePair(address):
            return tell(wording.outside(state, state.end_in_work.called(address.pair)[1]))
        case Pairs() as several:
            return tell(wording.answer_many(several, state))
        case Disagreement() as disagreement:
            return tell(wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, intent.call, state.end_in_work))


def go_to_cable(state: State, entry: Entry) -> Step:
    """Carry on with the first open pair of a cable of the plan."""
    intent = entry.intent
    assert isinstance(intent, say.GoToCable)
    joints = [made for made in state.plan.joints if made.lead.end == intent.number - 1 and made.kind.joined]
    made = next((made for made in joints if state.of(made.number).left), None)
    if made is None:
        return tell(wording.no_such_cable(state, intent.number))
    return then(state, MovedTo(made.number), told=lambda s: wording.moved(s, made))


def _go_to_group(state: State, call: CallGroup) -> Step:
    match resolve_group(call, state.cable, state.group):
        case TheGroup(group):
            joints = [made for made in state.plan.in_group(state.end, group.number) if made.kind.joined]
            if not joints:
                return tell(wording.outside(state, state.end_in_work.called(group.first)[1]))
            made = next((made for made in joints if state.of(made.number).left), joints[0])
            return then(state, MovedTo(made.number), told=lambda s: wording.moved(s, made))
        case Groups() as several:
            return tell(wording.answer_groups(several, state))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, call, state.end_in_work))


def undo(state: State, _: Entry) -> Step:
    """Take the last entry back."""
    if state.undo is None:
        return tell("There is nothing to undo.")
    made = state.plan.by_number[state.undo.pair]
    last, before = state.undo, state.undo.before
    facts = [Undone(entry=last.entry, pair=last.pair)]
    results = state.of(last.pair).tests
    failed = last.entry == "PairTested" and bool(results) and not results[-1][1]
    if before is not None and failed and before.entry == "FaultMarked":
        facts.append(Undone(entry=before.entry, pair=before.pair))  # a failed test is one entry with its fault
    return then(state, *facts, told=lambda s: wording.undone(s, made, last.entry))
