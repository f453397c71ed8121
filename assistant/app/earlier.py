"""The logs of a splice that a new session may go on with: found in a folder, read, and put together."""

import fcntl
import hashlib
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from assistant.account.account import account_of
from assistant.account.handing_on import handed_on
from assistant.account.identity import Splice
from assistant.account.story import AccountError
from assistant.account.walk import ReadLog, Walk, walk
from assistant.app.report import load_log, read_session
from assistant.app.seals import BROKEN
from assistant.cable.splice_plan import ChangeError
from assistant.dialogue import messages as m
from assistant.dialogue.messages import EarlierWork, SessionOpened, SessionSettings
from assistant.dialogue.state import fold, plan_of
from assistant.errors import AssistantError
from assistant.session.journal import read_file
from assistant.session.record import FIRST_SUM, LaterInput, RecordError, decode
from assistant.session.replay import ENTRIES

WORK = (*ENTRIES, m.NoteKept, m.ReadingLogged, m.WorkTakenUp)
"""Facts of a log that it is worth to go on with; one that holds none of them is left alone."""


@dataclass(frozen=True, slots=True)
class Found:
    """What earlier logs a new session may go on with."""

    work: EarlierWork | None
    place: str
    """As the earlier logs have it."""
    told: tuple[str, ...] = ()
    """What must be known of the logs, a line each."""


NOTHING = Found(None, "")


@dataclass(frozen=True, slots=True)
class _Candidate:
    path: Path
    walked: Walk


def find_earlier(folder: Path, settings: SessionSettings, log: Path | None, suffix: str) -> Found:
    """Find the logs of the splice that these settings are of, and put together what they come to.

    Args:
        folder: of the logs.
        settings: of the session that is to begin.
        log: one that it is to go on with, in its own folder; None for those that are there.
        suffix: of logs.

    Raises:
        AssistantError: a log cannot be used, is in use, or it cannot be told which splice is meant.

    """
    folder = folder if log is None else log.parent
    told: list[str] = []
    try:
        paths = sorted(folder.glob(f"*{suffix}"))
    except OSError as error:
        raise AssistantError(f"{folder}: cannot be read ({error.strerror}); check its rights") from error
    found = [one for path in paths if (one := _candidate(path, settings, told, wanted=path == log)) is not None]
    groups: dict[tuple[object, ...], list[_Candidate]] = {}
    for one in found:
        groups.setdefault(one.walked.splice.key, []).append(one)
    chosen = _chosen(list(groups.values()), settings, log, told)
    if not chosen:
        if log is not None:
            raise AssistantError(f"{log}: holds no work of this splice to go on with; give its log, or leave it out")
        return replace(NOTHING, told=tuple(told))
    return _put_together(chosen, settings, told)


def is_undecided(data: bytes) -> bool:
    """Tell whether nobody has said in a log yet whether it goes on with earlier ones; nothing is begun in it then."""
    return b'"tag":"earlier-work"' in data and not any(tag in data for tag in _DECIDED)


_DECIDED = (b'"tag":"work-taken-up"', b'"tag":"work-begun-anew"')
"""Texts hold no quotes as they are, so that these stand in a line only as the tags of facts."""


def goes_on_from(later: bytes, log: bytes) -> bool:
    """Tell by the first lines of two logs whether the one goes on from the other."""
    if _DECIDED[0] not in later:
        return False
    try:
        first_sum = decode(log[: log.index(b"\n") + 1], FIRST_SUM)[1]
        record = decode(later[: later.index(b"\n") + 1], FIRST_SUM)[0]
    except ValueError:
        return False  # a line without its end, or none of a log
    return any(
        head.first_sum == first_sum for fact in record.facts if isinstance(fact, EarlierWork) for head in fact.logs
    )


def _candidate(path: Path, settings: SessionSettings, told: list[str], *, wanted: bool) -> _Candidate | None:
    """Read a log if it is of the same plan and anything was done in it; tell of one that seems to be and cannot be."""
    opened = _opening(path)
    if opened is None:
        if wanted or b'"session-opened"' in read_file(path)[:100_000]:
            told.append(f"{path.name}: its beginning cannot be read; what it holds does not count here")
        return None
    if not _same_work(opened.settings, settings):
        if settings.plan_text and _title(opened.settings) == _title(settings) != "":
            told.append(f"{path.name}: is of another plan with the same title; what it holds does not count here")
        return None
    _refuse_in_use(path)
    read = load_log(path, path.name)
    if not any(isinstance(fact, WORK) for record in read.records for fact in record.facts):
        return None
    if any(record.later or isinstance(record.input, LaterInput) for record in read.records):
        raise AssistantError(
            f"{path}: was written by a later version, which alone can go on with it; update this one, or say --new"
        )
    if read.seal == BROKEN:
        told.append(f"{path.name}: its seal is broken ({read.seal_line}); have it looked at before it is trusted")
    try:
        return _Candidate(path, walk(read))
    except AccountError as error:
        raise AssistantError(f"{path.parent / str(error)}; or say --new to leave it alone") from error


