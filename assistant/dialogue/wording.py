"""Every sentence that is spoken and every line that is shown.

The word "confirmed" stands only where a pair has just been confirmed, so that half a sentence heard
through noise cannot pass for one: what was not logged is "not logged", what is behind us is "done".
Fixed words come first and what matters last, since the end of a sentence is heard best. Numbers above
twelve are read digit by digit. Must not decide anything.
"""

from assistant.cable.colour_code import Colours, Ring, Tip
from assistant.cable.makeup import Address, Cable, Group
from assistant.dialogue.messages import Channel, Order
from assistant.dialogue.resolve import Disagreement, Groups, Nothing, Pairs, Why
from assistant.dialogue.state import Mode, PairState, State
from assistant.words.intents import CallGroup, CallPair, Fault
from assistant.words.numbers import spoken

CAUTION = (
    "This tool keeps count of pairs. It does not test for voltage, gas or traffic. "
    "Follow your employer's rules, the local code and the licensed or qualified person on site; "
    "where they differ from this tool, they win."
)
SPOKEN_CAUTION = "Check for voltage before you touch. Your site rules come first."
SAY_IT_AGAIN = "Say again: pair and its number, or both colours."
SAY_YES_OR_NO = "Say yes, or no."
NOT_LOGGED = "Not logged."
MOST_LISTED = 4


def colours(pair: Colours, order: Order) -> str:
    """Name two colours in the order that is wanted."""
    if order is Order.RING_FIRST:
        return f"{pair.ring.value} {pair.tip.value}"
    return f"{pair.tip.value} {pair.ring.value}"


def pair(address: Address, state: State) -> str:
    """Name a pair by number and colours: the two together show a slip of either."""
    return f"{spoken(address.pair)}, {colours(address.colours, state.pair_order)}"


def binder(group: Group, state: State) -> str:
    """Name a group's binder; empty where the cable carries none."""
    return f"binder {colours(group.binder, state.binder_order)}" if group.binder else ""


def super_unit(colour: Tip | Ring | None) -> str:
    """Name a super-unit; empty where the cable carries no such binder."""
    return f"super unit {colour.value}" if colour else ""


def group(group: Group, state: State, *, super_unit_too: bool = True) -> str:
    """Name a group by number and binder, with its super-unit where there are several."""
    parts = [super_unit(group.super_unit_binder) if super_unit_too else ""]
    parts += [f"group {spoken(group.in_super_unit)}", binder(group, state)]
    return ", ".join(part for part in parts if part)


def opening(state: State) -> str:
    """Greet at the start of a session."""
    cable = f"{spoken(state.cable.pairs)} pair cable"
    if state.asking:
        return f"{SPOKEN_CAUTION} {cable.capitalize()}. Ask for a pair."
    run = f"pairs {spoken(state.sequence.first)} through {spoken(state.sequence.last)}"
    return f"{SPOKEN_CAUTION} {cable.capitalize()}, {run}. {coming(state, None)}"


def resumed(state: State, torn_bytes: int) -> str:
    """Greet after an interruption, with the place and what the record lost."""
    lost = "The last entry was cut off and is not counted. " if torn_bytes else ""
    if state.asking:
        return f"Resumed. {lost}Check for voltage again. Ask for a pair."
    done = sum(known.confirmed is not None for known in state.pairs.values())
    return f"Resumed. {lost}Check for voltage again. {_sentence(f'{spoken(done)} done')} {coming(state, None)}"


def coming(state: State, before: Address | None) -> str:
    """Announce the expected pair, and its group where it is another than before."""
    if state.expected is None:
        return "No pair is left."
    address = state.cable.address(state.expected)
    entered = ""
    if address.group.binder and (before is None or before.group.number != address.group.number):
        new_unit = before is None or before.group.super_unit != address.group.super_unit
        entered = f"{_sentence(group(address.group, state, super_unit_too=new_unit))} "
    back = "Back to" if before is not None and before.pair > address.pair else "Next"
    return f"{entered}{back} {pair(address, state)}."


def next_pair(state: State) -> str:
    """Tell the expected pair as the next one, without announcing its group."""
    if state.expected is None:
        return "No pair is left."
    return f"Next {pair(state.cable.address(state.expected), state)}."


