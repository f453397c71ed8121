"""One small function per cell of the table in `machine`.

Each takes the state and the entry and gives a step. A sentence that tells of a change is made from the
state after it, which `_then` folds in. Must not look at how an entry came in, beyond recording it.
"""

from collections.abc import Callable
from dataclasses import dataclass

from assistant.cable.makeup import Address
from assistant.cable.splice_plan import Joint, Place
from assistant.dialogue import wording
from assistant.dialogue.checks import question_of
from assistant.dialogue.messages import (
    Answered,
    Asked,
    CalledOut,
    CarriedOn,
    Channel,
    Check,
    CheckAnswered,
    DidYouSay,
    Fact,
    FaultCleared,
    FaultMarked,
    FinishAnyway,
    GroupNamed,
    Held,
    JoinProtected,
    LookedUp,
    Mismatch,
    Missed,
    MovedTo,
    NoteKept,
    PaceSet,
    PairConfirmed,
    PairSkipped,
    PairTest,
    PairTested,
    QuestionDropped,
    Quit,
    Reading,
    RecordNote,
    Reopened,
    Repeated,
    Said,
    Say,
    SessionEnded,
    SiteCheck,
    StartTimer,
    Step,
    Undone,
    VerifyingBegun,
    VerifyingEnded,
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
    match resolve_pair(call, state.end_in_work, state.group):
        case ThePair(address):
            return _then(state, LookedUp(address.pair), told=lambda s: wording.answer(address, s))
        case Pairs() as several:
            return tell(wording.answer_many(several, state))
        case Disagreement() as disagreement:
            return tell(wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, call, state.end_in_work))


def look_up_group(state: State, call: CallGroup) -> Step:
    """Answer a question about a group."""
    match resolve_group(call, state.cable, state.group):
        case TheGroup(group):
            return _then(state, GroupNamed(group.number), told=lambda s: wording.answer_group(group, s))
        case Groups() as several:
            return tell(wording.answer_groups(several, state))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, call, state.end_in_work))


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
    joints = state.plan.joints
    turn = len(joints) if state.expected is None else state.plan.turn[state.expected]
    if turn == 0:
        return tell("There is none before the first pair.")
    return tell(wording.before(state, joints[turn - 1]))


# --- following a sequence --------------------------------------------------------------------------


def call_pair(state: State, entry: Entry) -> Step:
    """Compare a called pair with the expected one: confirm it, or say both."""
    call = entry.intent
    assert isinstance(call, CallPair)
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


def _expected_at(state: State, address: Address) -> Joint | None:
    """Give the joint that this pair confirms: the expected one, or in any order each that waits."""
    if state.any_order:
        waiting = _joint_of(state, address)
        return waiting if waiting is not None and state.of(waiting.number).left else None
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
    return _then(state, fact, told=lambda s: wording.confirmed(s, made))


def join_protected(state: State, question: JoinProtected) -> Step:
    """Confirm a protected pair after all."""
    made = state.plan.by_number[question.joint]
    fact = PairConfirmed(
        pair=made.number, how=question.how, by=question.by, asked_back=question.asked_back, protected=made.protect
    )
    return _then(state, Answered(yes=True), fact, told=lambda s: wording.confirmed(s, made))


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
    return _then(state, PairSkipped(made.number), told=lambda s: wording.skipped(s, made))


def mark_fault(state: State, entry: Entry) -> Step:
    """Log a fault on the expected pair or the one named."""
    intent = entry.intent
    assert isinstance(intent, say.MarkFault)
    made = state.expected_joint if intent.pair is None else _joint_called(state, intent.pair)
    if made is None:
        if intent.pair is not None:
            return tell(wording.outside(state, intent.pair))
        return tell("No pair is expected. Name the pair: mark, the fault, pair, and its number.")
    moves = made.number == state.expected
    other = None if intent.other is None else _joint_called(state, intent.other)
    if intent.other is not None and (other is None or other is made):
        return tell(wording.outside(state, intent.other))
    fact = FaultMarked(pair=made.number, fault=intent.fault, by=entry.by, other=None if other is None else other.number)
    return _then(state, fact, told=lambda s: wording.marked(s, made, intent.fault, moves, other))


