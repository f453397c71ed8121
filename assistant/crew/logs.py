"""Finding logs and walking through them, the logs of one splice together, and which joint is of which kind.

Reads logs as they lie and never writes one. How a joint stands comes from the same walk as in a report; what else
a line means is left to the tables.
"""

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from pathlib import Path

from assistant.account.account import Account, account_of
from assistant.account.identity import splice_of
from assistant.account.walk import ReadLog, Walk, walk
from assistant.cable.makeup import Cable, CableError
from assistant.cable.plan_text import PlanError, read_plan
from assistant.cable.splice_plan import Plan, straight_sequence
from assistant.dialogue.messages import EarlierWork, SessionOpened
from assistant.dialogue.state import fold
from assistant.errors import AssistantError
from assistant.session.journal import DEMO_FOLDER
from assistant.session.record import FIRST_SUM, Record, RecordError, decode
from assistant.session.replay import refusing_forgery, settled
from assistant.session.salvage import LoadedLog, read_log

SUFFIX = ".jsonl"
_ESCAPE = re.compile(rb"\\(?:ud[89ab]..\\ud[c-f]..|(?P<half>ud[89a-f]..)|.)", re.IGNORECASE | re.DOTALL)
NO_NAME = "(not given)"
UNKNOWN_CABLE = "(not known)"
"""Title of a plan that this version cannot read, or of a log without a session."""


@dataclass(frozen=True, slots=True)
class FoundLog:
    """A log that counts."""

    name: str
    """Path below the folder."""
    path: Path
    first: int
    """Its first record that counts here and not in another log."""
    last: int
    """Number of its last record."""
    count: int
    """How many records are there, from the very first on."""
    splice: str
    """Name of the splice; empty for a session of questions only."""
    to_join: int
    """Joints that are to be made in the whole splice."""
    is_plain: bool
    """Whether the file holds the records as they count: nothing is torn, damaged, or filled in from a copy."""


@dataclass(frozen=True, slots=True)
class JointRow:
    """A joint of a splice that an entry named, as all logs of the splice have it."""

    splice: str
    joint: int
    kind: str
    standing: str
    log: str
    """The log in which it was confirmed, or changed last."""
    confirmed_in: int | None
    how: str | None
    ends: str | None
    """Which sides of the joint were named: near, far, both or none."""
    channel: str | None
    person: str | None
    faults_left: int


@dataclass(frozen=True, slots=True)
class FoundSplice:
    """The logs of one splice, or one session of questions, with all that the walk through them gives."""

    logs: tuple[FoundLog, ...]
    joints: tuple[JointRow, ...]
    left_out: tuple["LeftOut", ...]
    told: tuple[str, ...]
    lines: dict[str, tuple[bytes, ...]]
    """Lines of the logs that do not lie so in their files, by name."""


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
    """List all logs below a folder, by name, without those of demonstrations.

    Raises:
        AssistantError: there is no such folder, a part of it cannot be read, or it holds no log.

    """
    if not folder.is_dir():
        raise AssistantError(f"{folder}: is no folder; give the one that holds the logs")

    def refuse(error: OSError) -> None:
        raise AssistantError(f"{error.filename}: cannot be read ({error.strerror}); check its rights") from error

    walked = os.walk(folder, onerror=refuse)
    work = [(Path(place), names) for place, _, names in walked if Path(place).name != DEMO_FOLDER]
    paths = sorted(place / name for place, names in work for name in names if name.endswith(SUFFIX))
    if not paths:
        raise AssistantError(f"{folder}: holds no log (*{SUFFIX}); give the folder that work --log wrote to")
    return paths


def roll_up(folder: Path) -> Iterator[FoundSplice]:
    """Walk through every log below a folder, the logs of one splice together.

    Raises:
        AssistantError: see `find`.

    """
    groups: dict[object, list[Path]] = {}
    for path in find(folder):
        groups.setdefault(_splice_key(path), []).append(path)
    names: dict[str, object] = {}
    for key, paths in groups.items():
        yield _splice(folder, paths, key, names)


def _splice_key(path: Path) -> object:
    """Tell of which splice a log is, by its first line; one that cannot be read stands alone."""
    try:
        records = _beginning(path)
        opened = next(fact for fact in records[0].facts if isinstance(fact, SessionOpened))
        with refusing_forgery(records[0]):
            return splice_of(opened, records, fold(records[0].facts)).key if not opened.settings.asking else path
    except (OSError, RecordError, StopIteration, AssistantError):
        return path


