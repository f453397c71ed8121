"""`replay`: a session as it went, printed or spoken; its checks; its inputs through today's rules."""

import hashlib
import re
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from datetime import time as time_of_day
from pathlib import Path

from assistant.account.account import account_of
from assistant.account.chain import Fit, chain_of
from assistant.account.story import AccountError, Line, line_of
from assistant.account.times import clock_of
from assistant.account.topics import Topic
from assistant.account.walk import ReadLog
from assistant.adapters.device_key import load_public_key
from assistant.adapters.kept_sound import sound_name, sounds_folder
from assistant.app.earlier import goes_on_from
from assistant.app.report import load_log, read_session
from assistant.app.seals import SealFinding, seal_findings
from assistant.cable.splice_plan import JointNumber
from assistant.dialogue.messages import Heard, NoteKept, SessionEnded, SessionOpened, SessionResumed
from assistant.dialogue.state import State
from assistant.errors import AssistantError
from assistant.handover.summary import NOT_GIVEN, tally_line
from assistant.session.journal import read_file
from assistant.session.record import Record, fact_object
from assistant.session.replay import HistoryError, rerun, steps

_DAY = re.compile(r"\d{4}-\d\d-\d\d")
LONGEST_WAIT_S = 5.0
"""Longest wait between two steps: a pause of the work is not sat through."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Selection:
    """Which steps are wanted, and how."""

    first: str = ""
    """A pair's number or a time; empty from the beginning."""
    last: str = ""
    only: frozenset[Topic] = frozenset()
    """Empty for all steps."""
    speed: float = 0.0
    """Times as fast as it went; 0 without waiting."""


@dataclass(frozen=True, slots=True)
class _Step:
    """A step with what was known before it, and who was at work."""

    line: Line
    before: State
    person: str


def lines(path: Path, wanted: Selection) -> Iterator[tuple[_Step, float]]:
    """Give the wanted steps and how long to wait before each, in seconds.

    Raises:
        AssistantError: the log cannot be read, or a limit means nothing in it.

    """
    told = list(_told(path))
    first = _edge(path, told, wanted.first, at_start=True) if wanted.first else 0
    last = _edge(path, told, wanted.last, at_start=False) if wanted.last else len(told) - 1
    before: datetime | None = None
    for step in told[first : last + 1]:
        line = step.line
        if wanted.only and not line.topics & wanted.only:
            continue
        gap_s = (line.turn - before).total_seconds() if before and wanted.speed else 0.0
        yield step, min(LONGEST_WAIT_S, max(0.0, gap_s) / (wanted.speed or 1.0))
        before = line.turn


def _told(path: Path) -> Iterator[_Step]:
    records = read_session(path)[1].records
    person = ""
    try:
        clock = clock_of(records)
        jumps = {jump.record for jump in clock.jumps}
        for turn, (before, record, _) in zip(clock.turns, steps(records), strict=True):
            for fact in record.facts:
                if isinstance(fact, SessionOpened | SessionResumed):
                    person = fact.who.person
            yield _Step(line_of(record, before, turn, clock_set=record.number in jumps), before, person)
    except (AccountError, HistoryError) as error:
        raise AssistantError(f"{path}: {error}") from error


def _edge(path: Path, told: list[_Step], limit: str, *, at_start: bool) -> int:
    """Find the first or last step of a limit."""
    if limit.isdigit():
        fits = [i for i, step in enumerate(told) if _about(step.line, step.before, int(limit))]
        what = f"pair {limit} is in no step"
    else:
        edge = _as_time(limit, at_start=at_start)
        fits = [i for i, step in enumerate(told) if _reached(step.line.at, edge, at_start=at_start)]
        what = f"no step is {'at or after' if at_start else 'at or before'} {limit}"
    if not fits:
        raise AssistantError(f"{path}: {what}; leave out the limit to see all")
    return fits[0] if at_start else fits[-1]


def _about(line: Line, state: State, number: int) -> bool:
    plan = state.plan
    places = [plan.by_number[JointNumber(joint)].lead for joint in line.joints if JointNumber(joint) in plan.by_number]
    return any(plan.end_of(place).called(place.position)[1] == number for place in places)


