"""Every sentence that is spoken and every line that is shown.

The word "confirmed" stands only where a pair has just been confirmed, so that half a sentence heard
through noise cannot pass for one: what was not logged is "not logged", what is behind us is "done".
Fixed words come first and what matters last, since the end of a sentence is heard best. Numbers above
twelve are read digit by digit. Must not decide anything.
"""

from itertools import groupby

from assistant.cable.colour_code import Colours
from assistant.cable.makeup import Address, Group
from assistant.cable.splice_plan import End, Joint, Place, in_runs
from assistant.dialogue import naming
from assistant.dialogue.messages import Channel, PairTest, ReadingLogged, Trouble
from assistant.dialogue.naming import (
    AND,
    called_number,
    capital,
    colours,
    group,
    joint,
    lead,
    listed,
    multi_unit,
    pair,
    run,
    sentence,
    super_unit,
)
from assistant.dialogue.resolve import Disagreement, Groups, Nothing, Pairs, Why
from assistant.dialogue.state import Mode, PairState, State
from assistant.words.intents import CallGroup, CallPair, Fault
from assistant.words.numbers import spoken

SOUND_IS_KEPT = "Every utterance is kept as sound with the log. Tell those who are near."
CAUTION = (
    "This tool keeps count of pairs. It does not test for voltage, gas or traffic. "
    "Follow your employer's rules, the local code and the licensed or qualified person on site; "
    "where they differ from this tool, they win."
)
SITE_RULES = "Your site rules come first."
SPOKEN_CAUTION = "Check for voltage before you touch. Your site rules come first."
SAY_IT_AGAIN = "Say again: pair and its number, or both colours."
SAY_YES_OR_NO = "Say yes, or no."
NOT_LOGGED = "Not logged."


def opening(state: State) -> str:
    """Greet at the start of a session."""
    if state.any_order:
        waiting = f"{spoken(len(state.plan.to_join))} pairs"
        return f"{SPOKEN_CAUTION} {sentence(f'{waiting} in any order')} Call a pair."
    if state.asking:
        return f"{SPOKEN_CAUTION} {_cable(state.plan.ends[0])}. Ask for a pair."
    if not state.plan.is_sequence:
        title = state.plan.title or "splice plan"
        made = f"{spoken(len(state.plan.to_join))} joints"
        return f"{SPOKEN_CAUTION} {sentence(f'{title}, {made}')} {coming(state, None)}"
    first, last = state.plan.joints[0].number, state.plan.joints[-1].number
    run = f"pairs {spoken(first)} through {spoken(last)}"
    return f"{SPOKEN_CAUTION} {_cable(state.plan.ends[0])}, {run}. {coming(state, None)}"


def _cable(end: End) -> str:
    return f"{spoken(end.cable.pairs)} pair cable".capitalize()


def resumed(state: State, torn_bytes: int) -> str:
    """Greet after an interruption, with the place and what the record lost."""
    lost = "The last entry was cut off and is not counted. " if torn_bytes else ""
    if state.asking:
        return f"Resumed. {lost}Check for voltage again. Ask for a pair."
    done = sum(known.confirmed is not None for known in state.pairs.values())
    return f"Resumed. {lost}Check for voltage again. {sentence(f'{spoken(done)} done')} {coming(state, None)}"


def coming(state: State, before: Joint | None) -> str:
    """Announce the expected joint: what is left alone on the way, cable, unit and group where they change."""
    expected_joint = state.expected_joint
    if state.any_order:
        return f"{capital(spoken(len(state.left())))} left."
    if expected_joint is None:
        return " ".join([*left_alone(state, before, None), "No pair is left."])
    told = [*left_alone(state, before, expected_joint), *entered(state, before, expected_joint)]
    if expected_joint.protect:
        told.append(sentence(f"protected, {expected_joint.protect}"))
    turn = state.plan.turn
    back = before is not None and turn[before.number] > turn[expected_joint.number]
    told.append(f"{'Back to' if back else 'Next'} {joint(expected_joint, state, before)}.")
    return " ".join(told)


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
        names = listed([run(first, last) for first, last in in_runs(sorted(numbers))], "and")
        why = f", {reason}" if reason else ""
        told.append(sentence(f"leave {names}, {kind.value}{why}"))
    return told