def _beginning(path: Path) -> Sequence[Record]:
    """Give the record that begins a log, wherever damage has put it; where it may go on with others, all of them."""
    with path.open("rb") as file:
        try:
            first = decode(file.readline(), FIRST_SUM)[0]
            if not any(isinstance(fact, EarlierWork) for fact in first.facts):
                return [first]
        except RecordError:
            pass
    records = read_log(path.read_bytes()).records
    if not records:
        raise RecordError("there is none")
    return records


def _splice(folder: Path, paths: list[Path], key: object, names: dict[str, object]) -> FoundSplice:
    left_out: list[LeftOut] = []
    walked: dict[str, Walk] = {}
    read: dict[str, tuple[Path, LoadedLog]] = {}
    questions: list[FoundLog] = []
    for path in paths:
        name = _printable(path.relative_to(folder))
        try:
            loaded = settled(read_log(path.read_bytes()))
            if not loaded.count:
                left_out.append(LeftOut(path, "holds no whole record"))
            elif _asks_only(loaded):
                questions.append(_found(name, path, loaded, 1, "", 0, filled=False))
            else:
                walked[name] = walk(_as_read(name, loaded))
            read[name] = path, loaded
        except OSError as error:
            left_out.append(LeftOut(path, f"cannot be read ({error.strerror}); check its rights"))
        except AssistantError as error:
            left_out.append(LeftOut(path, str(error).removeprefix(f"{name}: ")))
    if not walked:
        lines = {log.name: read[log.name][1].lines for log in questions if not log.is_plain}
        return FoundSplice(tuple(questions), (), tuple(left_out), (), lines)
    account = account_of([one.log for one in walked.values()], walked=walked)
    splice = account.splice
    if names.setdefault(splice, key) != key:
        splice = f"{splice} ({next(iter(walked.values())).splice.plan})"
    joined = sum(row.joint.kind.joined for row in account.rows)
    logs, lines = [], {}
    for log in account.logs:
        path, loaded = read[log.name]
        filled = log is not walked[log.name].log
        logs.append(_found(log.name, path, loaded, account.first_own[log.name], splice, joined, filled=filled))
        if not logs[-1].is_plain:
            kept = zip(log.records, _lines_of(log, read), strict=True)
            lines[log.name] = tuple(line for _, line in kept)
    return FoundSplice(tuple(logs), tuple(_joints(account, splice)), tuple(left_out), account.notices, lines)


def _as_read(name: str, loaded: LoadedLog) -> ReadLog:
    return ReadLog(
        name=name,
        records=loaded.records,
        sha256="",
        last_sum=loaded.last_sum,
        torn_bytes=len(loaded.torn),
        sums=loaded.sums,
        damages=tuple(f"line {damage.line} {damage.what}" for damage in loaded.damages),
    )


def _lines_of(log: ReadLog, read: dict[str, tuple[Path, LoadedLog]]) -> Iterator[bytes]:
    """Give the line of each record of a log, filled in from its copies where it is not its own."""
    there = {
        (record.number, checksum): line
        for _, loaded in read.values()
        for record, checksum, line in zip(loaded.records, loaded.sums, loaded.lines, strict=True)
    }
    for record, checksum in zip(log.records, log.sums, strict=True):
        yield there.get((record.number, checksum), b"")


def _asks_only(loaded: LoadedLog) -> bool:
    return any(isinstance(fact, SessionOpened) and fact.settings.asking for fact in loaded.records[0].facts)


def _found(
    name: str, path: Path, loaded: LoadedLog, first: int, splice: str, to_join: int, *, filled: bool
) -> FoundLog:
    last = max(record.last_number for record in loaded.records)
    plain = not (filled or loaded.torn or loaded.damages)
    return FoundLog(name, path, first, last, loaded.count, splice, to_join, plain)


def _joints(account: Account, splice: str) -> Iterator[JointRow]:
    for row in account.rows:
        if not row.log:
            continue
        made = row.made
        yield JointRow(
            splice=splice,
            joint=row.joint.number,
            kind=row.joint.kind.value,
            standing=row.standing.value,
            log=made.log if made else row.log,
            confirmed_in=made.record if made else None,
            how=made.how if made else None,
            ends=made.ends if made else None,
            channel=made.by if made else None,
            person=(made.person.strip() or NO_NAME) if made else None,
            faults_left=len(row.known.faults),
        )


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
