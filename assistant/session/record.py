"""One record = one input with all the facts it caused = one checked line of JSON.

The line carries a checksum over the checksum of the line before and its own text, so that a changed,
lost or moved line is found. Type tags are words of our own, never import paths: the table may only
grow, so that old logs load for ever. Must not know files or a clock.
"""

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from types import UnionType
from typing import Any, get_args, get_type_hints

from cattrs import Converter
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override
from cattrs.strategies import configure_tagged_union

from assistant.dialogue import messages
from assistant.dialogue.messages import BEFORE_NUMBERS, Fact, Input, Question
from assistant.dialogue.tags import FACT_TAGS, INPUT_TAGS, QUESTION_TAGS

SUM_LENGTH = 16
"""Hex digits of the checksum that are kept: 64 bits."""
FIRST_SUM = "0" * SUM_LENGTH
"""What stands for the checksum before the first line."""
LINE_START = b'{"sum":"'
"""How every line begins; JSON escapes quotes in texts, so that it stands nowhere else in a line."""
_LINE = re.compile(rb'\{"sum":"([0-9a-f]{16})",(.*)\}\n', re.DOTALL)


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
    _keep_as_before(converter)
    for union, tags in ((Question, QUESTION_TAGS), (Input, INPUT_TAGS), (Fact, FACT_TAGS)):
        _tag(converter, union, tags)
    converter.register_structure_hook(Record, make_dict_structure_fn(Record, converter))
    return converter


def _keep_as_before(converter: Converter) -> None:
    """Write what has parts of its own as one flat object, as ever, and read lines from before entries had numbers."""
    for kind in (messages.StartAsked, messages.ResumeAsked, messages.SessionOpened, messages.SessionResumed):
        converter.register_unstructure_hook(kind, _flat(converter))
        converter.register_structure_hook(kind, _from_flat(converter))
    heard = messages.Heard
    converter.register_unstructure_hook(heard, make_dict_unstructure_fn(heard, converter, meaning=override(omit=True)))
    for entry in (heard, messages.Typed, messages.KeysPressed):
        structure = make_dict_structure_fn(entry, converter, **_without_meaning(entry))
        converter.register_structure_hook(entry, _numbered(structure))


def _without_meaning(kind: type) -> dict[str, Any]:
    return {"meaning": override(omit=True)} if kind is messages.Heard else {}


def _numbered(structure: Callable[[Any, Any], Any]) -> Callable[[Any, Any], Any]:
    return lambda value, kind: structure({"after": BEFORE_NUMBERS, **value}, kind)


def _flat(converter: Converter) -> Callable[[Any], dict[str, Any]]:
    def unstructure(value: Any) -> dict[str, Any]:
        flat: dict[str, Any] = {}
        for part in fields(value):
            found = converter.unstructure(getattr(value, part.name))
            flat |= found if isinstance(found, dict) else {part.name: found}
        return flat

    return unstructure


def _from_flat(converter: Converter) -> Callable[[Any, Any], Any]:
    def structure(value: dict[str, Any], kind: type) -> Any:
        parts = {
            name: converter.structure(value if is_dataclass(hint) else value[name], hint)
            for name, hint in get_type_hints(kind).items()
        }
        return kind(**parts)

    return structure


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
