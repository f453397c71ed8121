"""`decide`: what an input comes to in a state. What every entry does in every mode stands in `table`.

An entry that names nothing acts on what was told last; it counts only if it was made after that had been put, and
while it was still the current one. `decide` never raises for anything that a person can say, type or press.
"""

from typing import assert_never

from assistant.dialogue import sentences, wording
from assistant.dialogue.messages import (
    Answered,
    Channel,
    DeviceFailed,
    DeviceLost,
    DidYouSay,
    Fact,
    Heard,
    Input,
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
    SoundLost,
    SoundMissed,
    SpeechEnded,
    StartAsked,
    Step,
    StopAsked,
    TimedOut,
    Typed,
    WorkBegunAnew,
    WorkTakenUp,
)
from assistant.dialogue.modes import MUST_BE_ANSWERED, Mode
from assistant.dialogue.rules import calling_out, following, questions, session
from assistant.dialogue.rules.entry import Entry, announce, tell
from assistant.dialogue.scope import key_scope_of, scope_of, told_scope_of, typed_scope_of
from assistant.dialogue.state import State, fold
from assistant.dialogue.table import CLOSED, TABLE, Cell, Dispatch, Names, names
from assistant.words import intents as say
from assistant.words.intents import Intent
from assistant.words.parser import NoMatch, Parsed, Understood, parse, parse_keys
from assistant.words.vocabulary import ALL_INTENTS, Scope, spoken_help

NOTE_LEAD = "note"
"""A typed line that begins so is kept as a note."""


def decide(state: State, came: Input) -> Step:
    """Give the facts that an input makes, and what is to be done."""
    step = _decide(state, came)
    if state.question is None or not state.pace_s:
        return step
    after = fold(step.facts, state)  # a question stops the calling out; it goes on behind it
    return step + calling_out.resume_pace(after) if after.mode is Mode.CALLING else step


def _decide(state: State, came: Input) -> Step:
    match came:
        case StartAsked():
            return _start(came)
        case ResumeAsked():
            return _resume(state, came)
        case Heard():
            return _heard(state, came)
        case Typed(text=text):
            return Step(effects=(Show(f"> {text}"),)) + _typed(state, came)
        case KeysPressed(keys=keys):
            return Step(effects=(Show(f"> {keys.strip() or 'Enter'}"),)) + _keys(state, came)
        case KeysRefused(trouble=trouble):
            return Step((Missed("key refused"),)) + tell(wording.KEY_TROUBLES[trouble]())
        case SoundLost(frames=frames):
            return Step((SoundMissed(frames),)) + tell(sentences.SOUND_LOST())
        case DeviceFailed(device=device, reason=reason):
            shown = Show(f"{device} failed: {reason}")
            return Step((DeviceLost(device, reason),), (shown,)) + tell(sentences.DEVICE_FAILED(device=device))
        case MicrophoneTrouble(trouble=trouble):
            return Step((MicrophoneTroubled(trouble),)) + tell(wording.TROUBLES[trouble]())
        case TimedOut(joint=joint):
            return calling_out.call_next(state, joint)
        case NoteRecorded(file=file, sha256=sha256):
            return session.keep_note(state, "", file, sha256) if file else tell(sentences.NOTE_LOST())
        case StopAsked(reason=reason):
            return Step((SessionLeft(reason),), (Quit(),))
        case SpeechEnded():
            return Step()
        case never:
            assert_never(never)


def _start(came: StartAsked) -> Step:
    opened: tuple[Fact, ...] = (SessionOpened(came.settings, came.who),)
    earlier = came.earlier
    asks = earlier is not None and (came.goes_on is None or earlier.finished)
    if earlier is not None:
        opened += (earlier,)
    if came.goes_on is False:
        opened, asks = (*opened, WorkBegunAnew()), False
    elif earlier is not None and not asks:
        opened += (WorkTakenUp(),)
    after = fold(opened)
    said = tell(sentences.SOUND_IS_KEPT()) if came.who.keeps_sound else Step()
    begun = Step(opened, (Show(sentences.CAUTION()),)) + said
    return begun + (session.ask_to_go_on(after) if asks else session.begin(after))


def _resume(state: State, came: ResumeAsked) -> Step:
    resumed = SessionResumed(came.who)
    after = fold((resumed,), state)
    said = tell(sentences.SOUND_IS_KEPT()) if came.who.keeps_sound else Step()
    greeting = wording.resumed(after, came.torn_bytes)
    step = Step((resumed,)) + said
    if after.undecided:
        return step + session.ask_to_go_on(after)
    if after.unchecked:
        return step + tell(greeting) + session.ask_check(after, "")
    return step + announce(after, greeting)


def _heard(state: State, came: Heard) -> Step:
    shown = Show(f"> {came.words or '(speech)'} [{came.judgement}]")
    if came.judgement == "ignored" or state.mode is Mode.ENDED:
        return Step((Missed("ignored"),), (shown,))
    intent = _meaning(came, scope_of(state))
    if intent is None:
        quiet = state.mode is Mode.HOLDING
        return Step((Missed("not understood"),), (shown,)) + (Step() if quiet else tell(sentences.SAY_IT_AGAIN()))
    entry = Entry(intent=intent, call=came.words, by=Channel.VOICE, after=came.after)
    took = _enter if came.judgement == "accepted" else _enter_unsure
    return Step(effects=(shown,)) + took(state, entry)


