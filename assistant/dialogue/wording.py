"""What is said in each case: chooses and fills the sentences of `sentences`. Must not decide anything.

Numbers above twelve are read digit by digit. An announcement tells the pair in turn, and what has changed on the
way to it: cable, unit, group, and pairs to leave alone.
"""

from calendar import month_name
from datetime import date
from itertools import groupby
from typing import assert_never

from assistant.cable.colour_code import Colours
from assistant.cable.makeup import Address, Group, GroupNumber
from assistant.cable.splice_plan import End, Joint, JointNumber, Place, in_runs
from assistant.dialogue import naming
from assistant.dialogue import sentences as s
from assistant.dialogue.checks import question_of
from assistant.dialogue.messages import (
    AsBuiltFact,
    BeginAnew,
    BuildOtherwise,
    Channel,
    Check,
    DidYouSay,
    EarlierWork,
    Ends,
    EntryFact,
    FaultCleared,
    FaultMarked,
    FinishAnyway,
    GoOn,
    JoinProtected,
    JointAdded,
    KeyTrouble,
    MovedTo,
    PairConfirmed,
    PairPutOff,
    PairReplaced,
    PairSkipped,
    PairState,
    PairTest,
    PairTested,
    Question,
    ReadingLogged,
    Reopened,
    ReversalTagged,
    SiteCheck,
    TalkSet,
    Trouble,
    WorkTakenUp,
)
from assistant.dialogue.modes import Mode
from assistant.dialogue.naming import (
    called_number,
    colours,
    group,
    joint,
    lead,
    listed,
    multi_unit,
    pair,
    pairs_in_runs,
    put_off_for,
    run,
    super_unit,
)
from assistant.dialogue.naming import numbered as numbered_pairs
from assistant.dialogue.resolve import Disagreement, Groups, Nothing, Pairs, Why
from assistant.dialogue.sentences import Sentence
from assistant.dialogue.state import TESTS, AtWork, Standing, State, fold
from assistant.words.intents import CallGroup, CallPair, Fault, TalkWish
from assistant.words.numbers import DIGITS, spoken


def together(*told: str) -> str:
    """Put sentences one behind the other, without those that are empty."""
    return " ".join(part for part in told if part)


# --- before the work and after it ------------------------------------------------------------------


def opening(state: State) -> str:
    """Greet at the start of a session; the announcement follows."""
    settings, caution = state.settings, s.SPOKEN_CAUTION()
    if state.earlier is not None and not settings.asking:
        return together(caution, going_on(state, state.earlier), _cable_in_hand(state) if settings.any_order else "")
    if settings.asking:
        return together(caution, s.CABLE_OPENED(size=spoken(state.cable.pairs)), s.ASK_FOR_A_PAIR())
    if settings.any_order:
        return together(caution, s.ANY_ORDER_OPENED(), _cable_in_hand(state))
    if not state.plan.is_sequence:
        title = state.plan.title or s.UNTITLED.text
        return together(caution, s.PLAN_OPENED(title=title, count=spoken(len(state.plan.to_join))))
    return together(caution, s.RANGE_OPENED(size=spoken(state.cable.pairs), run=run(settings.first, settings.last)))


def going_on(state: State, earlier: EarlierWork) -> str:
    """Tell, where earlier logs are gone on with: who, what is done, what waits, which faults are outstanding."""
    tally, faulty = state.tally(), tuple(n for n in state.plan.to_join if state.of(n).faults)
    off = sum(state.of(number).left and state.of(number).put_off is not None for number in state.plan.to_join)
    before = earlier.people[-1] if earlier.people else ""
    who = ", ".join(part for part in (state.at_work.person, f"after {before}" if before else "") if part)
    told = s.GOING_ON(
        who=f", {who}" if who else "",
        count=spoken(tally.joined),
        waiting=spoken(tally.not_joined),
        put_off=f", of them put off, total {spoken(off)}" if off else "",
    )
    faults = s.FAULTS_OUTSTANDING(pairs=numbered(state, faulty)) if faulty else s.NO_FAULT_OUTSTANDING()
    waits = tuple(number for number in earlier.again if number in state.plan.by_number and state.of(number).left)
    return together(told, faults, s.TO_CALL_AGAIN(pairs=numbered(state, waits)) if waits else "")


def go_on_or_not(state: State) -> str:
    """Ask whether the work goes on with earlier logs."""
    earlier = state.earlier
    assert earlier is not None, "asked only where there are some"
    by = f", last by {earlier.people[-1]}" if earlier.people else ""
    place = f", {state.settings.place}" if state.settings.place else ""
    name = f"{_splice_in_words(state)}{place}"
    day = earlier.last_day if earlier.finished else earlier.first_day
    sentence = s.GO_ON_FINISHED if earlier.finished else s.GO_ON
    count = fold((WorkTakenUp(),), state).tally().joined
    return sentence(name=name, day=_day(day), by=by, count=spoken(count))


def _splice_in_words(state: State) -> str:
    settings = state.settings
    if state.plan.is_sequence:
        return f"{spoken(state.cable.pairs)} pair cable, pairs {run(settings.first, settings.last)}"
    return state.plan.title or s.UNTITLED.text


def _day(day: str) -> str:
    """Say a day without its year."""
    try:
        found = date.fromisoformat(day)
    except ValueError:
        return day
    return f"{spoken(found.day)} {month_name[found.month]}"


