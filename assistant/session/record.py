"""One record = one input with all the facts it caused = one checked line of JSON.

The line carries a checksum over the checksum of the line before and its own text, so that a changed,
lost or moved line is found. It names the checksum of the line before too ("after"), so that it can be
checked alone when that line is damaged; older lines have no such field and are checked behind their
neighbours. Type tags are words of our own, never import paths: the table may only grow, so that old logs
load for ever; what a later version wrote is read as far as it is known. Must not know files or a clock.
"""

import hashlib
import json
import re
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, fields
from types import UnionType
from typing import Any, TypeAlias, get_args, get_type_hints

from cattrs import Converter
from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override
from cattrs.strategies import configure_tagged_union

from assistant.cable.splice_plan import JointNumber
from assistant.dialogue import messages
from assistant.dialogue.messages import BEFORE_NUMBERS, AsBuiltFact, Fact, Input, Question
from assistant.dialogue.tags import FACT_TAGS, INPUT_TAGS, QUESTION_TAGS
from assistant.ports import MOST_UPTIME_S, Uptime
from assistant.session.quick import read_usual
from assistant.texts import well_formed

MOST_RECORDS = 10**9
"""Records that a log can hold: far more than a working life gives."""
SUM_LENGTH = 16
"""Hex digits of the checksum that are kept: 64 bits."""
FIRST_SUM = "0" * SUM_LENGTH
"""What stands for the checksum before the first line."""
LINE_START = b'{"sum":"'
"""How every line begins; JSON escapes quotes in texts, so that it stands nowhere else in a line."""
_BODY, _END = len(LINE_START) + SUM_LENGTH + len('",'), len("}\n")
"""Bytes of a line before and behind its text."""
_LINE = re.compile(rb'\{"sum":"([0-9a-f]{16})",(.*)\}\n', re.DOTALL)
_HALF = re.compile(rb"\\u[dD][89a-fA-F]")
_AFTER = re.compile(rb'"after":"([0-9a-f]{16})",')


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordsLost:
    """Stands for records that are lost: its record has the number of the first of them, and the time before them."""

    last: int
    """Number of the last one that is lost."""
    until: str
    """Time of the record behind them; empty where none is there."""
    why: str
    doubtful: tuple[JointNumber, ...] = ()
    """Joints that have to be called again, since the lost records may have changed them."""
    next_sum: str = ""
    """Checksum that the record behind them was written after; empty where none is there."""


@dataclass(frozen=True, slots=True)
class LaterInput:
    """What came in, as a later version wrote it."""

    tag: str


@dataclass(frozen=True, slots=True)
class LaterFact:
    """A fact that a later version wrote, and the joint it names, if any."""

    tag: str
    pair: JointNumber | None


Came: TypeAlias = Input | RecordsLost | LaterInput
"""All that may stand as the input of a record."""

CAME_TAGS: dict[type[Any], str] = {**INPUT_TAGS, RecordsLost: "records-lost"}
"""Words for all inputs that a record may have."""


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
    input: Came
    facts: tuple[Fact, ...]
    later: tuple[LaterFact, ...] = ()
    """What a later version wrote and this one cannot read."""
    uptime: Uptime | None = None
    """By the clock that nobody sets, from which it can be told that the other one was set; older logs have none."""

    @property
    def last_number(self) -> int:
        """Number of the last record that it stands for."""
        return self.input.last if isinstance(self.input, RecordsLost) else self.number


_Readable: TypeAlias = Input | RecordsLost


def _converter() -> Converter:
    converter = Converter(forbid_extra_keys=False)
    converter.register_structure_hook(int, _strict(int))
    converter.register_structure_hook(str, _strict(str))
    converter.register_structure_hook(bool, _strict(bool))
    _keep_as_before(converter)
    built = {kind: FACT_TAGS[kind] for kind in get_args(AsBuiltFact)}
    for union, tags in ((AsBuiltFact, built), (Question, QUESTION_TAGS), (_Readable, CAME_TAGS), (Fact, FACT_TAGS)):
        _tag(converter, union, tags)
    return converter


