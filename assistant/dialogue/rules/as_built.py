"""Rules for what is built otherwise than planned. Each is asked back once, with numbers and colours, before it is.

Whatever is joined otherwise becomes part of the plan that the session follows, so that all other rules hold for it:
it is announced, called, checked, tested and counted as any joint.
"""

from assistant.cable.counts import CalledNumber
from assistant.cable.makeup import Position
from assistant.cable.splice_plan import JoinKind, Joint, JointNumber, Place, free_number, is_free
from assistant.dialogue import wording
from assistant.dialogue.messages import (
    Answered,
    AsBuiltFact,
    BuildOtherwise,
    JointAdded,
    PairPutOff,
    PairReplaced,
    ReversalTagged,
    Step,
)
from assistant.dialogue.rules.entry import Entry, announce_again, ask, then
from assistant.dialogue.rules.joints import joint_called
from assistant.dialogue.state import State
from assistant.words import intents as say
from assistant.words.intents import Reason


def use_spare(state: State, entry: Entry) -> Step:
    """Ask whether a spare is to be joined in place of a pair of the same cable."""
    intent = entry.intent
    assert isinstance(intent, say.UseSpare)
    end = _end(state, intent.cable)
    if end is None:
        return announce_again(state, wording.say_the_cable(state))
    old, new = _place(state, end, intent.pair), _place(state, end, intent.spare)
    held = _joint(state, old)
    if old is None or held is None or not held.kind.joined:
        return announce_again(state, wording.cannot_replace(state, intent.pair))
    if not state.of(held.number).left:
        return announce_again(state, wording.open_it_first(state, held))
    if new is None or not _may_be_used(state, new):
        return announce_again(state, wording.no_free_pair(state, intent.spare))
    number = free_number(state.plan, (new,))
    return _ask(state, PairReplaced(pair=held.number, old=old, new=new, number=number, by=entry.by))


def add_joint(state: State, entry: Entry) -> Step:
    """Ask whether a joint is to be made that the plan does not have."""
    intent = entry.intent
    assert isinstance(intent, say.AddJoint)
    ends = (_end(state, intent.cable), _end(state, intent.other_cable))
    named: tuple[tuple[int | None, CalledNumber | None], ...] = ((ends[0], intent.pair), (ends[1], intent.other))
    if len(state.plan.ends) == 1 and intent.other is None:
        named = named[:1]
    elif None in ends or ends[0] == ends[1]:
        return announce_again(state, wording.say_the_cable(state))
    places: list[Place] = []
    for end, number in named:
        place = None if end is None or number is None else _place(state, end, number)
        if place is None or not _may_be_used(state, place):
            return announce_again(state, wording.no_free_pair(state, number or intent.pair))
        places.append(place)
    made = tuple(places)
    return _ask(state, JointAdded(pair=free_number(state.plan, made), places=made, by=entry.by))


def put_off(state: State, entry: Entry) -> Step:
    """Ask whether a pair is to be left for another day; one that is not to be joined can only be found working."""
    intent = entry.intent
    assert isinstance(intent, say.PutOff)
    place = _place(state, state.end, intent.pair)
    made = _joint(state, place)
    unused = made is not None and not made.kind.joined and intent.reason is Reason.FOUND_WORKING
    if made is None or not (made.kind.joined or unused) or made.lead != place:
        return announce_again(state, wording.outside(state, intent.pair))
    if made.kind.joined and not state.of(made.number).left:
        return announce_again(state, wording.open_it_first(state, made))
    return _ask(state, PairPutOff(pair=made.number, reason=intent.reason, tried=intent.tried, by=entry.by))


def tag_reversal(state: State, entry: Entry) -> Step:
    """Ask whether a pair is reversed on purpose and tagged."""
    assert isinstance(entry.intent, say.TagReversal)
    made = joint_called(state, entry.intent.pair)
    if made is None:
        return announce_again(state, wording.outside(state, entry.intent.pair))
    return _ask(state, ReversalTagged(pair=made.number, tagged=True, by=entry.by))


def build_otherwise(state: State, entry: Entry) -> Step:
    """Log what was asked back."""
    assert isinstance(state.question, BuildOtherwise)
    change = state.question.change
    told = wording.built(state, change)
    return then(state, Answered(yes=True), change, told=lambda _: told, before=_passed(state, change))


def _passed(state: State, change: AsBuiltFact) -> Joint | None:
    """Give the joint in turn where the work passes it by, so that what follows is told from there."""
    passes = isinstance(change, PairPutOff) and change.pair == state.expected
    return state.expected_joint if passes else None


def _ask(state: State, change: AsBuiltFact) -> Step:
    return ask(state, BuildOtherwise(change))


def _end(state: State, cable: int | None) -> int | None:
    """Give the end that is meant; where there are several it must be said."""
    ends = len(state.plan.ends)
    if cable is None:
        return 0 if ends == 1 else None
    return cable - 1 if 1 <= cable <= ends else None


def _place(state: State, end: int, number: CalledNumber) -> Place | None:
    """Give the pair that a number means on an end; none where it is of several counts, or there is none."""
    positions = state.plan.ends[end].positions_of(number)
    return Place(end, Position(positions[0])) if len(positions) == 1 else None


def _joint(state: State, place: Place | None) -> Joint | None:
    number: JointNumber | None = None if place is None else state.plan.at.get(place)
    return None if number is None else state.plan.by_number[number]


def _may_be_used(state: State, place: Place) -> bool:
    """Tell whether a pair is free, and nothing is known against it."""
    held = _joint(state, place)
    known = None if held is None else state.of(held.number)
    clean = known is None or not (known.put_off or known.faults)
    return is_free(state.plan, place) and clean and (held is None or held.kind is JoinKind.SPARE)