def _cable_in_hand(state: State) -> str:
    return s.CABLE_TAKEN(name=state.end_in_work.name) if len(state.plan.ends) > 1 else ""


def resumed(state: State, torn_bytes: int) -> str:
    """Greet after an interruption, with what the record lost; the announcement follows."""
    lost = s.ENTRY_LOST() if torn_bytes else ""
    told = together(s.RESUMED(), lost, s.VOLTAGE_AGAIN())
    if state.settings.asking:
        return together(told, s.ASK_FOR_A_PAIR())
    in_hand = _cable_in_hand(state) if state.settings.any_order else ""
    return together(told, s.TOTAL_DONE(count=spoken(state.tally().joined)), in_hand)


def counts(state: State) -> str:
    """Account for every joint: not done, done, dead and spare add up to all."""
    tally = state.tally()
    told = [s.TOTAL_NOT_DONE(count=spoken(tally.not_joined))]
    further = (
        (tally.skipped, s.TOTAL_SKIPPED),
        (tally.faulty, s.TOTAL_FAULTY),
    )
    told += [sentence(count=spoken(count)) for count, sentence in further if count]
    told.append(s.TOTAL_DONE(count=spoken(tally.joined)))
    others = ((tally.joined_faulty, s.TOTAL_JOINED_FAULTY), (tally.dead, s.TOTAL_DEAD), (tally.spare, s.TOTAL_SPARE))
    told += [sentence(count=spoken(count)) for count, sentence in others if count]
    return " ".join(told)


def not_called(state: State) -> str:
    """In any order: which pairs were not called."""
    return together(s.NOT_DONE(pairs=numbered(state, state.left())) if state.left() else s.NO_PAIR_WAITS())


def numbered(state: State, joints: tuple[JointNumber, ...]) -> str:
    """Name joints by the numbers of their pairs, and by cable where pairs of several cables are called."""
    if not _has_several_leads(state):
        return numbered_pairs([called_number(state, number) for number in joints])
    of_end = groupby(joints, key=lambda number: state.plan.by_number[number].lead.end)
    named = [(state.plan.ends[end].name, tuple(found)) for end, found in of_end]
    lists = [(name, numbered_pairs([called_number(state, number) for number in found])) for name, found in named]
    return "; ".join(f"cable {name}, {pairs}" for name, pairs in lists)


def unfinished(state: State) -> str:
    """Tell of each kind of unfinished joint which pairs they are; empty where all is done."""
    plain = tuple(n for n in state.left() if not state.of(n).faults)
    off = tuple(n for n in plain if state.of(n).put_off is not None)
    kinds = (
        (tuple(n for n in plain if n not in off), s.NOT_DONE),
        (off, s.LEFT_FOR_ANOTHER_DAY),
        (state.with_standing(Standing.FAULTY), s.FAULTY_NOT_JOINED),
        (state.with_standing(Standing.JOINED_FAULTY), s.JOINED_WITH_FAULT),
    )
    return " ".join(sentence(pairs=numbered(state, joints)) for joints, sentence in kinds if joints)


def finished(state: State) -> str:
    """Close the session; a spoken entry is no test."""
    if state.settings.asking:
        return s.FINISHED()
    return together(s.FINISHED(), counts(state), s.NOT_A_TEST())


def stopped_for_today(state: State) -> str:
    """Close the day; the splice goes on."""
    if state.settings.asking:
        return s.FINISHED()
    return together(s.STOPPED_FOR_TODAY(), counts(state), s.NOT_A_TEST())


# --- what is expected ------------------------------------------------------------------------------


def question(state: State, asked: Question) -> str:
    """Put a question."""
    match asked:
        case DidYouSay(words=words):
            return s.DID_YOU_SAY(call=words)
        case FinishAnyway():
            return together(unfinished(state), s.FINISH_ANYWAY())
        case JoinProtected(joint=number):
            made = state.plan.by_number[number]
            named = f"{_named_with_cable(state, made)}{_far_called(state, made, asked.ends)}"
            return s.JOIN_PROTECTED(pair=named, reason=made.protect)
        case BuildOtherwise(change=change):
            return built_otherwise(state, change)
        case SiteCheck(check=check):
            assert state.settings.site is not None, "checks are asked of a kind of place"
            return question_of(check, state.settings.site)
        case GoOn():
            return go_on_or_not(state)
        case BeginAnew():
            return s.BEGIN_ANEW()
    assert_never(asked)


def announcement(state: State, before: Joint | None = None) -> str:
    """Put what is awaited: the open question, the pair in turn, or what may be called.

    `before` is the joint that was in hand; without one, cable and group are told.
    """
    if state.question is not None:
        return question(state, state.question)
    match state.mode:
        case Mode.HOLDING:
            return s.ON_HOLD()
        case Mode.VERIFYING:
            return in_turn(state)
        case Mode.ASKING:
            return s.ASK_FOR_A_PAIR()
        case Mode.ANY_ORDER:
            return s.TOTAL_NOT_DONE(count=spoken(len(state.left()))) if state.left() else s.NO_PAIR_WAITS()
        case Mode.CALLING:
            return called_so_far(state) if state.pace_s else s.ALL_CALLED()
        case _:
            return coming(state, before)


