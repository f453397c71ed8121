"""Finding logs, checking their chains of checksums, and which joint of a plan is of which kind.

Reads logs as they lie and never writes one. What a line means is left to the tables: here only its sum counts.
"""

import json
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import BinaryIO

from assistant.cable.makeup import Cable, CableError
from assistant.cable.plan_text import PlanError, read_plan
from assistant.cable.splice_plan import Plan, straight_sequence
from assistant.errors import AssistantError
from assistant.session.record import FIRST_SUM, LINE_START, RecordError, check

SUFFIX = ".jsonl"
_ESCAPE = re.compile(rb"\\(?:ud[89ab]..\\ud[c-f]..|(?P<half>ud[89a-f]..)|.)", re.IGNORECASE | re.DOTALL)
UNKNOWN_CABLE = "(not known)"
"""Title of a plan that this version cannot read, or of a log without a session."""


@dataclass(frozen=True, slots=True)
class FoundLog:
    """A log whose chain of checksums holds."""

    name: str
    """Path below the folder."""
    path: Path
    records: int
    length: int
    """Bytes of whole records."""
    torn: bool
    """Whether something stands after them: a record that was cut off while it was written."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A log that cannot be counted on."""

    path: Path
    why: str


@dataclass(frozen=True, slots=True)
class KindRun:
    """Joints of one kind that follow one another in the order of the work."""

    first: int
    last: int
    kind: str
    joined: bool


@dataclass(frozen=True, slots=True)
class Cabling:
    """What the beginning of a session says of the cable."""

    title: str
    runs: tuple[KindRun, ...]
    """Empty where it cannot be read."""


def find(folder: Path) -> list[Path]:
    """List all logs below a folder, by name.

    Raises:
        AssistantError: there is no such folder, a part of it cannot be read, or it holds no log.

    """
    if not folder.is_dir():
        raise AssistantError(f"{folder}: is no folder; give the one that holds the logs")

    def refuse(error: OSError) -> None:
        raise AssistantError(f"{error.filename}: cannot be read ({error.strerror}); check its rights") from error

    walked = os.walk(folder, onerror=refuse)
    paths = sorted(Path(place, name) for place, _, names in walked for name in names if name.endswith(SUFFIX))
    if not paths:
        raise AssistantError(f"{folder}: holds no log (*{SUFFIX}); give the folder that work --log wrote to")
    return paths


def check_all(folder: Path) -> Iterator[FoundLog | LeftOut]:
    """Check every log below a folder.

    Raises:
        AssistantError: see `find`.

    """
    for path in find(folder):
        try:
            with path.open("rb") as file:
                yield _checked(path, path.relative_to(folder), file)
        except OSError as error:
            yield LeftOut(path, f"cannot be read ({error.strerror}); check its rights")


def _checked(path: Path, name: Path, file: BinaryIO) -> FoundLog | LeftOut:
    """Follow the chain of checksums, a line at a time; only a bad last line counts as torn, as in the journal."""
    last_sum, records, length = FIRST_SUM, 0, 0
    for number, line in enumerate(file, 1):
        try:
            last_sum, body = check(line, last_sum)
        except RecordError as error:
            if LINE_START in line[1:] or file.read(1):
                return LeftOut(path, f"line {number} is damaged ({error}); restore it from a copy")
            return FoundLog(_printable(name), path, records, length, torn=True)
        if not _is_numbered(body, number):
            return LeftOut(path, f"line {number} is damaged (it is not numbered so); restore it from a copy")
        records, length = number, length + len(line)
    return FoundLog(_printable(name), path, records, length, torn=False)


def _is_numbered(body: bytes, number: int) -> bool:
    if body.startswith(b'"number":%d,' % number):
        return True
    try:
        found = json.loads(b"{" + body + b"}")["number"]
    except (ValueError, KeyError, RecursionError):
        return False
    return type(found) is int and found == number


def _printable(name: Path) -> str:
    return os.fsencode(name).decode("utf-8", "replace")


def without_half_characters(line: bytes) -> bytes:
    """Give a line with question marks for escapes of half characters, which UTF-8 has no bytes for."""
    return _ESCAPE.sub(lambda found: b"?" if found["half"] else found[0], line)


@lru_cache(maxsize=256)
def cabling(plan_text: str, cable_pairs: int, first: int, last: int) -> Cabling:
    """Read what a session began with; many logs share one plan, so that each is read once."""
    try:
        plan = read_plan(plan_text) if plan_text else straight_sequence(Cable(cable_pairs), first, last)
    except (PlanError, CableError):
        return Cabling(UNKNOWN_CABLE, ())
    sequence = f"{cable_pairs}-pair cable, pairs {first} to {last}"
    return Cabling(plan.title or ("(no title)" if plan_text else sequence), tuple(_runs(plan)))


def _runs(plan: Plan) -> Iterator[KindRun]:
    for kind, same in groupby(plan.joints, key=lambda joint: joint.kind):
        numbers = [joint.number for joint in same]
        yield KindRun(numbers[0], numbers[-1], kind.value, kind.joined)