def _keep_as_before(converter: Converter) -> None:
    """Write what has parts of its own as one flat object, as ever, and read lines from before entries had numbers."""
    for kind in (messages.StartAsked, messages.ResumeAsked, messages.SessionOpened, messages.SessionResumed):
        converter.register_unstructure_hook(kind, _flat(converter))
        converter.register_structure_hook(kind, _from_flat(converter, kind))
    heard = messages.Heard
    converter.register_unstructure_hook(heard, make_dict_unstructure_fn(heard, converter, meaning=override(omit=True)))
    for entry in (heard, messages.Typed, messages.KeysPressed):
        structure = make_dict_structure_fn(entry, converter, **_without_meaning(entry))
        converter.register_structure_hook(entry, _numbered(structure))


def _without_meaning(kind: type) -> dict[str, Any]:
    return {"meaning": override(omit=True)} if kind is messages.Heard else {}


def _numbered(structure: Callable[[Any, Any], Any]) -> Callable[[Any, Any], Any]:
    return lambda value, kind: structure({"after": BEFORE_NUMBERS, **value}, kind)


_FLATTENED = frozenset({"settings", "who"})
"""Parts of a beginning whose fields stand in it as its own."""


def _flat(converter: Converter) -> Callable[[Any], dict[str, Any]]:
    def unstructure(value: Any) -> dict[str, Any]:
        flat: dict[str, Any] = {}
        for part in fields(value):
            found = converter.unstructure(getattr(value, part.name))
            flat |= found if part.name in _FLATTENED else {part.name: found}
        return flat

    return unstructure