def coming(state: State, before: Joint | None) -> str:
    """Announce the expected joint: what is left alone on the way, cable, unit and group where they change."""
    made = state.expected_joint
    if made is None:
        return together(*left_alone(state, before, None), s.NO_PAIR_WAITS())
    told = on_the_way(state, before, made)
    if made.protect:
        told.append(s.PROTECTED(reason=made.protect))
    turn = state.plan.turn
    known = state.of(made.number)
    passed_by = before is not None and turn[before.number] > turn[made.number]
    back = before is not made and (passed_by or (before is not None and not known.fresh and known.left))
    told.append((s.BACK_TO if back else s.NEXT)(joint=joint(made, state, before)))
    faults = known.faults
    if faults:
        told.append(s.MARKED_ALREADY(faults=_faults(faults)))
    return " ".join(told)


def on_the_way(state: State, before: Joint | None, made: Joint) -> list[str]:
    """Tell what is left alone on the way to a joint, and its cable, unit and group where they change."""
    return [*left_alone(state, before, made), *entered(state, before, made)]


def next_in_brief(state: State, before: Joint) -> str:
    """Announce the expected joint by nothing but its name: it is the plain next one."""
    made = state.expected_joint
    assert made is not None, "told only where a pair is expected"
    return s.NEXT_IN_BRIEF(joint=joint(made, state, before))


def left_alone(state: State, before: Joint | None, upto: Joint | None) -> list[str]:
    """Tell the dead and spare pairs that the work passes on its way."""
    turn = state.plan.turn
    start = -1 if before is None else turn[before.number]
    stop = len(state.plan.joints) if upto is None else turn[upto.number]
    passed = [made for made in state.plan.joints[start + 1 : stop] if not made.kind.joined]
    told, key = [], lambda made: (made.lead.end, made.kind, made.reason)
    for (_, kind, reason), found in groupby(passed, key):
        joints = list(found)
        end = state.plan.end_of(joints[0].lead)
        numbers = [end.called(made.lead.position)[1] for made in joints]
        named = pairs_in_runs(in_runs(sorted(numbers)))
        told.append(s.LEAVE(pairs=named, kind=kind.value, why=f", {reason}" if reason else ""))
    return told


def entered(state: State, before: Joint | None, made: Joint) -> list[str]:
    """Announce cable, super-unit, multi-unit, group and unit, each only where it exists and has changed."""
    end, new = state.plan.end_of(made.lead), state.plan.address(made.lead)
    old = None if before is None else state.plan.address(before.lead)
    changed_end = before is None or before.lead.end != made.lead.end
    if changed_end:
        old = None
    told = [s.CABLE(name=end.name)] if changed_end and end.name else []
    parts: list[str] = []
    if new.group.service and (old is None or not old.group.service):
        parts.append("service pairs")
    elif old is None or old.group.number != new.group.number:
        if old is None or old.group.super_unit != new.group.super_unit:
            parts.append(super_unit(new.group))
        if new.multi_unit and (old is None or _multi_unit_of(old) != _multi_unit_of(new)):
            parts.append(multi_unit(new))
        if new.group.binder or end.cable.groups > 1:
            parts += [group(new.group, state, end=end, super_unit_too=False)]
    if new.unit and (old is None or (old.group.number, old.unit) != (new.group.number, new.unit)):
        parts.append(f"unit {spoken(new.unit)}")
    named = ", ".join(part for part in parts if part)
    return told + ([s.ENTERED(place=named)] if named else [])


def _multi_unit_of(address: Address) -> tuple[int, int]:
    return address.group.super_unit, address.multi_unit


def where_done(state: State, made: Joint) -> str:
    """Tell of the group of a joint that has just been dealt with, when the work leaves it or it is all done."""
    following = state.expected_joint
    if state.settings.any_order:
        joints = state.plan.in_group(*_group_key(state, made))
        stays = any(state.of(j.number).left for j in joints if j.kind.joined)
    else:
        stays = following is not None and _group_key(state, following) == _group_key(state, made)
    return "" if stays else _left_group(state, made)


def _left_group(state: State, made: Joint) -> str:
    end, address = state.plan.end_of(made.lead), state.plan.address(made.lead)
    if end.cable.groups == 1 and not end.cable.service_pairs:
        return ""
    joints = [j.number for j in state.plan.in_group(*_group_key(state, made)) if j.kind.joined]
    name = "service pairs" if address.group.service else f"group {spoken(address.group.in_super_unit)}"
    waiting = tuple(number for number in joints if state.of(number).left)
    if waiting:
        return s.GROUP_LEFT(group=name, pairs=numbered(state, waiting))
    return s.GROUP_CLOSED(group=name)


def _group_key(state: State, made: Joint) -> tuple[int, GroupNumber]:
    return made.lead.end, state.plan.address(made.lead).group.number


def expected(state: State) -> str:
    """Tell the expected pair without announcing its group."""
    made = state.expected_joint
    if state.settings.any_order:
        return s.CALL_ANOTHER()
    return s.NO_PAIR_WAITS() if made is None else s.EXPECTED(joint=joint(made, state))


def awaited(state: State) -> str:
    """Tell the pair in turn in short."""
    return in_turn(state) if state.verifying is not None else expected(state)


