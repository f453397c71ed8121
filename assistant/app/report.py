"""`report`: logs of one splice become a page, a table, an object or a paper, by the suffix of the file."""

import hashlib
import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from assistant.account.account import Account, account_of
from assistant.account.topics import Topic
from assistant.account.walk import ReadLog
from assistant.adapters.kept_sound import sound_name, sounds_folder
from assistant.app.seals import seal_standing
from assistant.errors import AssistantError
from assistant.handover import document
from assistant.handover.document import as_object
from assistant.handover.page import PageSound, as_page
from assistant.handover.paper import as_pdf
from assistant.handover.table import as_csv, columns
from assistant.session.journal import read_file
from assistant.session.replay import settled
from assistant.session.salvage import LoadedLog, read_log
from assistant.texts import well_formed

SUFFIXES = (".html", ".csv", ".json", ".pdf")
MOST_SOUND_BYTES = 2_500_000
"""Sound that goes into a page; what is more stays beside the log. A page is to stay below 5 MB, and text
that stands for bytes is a third longer."""
SOUND_FIRST = (Topic.NOTE, Topic.MISMATCH, Topic.CORRECTION, Topic.FAULT, Topic.ASKED_BACK)
"""Whose sound goes into the page first."""


def read_session(path: Path) -> tuple[bytes, LoadedLog]:
    """Read a log, be it whole or damaged, and give its bytes too.

    Raises:
        AssistantError: it cannot be read, or holds not one record.

    """
    data = read_file(path)
    loaded = settled(read_log(data))
    if not data.strip():
        raise AssistantError(f"{path}: is empty; give the log of a session")
    if not loaded.count:
        raise AssistantError(
            f"{path}: holds no record that can be proven: it is no log of this program, or damaged throughout; "
            "give the log of a session"
        )
    return data, loaded


def load_log(path: Path, name: str) -> ReadLog:
    """Read a log for an account, be it whole or damaged, and check its seals.

    Raises:
        AssistantError: it cannot be read.

    """
    data, loaded = read_session(path)
    standing = seal_standing(path, data, loaded.count)
    return ReadLog(
        name=name,
        records=loaded.records,
        sha256=hashlib.sha256(data).hexdigest(),
        last_sum=loaded.last_sum,
        torn_bytes=len(loaded.torn),
        sums=loaded.sums,
        damages=tuple(f"line {damage.line} {damage.what}" for damage in loaded.damages),
        seal=standing.word,
        seal_line=standing.line,
    )


def account_from(paths: list[Path], *, together: bool = False) -> tuple[Account, dict[str, Path]]:
    """Account for the logs of one splice; give with it the file of each log's name.

    Raises:
        AssistantError: one cannot be read, or they do not belong together.

    """
    names = [well_formed(path.name) for path in paths]
    same = len(set(names)) < len(names)
    if len({path.resolve() for path in paths}) < len(paths):
        raise AssistantError("report: the same log is given twice; give each once")
    named = {well_formed(str(path) if same else path.name): path for path in paths}
    if len(named) < len(paths):
        raise AssistantError("report: the names of two logs differ only in bytes that are no text; rename one")
    return account_of([load_log(path, name) for name, path in named.items()], together=together), named


def described(*, schema: bool) -> str:
    """Give the schema of the object, or the columns of the table."""
    return document.schema().rstrip() if schema else columns()


def report(paths: list[Path], out: Path, *, paper: str = "A4", together: bool = False) -> list[str]:
    """Write the report and give what must be known of the logs and a line that tells what was written.

    Raises:
        AssistantError: the logs cannot be used, the suffix is none of ours, or the file cannot be written.

    """
    suffix = out.suffix.lower()
    if suffix not in SUFFIXES:
        raise AssistantError(f"{out}: {suffix or 'no suffix'} is no form of report; end it in {', '.join(SUFFIXES)}")
    if any(out.resolve() == path.resolve() for path in paths):
        raise AssistantError(f"{out}: is one of the logs; give another file")
    account, files = account_from(paths, together=together)
    now = datetime.now().astimezone()
    forms: dict[str, Callable[[], bytes]] = {
        ".html": lambda: as_page(account, _sounds(account, files, out), issued=now).encode(),
        ".csv": lambda: as_csv(account).encode("utf-8-sig"),
        ".json": lambda: json.dumps(as_object(account, issued=now), ensure_ascii=False, indent=1).encode(),
        ".pdf": lambda: as_pdf(account, paper, issued=now),
    }
    data = forms[suffix]()
    try:
        out.write_bytes(data)
    except OSError as error:
        raise AssistantError(f"{out}: cannot be written ({error.strerror}); choose another file") from error
    records = sum(log.count for log in account.logs)
    seals = [f"{log.name}: {log.seal_line}" for log in account.logs]
    return [*account.notices, *seals, f"{out}: {len(data):,} bytes; logs: {len(account.logs)}, records: {records:,}"]


def _sounds(account: Account, files: dict[str, Path], out: Path) -> dict[tuple[str, int], PageSound]:
    """Give the sounds that are there and are what was recorded; the most telling go into the page."""
    topics = {(log, line.record): line.topics for log, line in account.lines}
    wanted = [
        (_rank(topics.get(at, frozenset())), *at, sounds_folder(files[at[0]]) / sound_name(at[1]), sha256)
        for at, sha256 in account.sounds.items()
    ]
    wanted += [
        (0, one.log, one.record, files[one.log].parent / Path(one.file).name, one.sha256)
        for one in account.remarks
        if one.file
    ]
    found: dict[tuple[str, int], PageSound] = {}
    room = MOST_SOUND_BYTES
    for _, log, record, file, sha256 in sorted(wanted, key=lambda one: one[0]):
        data = file.read_bytes() if file.is_file() else b""
        if hashlib.sha256(data).hexdigest() != sha256:
            continue  # lost, forgotten or changed: it is no evidence; `replay --check` tells of it
        inside = len(data) <= room
        room -= len(data) if inside else 0
        found[log, record] = PageSound.within(data) if inside else PageSound(_address(file, out), False)
    return found


def _rank(topics: frozenset[Topic]) -> int:
    return min((SOUND_FIRST.index(topic) for topic in topics if topic in SOUND_FIRST), default=len(SOUND_FIRST))


def _address(file: Path, out: Path) -> str:
    """Give the address of a file from the folder of the page."""
    from urllib.parse import quote

    try:
        return quote(file.resolve().relative_to(out.resolve().parent).as_posix())
    except ValueError:
        return file.resolve().as_uri()
