"""The table of modes and intents, and `decide`: what an input comes to in a state.

`decide` never raises for anything that a person can say, type or press.
"""

from assistant.dialogue import wording
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
    KeysRefused,
    MicrophoneTrouble,
    MicrophoneTroubled,
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
from assistant.dialogue.rules import answering, calling_out, following, session, verifying
from assistant.dialogue.rules.entry import Entry, Rule, tell
from assistant.dialogue.state import Mode, State, fold
from assistant.words import intents as say
from assistant.words.intents import Intent
from assistant.words.parser import Ambiguous, NoMatch, Understood, parse, parse_keys
from assistant.words.vocabulary import ALL_INTENTS, Scope, spoken_help

_ANSWERING: dict[type[Intent], Rule] = {
    say.CallGroup: answering.look_up,
    say.Ask: answering.look_up,
    say.SayAgain: answering.say_again,
    say.WhichGroup: answering.which_group,
    say.WhereAmI: answering.where_am_i,
    say.HoldOn: session.hold,
    say.Finish: session.finish,
    say.BareNumber: session.ask_bare_number,
    say.CarryOn: session.not_now,
    say.Yes: session.not_now,
    say.No: session.not_now,
    say.TakeNote: session.take_note,
}

_WORK_ONLY: tuple[type[Intent], ...] = (
    *(say.ClearFault, say.WhichFaults, say.Redo, say.GoToCable, say.CallOut, say.Faster, say.Slower),
    *(say.ConfirmModule, say.StartVerifying, say.EndVerifying, say.PassedTest, say.Measured),
)

RULES: dict[Mode, dict[type[Intent], Rule]] = {
    Mode.ASKING: _ANSWERING
    | {
        say.CallPair: answering.look_up,
        say.GoTo: session.not_now,
        say.NextPair: answering.look_up_neighbour,
        say.PreviousPair: answering.look_up_neighbour,
        say.Confirm: session.not_now,
        say.UndoThat: session.not_now,
        say.SkipPair: session.not_now,
        say.MarkFault: session.not_now,
        say.HowManyLeft: session.not_now,
        **dict.fromkeys(_WORK_ONLY, session.not_now),
    },
    Mode.VERIFYING: _ANSWERING
    | {
        say.CallPair: verifying.call_to_test,
        say.GoTo: session.not_now,
        say.NextPair: verifying.tell_in_turn,
        say.PreviousPair: session.not_now,
        say.Confirm: session.not_now,
        say.UndoThat: following.undo,
        say.SkipPair: session.not_now,
        say.MarkFault: verifying.failed_test,
        say.HowManyLeft: answering.how_many_left,
        say.WhereAmI: verifying.tell_in_turn,
        say.ClearFault: following.clear_fault,
        say.WhichFaults: answering.which_faults,
        say.Redo: following.redo,
        say.GoToCable: session.not_now,
        say.CallOut: session.not_now,
        say.Faster: session.not_now,
        say.Slower: session.not_now,
        say.ConfirmModule: session.not_now,
        say.StartVerifying: session.not_now,
        say.EndVerifying: verifying.end_verifying,
        say.PassedTest: verifying.passed_test,
        say.Measured: verifying.log_reading,
    },
    Mode.FOLLOWING: _ANSWERING
    | {
        say.CallPair: following.call_pair,
        say.GoTo: following.go_to,
        say.NextPair: answering.tell_expected,
        say.PreviousPair: answering.tell_before,
        say.Confirm: following.confirm,
        say.UndoThat: following.undo,
        say.SkipPair: following.skip,
        say.MarkFault: following.mark_fault,
        say.HowManyLeft: answering.how_many_left,
        say.ClearFault: following.clear_fault,
        say.WhichFaults: answering.which_faults,
        say.Redo: following.redo,
        say.GoToCable: following.go_to_cable,
        say.CallOut: calling_out.call_out,
        say.Faster: calling_out.change_pace,
        say.Slower: calling_out.change_pace,
        say.ConfirmModule: calling_out.confirm_module,
        say.StartVerifying: verifying.start_verifying,
        say.EndVerifying: session.not_now,
        say.PassedTest: session.not_now,
        say.Measured: verifying.log_reading,
    },
    Mode.HOLDING: dict.fromkeys(ALL_INTENTS, session.not_now)
    | {say.CarryOn: session.carry_on, say.SayAgain: answering.say_again},
    Mode.ENDED: dict.fromkeys(ALL_INTENTS, session.stay_silent),
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
    closed = {session.not_now, session.stay_silent}
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
        offsets=frozenset(offset for end in state.plan.ends for offset in end.offsets),
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
        unused |= {say.Confirm, say.SkipPair, say.GoTo, say.NextPair, say.PreviousPair, say.CallOut}
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
        case ResumeAsked():
            return _resume(state, came)
        case Heard():
            return _heard(state, came)
        case Typed(text=text):
            return Step(effects=(Show(f"> {text}"),)) + _typed(state, text)
        case KeysPressed(keys=keys):
            return Step(effects=(Show(f"> {keys.strip() or 'Enter'}"),)) + _keys(state, keys)
        case KeysRefused(trouble=trouble):
            return Step((Missed(f"keys {trouble.value}"),)) + tell(f"Keys not taken: {trouble.value}.")
        case SoundLost(frames=frames):
            return Step((SoundMissed(frames),)) + tell("Sound was lost. Say the last call again.")
        case DeviceFailed(device=device, reason=reason):
            shown = Show(f"{device} failed: {reason}")
            return Step((DeviceLost(device, reason),), (shown,)) + tell(f"The {device} failed. Keys still work.")
        case MicrophoneTrouble(trouble=trouble):
            return Step((MicrophoneTroubled(trouble),)) + tell(wording.TROUBLES[trouble])
        case TimedOut(joint=joint):
            return calling_out.call_next(state, joint)
        case NoteRecorded(file=file, sha256=sha256):
            return session.keep_note(state, "", file, sha256) if file else tell("The note could not be recorded.")
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
        person=came.person,
        place=came.place,
        microphone=came.microphone,
        ears=came.ears,
        keeps_sound=came.keeps_sound,
    )
    said = tell(wording.SOUND_IS_KEPT) if came.keeps_sound else Step()
    return Step((opened,), (Show(wording.CAUTION),)) + said + session.ask_check(fold((opened,)))