def _from_flat(converter: Converter, kind: type) -> Callable[[Any, Any], Any]:
    hints = get_type_hints(kind)

    def structure(value: dict[str, Any], _: object) -> Any:
        parts = {
            name: converter.structure(value if name in _FLATTENED else value[name], hint)
            for name, hint in hints.items()
            if name in _FLATTENED or name in value
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
_CAME_BY_TAG = {tag: (_CONVERTER.get_structure_hook(kind), kind) for kind, tag in CAME_TAGS.items()}
_FACT_BY_TAG = {tag: (_CONVERTER.get_structure_hook(kind), kind) for kind, tag in FACT_TAGS.items()}
"""How each is read; asked here by its tag, since a log of a long day has many."""


def encode(record: Record, sum_before: str) -> tuple[bytes, str]:
    """Give the line of a record and its checksum, given the checksum of the line before."""
    up = record.uptime
    content = {
        "after": sum_before,
        "number": record.number,
        "at": record.at,
        **({} if up is None else {"uptime": {"boot": up.boot, "seconds": up.seconds}}),
        "input": _CONVERTER.unstructure(record.input, unstructure_as=_Readable),
        "facts": [_CONVERTER.unstructure(fact, unstructure_as=Fact) for fact in record.facts],
    }
    # in ASCII, since what was typed may hold half characters that UTF-8 has no bytes for
    body = json.dumps(content, separators=(",", ":"))[1:-1].encode()
    checksum = checksum_of(sum_before, body)
    return LINE_START + checksum.encode() + b'",' + body + b"}\n", checksum


def decode(line: bytes, sum_before: str) -> tuple[Record, str]:
    """Give the record of a line and its checksum.

    Raises:
        RecordError: the line is not whole, was changed, does not follow the one before, or cannot be understood.

    """
    checksum, body = check(line, sum_before)
    return read(body), checksum


def read(body: bytes) -> Record:
    """Read the text of a line whose checksum has been checked.

    What a later version wrote is set apart: an input or a fact with a tag or a value that is not known here.

    Raises:
        ForeignRecordError: it is no record, whatever else it is.

    """
    usual = read_usual(body)
    if usual is not None and 1 <= usual[0] <= MOST_RECORDS:
        return Record(number=usual[0], at=usual[1], input=usual[2], facts=usual[3], uptime=usual[4])
    return read_any(body)


def read_any(body: bytes) -> Record:
    """Read such a text in the way that knows every version, a field at a time.

    Raises:
        ForeignRecordError: it is no record, whatever else it is.

    """
    try:
        content = json.loads(b"{" + body + b"}")
        if _HALF.search(body):
            content = _well_formed(content)
        number, at, came, facts = content["number"], content["at"], content["input"], content["facts"]
        if type(number) is not int or type(at) is not str or type(came["tag"]) is not str:
            raise TypeError("its number, time or input is none")
        if not 1 <= number <= MOST_RECORDS:
            raise ValueError(f"no record is numbered {number}")
        found = [read_fact(fact) for fact in facts]
        taken = _came(came)
        if isinstance(taken, RecordsLost) and not number <= taken.last <= MOST_RECORDS:
            raise ValueError(f"records {number} to {taken.last} cannot be lost")
        return Record(
            number=number,
            at=at,
            input=taken,
            facts=tuple(fact for fact in found if not isinstance(fact, LaterFact)),
            later=tuple(fact for fact in found if isinstance(fact, LaterFact)),
            uptime=_uptime(content.get("uptime")),
        )
    except Exception as error:  # cattrs and json raise many kinds; all mean the same here
        raise ForeignRecordError(f"it is no record of a session: {type(error).__name__}: {error}") from error


def _uptime(content: Any) -> Uptime | None:
    """Read the other clock; where it is none, as from a later version, nothing is known of it."""
    match content:
        case {"boot": str(boot), "seconds": int() | float() as seconds} if type(seconds) is not bool:
            if abs(seconds) <= MOST_UPTIME_S:
                return Uptime(boot, float(seconds))
    return None


def _well_formed(content: Any) -> Any:
    """Replace halves of characters, which older versions kept of bytes that were no text."""
    match content:
        case str():
            return well_formed(content)
        case list():
            return [_well_formed(one) for one in content]
        case dict():
            return {name: _well_formed(one) for name, one in content.items()}
        case _:
            return content


def _came(content: Any) -> Came:
    structure, kind = _CAME_BY_TAG.get(content["tag"], (None, None))
    if structure is not None:
        with suppress(Exception):  # cattrs raises many kinds; all mean that a later version has other values
            found: Came = structure(content, kind)
            return found
    return LaterInput(content["tag"])


def read_fact(content: Any) -> Fact | LaterFact:
    """Read a fact as a record holds it; one that is not known here is told by its tag."""
    tag, pair = content["tag"], content.get("pair")
    if type(tag) is not str:
        raise TypeError("a fact has no tag")
    structure, kind = _FACT_BY_TAG.get(tag, (None, None))
    if structure is not None:
        with suppress(Exception):
            found: Fact = structure(content, kind)
            return found
    return LaterFact(tag, JointNumber(pair) if type(pair) is int else None)


def check(line: bytes, sum_before: str) -> tuple[str, bytes]:
    """Give the checksum of a line and the text that it covers, whatever that means.

    Raises:
        RecordError: the line is not whole, was changed, or does not follow the one before.

    """
    body = line[_BODY:-_END]
    checksum = checksum_of(sum_before, body)
    if line == b"".join((LINE_START, checksum.encode(), b'",', body, b"}\n")):
        return checksum, body
    if _LINE.fullmatch(line) is None:
        raise RecordError("it is not a whole record")
    raise RecordError("its checksum does not fit: it was changed, or a line before it is missing")


def proven(lines: Iterable[bytes], sum_before: str) -> str | None:
    """Give the checksum of the last of many lines, where each is what was written; None where one is not.

    Finds what `check` finds, line by line, in half the time.
    """
    before, new = sum_before.encode(), hashlib.sha256
    for line in lines:
        checksum = new(before + line[_BODY:-_END]).hexdigest()[:SUM_LENGTH].encode()
        framed = line.startswith(LINE_START) and line.endswith(b"}\n")
        if not framed or line[len(LINE_START) : _BODY] != checksum + b'",':
            return None
        before = checksum
    return before.decode()


def fact_object(fact: Fact) -> dict[str, Any]:
    """Give a fact as a record holds it."""
    made: dict[str, Any] = _CONVERTER.unstructure(fact, unstructure_as=Fact)
    return made


def after_of(body: bytes) -> str | None:
    """Give the checksum that a line says it was written after; None where an older version wrote it."""
    found = _AFTER.match(body)
    return found.group(1).decode() if found else None


def checksum_of(before: str, body: bytes) -> str:
    """Give the checksum of a line's text behind the checksum of the line before."""
    return hashlib.sha256(before.encode() + body).hexdigest()[:SUM_LENGTH]
