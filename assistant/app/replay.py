"""`replay`: a session as it went, printed or spoken; its checks; its inputs through today's rules."""

import hashlib
import queue
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from datetime import time as time_of_day
from pathlib import Path

from assistant.account.story import AccountError, Line, line_of
from assistant.account.topics import Topic
from assistant.adapters.device_key import load_public_key
from assistant.adapters.kept_sound import sound_name, sounds_folder
from assistant.app.seals import SealFinding, seal_findings
from assistant.cable.splice_plan import JointNumber
from assistant.dialogue.messages import Heard, Input, NoteKept
from assistant.dialogue.state import State
from assistant.errors import AssistantError
from assistant.session.damage import damage_of
from assistant.session.journal import LoadedLog, lines_of, load
from assistant.session.record import fact_object
from assistant.session.replay import HistoryError, rebuild, rerun, steps

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


def lines(path: Path, wanted: Selection) -> Iterator[tuple[Line, float]]:
    """Give the wanted steps and how long to wait before each, in seconds.

    Raises:
        AssistantError: the log cannot be read, or a limit means nothing in it.

    """
    told = list(_told(path))
    first = _edge(path, told, wanted.first, at_start=True) if wanted.first else 0
    last = _edge(path, told, wanted.last, at_start=False) if wanted.last else len(told) - 1
    before: datetime | None = None
    for line in (line for line, _ in told[first : last + 1]):
        if wanted.only and not line.topics & wanted.only:
            continue
        gap_s = (line.at - before).total_seconds() if before and wanted.speed else 0.0
        yield line, min(LONGEST_WAIT_S, max(0.0, gap_s) / (wanted.speed or 1.0))
        before = line.at


def _told(path: Path) -> Iterator[tuple[Line, State]]:
    try:
        for before, record, _ in steps(load(path).records):
            yield line_of(record, before), before
    except (AccountError, HistoryError) as error:
        raise AssistantError(f"{path}: {error}") from error


def _edge(path: Path, told: list[tuple[Line, State]], limit: str, *, at_start: bool) -> int:
    """Find the first or last step of a limit."""
    if limit.isdigit():
        fits = [i for i, (line, state) in enumerate(told) if _about(line, state, int(limit))]
        what = f"pair {limit} is in no step"
    else:
        edge = _as_time(limit)
        fits = [i for i, (line, _) in enumerate(told) if _reached(line.at, edge, at_start=at_start)]
        what = f"no step is {'at or after' if at_start else 'at or before'} {limit}"
    if not fits:
        raise AssistantError(f"{path}: {what}; leave out the limit to see all")
    return fits[0] if at_start else fits[-1]


def _about(line: Line, state: State, number: int) -> bool:
    plan = state.plan
    places = [plan.by_number[JointNumber(joint)].lead for joint in line.joints if JointNumber(joint) in plan.by_number]
    return any(plan.end_of(place).called(place.position)[1] == number for place in places)


def _as_time(text: str) -> datetime | time_of_day:
    for read in (time_of_day.fromisoformat, datetime.fromisoformat):
        try:
            return read(text)
        except ValueError:
            continue
    raise AssistantError(f"replay: {text!r} is no pair and no time; write 47, 14:30 or 2026-11-25T14:30")


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
        from assistant.adapters.voice_pyttsx3 import SpeechRenderer
        from assistant.adapters.voices import SpeakerVoice

        self._inbox: queue.Queue[Input] = queue.Queue()
        self._log = log
        self._speak, self._listen = speak, listen
        self._voice = SpeakerVoice(self._inbox.put, SpeechRenderer(), device)

    def play(self, line: Line) -> None:
        """Play the sound of a step, where it was kept, and speak what was said."""
        if self._listen and line.sound_sha256:
            from assistant.adapters.audio_file import read_sound
            from assistant.adapters.voice_pyttsx3 import Sound
            from assistant.ports import SAMPLE_RATE_HZ

            file = sounds_folder(self._log) / sound_name(line.record)
            if file.is_file():
                self._to_end(lambda: self._voice.play(Sound(read_sound(file), SAMPLE_RATE_HZ)))
        for text in line.said if self._speak else ():
            self._to_end(lambda text=text: self._voice.say(text))  # type: ignore[misc]

    def close(self) -> None:
        """Close the speaker."""
        self._voice.close()

    def _to_end(self, begin: Callable[[], None]) -> None:
        begin()
        self._inbox.get()


