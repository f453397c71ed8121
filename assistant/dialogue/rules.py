"""One small function per cell of the table in `machine`.

Each takes the state and the entry and gives a step. A sentence that tells of a change is made from the
state after it, which `_then` folds in. Must not look at how an entry came in, beyond recording it.
"""

from collections.abc import Callable
from dataclasses import dataclass

from assistant.cable.makeup import Address
from assistant.dialogue import wording
from assistant.dialogue.messages import (
    Answered,
    Asked,
    CarriedOn,
    Channel,
    Check,
    DidYouSay,
    Fact,
    FaultMarked,
    FinishAnyway,
    GroupNamed,
    Held,
    LookedUp,
    Mismatch,
    Missed,
    MovedTo,
    PairConfirmed,
    PairSkipped,
    QuestionDropped,
    Quit,
    Repeated,
    Said,
    Say,
    SessionEnded,
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
from assistant.dialogue.state import State, fold
from assistant.words import intents as say
from assistant.words.intents import CallGroup, CallPair, Intent


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An understood entry and how it came in."""

    intent: Intent
    call: str
    """The words or keys as they came."""
    by: Channel
    asked_back: bool = False


Rule = Callable[[State, Entry], Step]


def tell(text: str) -> Step:
    """Say this, and keep that it was said."""
    return Step((Said(text),), (Say(text),))


def _then(state: State, *facts: Fact, told: Callable[[State], str]) -> Step:
    """Let these happen, and tell of them from the state that they lead to."""
    return Step(facts) + tell(told(fold(facts, state)))


# --- answering -----------------------------------------------------------------------------------


def look_up(state: State, entry: Entry) -> Step:
    """Answer a question about a pair or a group."""
    intent = entry.intent
    call = intent.call if isinstance(intent, say.Ask) else intent
    if isinstance(call, CallGroup):
        return look_up_group(state, call)
    assert isinstance(call, CallPair)
    match resolve_pair(call, state.cable, state.group):
        case ThePair(address):
            return _then(state, LookedUp(address.pair), told=lambda s: wording.answer(address, s))
        case Pairs() as several:
            return tell(wording.answer_many(several, state))
        case Disagreement() as disagreement:
            return tell(wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, call, state.cable))


def look_up_group(state: State, call: CallGroup) -> Step:
    """Answer a question about a group."""
    match resolve_group(call, state.cable, state.group):
        case TheGroup(group):
            return _then(state, GroupNamed(group.number), told=lambda s: wording.answer_group(group, s))
        case Groups() as several:
            return tell(wording.answer_groups(several, state))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, call, state.cable))


def look_up_neighbour(state: State, entry: Entry) -> Step:
    """Answer with the next or previous pair of the one asked about last."""
    step = 1 if isinstance(entry.intent, say.NextPair) else -1
    pair = (state.looked_up or 0) + step
    if not state.cable.has(pair):
        return tell("There is none before the first pair." if step < 0 else "There is none after the last pair.")
    address = state.cable.address(pair)
    return _then(state, LookedUp(pair), told=lambda s: wording.answer(address, s))


def say_again(state: State, _: Entry) -> Step:
    """Repeat the last sentence."""
    text = wording.repeated(state)
    return Step((Repeated(text),), (Say(text),))


def which_group(state: State, _: Entry) -> Step:
    """Tell the group in work."""
    if state.group is None:
        return tell("No group is in work yet.")
    return tell(wording.answer_group(state.cable.group(state.group), state))


def where_am_i(state: State, _: Entry) -> Step:
    """Tell the place."""
    return tell(wording.place(state))


def how_many_left(state: State, _: Entry) -> Step:
    """Tell the counts."""
    return tell(wording.counts(state))


def tell_expected(state: State, _: Entry) -> Step:
    """Tell the next pair of the sequence without confirming anything."""
    return tell(wording.next_pair(state))


def tell_before(state: State, _: Entry) -> Step:
    """Tell the pair before the expected one, and what became of it."""
    pair = (state.expected or state.sequence.last + 1) - 1
    if pair not in state.sequence.pairs:
        return tell("There is none before the first pair.")
    return tell(wording.before(state, state.cable.address(pair)))


# --- following a sequence --------------------------------------------------------------------------


def call_pair(state: State, entry: Entry) -> Step:
    """Compare a called pair with the expected one: confirm it, or say both."""
    call = entry.intent
    assert isinstance(call, CallPair)
    match resolve_pair(call, state.cable, state.group):
        case ThePair(address) if address.pair == state.expected:
            return _confirm(state, entry, address, _check_of(call))
        case ThePair(address):
            told = wording.mismatch(state, address)
            return _mismatch(state, entry, (address.pair,), told)
        case Pairs(addresses):
            told = f"{wording.NOT_LOGGED} {wording.expected(state)}"
            return _mismatch(state, entry, tuple(a.pair for a in addresses), told)
        case Disagreement(number, _, other) as disagreement:
            heard = (number.pair,) if other is None else (number.pair, other)
            return _mismatch(state, entry, heard, wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            told = f"{wording.NOT_LOGGED} {wording.nothing(nothing, call, state.cable)} {wording.expected(state)}"
            return _mismatch(state, entry, (), told)


def _check_of(call: CallPair) -> Check:
    if call.number is None:
        return Check.COLOURS
    return Check.NUMBER if call.colours is None else Check.NUMBER_AND_COLOURS


def _confirm(state: State, entry: Entry, address: Address, how: Check) -> Step:
    fact = PairConfirmed(pair=address.pair, how=how, by=entry.by, asked_back=entry.asked_back)
    return _then(state, fact, told=lambda s: wording.confirmed(s, address))


def _mismatch(state: State, entry: Entry, heard: tuple[int, ...], told: str) -> Step:
    return Step((Mismatch(expected=state.expected, heard=heard, call=entry.call),)) + tell(told)


def confirm(state: State, entry: Entry) -> Step:
    """Confirm the expected pair, which was not named; kept as the weakest kind."""
    if state.expected is None:
        return tell(wording.expected(state))
    how = Check.KEY if entry.by is Channel.KEYS else Check.WORD
    return _confirm(state, entry, state.cable.address(state.expected), how)


def skip(state: State, _: Entry) -> Step:
    """Leave the expected pair for later."""
    if state.expected is None:
        return tell(wording.expected(state))
    address = state.cable.address(state.expected)
    return _then(state, PairSkipped(address.pair), told=lambda s: wording.skipped(s, address))


def mark_fault(state: State, entry: Entry) -> Step:
    """Log a fault on the expected pair or the one named."""
    intent = entry.intent
    assert isinstance(intent, say.MarkFault)
    pair = state.expected if intent.pair is None else intent.pair
    if pair is None:
        return tell("No pair is expected. Name the pair: mark, the fault, pair, and its number.")
    if pair not in state.sequence.pairs:
        return tell(wording.outside(state, pair))
    address, moves = state.cable.address(pair), pair == state.expected
    fact = FaultMarked(pair=pair, fault=intent.fault, by=entry.by)
    return _then(state, fact, told=lambda s: wording.marked(s, address, intent.fault, moves))


def go_to(state: State, entry: Entry) -> Step:
    """Carry on from the named pair, or from the first open pair of the named group."""
    intent = entry.intent
    assert isinstance(intent, say.GoTo)
    if isinstance(intent.call, CallGroup):
        return _go_to_group(state, intent.call)
    match resolve_pair(intent.call, state.cable, state.group):
        case ThePair(address) if address.pair in state.sequence.pairs:
            return _then(state, MovedTo(address.pair), told=lambda s: wording.moved(s, address))
        case ThePair(address):
            return tell(wording.outside(state, address.pair))
        case Pairs() as several:
            return tell(wording.answer_many(several, state))
        case Disagreement() as disagreement:
            return tell(wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, intent.call, state.cable))


def _go_to_group(state: State, call: CallGroup) -> Step:
    match resolve_group(call, state.cable, state.group):
        case TheGroup(group):
            run = [p for p in range(group.first, group.last + 1) if p in state.sequence.pairs]
            if not run:
                return tell(wording.outside(state, group.first))
            pair = next((p for p in run if state.of(p).left), run[0])
            address = state.cable.address(pair)
            return _then(state, MovedTo(pair), told=lambda s: wording.moved(s, address))
        case Groups() as several:
            return tell(wording.answer_groups(several, state))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, call, state.cable))


def undo(state: State, _: Entry) -> Step:
    """Take the last entry back."""
    if state.undo is None:
        return tell("There is nothing to undo.")
    address = state.cable.address(state.undo.pair)
    fact = Undone(entry=state.undo.entry, pair=address.pair)
    return _then(state, fact, told=lambda s: wording.undone(s, address, fact.entry))


def finish(state: State, _: Entry) -> Step:
    """End the session; ask first when pairs are left."""
    if not state.asking and state.left():
        return Step((Asked(FinishAnyway()),)) + tell(wording.finish_anyway(state))
    return _end(state)


def _end(state: State) -> Step:
    known = state.pairs.values()
    fact = SessionEnded(
        confirmed=sum(k.confirmed is not None for k in known),
        faulty=sum(bool(k.faults) for k in known),
        left=0 if state.asking else len(state.left()),
    )
    return _then(state, fact, told=wording.finished) + Step(effects=(Quit(),))


def hold(state: State, _: Entry) -> Step:
    """Take no entry until told to carry on."""
    return Step((Held(),)) + tell("Holding. Say carry on.")


# --- questions, holding, and what is not open -----------------------------------------------------


def carry_on(state: State, _: Entry) -> Step:
    """Take entries again."""
    return _then(state, CarriedOn(), told=lambda s: f"Carrying on. {wording.where_next(s)}")


def ask_bare_number(state: State, entry: Entry) -> Step:
    """Refuse a number of one word, and say how to say it."""
    intent = entry.intent
    assert isinstance(intent, say.BareNumber)
    return Step((Missed("bare number"),)) + tell("Say pair before a number, or add the colours.")


def not_now(state: State, entry: Entry) -> Step:
    """Tell that this is not open in this mode."""
    return Step((Missed("not now"),)) + tell(wording.not_now(state))


def stay_silent(state: State, entry: Entry) -> Step:
    """Keep that something came in, and do nothing."""
    return Step((Missed("not now"),))


def no(state: State, _: Entry) -> Step:
    """Close the question without doing anything."""
    told = wording.SAY_IT_AGAIN if isinstance(state.question, DidYouSay) else wording.where_next(state)
    return Step((Answered(yes=False),)) + tell(told)


def finish_after_yes(state: State) -> Step:
    """End the session although pairs are left."""
    answered = Answered(yes=True)
    return Step((answered,)) + _end(fold((answered,), state))


def dropped(state: State) -> tuple[Step, State]:
    """Close the question because another entry came."""
    fact = QuestionDropped()
    return Step((fact,)), fold((fact,), state)