def in_turn(state: State) -> str:
    """Tell which pair is to have which test."""
    verifying = state.verifying
    if verifying is None or verifying.joint is None:
        return verified(state)
    made = state.plan.by_number[verifying.joint]
    cable = s.CABLE(name=state.plan.end_of(made.lead).name) if _has_several_leads(state) else ""
    group_told = _group_in_short(state, made)
    test = f"{group_told}, {verifying.named}" if group_told else verifying.named
    return together(cable, s.IN_TURN(test=test, pair=lead(made, state)))


def _group_in_short(state: State, made: Joint) -> str:
    """Name the group of a joint without its binder, where the cable has several: "group good" is of what was told."""
    end, found = state.plan.end_of(made.lead), state.plan.address(made.lead).group
    if found.service:
        return "service pairs"
    parts = [super_unit(found), f"group {spoken(found.in_super_unit)}"] if end.cable.groups > 1 else []
    return ", ".join(part for part in parts if part)


# --- entries ---------------------------------------------------------------------------------------


def confirmed(state: State, made: Joint, ends: Ends = Ends.NEAR) -> str:
    """Read a confirmed pair back, with the far side where that was called; the state is that after it."""
    faults = state.of(made.number).faults
    name = lead(made, state) if ends is Ends.NEAR else f"{lead(made, state)}; {naming.far(made, state)}"
    read_back = s.CONFIRMED(pair=name)
    if faults:
        read_back = s.CONFIRMED_FAULTY(pair=name, faults=_faults(faults))
    cable = s.CABLE(name=state.plan.end_of(made.lead).name) if _may_be_of_several(state) else ""
    return together(cable, read_back, where_done(state, made))


def _may_be_of_several(state: State) -> bool:
    """In any order a number may be of another cable than was thought, so that its cable is said."""
    return state.settings.any_order and _has_several_leads(state)


def _far_called(state: State, made: Joint, ends: Ends) -> str:
    """Name the far side behind the pair, where it was called or is coloured otherwise."""
    whole = naming.lead_and_far(made, state) != lead(made, state) or ends is not Ends.NEAR
    return f"; {naming.far(made, state)}," if whole else ""


def _has_several_leads(state: State) -> bool:
    """Tell whether pairs of several cables are called, so that a number alone may be of either."""
    return len({made.lead.end for made in state.plan.joints if made.kind.joined}) > 1


def _named_with_cable(state: State, made: Joint) -> str:
    """Name the pair of a joint, by its cable too where it is not plain that the one in hand is meant."""
    plain = made.lead.end == state.end and not state.settings.any_order
    if plain or not _has_several_leads(state):
        return lead(made, state)
    return f"cable {state.plan.end_of(made.lead).name}, {lead(made, state)}"


def skipped(state: State, made: Joint) -> str:
    """Tell that a pair is left for later."""
    return together(s.SKIPPED(pair=lead(made, state)), where_done(state, made))


def marked(state: State, made: Joint, fault: Fault, other: Joint | None = None) -> str:
    """Tell that a fault is logged, whether the pair is joined, and of one between two pairs, where it is mended."""
    sentence = s.MARKED if state.of(made.number).confirmed else s.MARKED_NOT_JOINED
    with_other = f" with {lead(other, state)}" if other is not None else ""
    told = sentence(pair=_named_with_cable(state, made), fault=naming.fault(fault), other=with_other)
    elsewhere = s.MENDED_WHERE_MADE() if fault in (Fault.SPLIT, Fault.RE_SPLIT, Fault.TRANSPOSITION) else ""
    caution = s.SPOKEN_CAUTION() if fault is Fault.VOLTAGE else ""
    return together(told, elsewhere, caution)


def mark_again(state: State, made: Joint) -> str:
    """Tell that a pair is marked so already."""
    return together(s.NOT_LOGGED(), s.HEARD(pair=lead(made, state), standing=f", {_already(state.of(made.number))}"))


def cleared(state: State, made: Joint, fault: Fault, *, tested: bool) -> str:
    """Tell that a fault is mended, and that its tests count no more, where it had any."""
    told = s.CLEARED_TEST_AGAIN if tested else s.CLEARED
    return told(pair=_named_with_cable(state, made), fault=naming.fault(fault))


def no_such_fault(state: State, made: Joint | None, fault: Fault) -> str:
    """Tell that there is nothing to clear."""
    name = s.THAT_PAIR.text if made is None else lead(made, state)
    return s.NO_SUCH_FAULT(pair=name, fault=naming.fault(fault))


def faults(state: State) -> str:
    """List the pairs with faults, and those that failed a test."""
    found = [number for number in state.plan.by_number if state.of(number).faults]
    failed = [number for number in state.plan.to_join if state.of(number).failed and number not in found]
    if not found and not failed:
        return s.NONE_MARKED()
    named = [f"{numbered(state, (number,))}, {_faults(state.of(number).faults)}" for number in found]
    named += [
        s.FAILED_A_TEST.text.format(
            pair=numbered(state, (number,)),
            tests=", ".join(test.value for test, passed in state.of(number).tests if not passed),
        )
        for number in failed
    ]
    return s.FAULTS(count=spoken(len(named)), pairs="; ".join(_first_few(named)))


def _first_few(named: list[str]) -> list[str]:
    few = named[: naming.MOST_LISTED]
    return [*few, "and more"] if len(named) > len(few) else few