def _as_time(text: str, *, at_start: bool) -> datetime | time_of_day:
    """Read a time of day, a day with a time, or a whole day, which begins and ends with its midnights."""
    if _DAY.fullmatch(text):
        text += "T00:00" if at_start else "T23:59:59.999999"
    for read in (time_of_day.fromisoformat, datetime.fromisoformat):
        try:
            return read(text)
        except ValueError:
            continue
    raise AssistantError(f"replay: {text!r} is no pair and no time; write 47, 14:30, 2026-11-25 or '2026-11-25 14:30'")


def _reached(at: datetime, edge: datetime | time_of_day, *, at_start: bool) -> bool:
    if isinstance(edge, time_of_day):
        here: datetime | time_of_day = at.time()
        edge = edge.replace(tzinfo=None)
    else:
        here, edge = (at, edge) if edge.tzinfo else (at.replace(tzinfo=None), edge)
    return here >= edge if at_start else here <= edge  # type: ignore[operator]  # both are of one kind


def shown(line: Line) -> Iterator[str]:
    """Write a step as the session did."""
    clock = f"{line.at:%H:%M:%S}"
    if Topic.CLOCK in line.topics:
        yield f"{clock}  (the clock was set here)"
    if line.came:
        way = f" [{line.way}]" if line.way else ""
        yield f"{clock}  > {line.came}{way}"
    for text in line.said:
        yield f"{clock}  < {text}"


class Player:
    """Speaks answers and plays kept sound, each to its end."""

    def __init__(self, log: Path, *, speak: bool, listen: bool, device: str | None) -> None:
        """Open the speaker.

        Raises:
            AssistantError: there is none.

        """
        from assistant.app.aloud import Aloud

        self._log = log
        self._speak, self._listen = speak, listen
        self._aloud = Aloud(device)

    def play(self, line: Line) -> None:
        """Play the sound of a step, where it was kept, and speak what was said."""
        if self._listen and line.sound_sha256:
            from assistant.adapters.audio_file import read_sound
            from assistant.adapters.tones import Sound
            from assistant.ports import SAMPLE_RATE_HZ

            file = sounds_folder(self._log) / sound_name(line.record)
            if file.is_file():
                self._aloud.play(Sound(read_sound(file), SAMPLE_RATE_HZ))
        for text in line.said if self._speak else ():
            self._aloud.say(text)

    def close(self) -> None:
        """Close the speaker."""
        self._aloud.close()


def replayed(path: Path, wanted: Selection, player: Player | None) -> Iterator[str]:
    """Give the lines of the session, with day and person where they change, waiting and playing as wanted."""
    heading = ""
    for step, wait_s in lines(path, wanted):
        time.sleep(wait_s)
        now = f"{step.line.at:%Y-%m-%d}, {step.person or NOT_GIVEN}"
        if now != heading:
            yield f"-- {now}"
            heading = now
        yield from shown(step.line)
        if player is not None:
            player.play(step.line)
    if not heading:
        yield "(no step of that kind)"


def checked(path: Path, public_key: Path | None) -> tuple[list[str], bool]:
    """Check the chain, the state, the sounds and the seals of a log; give the findings and whether all is well.

    Raises:
        AssistantError: a file cannot be read.

    """
    key = load_public_key(public_key) if public_key else None
    log = load_log(path, str(path))
    found = [f"{path}: {damage}" for damage in log.damages]
    if log.damages:
        found.append(f"{path}: {log.count} records are whole; splice-assistant repair makes a log of them")
    else:
        found.append(f"{log.count} records, the chain of checksums holds, last {log.last_sum}")
    good = not log.damages
    if log.records:
        try:
            found += _account_lines(log)
        except AccountError as error:
            if not log.damages:
                raise
            found.append(str(error))
    for finding in [
        *_link_findings(path, log),
        *_sound_findings(path, log.records),
        *seal_findings(path, log.count, key),
    ]:
        found.append(finding.about)
        good = good and finding.holds
    return found, good