def _meaning(came: Heard, scope: Scope) -> Intent | None:
    """Give what was heard, if it is open now; the hearing has found it already but for old records."""
    if came.meaning is not None:
        return came.meaning if type(came.meaning) in scope.intents else None
    parsed = parse(came.words, scope) if came.words else NoMatch()
    return parsed.intent if isinstance(parsed, Understood) else None


def _enter_unsure(state: State, entry: Entry) -> Step:
    """Ask whether this was said; saying the same again answers it as well."""
    reads_back = isinstance(
        entry.intent, say.UseSpare | say.AddJoint | say.PutOff | say.TagReversal
    )  # what it asks tells all of it
    bare = isinstance(entry.intent, say.BareNumber)
    if bare or reads_back or following.contradicts_itself(state, entry.intent):
        return _enter(state, entry)
    if _says_the_same(state, entry):
        return _as_said(state)
    if _came_too_early(state, entry):
        return session.too_early(state, entry)
    return TABLE[state.mode].unsure(state, entry)


def _said_before(state: State) -> Intent | None:
    """Give what is asked back."""
    if not isinstance(state.question, DidYouSay):
        return None
    parsed = parse(state.question.words, typed_scope_of(state))
    return parsed.intent if isinstance(parsed, Understood) else None


def _says_the_same(state: State, entry: Entry) -> bool:
    """Tell whether an entry says again what is asked back; one that names nothing must answer the question."""
    same = state.mode is Mode.UNSURE and _said_before(state) == entry.intent
    return same and not _came_too_early(state, entry)


def _typed(state: State, came: Typed) -> Step:
    lead, _, note = came.text.strip().partition(" ")
    if lead.lower() == NOTE_LEAD and note.strip() and state.mode is not Mode.ENDED:
        return session.keep_note(state, note.strip(), "", "")
    parsed = parse(came.text, typed_scope_of(state))
    if isinstance(parsed, NoMatch):
        parsed = parse(came.text, Scope(ALL_INTENTS))
    return _parsed(state, parsed, came.text, Channel.TYPED, came)


def _keys(state: State, came: KeysPressed) -> Step:
    return _parsed(state, parse_keys(came.keys, key_scope_of(state)), came.keys.strip(), Channel.KEYS, came)


def _parsed(state: State, parsed: Parsed, call: str, by: Channel, came: Typed | KeysPressed) -> Step:
    if isinstance(parsed, Understood):
        return _enter(state, Entry(intent=parsed.intent, call=call, by=by, after=came.after, during=came.during))
    if state.mode is Mode.ENDED:
        return Step((Missed("not now"),))
    if state.mode in MUST_BE_ANSWERED:
        return session.ask_check_again(state)
    if isinstance(came, KeysPressed) and not isinstance(parse_keys(came.keys, Scope(ALL_INTENTS)), NoMatch):
        return session.not_now(state, Entry(intent=say.Help(), call=call, by=by, after=came.after))
    return Step((Missed("not understood"),)) + tell(wording.not_understood(state, call, by))


def _came_too_early(state: State, entry: Entry) -> bool:
    """Tell whether an entry that names nothing was made before that had been put on which it would act."""
    pinned = entry.asked_back  # the question whether it was said was put on top of that
    return names(entry.intent) is Names.NOTHING and not pinned and not entry.is_current(state)


def _enter(state: State, entry: Entry) -> Step:
    """Apply an entry that is sure."""
    cell = TABLE[state.mode].cells[type(entry.intent)]
    if cell not in CLOSED and _came_too_early(state, entry):
        return session.too_early(state, entry)
    if cell is Dispatch.DROPS_QUESTION and _says_the_same(state, entry):
        return _as_said(state)
    return _carry_out(state, entry, cell)


def _carry_out(state: State, entry: Entry, cell: Cell) -> Step:
    match cell:
        case Dispatch.DROPS_QUESTION:
            step, after = session.dropped(state)
            return step + (session.no_answer(after) if _came_too_early(after, entry) else _enter(after, entry))
        case Dispatch.LEAVES_QUESTION:
            return _carry_out(state, entry, TABLE[state.base_mode].cells[type(entry.intent)])
        case Dispatch.AS_SAID:
            return _as_said(state)
        case Dispatch.TELLS_HELP:
            return tell(spoken_help(told_scope_of(state)))
        case rule:
            return rule(state, entry)


def _as_said(state: State) -> Step:
    """Take what was asked back as said."""
    intent, question = _said_before(state), state.question
    assert isinstance(question, DidYouSay)
    answered = Answered(yes=True)
    after = fold((answered,), state)
    if intent is None:
        return Step((answered,)) + tell(sentences.SAY_IT_AGAIN())
    return Step((answered,)) + _enter(after, questions.entry_of(question, intent))