def _resume(state: State, came: ResumeAsked) -> Step:
    resumed = SessionResumed(
        app_version=came.app_version,
        person=came.person,
        microphone=came.microphone,
        ears=came.ears,
        keeps_sound=came.keeps_sound,
    )
    after = fold((resumed,), state)
    said = tell(wording.SOUND_IS_KEPT) if came.keeps_sound else Step()
    step = Step((resumed,)) + said + tell(wording.resumed(after, came.torn_bytes))
    return step + session.ask_check(after) if after.unchecked else step


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
    if isinstance(state.question, SiteCheck):
        return session.ask_check_again(state, state.question)
    if state.mode is Mode.HOLDING or isinstance(entry.intent, say.Yes | say.No):
        return Step((Missed("asked back"),)) + tell(wording.SAY_YES_OR_NO)
    if isinstance(entry.intent, say.BareNumber) or following.contradicts_itself(state, entry.intent):
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
        return session.keep_note(state, note.strip(), "", "")
    return _parsed(state, parse(text, typed_scope_of(state)), text, Channel.TYPED)


def _keys(state: State, keys: str) -> Step:
    return _parsed(state, parse_keys(keys, typed_scope_of(state)), keys.strip(), Channel.KEYS)


def _parsed(state: State, parsed: Understood | Ambiguous | NoMatch, call: str, by: Channel) -> Step:
    if isinstance(parsed, Understood):
        return _enter(state, Entry(intent=parsed.intent, call=call, by=by))
    if state.mode is Mode.ENDED:
        return Step((Missed("not now"),))
    if isinstance(state.question, SiteCheck):
        return session.ask_check_again(state, state.question)
    closed = parse(call, Scope(ALL_INTENTS)) if by is Channel.TYPED else NoMatch()
    if isinstance(closed, Understood):
        return session.not_now(state, Entry(intent=closed.intent, call=call, by=by))
    return Step((Missed("not understood"),)) + tell(wording.not_understood(state, call, by))


def _enter(state: State, entry: Entry) -> Step:
    """Apply an entry that is sure; in a question, an answer closes it and anything else drops it."""
    if state.mode is not Mode.QUESTION:
        return RULES[state.mode][type(entry.intent)](state, entry)
    if isinstance(state.question, SiteCheck):
        if isinstance(entry.intent, say.Yes | say.No):
            return session.answer_check(state, state.question, entry)
        if type(entry.intent) not in ANY_TIME:
            return session.ask_check_again(state, state.question)
    if isinstance(entry.intent, say.Yes):
        return _answer_yes(state)
    if isinstance(entry.intent, say.No):
        return session.no(state, entry)
    if isinstance(state.question, DidYouSay) and _meant(state, state.question.words) == entry.intent:
        return _answer_yes(state)
    if type(entry.intent) in ANY_TIME:
        return RULES[state.base_mode][type(entry.intent)](state, entry)
    step, after = session.dropped(state)
    return step + RULES[after.mode][type(entry.intent)](after, entry)


def _answer_yes(state: State) -> Step:
    if isinstance(state.question, JoinProtected):
        return following.join_protected(state, state.question)
    if not isinstance(state.question, DidYouSay):
        return session.finish_after_yes(state)
    answered = Answered(yes=True)
    after = fold((answered,), state)
    intent = _meant(after, state.question.words)
    if intent is None:
        return Step((answered,)) + tell(wording.SAY_IT_AGAIN)
    entry = Entry(intent=intent, call=state.question.words, by=Channel.VOICE, asked_back=True)
    return Step((answered,)) + RULES[after.mode][type(intent)](after, entry)
