"""The table of modes and intents, and `decide`: what an input comes to in a state.

`decide` never raises for anything that a person can say, type or press.
"""

from assistant.dialogue import rules, wording
from assistant.dialogue.messages import (
    Answered,
    Asked,
    Channel,
    DeviceFailed,
    DeviceLost,
    DidYouSay,
    Heard,
    Input,
    JoinProtected,
    KeysPressed,
    Missed,
    NoteRecorded,
    Quit,
    ResumeAsked,
    SessionLeft,
    SessionOpened,
    SessionResumed,
    Show,
    SiteCheck,
    SoundLost,
    SoundMissed,
    SpeechEnded,
    StartAsked,
    Step,
    StopAsked,
    TimedOut,
    Typed,
)
from assistant.dialogue.rules import Entry, Rule, tell
from assistant.dialogue.state import Mode, State, fold
from assistant.words import intents as say
from assistant.words.intents import Intent
from assistant.words.parser import Ambiguous, NoMatch, Understood, parse, parse_keys
from assistant.words.vocabulary import ALL_INTENTS, Scope, spoken_help

_ANSWERING: dict[type[Intent], Rule] = {
    say.CallGroup: rules.look_up,
    say.Ask: rules.look_up,
    say.SayAgain: rules.say_again,
    say.WhichGroup: rules.which_group,
    say.WhereAmI: rules.where_am_i,
    say.HoldOn: rules.hold,
    say.Finish: rules.finish,
    say.BareNumber: rules.ask_bare_number,
    say.CarryOn: rules.not_now,
    say.Yes: rules.not_now,
    say.No: rules.not_now,
    say.TakeNote: rules.take_note,
}

_WORK_ONLY: tuple[type[Intent], ...] = (
    *(say.ClearFault, say.WhichFaults, say.Redo, say.GoToCable, say.CallOut, say.Faster, say.Slower),
    *(say.ConfirmModule, say.StartVerifying, say.EndVerifying, say.PassedTest, say.Measured),
)

RULES: dict[Mode, dict[type[Intent], Rule]] = {
    Mode.ASKING: _ANSWERING
    | {
        say.CallPair: rules.look_up,
        say.GoTo: rules.not_now,
        say.NextPair: rules.look_up_neighbour,
        say.PreviousPair: rules.look_up_neighbour,
        say.Confirm: rules.not_now,
        say.UndoThat: rules.not_now,
        say.SkipPair: rules.not_now,
        say.MarkFault: rules.not_now,
        say.HowManyLeft: rules.not_now,
        **dict.fromkeys(_WORK_ONLY, rules.not_now),
    },
    Mode.VERIFYING: _ANSWERING
    | {
        say.CallPair: rules.call_to_test,
        say.GoTo: rules.not_now,
        say.NextPair: rules.tell_in_turn,
        say.PreviousPair: rules.not_now,
        say.Confirm: rules.not_now,
        say.UndoThat: rules.undo,
        say.SkipPair: rules.not_now,
        say.MarkFault: rules.failed_test,
        say.HowManyLeft: rules.how_many_left,
        say.WhereAmI: rules.tell_in_turn,
        say.ClearFault: rules.clear_fault,
        say.WhichFaults: rules.which_faults,
        say.Redo: rules.redo,
        say.GoToCable: rules.not_now,
        say.CallOut: rules.not_now,
        say.Faster: rules.not_now,
        say.Slower: rules.not_now,
        say.ConfirmModule: rules.not_now,
        say.StartVerifying: rules.not_now,
        say.EndVerifying: rules.end_verifying,
        say.PassedTest: rules.passed_test,
        say.Measured: rules.log_reading,
    },
    Mode.FOLLOWING: _ANSWERING
    | {
        say.CallPair: rules.call_pair,
        say.GoTo: rules.go_to,
        say.NextPair: rules.tell_expected,
        say.PreviousPair: rules.tell_before,
        say.Confirm: rules.confirm,
        say.UndoThat: rules.undo,
        say.SkipPair: rules.skip,
        say.MarkFault: rules.mark_fault,
        say.HowManyLeft: rules.how_many_left,
        say.ClearFault: rules.clear_fault,
        say.WhichFaults: rules.which_faults,
        say.Redo: rules.redo,
        say.GoToCable: rules.go_to_cable,
        say.CallOut: rules.call_out,
        say.Faster: rules.change_pace,
        say.Slower: rules.change_pace,
        say.ConfirmModule: rules.confirm_module,
        say.StartVerifying: rules.start_verifying,
        say.EndVerifying: rules.not_now,
        say.PassedTest: rules.not_now,
        say.Measured: rules.log_reading,
    },
    Mode.HOLDING: dict.fromkeys(ALL_INTENTS, rules.not_now)
    | {say.CarryOn: rules.carry_on, say.SayAgain: rules.say_again},
    Mode.ENDED: dict.fromkeys(ALL_INTENTS, rules.stay_silent),
}
"""What each intent does in each mode. In a question every other entry drops it and counts as usual."""

