"""The modes of a session: every rule of the table belongs to one. An open question is a mode of its own."""

from enum import Enum
from typing import assert_never

from assistant.dialogue.messages import (
    BeginAnew,
    BuildOtherwise,
    DidYouSay,
    FinishAnyway,
    GoOn,
    JoinProtected,
    Question,
    SiteCheck,
)


class Mode(Enum):
    """What the session is doing, or what it waits to be told."""

    ASKING = "asking"
    """Only questions are answered."""
    FOLLOWING = "following"
    """Pairs are called in the order of the work."""
    CALLING = "calling"
    """The assistant calls the pairs of a module out, or has called them."""
    ANY_ORDER = "any order"
    """Pairs are called in any order."""
    VERIFYING = "verifying"
    """Results of tests are logged."""
    HOLDING = "holding"
    """No entry is taken until told to carry on."""
    UNSURE = "did you say"
    FINISHING = "finish anyway"
    PROTECTED = "join protected"
    CHECKING = "site check"
    BUILDING = "build otherwise"
    CHOOSING = "go on"
    RENEWING = "begin anew"
    ENDED = "ended"


MUST_BE_ANSWERED = frozenset({Mode.CHECKING, Mode.CHOOSING, Mode.RENEWING})
"""Questions before the work: no other entry is taken before they are answered."""


def mode_of(question: Question) -> Mode:
    """Give the mode in which a question is open."""
    match question:
        case DidYouSay():
            return Mode.UNSURE
        case FinishAnyway():
            return Mode.FINISHING
        case JoinProtected():
            return Mode.PROTECTED
        case SiteCheck():
            return Mode.CHECKING
        case BuildOtherwise():
            return Mode.BUILDING
        case GoOn():
            return Mode.CHOOSING
        case BeginAnew():
            return Mode.RENEWING
    assert_never(question)
