"""The question whether something was said: an entry that was heard, but not surely."""

from assistant.dialogue import sentences
from assistant.dialogue.messages import Channel, DidYouSay, Missed, QuestionDropped, Step
from assistant.dialogue.rules.entry import Entry, announce, ask
from assistant.dialogue.state import State
from assistant.words import intents as say


def ask_whether_said(state: State, entry: Entry) -> Step:
    """Open the question whether this was said."""
    return ask(state, DidYouSay(entry.call, entry.after), "", Missed("asked back"))


def ask_whether_said_instead(state: State, entry: Entry) -> Step:
    """In a question: an unsure answer is asked for again, anything else opens a question in its place."""
    if isinstance(entry.intent, say.Yes | say.No):
        return Step((Missed("asked back"),)) + announce(state, sentences.SAY_YES_OR_NO())
    return ask(state, DidYouSay(entry.call, entry.after), "", Missed("asked back"), QuestionDropped())


def entry_of(question: DidYouSay, intent: say.Intent) -> Entry:
    """Make the entry that was asked back, now sure, as it was made at the time."""
    return Entry(intent=intent, call=question.words, by=Channel.VOICE, after=question.after, asked_back=True)