def _faults(marked_with: tuple[Fault, ...]) -> str:
    return ", ".join(map(naming.fault, marked_with))


def reopened(state: State, made: Joint) -> str:
    """Tell that a joint waits again."""
    return s.REOPENED(pair=_named_with_cable(state, made))


def not_joined_yet(state: State, made: Joint) -> str:
    """Tell that a joint was never made."""
    return s.NOT_JOINED_YET(pair=lead(made, state))


def call_protected_first(state: State, made: Joint) -> str:
    """Refuse to join a protected pair in the same breath as marking it."""
    return s.CALL_PROTECTED_FIRST(pair=lead(made, state), reason=made.protect)


def no_such_cable(state: State, number: int) -> str:
    """Tell that no pair of a cable of the plan waits, or that it is not there."""
    if len(state.plan.ends) == 1:
        return s.ONE_CABLE()
    if not 1 <= number <= len(state.plan.ends):
        return s.NO_SUCH_CABLE(run=run(1, len(state.plan.ends)))
    return s.NO_PAIR_ON_CABLE(name=state.plan.ends[number - 1].name)


def undone(state: State, made: Joint, fact: EntryFact, at_work: AtWork) -> str:
    """Tell what was taken back, and whose entry it was where it is of an earlier sitting."""
    match fact:
        case FaultMarked(pair=first):
            both = f"{_named_with_cable(state, state.plan.by_number[first])} and " if first != made.number else ""
            what = f"fault of {both}"
        case FaultCleared():
            what = "clearing of "
        case PairSkipped():
            what = "skip of "
        case MovedTo():
            what = "going to "
        case PairTested():
            what = "test of "
        case Reopened():
            what = "opening of "
        case PairReplaced():
            what = "spare used instead of "
        case JointAdded():
            what = "added joint of "
        case PairPutOff():
            what = "putting off of "
        case ReversalTagged():
            what = "tag of "
        case PairConfirmed(how=how):
            what = "module up to " if how is Check.MODULE else ""
        case never:
            assert_never(never)
    pair = _named_with_cable(state, made)
    if at_work == state.at_work:
        return s.UNDONE(what=what, pair=pair)
    return s.UNDONE_EARLIER(what=what, pair=pair, by=f" by {at_work.person}" if at_work.person else "")


def moved(state: State, made: Joint) -> str:
    """Announce the new place, and whether the pair there is done already."""
    standing = standing_of(state.of(made.number))
    return s.MOVED_STANDING(standing=standing) if standing else ""


# --- built otherwise than planned --------------------------------------------------------------------


def built_otherwise(state: State, change: AsBuiltFact) -> str:
    """Ask whether something was built otherwise, with numbers and colours of all its pairs."""
    match change:
        case PairReplaced(old=old, new=new):
            end = state.plan.end_of(old)
            where = s.ON_CABLE(name=end.name) if end.name else s.BOTH_SIDES()
            return s.USE_SPARE(where=where.lower(), spare=_placed(state, new), pair=_placed(state, old))
        case JointAdded(places=places):
            ends = [state.plan.end_of(place).name for place in places]
            named = [f"cable {end}, " if end else "" for end in ends]
            told = [f"{end}{_placed(state, place)}" for end, place in zip(named, places, strict=True)]
            return s.ADD_JOINT(pairs=", to ".join(told))
        case PairPutOff(pair=number):
            made = state.plan.by_number[number]
            return s.PUT_OFF(pair=_named_with_cable(state, made), reason=put_off_for(change.reason, change.tried))
        case ReversalTagged(pair=number, tagged=tagged):
            marked_pair = _named_with_cable(state, state.plan.by_number[number])
            return (s.TAG_REVERSAL if tagged else s.UNTAG_REVERSAL)(pair=marked_pair)
    assert_never(change)


def _placed(state: State, place: Place) -> str:
    """Name a pair by count, number, colours and group: it may lie far from the pair in turn."""
    end, address = state.plan.end_of(place), state.plan.address(place)
    count = end.called(place.position)[0]
    named = pair(address, state, end)
    shown = named if address.group.service else f"pair {named}"
    where = group(address.group, state, end=end) if end.cable.groups > 1 else ""
    return ", ".join(part for part in (count, shown, where) if part)


def built(state: State, change: AsBuiltFact) -> str:
    """Tell what is built otherwise; the state is that before it."""
    match change:
        case PairReplaced(old=old):
            return s.REPLACED(pair=_placed(state, old))
        case JointAdded():
            return s.ADDED()
        case PairPutOff(pair=number, reason=reason, tried=tried):
            made = state.plan.by_number[number]
            return s.LEFT_FOR_LATER(pair=_named_with_cable(state, made), reason=put_off_for(reason, tried))
        case ReversalTagged(pair=number, tagged=tagged):
            named = _named_with_cable(state, state.plan.by_number[number])
            return (s.REVERSAL_TAGGED if tagged else s.REVERSAL_UNTAGGED)(pair=named)
    assert_never(change)


def tagged_already(state: State, made: Joint) -> str:
    """Refuse to mark as a fault what is on purpose."""
    return together(s.NOT_LOGGED(), s.REVERSAL_TAGGED(pair=_named_with_cable(state, made)))