ANY_TIME: frozenset[type[Intent]] = frozenset({say.Help, say.SayAgain})
"""Entries that leave an open question open."""


NOTE_LEAD = "note"
"""A typed line that begins so is kept as a note."""


def _help(state: State, _: Entry) -> Step:
    return tell(spoken_help(scope_of(state)))


for _mode in (Mode.ASKING, Mode.FOLLOWING, Mode.VERIFYING, Mode.HOLDING):
    RULES[_mode][say.Help] = _help


def scope_of(state: State) -> Scope:
    """Give what is open in this state: to the recognisers, the parser and the help alike."""
    base = RULES[state.base_mode]
    closed = {rules.not_now, rules.stay_silent}
    if state.mode is Mode.QUESTION:
        open_now = {i for i, rule in base.items() if rule not in closed} - {say.Confirm, say.UndoThat, say.HoldOn}
        open_now |= {say.Yes, say.No}
    else:
        open_now = {intent for intent, rule in RULES[state.mode].items() if rule not in closed}
    groups = max(end.cable.groups for end in state.plan.ends)
    open_now -= _without_use(state, groups)
    return Scope(
        intents=frozenset(open_now),
        digits=max(2, len(str(_largest_number(state)))),
        groups=groups > 1,
        super_units=any(end.cable.super_units > 1 for end in state.plan.ends),
        service=any(end.cable.service_pairs for end in state.plan.ends),
    )


def _without_use(state: State, groups: int) -> set[type[Intent]]:
    """Give the intents that this session cannot use; fewer open sentences are heard more surely."""
    unused: set[type[Intent]] = set() if groups > 1 else {say.CallGroup}
    if len(state.plan.ends) == 1:
        unused.add(say.GoToCable)
    if not state.pace_s:
        unused |= {say.Faster, say.Slower}
    if not state.called_out:
        unused.add(say.ConfirmModule)
    if state.any_order:
        unused |= {say.Confirm, say.SkipPair, say.GoTo, say.GoToCable, say.NextPair, say.PreviousPair, say.CallOut}
    return unused


def _largest_number(state: State) -> int:
    """Give the largest number by which a pair of any end is called; the same whichever pair is expected."""
    return max(max([end.cable.pairs, *(count.run.last for count in end.counts)]) for end in state.plan.ends)


def typed_scope_of(state: State) -> Scope:
    """Give what is understood when typed or keyed: numbers of any length, so that none is misread."""
    open_now = set(scope_of(state).intents) | {say.CallGroup}
    if state.mode is Mode.FOLLOWING and not state.any_order:
        open_now |= {say.GoToCable, say.Faster, say.Slower, say.ConfirmModule}
    return Scope(intents=frozenset(open_now))


def decide(state: State, came: Input) -> Step:
    """Give the facts that an input makes, and what is to be done."""
    match came:
        case StartAsked():
            return _start(came)
        case ResumeAsked(torn_bytes=torn):
            resumed = SessionResumed()
            after = fold((resumed,), state)
            step = Step((resumed,)) + tell(wording.resumed(after, torn))
            return step + rules.ask_check(after) if after.unchecked else step
        case Heard():
            return _heard(state, came)
        case Typed(text=text):
            return Step(effects=(Show(f"> {text}"),)) + _typed(state, text)
        case KeysPressed(keys=keys):
            return Step(effects=(Show(f"> {keys.strip() or 'Enter'}"),)) + _keys(state, keys)
        case SoundLost(frames=frames):
            return Step((SoundMissed(frames),)) + tell("Sound was lost. Say the last call again.")
        case DeviceFailed(device=device, reason=reason):
            shown = Show(f"{device} failed: {reason}")
            return Step((DeviceLost(device, reason),), (shown,)) + tell(f"The {device} failed. Keys still work.")
        case TimedOut(joint=joint):
            return rules.call_next(state, joint)
        case NoteRecorded(file=file, sha256=sha256):
            return rules.keep_note(state, "", file, sha256) if file else tell("The note could not be recorded.")
        case StopAsked(reason=reason):
            return Step((SessionLeft(reason),), (Quit(),))
        case SpeechEnded():
            return Step()


def _start(came: StartAsked) -> Step:
    opened = SessionOpened(
        cable_pairs=came.cable_pairs,
        first=came.first,
        last=came.last,
        asking=came.asking,
        pair_order=came.pair_order,
        binder_order=came.binder_order,
        app_version=came.app_version,
        plan_text=came.plan_text,
        site=came.site,
        short_checks=came.short_checks,
        any_order=came.any_order,
    )
    return Step((opened,), (Show(wording.CAUTION),)) + rules.ask_check(fold((opened,)))