def clear_fault(state: State, entry: Entry) -> Step:
    """Log that a fault is mended."""
    intent = entry.intent
    assert isinstance(intent, say.ClearFault)
    made = _in_turn(state) if intent.pair is None else _joint_called(state, intent.pair)
    if made is None or intent.fault not in state.of(made.number).faults:
        return tell(wording.no_such_fault(state, made, intent.fault))
    fact = FaultCleared(pair=made.number, fault=intent.fault, by=entry.by)
    return _then(state, fact, told=lambda s: wording.cleared(s, made, intent.fault))


def which_faults(state: State, _: Entry) -> Step:
    """List the pairs with a fault, and those that failed a test."""
    return tell(wording.faults(state))


def redo(state: State, entry: Entry) -> Step:
    """Log that a joint was opened again."""
    intent = entry.intent
    assert isinstance(intent, say.Redo)
    made = _joint_named(state, intent.call) if isinstance(intent.call, CallPair) else None
    if made is None:
        return tell(wording.name_one_pair(state))
    if state.of(made.number).left:
        return tell(wording.still_open(state, made))
    return _then(state, Reopened(made.number), told=lambda s: wording.reopened(s, made))


def go_to_cable(state: State, entry: Entry) -> Step:
    """Carry on with the first open pair of a cable of the plan."""
    intent = entry.intent
    assert isinstance(intent, say.GoToCable)
    joints = [made for made in state.plan.joints if made.lead.end == intent.number - 1 and made.kind.joined]
    made = next((made for made in joints if state.of(made.number).left), None)
    if made is None:
        return tell(wording.no_such_cable(state, intent.number))
    return _then(state, MovedTo(made.number), told=lambda s: wording.moved(s, made))


def _in_turn(state: State) -> Joint | None:
    """Give the joint in turn: to be tested, or to be called."""
    if state.verifying is not None:
        joint = state.verifying.joint
        return None if joint is None else state.plan.by_number[joint]
    return state.expected_joint


# --- modules: pairs called out at a pace -------------------------------------------------------------

USUAL_PACE_S = 3.0
PACE_STEP = 1.25
QUICKEST_S, SLOWEST_S = 0.5, 20.0


def call_out(state: State, _: Entry) -> Step:
    """Begin to call the pairs of the module out."""
    made = state.expected_joint
    if made is None:
        return tell(wording.expected(state))
    pace = state.pace_s or USUAL_PACE_S
    begun = Step((PaceSet(pace),)) + tell(wording.calling_out(state, len(state.module_of(made)), pace))
    return begun + Step(effects=(StartTimer(pace, made.number),))


def call_next(state: State, joint: int) -> Step:
    """Call the pair whose turn it is, and set the timer for the one after it; the last one ends it."""
    if not state.pace_s or state.held or state.question is not None or state.of(joint).left is False:
        return Step()
    made = state.plan.by_number[joint]
    module = state.module_of(made)
    called = Step((CalledOut(joint),)) + tell(wording.called_out(state, made))
    if len(module) > 1:
        return called + Step(effects=(StartTimer(state.pace_s, module[1].number),))
    return called + Step((PaceSet(0.0),)) + tell(wording.MODULE_CALLED)


def change_pace(state: State, entry: Entry) -> Step:
    """Call faster or slower."""
    if not state.pace_s:
        return tell(wording.NOTHING_CALLED_OUT)
    factor = 1 / PACE_STEP if isinstance(entry.intent, say.Faster) else PACE_STEP
    pace = round(min(SLOWEST_S, max(QUICKEST_S, state.pace_s * factor)), 1)
    return Step((PaceSet(pace),)) + tell(wording.pace(pace)) + resume_pace(state)


def resume_pace(state: State) -> Step:
    """Set the timer again for the next pair that was not called out yet."""
    made = state.expected_joint
    if not state.pace_s or made is None:
        return Step()
    waiting = next((j.number for j in state.module_of(made) if j.number not in state.called_out), None)
    return Step() if waiting is None else Step(effects=(StartTimer(state.pace_s, waiting),))