def replayed(path: Path, wanted: Selection, player: Player | None) -> Iterator[str]:
    """Give the lines of the session, waiting and playing as wanted."""
    count = 0
    for line, wait_s in lines(path, wanted):
        time.sleep(wait_s)
        yield from shown(line)
        count += 1
        if player is not None:
            player.play(line)
    if not count:
        yield "(no step of that kind)"


def checked(path: Path, public_key: Path | None) -> tuple[list[str], bool]:
    """Check the chain, the state, the sounds and the seals of a log; give the findings and whether all is well.

    Raises:
        AssistantError: a file cannot be read.

    """
    key = load_public_key(public_key) if public_key else None
    try:
        data = path.read_bytes()
    except OSError as error:
        raise AssistantError(f"{path}: cannot be read ({error.strerror}); check the path and its rights") from error
    try:
        loaded = load(path)
    except AssistantError as error:
        damages = damage_of(lines_of(data))
        return [f"{path}: line {d.line} {d.what}" for d in damages] or [str(error)], False
    found = [f"{len(loaded.records)} records, the chain of checksums holds, last {loaded.last_sum}"]
    if loaded.torn.endswith(b"\n"):  # a line that was cut off has no end
        return [f"{path}: line {d.line} {d.what}" for d in damage_of(lines_of(data))], False
    if loaded.torn:
        found.append(
            f"{len(loaded.torn)} bytes of a last line that was cut off while it was written; they do not count"
        )
    found.append(_state_line(loaded))
    good = True
    for finding in [*_sound_findings(path, loaded), *seal_findings(path, len(loaded.records), key)]:
        found.append(finding.about)
        good = good and finding.holds
    return found, good


def _state_line(loaded: LoadedLog) -> str:
    state = rebuild(loaded.records)
    if state.settings.asking:
        return "a session of questions only"
    tally = state.tally()
    ended = "ended" if state.ended else "not ended, it can be taken up again"
    return f"{tally.confirmed} confirmed, {tally.faulty} faulty, {tally.skipped + tally.open} left; {ended}"


def _sound_findings(path: Path, loaded: LoadedLog) -> list[SealFinding]:
    wanted = [(sounds_folder(path) / name, sha256) for name, sha256 in _sound_files(loaded)]
    notes = [(path.parent / Path(note.file).name, note.sha256) for note in _spoken_notes(loaded)]
    if not wanted and not notes:
        return []
    there = [(file, sha256) for file, sha256 in [*wanted, *notes] if file.is_file()]
    changed = [file for file, sha256 in there if hashlib.sha256(file.read_bytes()).hexdigest() != sha256]
    found = [SealFinding(False, f"{file}: the sound was changed") for file in changed]
    missing = len(wanted) + len(notes) - len(there)
    gone = f", {missing} lost or forgotten" if missing else ""
    return [*found, SealFinding(True, f"{len(there) - len(changed)} sounds are as recorded{gone}")]


def _sound_files(loaded: LoadedLog) -> Iterator[tuple[str, str]]:
    for record in loaded.records:
        if isinstance(record.input, Heard) and record.input.sound_sha256:
            yield sound_name(record.number), record.input.sound_sha256


def _spoken_notes(loaded: LoadedLog) -> Iterator[NoteKept]:
    yield from (f for record in loaded.records for f in record.facts if isinstance(f, NoteKept) and f.file)


def differences(path: Path) -> Iterator[str]:
    """Send the recorded inputs through today's rules and tell every difference.

    Raises:
        AssistantError: the log cannot be read.

    """
    for found in rerun(load(path).records):
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
    loaded = load(path)
    files = [sounds_folder(path) / name for name, _ in _sound_files(loaded)]
    files += [path.parent / Path(note.file).name for note in _spoken_notes(loaded)] if notes else []
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
