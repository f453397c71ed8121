"""What every rule is made of: an understood entry comes in, a step goes out.

A sentence that tells of a change is made from the state after it, which `then` folds in. What is awaited after it
is put behind it, with the number of that announcement.
"""

from collections.abc import Callable
from dataclasses import dataclass

from assistant.cable.makeup import GroupNumber
from assistant.cable.splice_plan import Joint
from assistant.dialogue import wording
from assistant.dialogue.messages import (
    BEFORE_NUMBERS,
    NOT_YET,
    AnnouncementNumber,
    Asked,
    Channel,
    Fact,
    Question,
    Said,
    Speak,
    Step,
)
from assistant.dialogue.modes import Mode
from assistant.dialogue.state import State, fold
from assistant.words.intents import Intent, No, UndoThat


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An understood entry and how it came in."""

    intent: Intent
    call: str
    """The words or keys as they came."""
    by: Channel
    after: AnnouncementNumber
    """What had been told to its end when it was made."""
    during: AnnouncementNumber = NOT_YET
    """What had begun to be told then."""
    asked_back: bool = False

    def is_current(self, state: State) -> bool:
        """Tell whether what is awaited now had been told when the entry was made.

        To take something back it is enough that it was being told: what is read back is said first.
        """
        if isinstance(self.intent, UndoThat | No) and self.during == state.announcement:
            return True
        return self.after in (state.announcement, BEFORE_NUMBERS)

    def group(self, state: State) -> GroupNumber | None:
        """Give the group in which colours alone count: the one in work, if it was that when the entry was made."""
        knew = self.after >= state.group_since or self.after == BEFORE_NUMBERS
        return state.group_in_work if knew else None


Rule = Callable[[State, Entry], Step]


def tell(text: str) -> Step:
    """Say this, and keep that it was said. It announces nothing."""
    return Step((Said(text),), (Speak(text),))


def put(state: State, text: str) -> Step:
    """Say this, which tells what is awaited in this state."""
    return Step((Said(text),), (Speak(text, state.announcement),))


def announce(state: State, told: str = "", *, before: Joint | None = None) -> Step:
    """Say this, and then what is awaited in this state; `before` is the joint that was in hand."""
    if told and state.mode is Mode.ASKING:
        return tell(told)
    return put(state, wording.together(told, wording.announcement(state, before)))


def announce_again(state: State, told: str = "") -> Step:
    """Say this, and then what is awaited, without cable and group: they have been told."""
    return announce(state, told, before=state.joint_in_turn)


def then(state: State, *facts: Fact, told: Callable[[State], str], before: Joint | None = None) -> Step:
    """Let these happen, tell of them from the state that they lead to, and announce what is awaited there."""
    after = fold(facts, state)
    stays = (after.end, after.group_in_work) == (state.end, state.group_in_work)
    if before is None and stays:
        before = after.expected_joint
    return Step(facts) + announce(after, told(after), before=before)


def ask(state: State, question: Question, told: str = "", *facts: Fact) -> Step:
    """Open a question, after these facts."""
    asked = (*facts, Asked(question))
    return Step(asked) + announce(fold(asked, state), told)