def closed_group(state: State, group_before: Group) -> str:
    """Announce that no pair of a group waits any more, or that the work leaves it."""
    if group_before.binder is None:
        return ""
    pairs = [p for p in range(group_before.first, group_before.last + 1) if p in state.sequence.pairs]
    known = [state.of(p) for p in pairs]
    counts = [
        (sum(k.confirmed is not None for k in known), "done"),
        (sum(bool(k.faults) for k in known), "faulty"),
        (sum(k.left and k.skipped for k in known), "skipped"),
        (sum(k.left and not k.skipped for k in known), "open"),
    ]
    told = ", ".join(f"{spoken(count)} {name}" for count, name in counts if count or name == "done")
    word = "left" if any(k.left for k in known) else "closed"
    return f"Group {spoken(group_before.in_super_unit)} {word}: {told}."


def confirmed(state: State, address: Address) -> str:
    """Read a confirmed pair back; the state is that after it."""
    return f"{_sentence(f'{pair(address, state)}, confirmed')} {after(state, address)}"


def skipped(state: State, address: Address) -> str:
    """Tell that a pair is left for later."""
    return f"{_sentence(f'{pair(address, state)}, skipped')} {after(state, address)}"


def marked(state: State, address: Address, fault: Fault, moved: bool) -> str:
    """Tell that a fault is logged."""
    told = _sentence(f"{pair(address, state)}, marked {fault.value}")
    return f"{told} {after(state, address) if moved else coming(state, address)}".strip()


def after(state: State, address: Address) -> str:
    """Announce what follows a pair that has just been dealt with."""
    next_group = None if state.expected is None else state.cable.address(state.expected).group.number
    closing = closed_group(state, address.group) if next_group != address.group.number else ""
    return " ".join(part for part in (closing, coming(state, address)) if part)


def undone(state: State, address: Address, entry: str) -> str:
    """Tell what was taken back; `entry` is the name of its fact."""
    what = {"PairConfirmed": "", "FaultMarked": "fault of ", "PairSkipped": "skip of ", "MovedTo": "going to "}
    return f"Undone: {what.get(entry, '')}{pair(address, state)}. {coming(state, address)}"


def moved(state: State, address: Address) -> str:
    """Tell the new place."""
    known = _standing(state.of(address.pair))
    return f"{coming(state, None)}{f' It is already {known}.' if known else ''}"


def mismatch(state: State, found: Address) -> str:
    """Say both: what was called and what is expected."""
    known = _standing(state.of(found.pair))
    told = f"{NOT_LOGGED} Heard {pair(found, state)}{f', already {known}' if known else ''}."
    return f"{told} {expected(state)}"


def mismatch_in_itself(state: State, found: Disagreement) -> str:
    """Say both: the pair of the number and the pair of the colours."""
    heard = f"Heard {spoken(found.number.pair)} and {colours(found.colours, state.pair_order)}"
    if found.pair_of_colours is None:
        return f"{NOT_LOGGED} {heard}. {pair(found.number, state).capitalize()}. Which? Call it again."
    is_pair = f"{colours(found.colours, state.pair_order)} is {spoken(found.pair_of_colours)}"
    return f"{NOT_LOGGED} {heard}. {is_pair.capitalize()}. Which? Call it again."


def expected(state: State) -> str:
    """Tell the expected pair without announcing its group."""
    if state.expected is None:
        return "No pair is left."
    return f"Expected {pair(state.cable.address(state.expected), state)}."


def answer(address: Address, state: State) -> str:
    """Answer a question about a pair, and tell the next."""
    where = f", {group(address.group, state)}" if address.group.binder else ""
    told = f"Pair {pair(address, state)}{where}."
    if not state.cable.has(address.pair + 1):
        return f"{told} It is the last pair."
    return f"{told} Next {pair(state.cable.address(address.pair + 1), state)}."


def answer_many(found: Pairs, state: State) -> str:
    """List the pairs that colours without a group may be."""
    name = colours(found.addresses[0].colours, state.pair_order)
    listed = _listed([spoken(address.pair) for address in found.addresses])
    return f"{name.capitalize()} may be {listed}. Say the group."