def say_the_cable(state: State) -> str:
    """Ask for the cables by their numbers."""
    named = [s.CABLE_NUMBER.text.format(number=spoken(i), name=end.name) for i, end in enumerate(state.plan.ends, 1)]
    return s.ONE_CABLE() if len(named) == 1 else s.SAY_THE_CABLE(cables=listed(named, naming.AND))


def cannot_replace(state: State, number: int) -> str:
    """Refuse to replace what is not to be joined."""
    return s.CANNOT_REPLACE(number=spoken(number))


def no_free_pair(state: State, number: int) -> str:
    """Refuse a pair that is joined, dead, found working or not there."""
    return s.NO_FREE_PAIR(number=spoken(number))


def open_it_first(state: State, made: Joint) -> str:
    """Refuse to change a joint that is made."""
    return s.OPEN_IT_FIRST(pair=_named_with_cable(state, made))


# --- how it is talked ------------------------------------------------------------------------------


def talk_changed(wish: TalkWish, now: TalkSet) -> str:
    """Tell how it is talked from here on."""
    match wish:
        case TalkWish.BRIEF:
            return s.TALK_BRIEF()
        case TalkWish.FULL:
            return s.TALK_FULL()
        case TalkWish.FASTER | TalkWish.SLOWER:
            return s.TALK_RATE(rate=spoken(now.words_a_minute))
        case TalkWish.LOUDER | TalkWish.SOFTER:
            return s.TALK_LOUDNESS(loudness=spoken(now.loudness))
    assert_never(wish)


# --- calling out -----------------------------------------------------------------------------------


def calling_out(state: State, count: int, pace_s: float, left_out: list[Joint]) -> str:
    """Tell that pairs will be called out, and which protected ones will not."""
    told = s.CALLING_OUT(count=spoken(count), pace=pace(pace_s))
    return together(told, _left_out(state, left_out))


def _left_out(state: State, joints: list[Joint]) -> str:
    return s.LEFT_OUT(pairs=numbered(state, tuple(made.number for made in joints))) if joints else ""


def called_so_far(state: State) -> str:
    """Tell how far the calling out has come."""
    if not state.called_out:
        return s.NONE_CALLED_YET()
    return s.CALLED_UP_TO(pair=lead(state.plan.by_number[state.called_out[-1]], state))


def pace(pace_s: float) -> str:
    """Tell the pace."""
    whole, _, rest = f"{pace_s:g}".partition(".")
    number = spoken(int(whole)) + (f" point {spoken(int(rest))}" if rest else "")
    return s.PACE(interval=f"{number} second" if pace_s == 1 else f"{number} seconds")


def called_out(state: State, made: Joint) -> str:
    """Call a pair for the splicer to join; its far side is told whole only where the offset changes."""
    before = state.plan.by_number[state.called_out[-1]] if state.called_out else None
    return s.CALLED_OUT(joint=joint(made, state, before))


def module_confirmed(state: State, joints: list[Joint], left_out: list[Joint]) -> str:
    """Tell that the pairs of a module are confirmed, first and last by name, and which are not among them."""
    told = s.MODULE_CONFIRMED(count=spoken(len(joints)), first=lead(joints[0], state), last=lead(joints[-1], state))
    turn, named = state.plan.turn, {made.number for made in (*joints, *left_out)}
    span = state.plan.joints[turn[joints[0].number] : turn[joints[-1].number]]
    others = tuple(j.number for j in span if j.kind.joined and state.of(j.number).left and j.number not in named)
    told = together(told, s.PASSED_OVER(pairs=numbered(state, others)) if others else "")
    return together(told, _left_out(state, left_out), where_done(state, joints[-1]))


# --- verification ----------------------------------------------------------------------------------


def tested(state: State, made: Joint, test: str) -> str:
    """Read a passed test back."""
    return s.TESTED_GOOD(pair=lead(made, state), test=test)


def failed_plainly(state: State, made: Joint, test: str) -> str:
    """Read a failed test back, of which no fault is named."""
    return s.TESTED_BAD(pair=lead(made, state), test=test)


def group_tested(state: State, good: list[Joint], others: tuple[list[Joint], list[Joint]], test: str) -> str:
    """Tell how many pairs of a group passed, first and last by name, and which are not among them."""
    told = s.GROUP_TESTED(count=spoken(len(good)), first=lead(good[0], state), last=lead(good[-1], state), test=test)
    if len(good) == 1:
        told = s.TESTED_GOOD(pair=lead(good[0], state), test=test)
    for joints, sentence in zip(others, (s.MARKED_LEFT_OUT, s.UNJOINED_LEFT_OUT), strict=True):
        told = together(told, sentence(pairs=numbered(state, tuple(j.number for j in joints))) if joints else "")
    return told


def no_pair_of_group(state: State, made: Joint, test: str) -> str:
    """Tell that no pair of a group can pass without being named."""
    return s.NONE_TO_TEST(group=_group_in_short(state, made) or s.THE_CABLE.text, test=test)


def failed(state: State, made: Joint, test: PairTest, fault: Fault) -> str:
    """Read a failed test back with its fault."""
    return s.TESTED_FAILED(pair=lead(made, state), test=test.value, fault=naming.fault(fault))


def verification_left(state: State) -> str:
    """Sum up the tests; in any order, tell which cable they have left in hand."""
    return together(verified(state), _cable_in_hand(state) if state.settings.any_order else "")