def _heard(state: State, came: Heard) -> Step:
    shown = Show(f"> {came.words or '(speech)'} [{came.judgement}]")
    if came.judgement == "ignored" or state.mode is Mode.ENDED:
        return Step((Missed("ignored"),), (shown,))
    parsed = parse(came.words, scope_of(state)) if came.words else NoMatch()
    if not isinstance(parsed, Understood):
        quiet = state.mode is Mode.HOLDING
        return Step((Missed("not understood"),), (shown,)) + (Step() if quiet else tell(wording.SAY_IT_AGAIN))
    entry = Entry(intent=parsed.intent, call=came.words, by=Channel.VOICE)
    if came.judgement == "accepted":
        return Step(effects=(shown,)) + _enter(state, entry)
    return Step(effects=(shown,)) + _ask_back(state, entry)


def _ask_back(state: State, entry: Entry) -> Step:
    """Open the question whether this was said; saying the same again answers it as well."""
    if state.mode is Mode.HOLDING or isinstance(entry.intent, say.Yes | say.No):
        return Step((Missed("asked back"),)) + tell(wording.SAY_YES_OR_NO)
    if isinstance(entry.intent, say.BareNumber):
        return _enter(state, entry)
    if isinstance(state.question, DidYouSay) and _meant(state, state.question.words) == entry.intent:
        return _answer_yes(state)
    asked = Asked(DidYouSay(entry.call))
    return Step((Missed("asked back"), asked)) + tell(wording.did_you_say(entry.call))


def _meant(state: State, words: str) -> Intent | None:
    parsed = parse(words, typed_scope_of(state))
    return parsed.intent if isinstance(parsed, Understood) else None


def _typed(state: State, text: str) -> Step:
    lead, _, note = text.strip().partition(" ")
    if lead.lower() == NOTE_LEAD and note.strip() and state.mode is not Mode.ENDED:
        return rules.keep_note(state, note.strip(), "", "")
    return _parsed(state, parse(text, typed_scope_of(state)), text, Channel.TYPED)


def _keys(state: State, keys: str) -> Step:
    return _parsed(state, parse_keys(keys, typed_scope_of(state)), keys.strip(), Channel.KEYS)


def _parsed(state: State, parsed: Understood | Ambiguous | NoMatch, call: str, by: Channel) -> Step:
    if isinstance(parsed, Understood):
        return _enter(state, Entry(intent=parsed.intent, call=call, by=by))
    if state.mode is Mode.ENDED:
        return Step((Missed("not now"),))
    closed = parse(call, Scope(ALL_INTENTS)) if by is Channel.TYPED else NoMatch()
    if isinstance(closed, Understood):
        return rules.not_now(state, Entry(intent=closed.intent, call=call, by=by))
    return Step((Missed("not understood"),)) + tell(wording.not_understood(state, call, by))


def _enter(state: State, entry: Entry) -> Step:
    """Apply an entry that is sure; in a question, an answer closes it and anything else drops it."""
    if state.mode is not Mode.QUESTION:
        return RULES[state.mode][type(entry.intent)](state, entry)
    if isinstance(state.question, SiteCheck):
        if isinstance(entry.intent, say.Yes | say.No):
            return rules.answer_check(state, state.question, entry)
        if type(entry.intent) not in ANY_TIME:
            return rules.not_now(state, entry)
    if isinstance(entry.intent, say.Yes):
        return _answer_yes(state)
    if isinstance(entry.intent, say.No):
        return rules.no(state, entry)
    if isinstance(state.question, DidYouSay) and _meant(state, state.question.words) == entry.intent:
        return _answer_yes(state)
    if type(entry.intent) in ANY_TIME:
        return RULES[state.base_mode][type(entry.intent)](state, entry)
    step, after = rules.dropped(state)
    return step + RULES[after.mode][type(entry.intent)](after, entry)


def _answer_yes(state: State) -> Step:
    if isinstance(state.question, JoinProtected):
        return rules.join_protected(state, state.question)
    if not isinstance(state.question, DidYouSay):
        return rules.finish_after_yes(state)
    answered = Answered(yes=True)
    after = fold((answered,), state)
    intent = _meant(after, state.question.words)
    if intent is None:
        return Step((answered,)) + tell(wording.SAY_IT_AGAIN)
    entry = Entry(intent=intent, call=state.question.words, by=Channel.VOICE, asked_back=True)
    return Step((answered,)) + RULES[after.mode][type(intent)](after, entry)
