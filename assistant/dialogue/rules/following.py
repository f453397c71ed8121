"""Rules that follow the plan: confirm, skip, move and take back."""

from typing import assert_never

from assistant.cable.makeup import Address, Position
from assistant.cable.splice_plan import Joint, Place
from assistant.dialogue import naming, sentences, wording
from assistant.dialogue.messages import (
    Answered,
    Channel,
    Check,
    Ends,
    GroupTaken,
    JoinProtected,
    Mismatch,
    Missed,
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
from assistant.dialogue.rules.ends import Named, called_far, named, named_from_far
from assistant.dialogue.rules.entry import Entry, announce, announce_again, ask, put, tell, then
from assistant.dialogue.rules.joints import joint_named, joint_of
from assistant.dialogue.rules.talking import confirmed
from assistant.dialogue.state import State, evolve
from assistant.dialogue.tags import FACT_TAGS
from assistant.words import intents as say
from assistant.words.intents import CallGroup, CallPair, Intent


def call_pair(state: State, entry: Entry) -> Step:
    """Compare a called pair with the expected one: confirm it, or say both."""
    call, made = entry.intent, state.expected_joint
    assert isinstance(call, CallPair)
    by_far = named_from_far(state, entry, call)
    if by_far is not None:
        fits = made is not None and by_far[0].number == made.number
        return _confirm(state, entry, *by_far) if fits else _refuse_far_side(state, entry, by_far[0])
    found = resolve_pair(call, state.end_in_work, entry.group(state))
    called = joint_of(state, found.address) if isinstance(found, ThePair) else None
    if called is not None and made is not None and called.number == made.number:
        return _confirm_if_far_fits(state, entry, call, called)
    if called is not None and called.number in state.called_out:
        return _call_single(state, entry, call, called)
    return _refuse(state, entry, call, found)


def _confirm_if_far_fits(state: State, entry: Entry, call: CallPair, made: Joint) -> Step:
    how = named(state, made, call)
    return _refuse_far(state, entry, call, made) if how is None else _confirm(state, entry, made, how)


def _call_single(state: State, entry: Entry, call: CallPair, made: Joint) -> Step:
    """Confirm one pair of a module out of its turn, if it is called so that a misheard word cannot make it another."""
    how = named(state, made, call)
    if how is not None and how.how is not Check.NUMBER_AND_COLOURS and how.ends is not Ends.BOTH:
        address = state.plan.address(made.lead)
        told = wording.together(wording.mismatch(state, address), sentences.CALL_WHOLE())
        return _mismatch(state, entry, (address,), told)
    return _confirm_if_far_fits(state, entry, call, made)


def call_in_any_order(state: State, entry: Entry) -> Step:
    """Confirm whichever pair of the work is called, if it waits."""
    call = entry.intent
    assert isinstance(call, CallPair)
    called = joint_named(state, call, entry.group(state))
    if called is not None and state.of(called.number).left:
        return _confirm_if_far_fits(state, entry, call, called)
    return _refuse(state, entry, call, resolve_pair(call, state.end_in_work, entry.group(state)))


def _refuse(state: State, entry: Entry, call: CallPair, found: ThePair | Pairs | Disagreement | Nothing) -> Step:
    match found:
        case ThePair(address):
            called = joint_of(state, address)
            far = called_far(state, called, call.far) if called is not None and call.far is not None else ()
            return _mismatch(state, entry, (address,), wording.mismatch(state, address), far=far)
        case Pairs(addresses) as several:
            told = wording.together(
                sentences.NOT_LOGGED(), wording.answer_many(several, state), wording.expected(state)
            )
            return _mismatch(state, entry, addresses, told)
        case Disagreement(number, _, other) as disagreement:
            heard = (number,) if other is None else (number, state.cable.address(other))
            return _mismatch(state, entry, heard, wording.mismatch_in_itself(state, disagreement), announces=False)
        case Nothing() as nothing:
            why = wording.nothing(nothing, call, state.end_in_work)
            return _mismatch(state, entry, (), wording.together(sentences.NOT_LOGGED(), why, wording.expected(state)))
        case never:
            assert_never(never)


def contradicts_itself(state: State, intent: Intent) -> bool:
    """Tell whether a call's number and colours are of two pairs; nothing is logged of it, whoever heard it."""
    if not isinstance(intent, CallPair):
        return False
    return isinstance(resolve_pair(intent, state.end_in_work, state.group_in_work), Disagreement)


def _confirm(state: State, entry: Entry, made: Joint, how: Named) -> Step:
    if made.protect:
        question = JoinProtected(
            joint=made.number,
            how=how.how,
            by=entry.by,
            asked_back=entry.asked_back,
            ends=how.ends,
            far_ends=how.far_ends,
        )
        return ask(state, question)
    fact = PairConfirmed(
        pair=made.number,
        how=how.how,
        by=entry.by,
        asked_back=entry.asked_back,
        ends=how.ends,
        far_ends=how.far_ends,
    )
    return confirmed(state, fact, made)


def join_protected(state: State, entry: Entry) -> Step:
    """Confirm a protected pair after all."""
    question = state.question
    assert isinstance(question, JoinProtected)
    made = state.plan.by_number[question.joint]
    fact = PairConfirmed(
        pair=made.number,
        how=question.how,
        by=question.by,
        asked_back=question.asked_back,
        protected=made.protect,
        ends=question.ends,
        far_ends=question.far_ends,
    )
    return then(state, Answered(yes=True), fact, told=lambda s: wording.confirmed(s, made, fact.ends), before=made)


def _refuse_far(state: State, entry: Entry, call: CallPair, made: Joint) -> Step:
    """Tell which joint it would be: the far side that was called is not that of this pair."""
    assert call.far is not None
    far = called_far(state, made, call.far)
    told = wording.far_mismatch(state, made, call.far, far)
    return _mismatch(state, entry, (state.plan.address(made.lead),), told, far=far)


def _refuse_far_side(state: State, entry: Entry, made: Joint) -> Step:
    """Tell of which joint it is the far side, and which one is expected."""
    return _mismatch(state, entry, (), wording.far_side_of(state, made), far=state.plan.far_of(made))


def _mismatch(
    state: State,
    entry: Entry,
    heard: tuple[Address, ...],
    told: str,
    *,
    announces: bool = True,
    far: tuple[Place, ...] = (),
) -> Step:
    made = state.expected_joint
    expected = None if made is None else made.lead.position
    positions: tuple[Position, ...] = tuple(address.pair for address in heard)
    kept = Mismatch(expected=expected, heard=positions, call=entry.call, far=far)
    return Step((kept,)) + (put(evolve(state, kept), told) if announces else tell(told))


def confirm(state: State, entry: Entry) -> Step:
    """Confirm the expected pair, which was not named; kept as the weakest kind."""
    made = state.expected_joint
    if made is None:
        return announce(state)
    return _confirm(state, entry, made, Named(Check.KEY if entry.by is Channel.KEYS else Check.WORD))


def skip(state: State, _: Entry) -> Step:
    """Leave the expected pair for later."""
    made = state.expected_joint
    if made is None:
        return announce(state)
    return then(state, PairSkipped(made.number), told=lambda s: wording.skipped(s, made), before=made)


def redo(state: State, entry: Entry) -> Step:
    """Log that a joint was opened again; it is in the hand now, and expected next."""
    intent = entry.intent
    assert isinstance(intent, say.Redo)
    call = intent.call
    made = joint_named(state, call, entry.group(state)) if isinstance(call, CallPair) else None
    if made is None:
        return announce_again(state, sentences.NAME_ONE_PAIR())
    if state.of(made.number).left:
        return announce_again(state, wording.not_joined_yet(state, made))
    return then(state, Reopened(made.number), told=lambda s: wording.reopened(s, made))


def go_to(state: State, entry: Entry) -> Step:
    """Carry on from the named pair, or from the first waiting pair of the named group."""
    intent = entry.intent
    assert isinstance(intent, say.GoTo)
    if isinstance(intent.call, CallGroup):
        return _go_to_group(state, entry, intent.call)
    made = joint_named(state, intent.call, entry.group(state))
    if made is not None:
        return _move(state, made)
    match resolve_pair(intent.call, state.end_in_work, entry.group(state)):
        case ThePair(address):
            return announce_again(state, wording.outside(state, state.end_in_work.called(address.pair)[1]))
        case Pairs() as several:
            return announce_again(state, wording.answer_many(several, state))
        case Disagreement() as disagreement:
            return tell(wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            return announce_again(state, wording.nothing(nothing, intent.call, state.end_in_work))
        case never:
            assert_never(never)


def _move(state: State, made: Joint) -> Step:
    """Expect this joint, and tell of its place whole."""
    moved = MovedTo(made.number)
    return Step((moved,)) + announce(evolve(state, moved), wording.moved(state, made))


def go_to_cable(state: State, entry: Entry) -> Step:
    """Carry on with the first waiting pair of a cable of the plan."""
    intent = entry.intent
    assert isinstance(intent, say.GoToCable)
    made = _first_waiting(state, intent.number - 1)
    if made is None:
        return announce_again(state, wording.no_such_cable(state, intent.number))
    return _move(state, made)


def _first_waiting(state: State, end: int) -> Joint | None:
    joints = [made for made in state.plan.joints if made.lead.end == end and made.kind.joined]
    return next((made for made in joints if state.of(made.number).left), None)


def _go_to_group(state: State, entry: Entry, call: CallGroup) -> Step:
    match resolve_group(call, state.cable, entry.group(state)):
        case TheGroup(group):
            joints = [made for made in state.plan.in_group(state.end, group.number) if made.kind.joined]
            if not joints:
                return announce_again(state, wording.outside(state, state.end_in_work.called(group.first)[1]))
            return _move(state, next((made for made in joints if state.of(made.number).left), joints[0]))
        case Groups() as several:
            return announce_again(state, wording.answer_groups(several, state))
        case Nothing() as nothing:
            return announce_again(state, wording.nothing(nothing, call, state.end_in_work))
        case never:
            assert_never(never)


def take_group(state: State, entry: Entry) -> Step:
    """In any order: let colours alone count in this group from now on. A pair is not gone to: it is called."""
    intent = entry.intent
    assert isinstance(intent, say.GoTo)
    if not isinstance(intent.call, CallGroup):
        return announce_again(state, sentences.CALL_A_PAIR())
    match resolve_group(intent.call, state.cable, entry.group(state)):
        case TheGroup(group):
            taken = GroupTaken(state.end, group.number)
            named = naming.group(group, state)
            return then(state, taken, told=lambda _: sentences.GROUP_TAKEN(group=named))
        case Groups() as several:
            return announce_again(state, wording.answer_groups(several, state))
        case Nothing() as nothing:
            return announce_again(state, wording.nothing(nothing, intent.call, state.end_in_work))
        case never:
            assert_never(never)


def take_cable(state: State, entry: Entry) -> Step:
    """In any order: have another cable of the plan in hand."""
    intent = entry.intent
    assert isinstance(intent, say.GoToCable)
    end = intent.number - 1
    if _first_waiting(state, end) is None:
        return announce_again(state, wording.no_such_cable(state, intent.number))
    taken = GroupTaken(end, None)
    return then(state, taken, told=lambda s: sentences.CABLE_TAKEN(name=s.end_in_work.name))


def undo(state: State, _: Entry) -> Step:
    """Take the last entry back, with all facts that it made; in a verification, only what that logged."""
    last = state.undo
    if state.kept_last:
        return Step((Missed("not now"),)) + announce_again(state, sentences.THAT_STAYS())
    if last is None:
        return announce_again(state, sentences.NOTHING_TO_UNDO())
    if state.verifying is not None and last.verifying is None:
        return announce_again(state, sentences.NOTHING_TO_UNDO_HERE())
    point, facts = last, [Undone(entry=FACT_TAGS[type(last.fact)], pair=last.pair)]
    while point.same_entry and point.before is not None:
        point = point.before
        facts.append(Undone(entry=FACT_TAGS[type(point.fact)], pair=point.pair))
    made = state.plan.by_number[last.pair]
    return then(state, *facts, told=lambda s: wording.undone(s, made, point.fact, point.at_work))