def verified(state: State) -> str:
    """Sum up the tests."""
    known = [state.of(number) for number in state.plan.to_join if state.of(number).tests]
    whole = sum(len(k.tests) == len(PairTest) for k in known)
    return s.VERIFIED(tests=TESTS, whole=spoken(whole), failed=spoken(sum(k.failed for k in known)))


def reading(state: State, made: Joint, found: ReadingLogged) -> str:
    """Read a measurement back."""
    return s.READING(pair=lead(made, state), number=_value(found), unit=f"{found.unit.value}s")


def _value(found: ReadingLogged) -> str:
    point = f" point {' '.join(DIGITS[int(figure)] for figure in found.decimals)}" if found.decimals else ""
    return f"{spoken(found.number)}{point}"


# --- what was not logged ---------------------------------------------------------------------------


def mismatch(state: State, found: Address) -> str:
    """Say both: what was called and what is expected; and where it looks like the far side, how that is called."""
    number = state.plan.at.get(Place(state.end, found.pair))
    known = "" if state.plan.is_sequence else s.NOT_IN_PLAN.text
    if number is not None:
        known = _already(state.of(number))
    heard = s.HEARD(pair=pair(found, state), standing=f", {known}" if known else "")
    made = state.expected_joint
    far = () if made is None else state.plan.far_of(made)
    is_far = made is not None and any(state.plan.address(p).colours == found.colours for p in far)
    return together(s.NOT_LOGGED(), heard, s.CALL_BOTH_SIDES() if is_far else "", expected(state))


def far_mismatch(state: State, made: Joint, called: Colours, found: tuple[Place, ...]) -> str:
    """Say which joint it would be: the far side that was called is another's, or nobody's."""
    order = state.settings.pair_order
    heard = s.HEARD_FAR(pair=lead(made, state), colours=colours(called, order))
    if not state.plan.far_of(made):
        return together(s.NOT_LOGGED(), heard, s.SEVERAL_FAR_SIDES(), expected(state))
    goes_to = [_goes_to(state, place) for place in found] or [s.NOT_THERE_ON_FAR_SIDE()]
    return together(s.NOT_LOGGED(), heard, *goes_to, expected(state))


def _goes_to(state: State, place: Place) -> str:
    """Say what the plan does with a pair of a far side."""
    end, address = state.plan.end_of(place), state.plan.address(place)
    assert address.colours is not None, "it was found by its colours"
    named = {
        "colours": colours(address.colours, end.order or state.settings.pair_order),
        "end": end.name or naming.OTHER_SIDE,
    }
    number = state.plan.at.get(place)
    made = None if number is None else state.plan.by_number[number]
    if made is None or not made.kind.joined:
        return s.FAR_IS_FREE(**named, kind=s.NOT_IN_PLAN.text if made is None else made.kind.value)
    known = _already(state.of(made.number))
    return s.FAR_GOES_TO(**named, pair=lead(made, state), standing=f", {known}" if known else "")


def far_side_of(state: State, made: Joint) -> str:
    """Say both: the joint whose far side was called, and the one that is expected."""
    known = _already(state.of(made.number))
    heard = s.HEARD_FAR_SIDE(pair=naming.lead_and_far(made, state), standing=f", {known}" if known else "")
    return together(s.NOT_LOGGED(), heard, expected(state))


def mismatch_in_itself(state: State, found: Disagreement) -> str:
    """Say both: the pair of the number and the pair of the colours."""
    end = state.end_in_work
    order = end.order or state.settings.pair_order
    named = colours(found.colours, order)
    heard = s.HEARD_BOTH(number=spoken(end.called(found.number.pair)[1]), colours=named)
    is_pair = s.NUMBER_IS(pair=pair(found.number, state))
    if found.pair_of_colours is not None:
        is_pair = s.COLOURS_ARE(colours=named, number=spoken(end.called(found.pair_of_colours)[1]))
    return together(s.NOT_LOGGED(), heard, is_pair, s.WHICH())


def outside(state: State, number: int) -> str:
    """Refuse a pair outside the work."""
    if not state.plan.is_sequence:
        return s.OUTSIDE_PLAN(number=spoken(number))
    return s.OUTSIDE_RANGE(number=spoken(number), run=run(state.settings.first, state.settings.last))


def not_now(state: State) -> str:
    """Tell that an entry is not open in this mode."""
    match state.mode:
        case Mode.HOLDING:
            return s.ON_HOLD()
        case Mode.ASKING:
            return s.ONLY_ANSWERS()
        case Mode.UNSURE | Mode.FINISHING | Mode.PROTECTED | Mode.CHECKING | Mode.CHOOSING | Mode.RENEWING:
            return s.SAY_YES_OR_NO()
        case _:
            return s.NOT_NOW()


def not_understood(state: State, call: str, by: Channel) -> str:
    """Tell that words or keys are no entry."""
    if state.question is not None:
        return together(s.NOT_UNDERSTOOD(), s.SAY_YES_OR_NO())
    return (s.NOT_UNDERSTOOD_KEYS if by is Channel.KEYS else s.NOT_UNDERSTOOD_WORDS)(call=call)


# --- questions answered ----------------------------------------------------------------------------