def entered(state: State, before: Joint | None, made: Joint) -> list[str]:
    """Announce cable, super-unit, multi-unit, group and unit, each only where it exists and has changed."""
    end, new = state.plan.end_of(made.lead), state.plan.address(made.lead)
    old = None if before is None else state.plan.address(before.lead)
    changed_end = before is None or before.lead.end != made.lead.end
    if changed_end:
        old = None
    told = [sentence(f"cable {end.name}")] if changed_end and end.name else []
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
    return told + ([sentence(named)] if named else [])


def _multi_unit_of(address: Address) -> tuple[int, int]:
    return address.group.super_unit, address.multi_unit


def next_pair(state: State) -> str:
    """Tell the expected pair as the next one, without announcing its group."""
    if state.any_order:
        return f"{capital(spoken(len(state.left())))} left."
    made = state.expected_joint
    return "No pair is left." if made is None else f"Next {lead(made, state)}."


def closed_group(state: State, made: Joint) -> str:
    """Announce that no pair of a group waits any more, or that the work leaves it."""
    address = state.plan.address(made.lead)
    end = state.plan.end_of(made.lead)
    if end.cable.groups == 1 and not end.cable.service_pairs:
        return ""
    joints = [j for j in state.plan.in_group(made.lead.end, address.group.number) if j.kind.joined]
    known = [state.of(j.number) for j in joints]
    counted = [
        (sum(k.confirmed is not None and not k.faults for k in known), "done"),
        (sum(bool(k.faults) for k in known), "faulty"),
        (sum(k.left and k.skipped for k in known), "skipped"),
        (sum(k.left and not k.skipped for k in known), "open"),
    ]
    told = ", ".join(f"{spoken(count)} {name}" for count, name in counted if count or name == "done")
    word = "left" if any(k.left for k in known) else "closed"
    name = "Service pairs" if address.group.service else f"Group {spoken(address.group.in_super_unit)}"
    return f"{name} {word}: {told}."


def confirmed(state: State, made: Joint) -> str:
    """Read a confirmed pair back; the state is that after it."""
    return f"{sentence(f'{lead(made, state)}, confirmed')} {after(state, made)}"


def skipped(state: State, made: Joint) -> str:
    """Tell that a pair is left for later."""
    return f"{sentence(f'{lead(made, state)}, skipped')} {after(state, made)}"


MENDED_WHERE_MADE = "It is mended at the splice where it was made; mending it elsewhere leaves two faults."
"""Reflectometer application note on split pairs."""


def marked(state: State, made: Joint, fault: Fault, moved: bool, other: Joint | None = None) -> str:
    """Tell that a fault is logged; of one between two pairs, where it is mended."""
    with_other = f" with {lead(other, state)}" if other is not None else ""
    told = sentence(f"{lead(made, state)}, marked {naming.fault(fault)}{with_other}")
    if fault in (Fault.SPLIT, Fault.RE_SPLIT, Fault.TRANSPOSITION):
        told += f" {MENDED_WHERE_MADE}"
    if fault is Fault.VOLTAGE:
        told += f" {SPOKEN_CAUTION}"
    return f"{told} {after(state, made) if moved else where_next(state)}".strip()


def cleared(state: State, made: Joint, fault: Fault) -> str:
    """Tell that a fault is mended."""
    told = sentence(f"{lead(made, state)}, {naming.fault(fault)} cleared")
    again = " It waits to be called." if state.of(made.number).left else ""
    return f"{told}{again} {where_next(state)}"


def no_such_fault(state: State, made: Joint | None, fault: Fault) -> str:
    """Tell that there is nothing to clear."""
    name = "That pair" if made is None else capital(lead(made, state))
    return f"{name} is not marked {naming.fault(fault)}. {where_next(state)}"


def faults(state: State) -> str:
    """List the pairs with faults, and those that failed a test."""
    found = [number for number in state.plan.to_join if state.of(number).faults]
    failed = [number for number in state.plan.to_join if state.of(number).failed and number not in found]
    if not found and not failed:
        return "No pair is marked."
    named = [
        f"{spoken(called_number(state, number))} {', '.join(map(naming.fault, state.of(number).faults))}"
        for number in found
    ]
    named += [f"{spoken(called_number(state, number))} failed a test" for number in failed]
    return sentence(f"marked {spoken(len(named))}: {listed(named, AND)}")


