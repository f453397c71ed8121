"""One record = one input with all the facts it caused = one checked line of JSON.

The line carries a checksum over the checksum of the line before and its own text, so that a changed,
lost or moved line is found. Type tags are words of our own, never import paths: the table may only
grow, so that old logs load for ever. Must not know files or a clock.
"""

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from types import UnionType
from typing import Any, get_args

from cattrs import Converter
from cattrs.gen import make_dict_structure_fn
from cattrs.strategies import configure_tagged_union

from assistant.dialogue import messages
from assistant.dialogue.messages import Fact, Input, Question

SUM_LENGTH = 16
"""Hex digits of the checksum that are kept: 64 bits."""
FIRST_SUM = "0" * SUM_LENGTH
"""What stands for the checksum before the first line."""
BEFORE_NUMBERS = messages.AnnouncementNumber(-1)
"""What stands for `after` where a line is older than the numbers of announcements."""
LINE_START = b'{"sum":"'
"""How every line begins; JSON escapes quotes in texts, so that it stands nowhere else in a line."""
_LINE = re.compile(rb'\{"sum":"([0-9a-f]{16})",(.*)\}\n', re.DOTALL)

INPUT_TAGS: dict[type[Input], str] = {
    messages.StartAsked: "start-asked",
    messages.ResumeAsked: "resume-asked",
    messages.Heard: "heard",
    messages.Typed: "typed",
    messages.KeysPressed: "keys-pressed",
    messages.KeysRefused: "keys-refused",
    messages.SpeechEnded: "speech-ended",
    messages.SoundLost: "sound-lost",
    messages.DeviceFailed: "device-failed",
    messages.MicrophoneTrouble: "microphone-trouble",
    messages.TimedOut: "timed-out",
    messages.NoteRecorded: "note-recorded",
    messages.StopAsked: "stop-asked",
}
FACT_TAGS: dict[type[Fact], str] = {
    messages.SessionOpened: "session-opened",
    messages.SessionResumed: "session-resumed",
    messages.PairConfirmed: "pair-confirmed",
    messages.FaultMarked: "fault-marked",
    messages.FaultCleared: "fault-cleared",
    messages.Reopened: "reopened",
    messages.CheckAnswered: "check-answered",
    messages.CalledOut: "called-out",
    messages.PaceSet: "pace-set",
    messages.VerifyingBegun: "verifying-begun",
    messages.PairTested: "pair-tested",
    messages.ReadingLogged: "reading",
    messages.VerifyingEnded: "verifying-ended",
    messages.NoteKept: "note-kept",
    messages.PairSkipped: "pair-skipped",
    messages.MovedTo: "moved-to",
    messages.Undone: "undone",
    messages.Mismatch: "mismatch",
    messages.LookedUp: "looked-up",
    messages.GroupNamed: "group-named",
    messages.Asked: "asked",
    messages.Answered: "answered",
    messages.QuestionDropped: "question-dropped",
    messages.Missed: "missed",
    messages.Held: "held",
    messages.CarriedOn: "carried-on",
    messages.Said: "said",
    messages.Repeated: "repeated",
    messages.DeviceLost: "device-lost",
    messages.MicrophoneTroubled: "microphone-troubled",
    messages.SoundMissed: "sound-missed",
    messages.SessionLeft: "session-left",
    messages.SessionEnded: "session-ended",
}
QUESTION_TAGS: dict[type[Question], str] = {
    messages.DidYouSay: "did-you-say",
    messages.FinishAnyway: "finish-anyway",
    messages.JoinProtected: "join-protected",
    messages.SiteCheck: "site-check",
}


class RecordError(ValueError):
    """A line that is no record, or not the one that belongs here."""


class ForeignRecordError(RecordError):
    """A line that was written whole, as its checksum shows, yet cannot be read here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One step of a session."""

    number: int
    """1 upward."""
    at: str
    """Time of day with its zone, ISO 8601."""
    input: Input
    facts: tuple[Fact, ...]


def _converter() -> Converter:
    converter = Converter(forbid_extra_keys=False)
    converter.register_structure_hook(int, _strict(int))
    converter.register_structure_hook(str, _strict(str))
    converter.register_structure_hook(bool, _strict(bool))
    for entry in (messages.Heard, messages.Typed, messages.KeysPressed):
        converter.register_structure_hook(entry, _numbered(make_dict_structure_fn(entry, converter)))
    for union, tags in ((Question, QUESTION_TAGS), (Input, INPUT_TAGS), (Fact, FACT_TAGS)):
        _tag(converter, union, tags)
    converter.register_structure_hook(Record, make_dict_structure_fn(Record, converter))
    return converter


def _numbered(structure: Callable[[Any, Any], Any]) -> Callable[[Any, Any], Any]:
    return lambda line, kind: structure({"after": BEFORE_NUMBERS, **line}, kind)


def _strict(kind: type) -> Callable[[object, object], object]:
    def structure(value: object, _: object) -> object:
        if type(value) is not kind:
            raise RecordError(f"{value!r} should be {kind.__name__}")
        return value

    return structure


def _tag(converter: Converter, union: UnionType, tags: dict[Any, str]) -> None:
    missing = set(get_args(union)) - set(tags)
    if missing:
        raise TypeError(f"no tag for {missing}")
    configure_tagged_union(union, converter, tag_generator=tags.__getitem__, tag_name="tag")


_CONVERTER = _converter()


def encode(record: Record, sum_before: str) -> tuple[bytes, str]:
    """Give the line of a record and its checksum, given the checksum of the line before."""
    # in ASCII, since what was typed may hold half characters that UTF-8 has no bytes for
    text = json.dumps(_CONVERTER.unstructure(record), separators=(",", ":"))
    body = text[1:-1].encode()
    checksum = checksum_of(sum_before, body)
    return LINE_START + checksum.encode() + b'",' + body + b"}\n", checksum


def decode(line: bytes, sum_before: str) -> tuple[Record, str]:
    """Give the record of a line and its checksum.

    Raises:
        ForeignRecordError: the line is whole and in its place, but means nothing to this version.
        RecordError: the line is not whole, was changed, or does not follow the one before.

    """
    checksum, body = check(line, sum_before)
    try:
        return _CONVERTER.structure(json.loads(b"{" + body + b"}"), Record), checksum
    except Exception as error:  # cattrs and json raise many kinds; all mean the same here
        raise ForeignRecordError(f"it was written by another version: {error}") from error


def check(line: bytes, sum_before: str) -> tuple[str, bytes]:
    """Give the checksum of a line and the text that it covers, whatever that means.

    Raises:
        RecordError: the line is not whole, was changed, or does not follow the one before.

    """
    parts = split(line)
    if parts is None:
        raise RecordError("it is not a whole record")
    checksum, body = parts
    if checksum_of(sum_before, body) != checksum:
        raise RecordError("its checksum does not fit: it was changed, or a line before it is missing")
    return checksum, body


def fact_object(fact: Fact) -> dict[str, Any]:
    """Give a fact as a record holds it."""
    made: dict[str, Any] = _CONVERTER.unstructure(fact, unstructure_as=Fact)
    return made


def split(line: bytes) -> tuple[str, bytes] | None:
    """Give the checksum that a line carries and the text that it covers; None where it is not a whole line."""
    found = _LINE.fullmatch(line)
    return (found.group(1).decode(), found.group(2)) if found else None


def checksum_of(before: str, body: bytes) -> str:
    """Give the checksum of a line's text behind the checksum of the line before."""
    return hashlib.sha256(before.encode() + body).hexdigest()[:SUM_LENGTH]
