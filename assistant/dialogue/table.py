"""The one table: what every entry does in every mode.

A mode has a row, and a row a cell for every kind of entry. An open question is a mode as any other: what yes, no
and everything else does in it stands here and nowhere else. A new question is a class in `messages`, a mode in
`modes`, a sentence in `wording.question` and a row here; mypy or the completeness test names what is missing.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import assert_never

from assistant.dialogue.modes import Mode
from assistant.dialogue.rules import (
    answering,
    as_built,
    calling_out,
    faults,
    following,
    questions,
    session,
    talking,
    verifying,
)
from assistant.dialogue.rules.entry import Rule
from assistant.words import intents as say
from assistant.words.intents import Intent
from assistant.words.vocabulary import ALL_INTENTS


class Dispatch(Enum):
    """A cell that leaves the answer to another row."""

    DROPS_QUESTION = "drops the question"
    """The question is closed, and the entry counts as without it."""
    LEAVES_QUESTION = "leaves the question"
    """The entry counts as without the question, which stays open."""
    AS_SAID = "counts as said"
    """What was asked back counts as it was heard, now sure."""
    TELLS_HELP = "tells what is open"
    """What can be said now is told."""


Cell = Rule | Dispatch


@dataclass(frozen=True)
class ModeRow:
    """What entries do in one mode."""

    cells: Mapping[type[Intent], Cell]
    """For an entry that is sure."""
    unsure: Rule
    """For an entry that was heard, but not surely."""


CLOSED: frozenset[Rule] = frozenset(
    {session.not_now, session.stay_silent, calling_out.say_confirm_module, calling_out.nothing_called_out}
)
"""Rules that refuse: what has one of them in a mode is not listened for in it."""

_NOT_NOW: dict[type[Intent], Cell] = dict.fromkeys(ALL_INTENTS, session.not_now)

_ALWAYS: dict[type[Intent], Cell] = {
    say.CallGroup: answering.look_up,
    say.Ask: answering.look_up,
    say.SayAgain: answering.say_again,
    say.HeardThat: answering.heard_that,
    say.WhichGroup: answering.which_group,
    say.Help: Dispatch.TELLS_HELP,
    say.HoldOn: session.hold,
    say.Finish: session.finish,
    say.StopForToday: session.stop_for_today,
    say.BareNumber: session.refuse_bare_number,
    say.TakeNote: session.take_note,
    say.ChangeTalk: talking.change_talk,
}
"""In every mode without a question but holding."""

_OF_THE_WORK: dict[type[Intent], Cell] = {
    say.UndoThat: following.undo,
    say.MarkFault: faults.mark,
    say.ClearFault: faults.clear,
    say.JoinedFaulty: faults.joined_faulty,
    say.WhichFaults: answering.which_faults,
    say.Redo: following.redo,
    say.HowManyLeft: answering.how_many_left,
    say.WhereAmI: answering.where_am_i,
    say.Measured: verifying.log_reading,
}
"""Wherever pairs are worked on."""

_AS_BUILT: dict[type[Intent], Cell] = {
    say.UseSpare: as_built.use_spare,
    say.AddJoint: as_built.add_joint,
    say.PutOff: as_built.put_off,
    say.TagReversal: as_built.tag_reversal,
}
"""Wherever pairs are called."""

_FOLLOWING: dict[type[Intent], Cell] = {
    say.CallPair: following.call_pair,
    say.Confirm: following.confirm,
    say.SkipPair: following.skip,
    say.GoTo: following.go_to,
    say.GoToCable: following.go_to_cable,
    say.NextPair: answering.tell_expected,
    say.PreviousPair: answering.tell_before,
    say.CallOut: calling_out.call_out,
    say.ConfirmModule: calling_out.nothing_called_out,
    say.StartVerifying: verifying.start_verifying,
}

_IN_QUESTION: dict[type[Intent], Cell] = {
    **dict.fromkeys(ALL_INTENTS, Dispatch.DROPS_QUESTION),
    say.SayAgain: Dispatch.LEAVES_QUESTION,
    say.HeardThat: Dispatch.LEAVES_QUESTION,
    say.Help: Dispatch.LEAVES_QUESTION,
}

_BEFORE_THE_WORK: dict[type[Intent], Cell] = {
    **dict.fromkeys(ALL_INTENTS, session.ask_check_again),
    say.SayAgain: Dispatch.LEAVES_QUESTION,
    say.HeardThat: Dispatch.LEAVES_QUESTION,
    say.Help: Dispatch.LEAVES_QUESTION,
}
"""In a question that must be answered before the work."""

TABLE: dict[Mode, ModeRow] = {
    Mode.ASKING: ModeRow(
        _NOT_NOW
        | _ALWAYS
        | {
            say.CallPair: answering.look_up,
            say.NextPair: answering.look_up_neighbour,
            say.PreviousPair: answering.look_up_neighbour,
            say.WhereAmI: answering.where_asked,
        },
        unsure=questions.ask_whether_said,
    ),
    Mode.FOLLOWING: ModeRow(
        _NOT_NOW | _ALWAYS | _OF_THE_WORK | _FOLLOWING | _AS_BUILT, unsure=questions.ask_whether_said
    ),
    Mode.CALLING: ModeRow(
        _NOT_NOW
        | _ALWAYS
        | _OF_THE_WORK
        | _FOLLOWING
        | {
            say.Confirm: calling_out.say_confirm_module,
            say.SkipPair: calling_out.say_confirm_module,
            say.ConfirmModule: calling_out.confirm_module,
            say.UndoThat: calling_out.undo,
            say.MarkFault: faults.name_the_pair,
            say.ClearFault: faults.name_the_pair,
            say.JoinedFaulty: faults.name_the_pair,
            say.Measured: calling_out.say_confirm_module,
            say.Faster: calling_out.change_pace,
            say.Slower: calling_out.change_pace,
        },
        unsure=questions.ask_whether_said,
    ),
    Mode.ANY_ORDER: ModeRow(
        _NOT_NOW
        | _ALWAYS
        | _OF_THE_WORK
        | _AS_BUILT
        | {
            say.CallPair: following.call_in_any_order,
            say.GoTo: following.take_group,
            say.GoToCable: following.take_cable,
            say.HowManyLeft: answering.which_not_called,
            say.MarkFault: faults.name_the_pair,
            say.ClearFault: faults.name_the_pair,
            say.JoinedFaulty: faults.name_the_pair,
            say.Measured: verifying.log_named_reading,
            say.StartVerifying: verifying.start_verifying,
        },
        unsure=questions.ask_whether_said,
    ),
    Mode.VERIFYING: ModeRow(
        _NOT_NOW
        | _ALWAYS
        | _OF_THE_WORK
        | {
            say.CallPair: verifying.call_to_test,
            say.NextPair: answering.tell_expected,
            say.PassedTest: verifying.passed_test,
            say.FailedTest: verifying.failed_test,
            say.GroupGood: verifying.group_good,
            say.TagReversal: as_built.tag_reversal,
            say.EndVerifying: verifying.end_verifying,
        },
        unsure=questions.ask_whether_said,
    ),
    Mode.HOLDING: ModeRow(
        _NOT_NOW
        | {
            say.CarryOn: session.carry_on,
            say.SayAgain: answering.say_again,
            say.HeardThat: answering.heard_that,
            say.Help: Dispatch.TELLS_HELP,
        },
        unsure=session.not_now,
    ),
    Mode.UNSURE: ModeRow(
        _IN_QUESTION | {say.Yes: Dispatch.AS_SAID, say.No: session.not_what_was_said},
        unsure=questions.ask_whether_said_instead,
    ),
    Mode.FINISHING: ModeRow(
        _IN_QUESTION | {say.Yes: session.finish_anyway, say.No: session.say_no},
        unsure=questions.ask_whether_said_instead,
    ),
    Mode.PROTECTED: ModeRow(
        _IN_QUESTION | {say.Yes: following.join_protected, say.No: session.say_no},
        unsure=questions.ask_whether_said_instead,
    ),
    Mode.BUILDING: ModeRow(
        _IN_QUESTION | {say.Yes: as_built.build_otherwise, say.No: session.say_no},
        unsure=questions.ask_whether_said_instead,
    ),
    Mode.CHECKING: ModeRow(
        _BEFORE_THE_WORK | {say.Yes: session.check_done, say.No: session.check_not_done},
        unsure=session.ask_check_again,
    ),
    Mode.CHOOSING: ModeRow(
        _BEFORE_THE_WORK | {say.Yes: session.go_on, say.No: session.ask_anew}, unsure=session.ask_check_again
    ),
    Mode.RENEWING: ModeRow(
        _BEFORE_THE_WORK | {say.Yes: session.begin_anew, say.No: session.ask_to_go_on}, unsure=session.ask_check_again
    ),
    Mode.ENDED: ModeRow(dict.fromkeys(ALL_INTENTS, session.stay_silent), unsure=session.stay_silent),
}


class Names(Enum):
    """What an entry names, which decides whether it must have been made after what it acts on was told."""

    A_PAIR = "a pair"
    """It names what it acts on, or nothing that it could get wrong."""
    NOTHING = "nothing"
    """It acts on what was told last: it counts only if it was made after that."""
    HARMLESS = "harmless"
    """It changes nothing in the record of the pairs."""


def names(intent: Intent) -> Names:
    """Tell what an entry names."""
    match intent:
        case (
            say.CallPair()
            | say.GoTo()
            | say.GoToCable()
            | say.Redo()
            | say.UseSpare()
            | say.AddJoint()
            | say.PutOff()
            | say.TagReversal()
        ):
            return Names.A_PAIR
        case (
            say.MarkFault(pair=pair) | say.ClearFault(pair=pair) | say.JoinedFaulty(pair=pair) | say.Measured(pair=pair)
        ):
            return Names.NOTHING if pair is None else Names.A_PAIR
        case say.Confirm() | say.ConfirmModule() | say.SkipPair() | say.UndoThat() | say.PassedTest():
            return Names.NOTHING
        case say.FailedTest() | say.GroupGood():
            return Names.NOTHING
        case say.Yes() | say.No():
            return Names.NOTHING
        case (
            say.CallGroup()
            | say.Ask()
            | say.BareNumber()
            | say.WhichFaults()
            | say.CallOut()
            | say.Faster()
            | say.Slower()
            | say.ChangeTalk()
            | say.TakeNote()
            | say.SayAgain()
            | say.HeardThat()
            | say.NextPair()
            | say.PreviousPair()
            | say.WhichGroup()
            | say.WhereAmI()
            | say.HowManyLeft()
            | say.HoldOn()
            | say.CarryOn()
            | say.Help()
            | say.StopForToday()
            | say.Finish()
            | say.EndVerifying()
            | say.StartVerifying()
        ):
            return Names.HARMLESS
    assert_never(intent)