def reopened(state: State, made: Joint) -> str:
    """Tell that a joint waits again."""
    return f"{sentence(f'{lead(made, state)}, open again')} {where_next(state)}"


def still_open(state: State, made: Joint) -> str:
    """Tell that a joint was never made."""
    return f"{sentence(f'{lead(made, state)} is not done yet')} {where_next(state)}"


def name_one_pair(state: State) -> str:
    """Ask for one pair of the work."""
    return f"Name one pair of this work. {where_next(state)}"


def no_such_cable(state: State, number: int) -> str:
    """Tell that a cable of the plan has no open pair, or is not there."""
    if not 1 <= number <= len(state.plan.ends):
        return f"The plan has {spoken(len(state.plan.ends))} cables."
    return f"No open pair is called on cable {state.plan.ends[number - 1].name}. {where_next(state)}"


def join_protected(state: State, made: Joint) -> str:
    """Ask before a protected pair is logged."""
    return f"{sentence(f'{lead(made, state)} is protected, {made.protect}')} Joined all the same?"


MODULE_CALLED = "All called. Say confirm module, or call single pairs."
NOTHING_CALLED_OUT = "No pairs are called out. Say call them out."


def calling_out(state: State, count: int, pace_s: float) -> str:
    """Tell that pairs will be called out."""
    return f"Calling {spoken(count)} pairs. {pace(pace_s)} Say hold on to stop."


def pace(pace_s: float) -> str:
    """Tell the pace."""
    return f"Every {f'{pace_s:g}'.replace('.', ' point ')} seconds."


def called_out(state: State, made: Joint) -> str:
    """Call a pair for the splicer to join."""
    protected = f"Protected, {made.protect}. " if made.protect else ""
    return f"{protected}{sentence(joint(made, state))}"


def module_confirmed(state: State, joints: list[Joint]) -> str:
    """Tell that the pairs of a module are confirmed, first and last by name."""
    names = f"{lead(joints[0], state)} through {lead(joints[-1], state)}"
    return f"{sentence(f'{spoken(len(joints))} pairs, {names}, confirmed')} {after(state, joints[-1])}"


VERIFYING = "Tests are made with your test set; this only logs what you say. Say test good, or mark the fault."


def in_turn(state: State) -> str:
    """Tell which pair is to have which test."""
    verifying = state.verifying
    if verifying is None or verifying.joint is None:
        return verified(state)
    return sentence(f"{verifying.test.value}: {lead(state.plan.by_number[verifying.joint], state)}")


def tested(state: State, made: Joint, test: PairTest, *, passed: bool) -> str:
    """Read a result back and tell the next pair."""
    return f"{sentence(f'{lead(made, state)}, {test.value} {_RESULT[passed]}')} {in_turn(state)}"


_RESULT = {True: "good", False: "failed"}


def verified(state: State) -> str:
    """Sum up the tests."""
    known = [state.of(number) for number in state.plan.to_join if state.of(number).tests]
    failed = sum(k.failed for k in known)
    whole = sum(len(k.tests) == len(PairTest) for k in known)
    return sentence(f"verification: {spoken(whole)} pairs with all tests, {spoken(failed)} failed")


def reading(state: State, made: Joint, found: ReadingLogged) -> str:
    """Read a measurement back."""
    return f"{sentence(f'{lead(made, state)}, reading {spoken(found.number)} {found.unit.value}s')}"


def after(state: State, made: Joint) -> str:
    """Announce what follows a pair that has just been dealt with."""
    if state.any_order:
        waiting = any(state.of(j.number).left for j in state.plan.in_group(*_group_key(state, made)))
        return " ".join(part for part in ("" if waiting else closed_group(state, made), coming(state, made)) if part)
    following = state.expected_joint
    same = following is not None and _group_key(state, following) == _group_key(state, made)
    return " ".join(part for part in ("" if same else closed_group(state, made), coming(state, made)) if part)


def _group_key(state: State, made: Joint) -> tuple[int, int]:
    return made.lead.end, state.plan.address(made.lead).group.number


def undone(state: State, made: Joint, entry: str) -> str:
    """Tell what was taken back; `entry` is the name of its fact."""
    what = {
        "FaultMarked": "fault of ",
        "FaultCleared": "clearing of ",
        "PairSkipped": "skip of ",
        "MovedTo": "going to ",
        "PairTested": "test of ",
        "Reopened": "opening of ",
    }
    return f"Undone: {what.get(entry, '')}{lead(made, state)}. {where_next(state)}"