def answer(address: Address, state: State) -> str:
    """Answer a question about a pair; where only questions are answered, tell the next."""
    where = f", {group(address.group, state)}" if address.group.binder else ""
    told = s.PAIR_IS(pair=pair(address, state), place=where)
    if not state.settings.asking:
        return told
    if not state.cable.has(address.pair + 1):
        return together(told, s.IT_IS_THE_LAST())
    return together(told, s.NEXT(joint=pair(state.cable.address(address.pair + 1), state)))


def answer_many(found: Pairs, state: State) -> str:
    """List the pairs that colours without a group may be."""
    first = found.addresses[0].colours
    name = colours(first, state.settings.pair_order) if isinstance(first, Colours) else "that"
    choices = listed([f"pair {spoken(state.end_in_work.called(address.pair)[1])}" for address in found.addresses])
    return s.MAY_BE(colours=name, pairs=choices)


def answer_group(found: Group, state: State) -> str:
    """Answer a question about a group."""
    numbers = [state.end_in_work.called(position)[1] for position in (found.first, found.last)]
    return s.GROUP_IS(group=group(found, state), run=run(numbers[0], numbers[1]))


def answer_groups(found: Groups, state: State) -> str:
    """List the groups that a call may be."""
    if len({g.super_unit_binder for g in found.groups}) > 1:
        return s.IN_EACH_SUPER_UNIT()
    first, last = found.groups[0], found.groups[-1]
    pairs = run(state.end_in_work.called(first.first)[1], state.end_in_work.called(last.last)[1])
    unit = super_unit(first) or s.THE_CABLE.text
    return s.GROUPS_ARE(unit=unit, count=spoken(len(found.groups)), run=pairs)


def nothing(found: Nothing, call: CallPair | CallGroup, end: End) -> str:
    """Tell why a call names nothing."""
    number = f" {spoken(call.number)}" if call.number is not None else ""
    match found.why:
        case Why.NO_SUCH_PAIR:
            if end.counts:
                carried = listed([f"{c.name} {run(c.run.first, c.run.last)}" for c in end.counts], naming.AND)
                return s.NO_SUCH_COUNT(number=number, name=end.name, counts=carried)
            return s.NO_SUCH_PAIR(number=number, run=run(1, end.cable.pairs))
        case Why.NO_SUCH_SERVICE_PAIR:
            several = end.cable.service_pairs
            return s.NO_SUCH_SERVICE_PAIR(run=run(1, several)) if several else s.NO_SERVICE_PAIRS()
        case Why.NO_SUCH_GROUP:
            several = end.cable.groups
            return s.NO_SUCH_GROUP(number=number, run=run(1, several)) if several > 1 else s.ONE_GROUP(number=number)
        case Why.NO_25TH_BINDER:
            return s.NO_25TH_BINDER()
        case Why.NO_SUCH_SUPER_UNIT:
            return s.NO_SUCH_SUPER_UNIT(count=spoken(end.cable.super_units))
        case Why.GROUP_ENDS_BEFORE:
            return s.GROUP_ENDS_BEFORE()
        case Why.GROUP_AND_BINDER_DISAGREE:
            return s.GROUP_AND_BINDER_DISAGREE()
    assert_never(found.why)


def last_entry(state: State) -> str:
    """Tell the last entry."""
    if state.undo is None:
        return s.NOTHING_ENTERED_YET()
    return s.LAST_ENTRY(pair=_named_with_cable(state, state.plan.by_number[state.undo.pair]))


def before(state: State, made: Joint) -> str:
    """Tell of the pair before the expected one."""
    known = standing_of(state.of(made.number))
    standing = known or (s.STANDS_NOT_DONE.text if made.kind.joined else made.kind.value)
    return s.BEFORE_THAT(pair=lead(made, state), standing=standing)


def repeated(state: State) -> str:
    """Say the last sentence again, marked as such so that it does not pass for news."""
    return s.AGAIN(text=state.last_said) if state.last_said else s.NOTHING_SAID_YET()


def _already(known: PairState) -> str:
    standing = standing_of(known)
    return s.ALREADY.text.format(standing=standing) if standing else ""


def standing_of(known: PairState) -> str:
    """Tell how a pair stands; empty where nothing is known of it."""
    if known.faults:
        sentence = s.STANDS_DONE_MARKED if known.confirmed else s.STANDS_MARKED
        return sentence.text.format(faults=_faults(known.faults))
    if known.confirmed:
        return s.STANDS_DONE.text
    if known.put_off:
        return s.STANDS_PUT_OFF.text.format(reason=put_off_for(known.put_off, known.tried))
    return s.STANDS_SKIPPED.text if known.skipped else ""


TROUBLES: dict[Trouble, Sentence] = {
    Trouble.LOST: s.MICROPHONE_GONE,
    Trouble.BACK: s.MICROPHONE_BACK,
    Trouble.SILENT: s.MICROPHONE_SILENT,
    Trouble.CLIPPED: s.MICROPHONE_CLIPPED,
}
KEY_TROUBLES: dict[KeyTrouble, Sentence] = {
    KeyTrouble.UNKNOWN: s.KEY_UNKNOWN,
    KeyTrouble.HELD: s.KEY_HELD,
    KeyTrouble.NUM_LOCK: s.KEY_NUM_LOCK,
    KeyTrouble.TOO_LONG: s.KEY_TOO_LONG,
}
