"""Rules of the session itself: checks before the work, questions, holding, notes, the end."""

from assistant.dialogue import wording
from assistant.dialogue.checks import question_of
from assistant.dialogue.messages import (
    Answered,
    Asked,
    CarriedOn,
    CheckAnswered,
    DidYouSay,
    FinishAnyway,
    Held,
    Missed,
    NoteKept,
    QuestionDropped,
    Quit,
    RecordNote,
    SessionEnded,
    SiteCheck,
    Step,
)
from assistant.dialogue.rules.calling_out import resume_pace
from assistant.dialogue.rules.entry import Entry, tell, then
from assistant.dialogue.rules.joints import in_turn
from assistant.dialogue.state import State, fold
from assistant.words import intents as say


def finish(state: State, _: Entry) -> Step:
    """End the session; ask first when pairs are left."""
    if not state.asking and state.left():
        return Step((Asked(FinishAnyway()),)) + tell(wording.finish_anyway(state))
    return _end(state)


def _end(state: State) -> Step:
    tally = state.tally()
    left = 0 if state.asking else tally.open + tally.skipped
    fact = SessionEnded(confirmed=tally.confirmed, faulty=tally.faulty, left=left)
    return then(state, fact, told=wording.finished) + Step(effects=(Quit(),))


def finish_after_yes(state: State) -> Step:
    """End the session although pairs are left."""
    answered = Answered(yes=True)
    return Step((answered,)) + _end(fold((answered,), state))


def hold(state: State, _: Entry) -> Step:
    """Take no entry until told to carry on."""
    return Step((Held(),)) + tell("Holding. Say carry on.")


def carry_on(state: State, _: Entry) -> Step:
    """Take entries again."""
    carried = then(state, CarriedOn(), told=lambda s: f"Carrying on. {wording.where_next(s)}")
    return carried + resume_pace(state)


def no(state: State, _: Entry) -> Step:
    """Close the question without doing anything."""
    told = wording.SAY_IT_AGAIN if isinstance(state.question, DidYouSay) else wording.where_next(state)
    return Step((Answered(yes=False),)) + tell(told)


def dropped(state: State) -> tuple[Step, State]:
    """Close the question because another entry came."""
    fact = QuestionDropped()
    return Step((fact,)), fold((fact,), state)


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


def take_note(state: State, _: Entry) -> Step:
    """Record what is said next."""
    return tell("Note: speak after this.") + Step(effects=(RecordNote(),))


def keep_note(state: State, text: str, file: str, sha256: str) -> Step:
    """Keep a note with its place."""
    made = in_turn(state)
    pair = None if made is None else made.number
    return Step((NoteKept(pair=pair, text=text, file=file, sha256=sha256),)) + tell("Note kept.")


def ask_check(state: State) -> Step:
    """Ask the next check; when none is left, begin the work."""
    if not state.unchecked or state.site is None:
        return tell(wording.opening(state) if state.undo is None else wording.where_next(state))
    name = state.unchecked[0]
    return Step((Asked(SiteCheck(name)),)) + tell(question_of(name, state.site))


def ask_check_again(state: State, question: SiteCheck) -> Step:
    """Take no other entry before a check is answered."""
    assert state.site is not None
    told = f"{wording.SAY_YES_OR_NO} {question_of(question.check, state.site)}"
    return Step((Missed("not now"),)) + tell(told)


def answer_check(state: State, question: SiteCheck, entry: Entry) -> Step:
    """Keep the answer; a no leaves the check open."""
    done = isinstance(entry.intent, say.Yes)
    answered = CheckAnswered(check=question.check, done=done, by=entry.by)
    if not done:
        return Step((answered,)) + tell(f"Do that first. {wording.SITE_RULES} Say yes when it is done.")
    return Step((answered,)) + ask_check(fold((answered,), state))
