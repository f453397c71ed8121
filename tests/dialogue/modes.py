"""A conversation in each mode."""

from assistant.cable.splice_plan import JointNumber, Site
from assistant.dialogue.messages import (
    BeginAnew,
    BuildOtherwise,
    Check,
    DidYouSay,
    EarlierWork,
    FinishAnyway,
    GoOn,
    JoinProtected,
    JointsCarried,
    PairState,
    SiteCheck,
    TimedOut,
)
from assistant.dialogue.modes import Mode
from tests.dialogue.conversation import Conversation

QUESTIONS = {
    Mode.UNSURE: DidYouSay,
    Mode.FINISHING: FinishAnyway,
    Mode.PROTECTED: JoinProtected,
    Mode.CHECKING: SiteCheck,
    Mode.BUILDING: BuildOtherwise,
    Mode.CHOOSING: GoOn,
    Mode.RENEWING: BeginAnew,
}
"""Modes in which a question is open, with its class."""

PROTECTED = """
title = "One protected"
[[end]]
name = "west"
pairs = 100
[[end]]
name = "east"
pairs = 100
[[join]]
kind = "straight"
from = "west pairs 1-60"
to = "east pairs 1-60"
[[protect]]
pairs = "west pairs 1"
reason = "alarm circuit"
"""


EARLIER = EarlierWork(
    logs=(),
    joints=(JointsCarried(first=JointNumber(1), last=JointNumber(5), known=PairState(Check.COLOURS)),),
    expected=JointNumber(6),
    people=("crew one",),
    first_day="2026-11-23",
    last_day="2026-11-24",
)
"""Five pairs, done the day before."""


def in_mode(mode: Mode) -> Conversation:
    """Bring a conversation about a cable of 100 pairs into a mode."""
    match mode:
        case Mode.ASKING:
            return Conversation(cable=100, asking=True)
        case Mode.ANY_ORDER:
            return Conversation(cable=100, any_order=True)
        case Mode.CHECKING:
            return Conversation(cable=100, site=Site.MANHOLE)
        case Mode.CHOOSING:
            return Conversation(cable=100, earlier=EARLIER)
        case Mode.RENEWING:
            return _after(Conversation(cable=100, earlier=EARLIER), "no")
        case Mode.PROTECTED:
            return _after(Conversation(0, 0, 0, plan_text=PROTECTED), "pair 1")
    talk = Conversation(cable=100)
    match mode:
        case Mode.UNSURE:
            talk.heard("blue white", "ask back")
        case Mode.FINISHING:
            talk.typed("finish")
        case Mode.BUILDING:
            talk.typed("put off found dead pair 3")
        case Mode.HOLDING:
            talk.typed("hold on")
        case Mode.VERIFYING:
            _after(talk, "blue white", "start verification")
        case Mode.CALLING:
            talk.typed("call them out")
            talk.put(TimedOut(JointNumber(1)))
        case Mode.ENDED:
            _after(talk, "finish", "yes")
    return talk


def _after(talk: Conversation, *entries: str) -> Conversation:
    for entry in entries:
        talk.typed(entry)
    return talk


def in_each_mode() -> dict[Mode, Conversation]:
    """Give a conversation in each mode."""
    talks = [in_mode(mode) for mode in Mode]
    return {talk.state.mode: talk for talk in talks}
