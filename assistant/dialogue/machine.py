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
    KeysPressed,
    Missed,
    Quit,
    ResumeAsked,
    SessionLeft,
    SessionOpened,
    SessionResumed,
    Show,
    SoundLost,
    SoundMissed,
    SpeechEnded,
    StartAsked,
    Step,
    StopAsked,
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
}

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
    },
    Mode.HOLDING: dict.fromkeys(ALL_INTENTS, rules.not_now)
    | {say.CarryOn: rules.carry_on, say.SayAgain: rules.say_again},
    Mode.ENDED: dict.fromkeys(ALL_INTENTS, rules.stay_silent),
}
"""What each intent does in each mode. In a question every other entry drops it and counts as usual."""

KEEP_THE_QUESTION: frozenset[type[Intent]] = frozenset({say.Help, say.SayAgain})
"""Entries that leave an open question open."""


def _help(state: State, _: Entry) -> Step:
    return tell(spoken_help(scope_of(state)))


for _mode in (Mode.ASKING, Mode.FOLLOWING, Mode.HOLDING):
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
    if state.cable.groups == 1:
        open_now.discard(say.CallGroup)
    return Scope(
        intents=frozenset(open_now),
        digits=max(2, len(str(state.cable.pairs))),
        groups=state.cable.groups > 1,
        super_units=state.cable.super_units > 1,
    )


def typed_scope_of(state: State) -> Scope:
    """Give what is understood when typed or keyed: numbers of any length, so that none is misread."""
    return Scope(intents=scope_of(state).intents | {say.CallGroup})


def decide(state: State, came: Input) -> Step:
    """Give the facts that an input makes, and what is to be done."""
    match came:
        case StartAsked():
            return _start(came)
        case ResumeAsked(torn_bytes=torn):
            resumed = SessionResumed()
            return Step((resumed,)) + tell(wording.resumed(fold((resumed,), state), torn))
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
    )
    return Step((opened,), (Show(wording.CAUTION),)) + tell(wording.opening(fold((opened,))))


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
    if isinstance(entry.intent, say.Yes):
        return _answer_yes(state)
    if isinstance(entry.intent, say.No):
        return rules.no(state, entry)
    if isinstance(state.question, DidYouSay) and _meant(state, state.question.words) == entry.intent:
        return _answer_yes(state)
    if type(entry.intent) in KEEP_THE_QUESTION:
        return RULES[state.base_mode][type(entry.intent)](state, entry)
    step, after = rules.dropped(state)
    return step + RULES[after.mode][type(entry.intent)](after, entry)


def _answer_yes(state: State) -> Step:
    if not isinstance(state.question, DidYouSay):
        return rules.finish_after_yes(state)
    answered = Answered(yes=True)
    after = fold((answered,), state)
    intent = _meant(after, state.question.words)
    if intent is None:
        return Step((answered,)) + tell(wording.SAY_IT_AGAIN)
    entry = Entry(intent=intent, call=state.question.words, by=Channel.VOICE, asked_back=True)
    return Step((answered,)) + RULES[after.mode][type(intent)](after, entry)
