"""`repair`: a new log of all records of a damaged one that can be proven; the damaged one stays as it is."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from assistant.account.account import account_of
from assistant.account.story import AccountError
from assistant.account.walk import ReadLog
from assistant.adapters.kept_sound import sounds_folder
from assistant.app.report import load_log, read_session
from assistant.errors import AssistantError
from assistant.session.place import Disk, write_new
from assistant.session.salvage import read_log


def new_name(log: Path) -> Path:
    """Give the file that a repaired log goes into, unless another is asked for."""
    return log.with_name(f"{log.stem}.repaired{log.suffix}")


def repair(log: Path, out: Path | None = None) -> list[str]:
    """Write the repaired log and give lines that tell what holds, what is lost, and what has to be called again.

    Raises:
        AssistantError: there is nothing to repair or to save, or the new log cannot be written.

    """
    out = out or new_name(log)
    _, loaded = read_session(log)
    if not loaded.damages:
        raise AssistantError(f"{log}: is not damaged; nothing is to be repaired")
    data = b"".join(loaded.lines)
    again = read_log(data)
    assert not again.damages, "what was put together is whole"
    assert again.records == loaded.records, "and reads as it was put together"
    disk = Disk()
    try:
        disk.close(write_new(disk, out, data))
        _copy_sounds(log, out)
    except OSError as error:
        raise AssistantError(f"{out}: cannot be written ({error.strerror}); give another file with -o") from error
    return list(_told(log, out, load_log(out, out.name), loaded.count))


def _copy_sounds(log: Path, out: Path) -> None:
    """Lay the sounds beside the new log too: records keep their numbers, by which sounds are found."""
    sounds = sounds_folder(log)
    if sounds.is_dir() and not os.path.lexists(sounds_folder(out)):
        shutil.copytree(sounds, sounds_folder(out))
        Disk().sync_folder(out.parent)


def _told(log: Path, out: Path, made: ReadLog, count: int) -> Iterator[str]:
    for damage in load_log(log, log.name).damages:
        yield f"{log}: {damage}"
    yield f"{out}: {count} records hold; {log} is left as it was"
    try:
        account = account_of([made])
    except AccountError as error:
        yield str(error)
        return
    yield from (notice for notice in account.notices)
    again = ", ".join(str(row.sides[0]) for row in account.doubtful)
    if again:
        yield f"to be called again: {again}; work --resume {out} asks for them"