def answer_group(found: Group, state: State) -> str:
    """Answer a question about a group."""
    return f"{_sentence(group(found, state))} Pairs {spoken(found.first)} through {spoken(found.last)}."


def answer_groups(found: Groups, state: State) -> str:
    """List the groups that a call may be."""
    units = {g.super_unit_binder for g in found.groups}
    if len(units) == 1:
        first, last = found.groups[0], found.groups[-1]
        name = _sentence(super_unit(first.super_unit_binder) or "The cable")
        return f"{name} {spoken(len(found.groups))} groups, pairs {spoken(first.first)} through {spoken(last.last)}."
    return f"There is one in each of {spoken(len(found.groups))} super units. Say the super unit."


def nothing(found: Nothing, call: CallPair | CallGroup, cable: Cable) -> str:
    """Tell why a call names nothing."""
    number = f" {spoken(call.number)}" if call.number is not None else ""
    match found.why:
        case Why.NO_SUCH_PAIR:
            return f"There is no pair{number}. The cable has pairs one through {spoken(cable.pairs)}."
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
    last = state.cable.address(state.undo.pair)
    return f"Last entry {pair(last, state)}. {coming(state, None)}"


def counts(state: State) -> str:
    """Tell how many pairs are left, and what became of the others."""
    left = state.left()
    skipped_count = sum(state.of(p).skipped for p in left)
    faulty = sum(bool(known.faults) for known in state.pairs.values())
    parts = [f"{spoken(len(left))} left"]
    if skipped_count:
        parts.append(f"{spoken(skipped_count)} of them skipped")
    parts.append(f"{spoken(sum(k.confirmed is not None for k in state.pairs.values()))} done")
    if faulty:
        parts.append(f"{spoken(faulty)} faulty")
    return _sentence(", ".join(parts))


def before(state: State, address: Address) -> str:
    """Tell of the pair before the expected one."""
    return f"Before that {pair(address, state)}, {_standing(state.of(address.pair)) or 'open'}."


def where_next(state: State) -> str:
    """Tell what is awaited."""
    return "Ask for a pair." if state.asking else next_pair(state)


def outside(state: State, number: int) -> str:
    """Refuse a pair outside the sequence."""
    run = state.sequence
    return (
        f"{spoken(number).capitalize()} is not in this work, which is pairs {spoken(run.first)} "
        f"through {spoken(run.last)}."
    )


def not_now(state: State) -> str:
    """Tell that an entry is not open in this mode."""
    match state.mode:
        case Mode.HOLDING:
            return "On hold. Say carry on."
        case Mode.ASKING:
            return "Not now: this session only answers questions."
        case Mode.QUESTION:
            return SAY_YES_OR_NO
        case _:
            return f"Not now. {expected(state)}"


def not_understood(state: State, call: str, by: Channel) -> str:
    """Tell that words or keys are no entry."""
    if state.mode is Mode.QUESTION:
        return f"Not understood. {SAY_YES_OR_NO}"
    hint = "Slash zero for help." if by is Channel.KEYS else "Say help to hear what is understood."
    return f"Not understood: {call}. {hint}"


def repeated(state: State) -> str:
    """Say the last sentence again, marked as such so that it does not pass for news."""
    return f"I say again: {state.last_said}" if state.last_said else "Nothing has been said yet."


def did_you_say(call: str) -> str:
    """Ask back."""
    return f"Did you say, {call}?"


def finish_anyway(state: State) -> str:
    """Ask before a session with open pairs is ended."""
    left = state.left()
    return f"{_sentence(f'Left are {_listed([spoken(p) for p in left])}')} Finish all the same?"


def finished(state: State) -> str:
    """Close the session; a spoken entry is no test."""
    if state.asking:
        return "Finished."
    return f"Finished. {counts(state)} A confirmation by voice or key is not an electrical test."


def _standing(known: PairState) -> str:
    if known.faults:
        return "marked " + ", ".join(fault.value for fault in known.faults)
    return "done" if known.confirmed else "skipped" if known.skipped else ""


def _listed(names: list[str]) -> str:
    if len(names) > MOST_LISTED:
        return f"{', '.join(names[:MOST_LISTED])} and {spoken(len(names) - MOST_LISTED)} more"
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."