def _account_lines(log: ReadLog) -> list[str]:
    """Give what the log comes to, as the report has it, and what must be known of it."""
    opened = next((f for f in log.records[0].facts if isinstance(f, SessionOpened)), None)
    if opened is not None and opened.settings.asking:
        return ["a session of questions only"]
    account = account_of([log])
    ends = [fact for record in log.records for fact in record.facts if isinstance(fact, SessionEnded)]
    ended = f"ended{' for today' if ends[-1].for_today else ''}" if ends else "not ended, it can be taken up again"
    again = ", ".join(str(row.sides[0]) for row in account.doubtful)
    return [
        f"{tally_line(account)}; {ended}",
        *([f"to be called again: {again}"] if again else []),
        *(
            line
            for line in account.notices
            if not any(line.endswith(one) for one in (*log.damages, *account.chain.told))
        ),
    ]


def _link_findings(path: Path, log: ReadLog) -> Iterator[SealFinding]:
    """Tell whether the logs that it goes on from lie beside it, and are what they were then."""
    if log.earlier is None:
        return
    own = read_file(path)
    beside = [one for one in sorted(path.parent.glob(f"*{path.suffix}")) if one.resolve() != path.resolve()]
    others = [load_log(one, one.name) for one in beside if goes_on_from(own, read_file(one))]
    for link in chain_of([log, *others], {}).of(log):
        named = f"goes on from {link.earlier or link.head.name}, record {link.head.records}"
        match link.fit:
            case Fit.MISSING:
                yield SealFinding(True, f"{named}, which does not lie beside it")
            case Fit.FITS:
                same = "to the last byte" if link.to_the_byte else "up to there"
                yield SealFinding(True, f"{named}, which is what it was then, {same}")
            case _:
                yield SealFinding(False, link.told.removeprefix(f"{log.name} "))


def _sound_findings(path: Path, records: Sequence[Record]) -> list[SealFinding]:
    wanted = [(sounds_folder(path) / name, sha256) for name, sha256 in _sound_files(records)]
    notes = [(path.parent / Path(note.file).name, note.sha256) for note in _spoken_notes(records)]
    if not wanted and not notes:
        return []
    there = [(file, sha256) for file, sha256 in [*wanted, *notes] if file.is_file()]
    changed = [file for file, sha256 in there if hashlib.sha256(file.read_bytes()).hexdigest() != sha256]
    found = [SealFinding(False, f"{file}: the sound was changed") for file in changed]
    missing = len(wanted) + len(notes) - len(there)
    gone = f", {missing} lost or forgotten" if missing else ""
    return [*found, SealFinding(True, f"{len(there) - len(changed)} sounds are as recorded{gone}")]


def _sound_files(records: Sequence[Record]) -> Iterator[tuple[str, str]]:
    for record in records:
        if isinstance(record.input, Heard) and record.input.sound_sha256:
            yield sound_name(record.number), record.input.sound_sha256


def _spoken_notes(records: Sequence[Record]) -> Iterator[NoteKept]:
    yield from (f for record in records for f in record.facts if isinstance(f, NoteKept) and f.file)


def differences(path: Path) -> Iterator[str]:
    """Send the recorded inputs through today's rules and tell every difference.

    Raises:
        AssistantError: the log cannot be read.

    """
    for found in rerun(read_session(path)[1].records):
        record = found.record
        yield f"record {record.number}: {line_of(record, found.before).came or type(record.input).__name__}"
        yield from (f"  - {fact_object(fact)}" for fact in record.facts if fact not in found.today)
        yield from (f"  + {fact_object(fact)}" for fact in found.today if fact not in record.facts)


def forget_sound(path: Path, *, notes: bool) -> int:
    """Remove the kept sound of a log, on request that of its notes too, and give how many files went.

    The log stays as it is: it holds only their checksums.

    Raises:
        AssistantError: a file cannot be removed.

    """
    records = read_session(path)[1].records
    files = [sounds_folder(path) / name for name, _ in _sound_files(records)]
    files += [path.parent / Path(note.file).name for note in _spoken_notes(records)] if notes else []
    there = [file for file in files if file.is_file()]
    try:
        for file in there:
            file.unlink()
        folder = sounds_folder(path)
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
    except OSError as error:
        raise AssistantError(f"{error.filename}: cannot be removed ({error.strerror}); check its rights") from error
    return len(there)