def moved(state: State, made: Joint) -> str:
    """Tell the new place."""
    known = _standing(state.of(made.number))
    return f"{coming(state, None)}{f' It is already {known}.' if known else ''}"


def mismatch(state: State, found: Address) -> str:
    """Say both: what was called and what is expected."""
    number = state.plan.at.get(Place(state.end, found.pair))
    known = "" if state.plan.is_sequence else "not in this plan"
    if number is not None:
        known = _already(state.of(number))
    told = f"{NOT_LOGGED} Heard {pair(found, state)}{f', {known}' if known else ''}."
    return f"{told} {expected(state)}"


def mismatch_in_itself(state: State, found: Disagreement) -> str:
    """Say both: the pair of the number and the pair of the colours."""
    end = state.end_in_work
    order = end.order or state.pair_order
    heard = f"Heard {spoken(end.called(found.number.pair)[1])} and {colours(found.colours, order)}"
    if found.pair_of_colours is None:
        return f"{NOT_LOGGED} {heard}. {pair(found.number, state).capitalize()}. Which? Call it again."
    is_pair = f"{colours(found.colours, order)} is {spoken(end.called(found.pair_of_colours)[1])}"
    return f"{NOT_LOGGED} {heard}. {is_pair.capitalize()}. Which? Call it again."


def expected(state: State) -> str:
    """Tell the expected pair without announcing its group."""
    made = state.expected_joint
    if state.any_order:
        return "Call another pair."
    return "No pair is left." if made is None else f"Expected {lead(made, state)}."


def answer(address: Address, state: State) -> str:
    """Answer a question about a pair, and tell the next."""
    where = f", {group(address.group, state)}" if address.group.binder else ""
    told = f"Pair {pair(address, state)}{where}."
    if not state.cable.has(address.pair + 1):
        return f"{told} It is the last pair."
    return f"{told} Next {pair(state.cable.address(address.pair + 1), state)}."


def answer_many(found: Pairs, state: State) -> str:
    """List the pairs that colours without a group may be."""
    first = found.addresses[0].colours
    name = colours(first, state.pair_order) if isinstance(first, Colours) else "that"
    choices = listed([spoken(state.end_in_work.called(address.pair)[1]) for address in found.addresses])
    return f"{name.capitalize()} may be {choices}. Say the group."


def answer_group(found: Group, state: State) -> str:
    """Answer a question about a group."""
    numbers = [state.end_in_work.called(position)[1] for position in (found.first, found.last)]
    return f"{sentence(group(found, state))} Pairs {spoken(numbers[0])} through {spoken(numbers[1])}."


def answer_groups(found: Groups, state: State) -> str:
    """List the groups that a call may be."""
    units = {g.super_unit_binder for g in found.groups}
    if len(units) == 1:
        first, last = found.groups[0], found.groups[-1]
        name = sentence(super_unit(first) or "the cable")
        return f"{name} {spoken(len(found.groups))} groups, pairs {spoken(first.first)} through {spoken(last.last)}."
    return f"There is one in each of {spoken(len(found.groups))} super units. Say the super unit."


def nothing(found: Nothing, call: CallPair | CallGroup, end: End) -> str:
    """Tell why a call names nothing."""
    cable = end.cable
    number = f" {spoken(call.number)}" if call.number is not None else ""
    match found.why:
        case Why.NO_SUCH_PAIR:
            if end.counts:
                carried = listed([f"{c.name} {run(c.run.first, c.run.last)}" for c in end.counts], "and")
                return f"There is no pair{number}. Cable {end.name} carries {carried}."
            return f"There is no pair{number}. The cable has pairs one through {spoken(cable.pairs)}."
        case Why.NO_SUCH_SERVICE_PAIR:
            return f"There is no such service pair. The cable has {spoken(cable.service_pairs)}."
        case Why.NO_SUCH_GROUP:
            return f"There is no such group{number}. The cable has {spoken(cable.groups)}."
        case Why.NO_25TH_BINDER:
            return "Violet slate is no binder. Group two four is followed by the next super unit."
        case Why.NO_SUCH_SUPER_UNIT:
            return f"There is no such super unit. The cable has {spoken(cable.super_units)}."
        case Why.GROUP_ENDS_BEFORE:
            return "The cable ends before those colours in this group."
        case Why.GROUP_AND_BINDER_DISAGREE:
            return "That group number and that binder do not agree."