def confirm_module(state: State, entry: Entry) -> Step:
    """Confirm all pairs that were called out; protected ones are left to be called by themselves."""
    joints = [state.plan.by_number[number] for number in state.called_out]
    safe = [made for made in joints if not made.protect]
    if not safe:
        return tell(wording.NOTHING_CALLED_OUT)
    facts = [
        PairConfirmed(pair=made.number, how=Check.MODULE, by=entry.by, asked_back=entry.asked_back) for made in safe
    ]
    return _then(state, PaceSet(0.0), *facts, told=lambda s: wording.module_confirmed(s, safe))


# --- the verification pass -----------------------------------------------------------------------------


def start_verifying(state: State, _: Entry) -> Step:
    """Begin with the first joined pair and the first test."""
    first = state.tested_after(None)
    if first is None:
        return tell("No pair is joined yet.")
    begun = VerifyingBegun(next(iter(PairTest)), first)
    return _then(state, begun, told=lambda s: f"{wording.VERIFYING} {wording.in_turn(s)}")


def end_verifying(state: State, _: Entry) -> Step:
    """Leave the testing."""
    ended = VerifyingEnded()
    return _then(state, ended, told=lambda s: f"{wording.verified(state)} {wording.where_next(s)}")


def passed_test(state: State, entry: Entry) -> Step:
    """Log that the pair in turn passed."""
    assert state.verifying is not None
    made = _in_turn(state)
    if made is None:
        return tell(wording.verified(state))
    fact = PairTested(pair=made.number, test=state.verifying.test, passed=True, by=entry.by)
    return _then(state, fact, told=lambda s: wording.tested(s, made, fact.test, passed=True))


def failed_test(state: State, entry: Entry) -> Step:
    """Log the fault that a test showed, on the pair in turn or the one named."""
    intent = entry.intent
    assert isinstance(intent, say.MarkFault)
    assert state.verifying is not None
    made = _in_turn(state)
    if intent.pair is not None or made is None:
        return mark_fault(state, entry)
    marked = FaultMarked(pair=made.number, fault=intent.fault, by=entry.by)
    failed = PairTested(pair=made.number, test=state.verifying.test, passed=False, by=entry.by)
    return _then(state, marked, failed, told=lambda s: wording.tested(s, made, failed.test, passed=False))


def call_to_test(state: State, entry: Entry) -> Step:
    """Go to the called pair in the same test."""
    assert state.verifying is not None
    call = entry.intent
    assert isinstance(call, CallPair)
    found = resolve_pair(call, state.end_in_work, None if call.number is not None else state.group)
    made = _joint_of(state, found.address) if isinstance(found, ThePair) else None
    if made is None or state.of(made.number).confirmed is None:
        return tell(f"{wording.NOT_LOGGED} Call a pair that is joined. {wording.in_turn(state)}")
    return _then(state, VerifyingBegun(state.verifying.test, made.number), told=wording.in_turn)


def log_reading(state: State, entry: Entry) -> Step:
    """Log a measurement of the pair in turn."""
    intent = entry.intent
    assert isinstance(intent, say.Measured)
    made = _in_turn(state)
    if made is None:
        return tell(wording.verified(state) if state.verifying else wording.expected(state))
    fact = Reading(pair=made.number, number=intent.number, unit=intent.unit, by=entry.by)
    return Step((fact,)) + tell(wording.reading(state, made, fact))


def tell_in_turn(state: State, _: Entry) -> Step:
    """Tell which pair is to be tested."""
    return tell(wording.in_turn(state))


# --- notes and checks ------------------------------------------------------------------------------------


def take_note(state: State, _: Entry) -> Step:
    """Record what is said next."""
    return tell("Note: speak after this.") + Step(effects=(RecordNote(),))