def _opening(path: Path) -> SessionOpened | None:
    """Give how a log begins, reading no more than that where its first line is whole."""
    try:
        with path.open("rb") as file:
            record = decode(file.readline(), FIRST_SUM)[0]
    except OSError as error:
        raise AssistantError(f"{path}: cannot be read ({error.strerror}); check its rights") from error
    except RecordError:
        try:
            record = read_session(path)[1].records[0]
        except AssistantError:
            return None
    return next((fact for fact in record.facts if isinstance(fact, SessionOpened)), None)


def _same_work(one: SessionSettings, other: SessionSettings) -> bool:
    """Tell whether two sessions have one plan, or one sequence."""
    return not one.asking and all(
        getattr(one, name) == getattr(other, name) for name in ("plan_text", "cable_pairs", "first", "last")
    )


def _title(settings: SessionSettings) -> str:
    try:
        return plan_of(settings.plan_text).title if settings.plan_text else ""
    except AssistantError:
        return ""  # of a plan that this version cannot read


def _refuse_in_use(path: Path) -> None:
    """Refuse a log that another session is writing: it has no end yet to go on from.

    Raises:
        AssistantError: it is in use, or cannot be read.

    """
    try:
        handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        try:
            fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
        finally:
            os.close(handle)
    except BlockingIOError as error:
        raise AssistantError(f"{path}: another session is at work on this splice; end that one first") from error
    except OSError as error:
        raise AssistantError(f"{path}: cannot be read ({error.strerror}); check its rights") from error


def _chosen(
    groups: Sequence[Sequence[_Candidate]], settings: SessionSettings, log: Path | None, told: list[str]
) -> Sequence[_Candidate]:
    """Choose the logs of one splice; those of another place are told of and left alone.

    Raises:
        AssistantError: it cannot be told which of several is meant.

    """
    if log is not None:
        return next((group for group in groups if any(one.path == log for one in group)), ())
    place = settings.place.strip()
    if place:
        fitting = [group for group in groups if _splice(group).place == place]
        for group in groups:
            if not _splice(group).place:
                told.append(
                    f"{group[-1].path.name}: is of this plan, and of no place that was given; leave out --place to go "
                    "on with it"
                )
    else:
        fitting = [group for group in groups if settings.plan_text or not _splice(group).place]
    if not settings.plan_text and not place:
        return ()  # pairs of some cable of that size, somewhere
    waiting = [group for group in fitting if not _is_finished(group)] or list(fitting[-1:])
    if len(waiting) > 1:
        names = "; ".join(f"{_splice(group).name}: {group[-1].path.name}" for group in waiting)
        raise AssistantError(
            f"{waiting[0][0].path.parent}: holds logs of several splices by this plan ({names}); give the --place of "
            "one, --go-on with its log, or --new"
        )
    return waiting[0] if waiting else ()


def _splice(group: Sequence[_Candidate]) -> Splice:
    return group[0].walked.splice


def _is_finished(group: Sequence[_Candidate]) -> bool:
    logs = [one.walked.log for one in group]
    return account_of(logs, walked=_by_name(group)).finished is not None


def _by_name(group: Sequence[_Candidate]) -> dict[str, Walk]:
    return {one.walked.log.name: one.walked for one in group}


def _put_together(group: Sequence[_Candidate], settings: SessionSettings, told: list[str]) -> Found:
    logs: list[ReadLog] = [one.walked.log for one in group]
    account = account_of(logs, walked=_by_name(group))
    newest = next(one.walked for one in group if one.walked.log.name == account.logs[-1].name)
    by_name = {one.path.name: one.path for one in group}
    sums = dict(_whole_sums({log.name: by_name[log.name] for log in account.logs}))
    work = handed_on(account, newest.last.expected, sums)
    try:
        fold((SessionOpened(settings, m.Attendance()), work, m.WorkTakenUp()))
    except ChangeError as error:
        raise AssistantError(
            f"{group[-1].path}: what was built otherwise in these logs does not go together ({error}); report tells "
            "where; give --log a folder with those that do, or say --new"
        ) from error
    return Found(work, account.identity.place, (*told, *account.notices))


def _whole_sums(paths: dict[str, Path]) -> Iterator[tuple[str, str]]:
    """Give the SHA-256 of each log up to its last whole record."""
    for name, path in paths.items():
        data, loaded = read_session(path)
        yield name, hashlib.sha256(data[: loaded.length]).hexdigest()
