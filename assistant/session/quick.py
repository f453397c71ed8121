"""The usual lines of a log, read quickly: a log of many days is read whole before the work can go on.

Only what is written exactly as `record` writes it today is read here; for everything else None is given, and
`record` reads it as ever, with all its checks and errors. A property test holds the two equal. Must not know
records.
"""

from collections.abc import Callable
from dataclasses import fields
from typing import Any

import msgspec

from assistant.dialogue import messages as m
from assistant.dialogue.messages import Fact, Input
from assistant.dialogue.tags import FACT_TAGS, INPUT_TAGS
from assistant.ports import MOST_UPTIME_S, Uptime

LONGEST_USUAL = 4000
"""Bytes of a line that is read here: a number or a nesting that `json` refuses for its size is longer."""
_NOT_USUAL = (m.StartAsked, m.ResumeAsked, m.SessionOpened, m.EarlierWork, m.SessionResumed, m.Asked)
"""Written as no object of their fields, and seldom."""


class _Line(msgspec.Struct, gc=False, forbid_unknown_fields=True):
    after: str
    number: int
    at: str
    input: msgspec.Raw
    facts: list[msgspec.Raw]
    uptime: Uptime | None = None


class _Heard(msgspec.Struct, gc=False):
    """An utterance as a record keeps it: without what its words mean."""

    judgement: str
    words: str
    readings: tuple[m.EarReading, ...]
    sound_sha256: str
    after: m.AnnouncementNumber


_heard = msgspec.json.Decoder(_Heard).decode


def _read_heard(raw: bytes) -> m.Heard:
    kept = _heard(raw)
    return m.Heard(
        judgement=kept.judgement,
        words=kept.words,
        readings=kept.readings,
        sound_sha256=kept.sound_sha256,
        after=kept.after,
    )


def _readers(tags: dict[type[Any], str]) -> dict[bytes, Callable[[bytes], Any]]:
    """Give, for what an object ends with behind its fields, or for the whole of one without fields, its reader."""
    found: dict[bytes, Callable[[bytes], Any]] = {}
    for kind, tag in tags.items():
        if kind in _NOT_USUAL:
            continue
        end = tag.encode() + b'"}'
        found[end] = _read_heard if kind is m.Heard else msgspec.json.Decoder(kind).decode
        if not fields(kind):
            found[b'{"tag":"' + end] = found[end]
    return found


_TAG = b',"tag":"'
"""Stands in front of the tag, the last part of an object; in a text its quotes would be escaped."""
_line = msgspec.json.Decoder(_Line).decode
_INPUTS = _readers(INPUT_TAGS)
_FACTS = _readers(FACT_TAGS)


def read_usual(body: bytes) -> tuple[int, str, Input, tuple[Fact, ...], Uptime | None] | None:
    """Read number, time, input, facts and uptime of a line whose checksum was checked; None where it is not usual."""
    if len(body) > LONGEST_USUAL or not body.isascii():
        return None
    try:
        line = _line(b"{" + body + b"}")
        raw = bytes(line.input)
        came = _INPUTS[raw.rpartition(_TAG)[2]](raw)
        facts = tuple([_FACTS[raw.rpartition(_TAG)[2]](raw) for raw in map(bytes, line.facts)])
    except Exception:  # whatever is not usual is read, or refused, in the other way
        return None
    if line.uptime is not None and not abs(line.uptime.seconds) <= MOST_UPTIME_S:
        return None
    return line.number, line.at, came, facts, line.uptime