def keep_note(state: State, text: str, file: str, sha256: str) -> Step:
    """Keep a note with its place."""
    made = _in_turn(state)
    pair = None if made is None else made.number
    return Step((NoteKept(pair=pair, text=text, file=file, sha256=sha256),)) + tell("Note kept.")


def ask_check(state: State) -> Step:
    """Ask the next check; when none is left, begin the work."""
    if not state.unchecked or state.site is None:
        return tell(wording.opening(state) if state.undo is None else wording.where_next(state))
    name = state.unchecked[0]
    return Step((Asked(SiteCheck(name)),)) + tell(question_of(name, state.site))


def answer_check(state: State, question: SiteCheck, entry: Entry) -> Step:
    """Keep the answer; a no leaves the check open."""
    done = isinstance(entry.intent, say.Yes)
    answered = CheckAnswered(check=question.check, done=done, by=entry.by)
    if not done:
        return Step((answered,)) + tell(f"Do that first. {wording.SITE_RULES} Say yes when it is done.")
    return Step((answered,)) + ask_check(fold((answered,), state))


def _joint_called(state: State, number: int) -> Joint | None:
    """Give the joint of the pair with this number: of the cable in work, else the only one of the others."""
    return _joint_named(state, CallPair(number=number))


def _joint_named(state: State, call: CallPair) -> Joint | None:
    """Give the joint of a pair that is to be joined: of the cable in work, else the only one of the others."""
    ends = [state.end, *(end for end in range(len(state.plan.ends)) if end != state.end)]
    found = [made for end in ends if (made := _joint_on(state, end, call)) is not None]
    if found and found[0].lead.end == state.end:
        return found[0]
    return found[0] if len(set(found)) == 1 else None


def _joint_on(state: State, end: int, call: CallPair) -> Joint | None:
    group = state.group if end == state.end else None
    found = resolve_pair(call, state.plan.ends[end], group)
    return _joint_at(state, Place(end, found.address.pair)) if isinstance(found, ThePair) else None


def _joint_of(state: State, address: Address) -> Joint | None:
    return _joint_at(state, Place(state.end, address.pair))


def _joint_at(state: State, place: Place) -> Joint | None:
    number = state.plan.at.get(place)
    made = None if number is None else state.plan.by_number[number]
    return made if made is not None and made.kind.joined else None


def go_to(state: State, entry: Entry) -> Step:
    """Carry on from the named pair, or from the first open pair of the named group."""
    intent = entry.intent
    assert isinstance(intent, say.GoTo)
    if isinstance(intent.call, CallGroup):
        return _go_to_group(state, intent.call)
    made = _joint_named(state, intent.call)
    if made is not None:
        return _then(state, MovedTo(made.number), told=lambda s: wording.moved(s, made))
    match resolve_pair(intent.call, state.end_in_work, state.group):
        case ThePair(address):
            return tell(wording.outside(state, state.end_in_work.called(address.pair)[1]))
        case Pairs() as several:
            return tell(wording.answer_many(several, state))
        case Disagreement() as disagreement:
            return tell(wording.mismatch_in_itself(state, disagreement))
        case Nothing() as nothing:
            return tell(wording.nothing(nothing, intent.call, state.end_in_work))


def _go_to_group(state: State, call: CallGroup) -> Step:
    match resolve_group(call, state.cable, state.group):
        case TheGroup(group):
            joints = [made for made in state.plan.in_group(state.end, group.number) if made.kind.joined]
            if not joints:
                return tell(wording.outside(state, state.end_in_work.called(group.first)[1]))
            made = next((made for made in joints if state.of(made.number).left), joints[0])
            return _then(state, MovedTo(made.number), told=lambda s: wording.moved(s, made))
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
    if before is not None and (last.entry, before.entry) == ("PairTested", "FaultMarked") and before.pair == last.pair:
        facts.append(Undone(entry=before.entry, pair=before.pair))  # a failed test is one entry with its fault
    return _then(state, *facts, told=lambda s: wording.undone(s, made, last.entry))


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
    carried = _then(state, CarriedOn(), told=lambda s: f"Carrying on. {wording.where_next(s)}")
    return carried + resume_pace(state)


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
