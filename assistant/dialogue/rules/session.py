"""Rules of the session itself: checks before the work, questions, holding, notes, the end."""

from collections.abc import Callable

from assistant.dialogue import sentences, wording
from assistant.dialogue.messages import (
    Answered,
    BeginAnew,
    CarriedOn,
    CheckAnswered,
    Fact,
    FinishAnyway,
    GoOn,
    Held,
    Missed,
    NoteKept,
    QuestionDropped,
    Quit,
    RecordNote,
    SessionEnded,
    SiteCheck,
    Step,
    WorkBegunAnew,
    WorkTakenUp,
)
from assistant.dialogue.rules.calling_out import resume_pace
from assistant.dialogue.rules.entry import Entry, announce, announce_again, ask, put, tell, then
from assistant.dialogue.state import Standing, State, fold
from assistant.words import intents as say


def finish(state: State, _: Entry) -> Step:
    """End session and splice; ask first when pairs are not done, or done with a fault."""
    unfinished = state.left() or state.with_standing(Standing.JOINED_FAULTY)
    if not state.settings.asking and unfinished:
        return ask(state, FinishAnyway())
    return _end(state)


def _end(state: State) -> Step:
    return _ended(state, wording.finished)


def stop_for_today(state: State, _: Entry) -> Step:
    """End the session; the splice goes on another day."""
    return _ended(state, wording.stopped_for_today, for_today=True)


def _ended(state: State, told: Callable[[State], str], *, for_today: bool = False) -> Step:
    """End the session. Checks of the closing, where there are some, are to be asked before this."""
    tally = state.tally()
    fact = SessionEnded(
        confirmed=tally.confirmed,
        faulty=tally.faulty,
        left=0 if state.settings.asking else tally.open + tally.skipped,
        joined_faulty=tally.joined_faulty,
        for_today=for_today,
    )
    return Step((fact,)) + tell(told(fold((fact,), state))) + Step(effects=(Quit(),))


def finish_anyway(state: State, _: Entry) -> Step:
    """End session and splice although pairs are not done."""
    answered = Answered(yes=True)
    return Step((answered,)) + _end(fold((answered,), state))


def hold(state: State, _: Entry) -> Step:
    """Take no entry until told to carry on."""
    return Step((Held(),)) + tell(sentences.HOLDING())


def carry_on(state: State, _: Entry) -> Step:
    """Take entries again."""
    carried = CarriedOn()
    after = fold((carried,), state)
    told = Step((carried,)) + announce(after, sentences.CARRYING_ON(), before=after.expected_joint)
    return told + resume_pace(after)


def say_no(state: State, _: Entry) -> Step:
    """Close the question without doing anything."""
    return then(state, Answered(yes=False), told=lambda _: "")


def not_what_was_said(state: State, _: Entry) -> Step:
    """Close the question whether this was said; it is to be said again."""
    return then(state, Answered(yes=False), told=lambda _: sentences.SAY_IT_AGAIN())


def dropped(state: State) -> tuple[Step, State]:
    """Close the question because another entry came."""
    fact = QuestionDropped()
    return Step((fact,)), fold((fact,), state)


def refuse_bare_number(state: State, entry: Entry) -> Step:
    """Refuse a number of one word, and say how to say it."""
    return Step((Missed("bare number"),)) + tell(sentences.SAY_PAIR_FIRST())


def not_now(state: State, entry: Entry) -> Step:
    """Tell that this is not open in this mode, and what is awaited."""
    missed = Step((Missed("not now"),))
    if state.held or state.settings.asking:
        return missed + tell(wording.not_now(state))
    if state.question is not None:
        return missed + announce(state, wording.not_now(state))
    return missed + put(state, wording.together(wording.not_now(state), wording.awaited(state)))


def too_early(state: State, entry: Entry) -> Step:
    """Refuse an entry that names nothing and was made before that was told on which it would act."""
    answers = isinstance(entry.intent, say.Yes | say.No)
    told = sentences.TOO_EARLY_TO_ANSWER() if answers else sentences.TOO_EARLY()
    return Step((Missed("too early"),)) + announce_again(state, told)


def no_answer(state: State) -> Step:
    """Refuse an entry that names nothing and came while a question was open, which it has closed."""
    return Step((Missed("too early"),)) + announce_again(state, sentences.NO_ANSWER())


def stay_silent(state: State, entry: Entry) -> Step:
    """Keep that something came in, and do nothing."""
    return Step((Missed("not now"),))


def take_note(state: State, _: Entry) -> Step:
    """Record what is said next."""
    if not state.hears:
        return Step((Missed("not now"),)) + tell(sentences.NO_MICROPHONE())
    return tell(sentences.NOTE_NOW()) + Step(effects=(RecordNote(),))


def keep_note(state: State, text: str, file: str, sha256: str) -> Step:
    """Keep a note with its place."""
    made = state.joint_in_turn
    pair = None if made is None else made.number
    return Step((NoteKept(pair=pair, text=text, file=file, sha256=sha256),)) + tell(sentences.NOTE_KEPT())


def begin(state: State) -> Step:
    """Ask the checks, and begin the work behind them."""
    return ask_check(state, wording.opening(state))


def ask_to_go_on(state: State, _: Entry | None = None) -> Step:
    """Ask whether the work goes on with the earlier logs; they count only when that is said."""
    return ask(state, GoOn(), "", *_no(state))


def ask_anew(state: State, _: Entry) -> Step:
    """Ask back whether the splice begins anew, so that nothing is done twice for one answer."""
    return ask(state, BeginAnew(), "", *_no(state))


def _no(state: State) -> tuple[Fact, ...]:
    """Give the answer to the question that is open, if one is."""
    return () if state.question is None else (Answered(yes=False),)


def go_on(state: State, _: Entry) -> Step:
    """Go on where the earlier logs end."""
    return _decided(state, WorkTakenUp())


def begin_anew(state: State, _: Entry) -> Step:
    """Begin the splice anew."""
    return _decided(state, WorkBegunAnew())


def _decided(state: State, fact: WorkTakenUp | WorkBegunAnew) -> Step:
    facts = (Answered(yes=True), fact)
    return Step(facts) + begin(fold(facts, state))


def ask_check(state: State, greeting: str) -> Step:
    """Ask the next check; when none is left, begin the work."""
    if not state.unchecked:
        return announce(state, greeting)
    return ask(state, SiteCheck(state.unchecked[0]))


def ask_check_again(state: State, _: Entry | None = None) -> Step:
    """Take no other entry before what is asked before the work is answered."""
    return Step((Missed("not now"),)) + announce(state, sentences.SAY_YES_OR_NO())


def check_done(state: State, entry: Entry) -> Step:
    """Keep that a check was done, and ask the next."""
    return _answered(state, entry, done=True)


def check_not_done(state: State, entry: Entry) -> Step:
    """Keep that a check was not done; it stays open."""
    return _answered(state, entry, done=False)


def _answered(state: State, entry: Entry, *, done: bool) -> Step:
    assert isinstance(state.question, SiteCheck)
    answered = CheckAnswered(check=state.question.check, done=done, by=entry.by)
    after = fold((answered,), state)
    if not done:
        told = (sentences.DO_THAT_FIRST(), sentences.SITE_RULES(), sentences.SAY_YES_WHEN_DONE())
        return Step((answered,)) + put(after, wording.together(*told))
    greeting = wording.opening(after) if after.undo is None else ""
    return Step((answered,)) + ask_check(after, greeting)