def place(state: State) -> str:
    """Tell where in the sequence the work is."""
    if state.asking:
        if state.looked_up is None:
            return "Nothing has been asked yet."
        return answer(state.cable.address(state.looked_up), state)
    if state.undo is None:
        return f"Nothing is entered yet. {coming(state, None)}"
    last = state.plan.by_number[state.undo.pair]
    return f"Last entry {lead(last, state)}. {coming(state, None)}"


def counts(state: State) -> str:
    """Account for every joint: left, skipped, done, faulty, dead and spare add up to all."""
    left = state.left()
    if state.any_order and left:
        names = listed([spoken(called_number(state, number)) for number in left], AND)
        return sentence(f"{spoken(len(left))} not called: {names}")
    tally = state.tally()
    parts = [f"{spoken(len(left))} left"]
    if tally.skipped:
        parts.append(f"{spoken(tally.skipped)} of them skipped")
    parts.append(f"{spoken(tally.confirmed)} done")
    others = ((tally.faulty, "faulty"), (tally.dead, "dead"), (tally.spare, "spare"))
    parts += [f"{spoken(count)} {name}" for count, name in others if count]
    return sentence(", ".join(parts))


def before(state: State, made: Joint) -> str:
    """Tell of the pair before the expected one."""
    standing = _standing(state.of(made.number)) or ("open" if made.kind.joined else made.kind.value)
    return f"Before that {lead(made, state)}, {standing}."


def where_next(state: State) -> str:
    """Tell what is awaited."""
    if state.verifying is not None:
        return in_turn(state)
    return "Ask for a pair." if state.asking else next_pair(state)


def outside(state: State, number: int) -> str:
    """Refuse a pair outside the sequence."""
    if not state.plan.is_sequence:
        return f"{capital(spoken(number))} is not called for any joint of this plan."
    first, last = state.plan.joints[0].number, state.plan.joints[-1].number
    return f"{spoken(number).capitalize()} is not in this work, which is pairs {spoken(first)} through {spoken(last)}."


def not_now(state: State) -> str:
    """Tell that an entry is not open in this mode."""
    match state.mode:
        case Mode.HOLDING:
            return "On hold. Say carry on."
        case Mode.ASKING:
            return "Not now: this session only answers questions."
        case Mode.QUESTION:
            return SAY_YES_OR_NO
        case Mode.VERIFYING:
            return f"Not now. {in_turn(state)}"
        case _:
            return f"Not now. {expected(state)}"


def not_understood(state: State, call: str, by: Channel) -> str:
    """Tell that words or keys are no entry."""
    if state.mode is Mode.QUESTION:
        return f"Not understood. {SAY_YES_OR_NO}"
    hint = "Slash zero for help." if by is Channel.KEYS else "Say help to hear what is understood."
    return f"Not understood: {call}. {hint}"


TROUBLES = {
    Trouble.LOST: "The microphone is gone. Keys still work.",
    Trouble.BACK: "The microphone is back.",
    Trouble.SILENT: "No sound comes from the microphone. Is it muted?",
    Trouble.CLIPPED: "Too loud: move the microphone away, or turn it down.",
}


def repeated(state: State) -> str:
    """Say the last sentence again, marked as such so that it does not pass for news."""
    return f"I say again: {state.last_said}" if state.last_said else "Nothing has been said yet."


def did_you_say(call: str) -> str:
    """Ask back."""
    return f"Did you say, {call}?"


def finish_anyway(state: State) -> str:
    """Ask before a session with open pairs is ended."""
    names = [spoken(called_number(state, number)) for number in state.left()]
    return f"{sentence(f'Left are {listed(names, AND)}')} Finish all the same?"


def finished(state: State) -> str:
    """Close the session; a spoken entry is no test."""
    if state.asking:
        return "Finished."
    return f"Finished. {counts(state)} A confirmation by voice or key is not an electrical test."


def _already(known: PairState) -> str:
    standing = _standing(known)
    return f"already {standing}" if standing else ""


def _standing(known: PairState) -> str:
    if known.faults:
        return "marked " + ", ".join(map(naming.fault, known.faults))
    return "done" if known.confirmed else "skipped" if known.skipped else ""
