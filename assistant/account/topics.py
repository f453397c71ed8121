"""What steps of a session are about. A module of its own, since the command line names them at each start."""

from enum import Enum


class Topic(Enum):
    """What a step is about; a step can be about several things."""

    CONFIRMED = "confirmed"
    FAULT = "faults"
    MISMATCH = "mismatches"
    CORRECTION = "corrections"
    ASKED_BACK = "asked-back"
    NOTE = "notes"
    CHECK = "checks"
    TEST = "tests"
    TROUBLE = "troubles"
    LOST = "losses"
    CLOCK = "clock"
    SESSION = "sessions"
