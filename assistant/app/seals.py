"""Sealing logs with the device's key, the keys that are trusted, and finding out whether seals hold."""

import hashlib
import os
from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from assistant.adapters import device_key
from assistant.errors import AssistantError
from assistant.session.journal import load
from assistant.session.place import OWN_FILE, Disk, make_folders, write_all, write_new
from assistant.session.seal import Seal, SealError, read_seal

SEAL_SUFFIX = ".seal"
HOLDS, BROKEN, UNKNOWN_KEY, NOT_SEALED = "holds", "broken", "unknown key", "not sealed"
KEY_SHOWN = 16
"""Hex digits of a key that are shown: 64 bits."""


def default_key() -> Path:
    """Give the place of this device's key."""
    import platformdirs

    return Path(platformdirs.user_data_dir("splice-assistant")) / "device-key.pem"


def trusted_file() -> Path:
    """Give the file of the keys that are trusted besides this device's own."""
    return default_key().with_name("trusted-keys.txt")


def seal_file(log: Path) -> Path:
    """Give the file of the seals of a log."""
    return log.with_name(log.name + SEAL_SUFFIX)


def make_key(path: Path) -> Path:
    """Make this device's key, safe on the disk, and give the file of its public half, which lies beside it.

    Raises:
        AssistantError: there is one already, or the files cannot be written.

    """
    private, public = device_key.new_pair()
    beside = path.with_suffix(device_key.PUBLIC_SUFFIX)
    disk = Disk()
    try:
        disk.close(write_new(disk, path, private))
        disk.close(write_new(disk, beside, public))
    except FileExistsError as error:
        raise AssistantError(f"{error.filename}: there is a key already; move it away to make another") from error
    except OSError as error:
        raise AssistantError(f"{path}: the key cannot be written ({error.strerror}); check the folder") from error
    return beside


def trusted() -> dict[str, str]:
    """Give the trusted keys, in hex, with what they are called; this device's own among them.

    Raises:
        AssistantError: the file of them cannot be read, or holds something else.

    """
    found: dict[str, str] = {}
    own = default_key().with_suffix(device_key.PUBLIC_SUFFIX)
    if own.exists():
        found[device_key.load_public_key(own)] = "this device"
    path = trusted_file()
    try:
        lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    except (OSError, UnicodeDecodeError) as error:
        raise AssistantError(f"{path}: cannot be read ({error}); move it away, and trust the keys again") from error
    for number, line in enumerate(lines, 1):
        key, _, name = line.partition(" ")
        if not device_key.is_public_key(key):
            raise AssistantError(f"{path}: line {number} is no key; take it out with an editor")
        found[key] = name
    return found


def trust(file: Path) -> str:
    """Trust the key in a file and give it.

    Raises:
        AssistantError: it is no public key, is trusted already, or the list cannot be written.

    """
    key = device_key.load_public_key(file)
    known = trusted()
    if key in known:
        raise AssistantError(f"{file}: is trusted already, as {known[key]}")
    _append(trusted_file(), f"{key} {' '.join(file.name.split())}\n", "the list of trusted keys")
    return key


def distrust(key: str) -> str:
    """Take a key, named by its first digits, out of the list, and give it whole.

    Raises:
        AssistantError: none or several begin so, or the list cannot be written.

    """
    path = trusted_file()
    own = {one for one, name in trusted().items() if name == "this device"}
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    found = [line for line in lines if line.startswith(key.lower()) and line.split(" ")[0] not in own]
    if len(found) != 1 or not key:
        raise AssistantError(f"key: {len(found)} trusted keys begin with {key!r}; key list shows them")
    rest = "".join(f"{line}\n" for line in lines if line not in found).encode()
    beside = path.with_name(path.name + ".new")
    disk = Disk()
    try:
        beside.unlink(missing_ok=True)
        disk.close(write_new(disk, beside, rest))
        os.replace(beside, path)
        disk.sync_folder(path.parent)
    except OSError as error:
        raise AssistantError(f"{path}: cannot be written ({error.strerror}); check the folder") from error
    return found[0].split(" ")[0]


def _append(path: Path, line: str, what: str) -> None:
    """Add a line to a file, safe on the disk; what was torn before stays a line of its own."""
    disk = Disk()
    try:
        make_folders(disk, path.parent)
        handle = disk.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, OWN_FILE)
        try:
            size = disk.stat(handle).st_size
            torn = size and os.pread(handle, 1, size - 1) != b"\n"
            write_all(disk, handle, (("\n" if torn else "") + line).encode())
            disk.sync(handle)
        finally:
            disk.close(handle)
        disk.sync_folder(path.parent)
    except OSError as error:
        raise AssistantError(f"{path}: {what} cannot be written ({error.strerror}); check the folder") from error


def seal(log: Path, key: Path) -> Seal:
    """Seal a log as it is now, after checking it.

    Raises:
        AssistantError: there is no key, the log is damaged, or the seal cannot be written.

    """
    private = device_key.load_key(key)
    loaded = load(log)
    whole = b"".join(loaded.lines)
    made = Seal(
        records=len(loaded.records),
        length=loaded.length,
        sha256=hashlib.sha256(whole).hexdigest(),
        at=datetime.now().astimezone().isoformat(timespec="seconds"),
        public_key=device_key.public_half(private),
    )
    made = replace(made, signature=device_key.sign(private, made.text))
    _append(seal_file(log), made.line, "the seal")
    return made


@dataclass(frozen=True, slots=True)
class SealFinding:
    """What a check found, and whether it is as it should be."""

    holds: bool
    about: str


@dataclass(frozen=True, slots=True)
class SealStanding:
    """What the seals of a log come to: a word for programs, and a line."""

    word: str
    line: str


@dataclass(frozen=True, slots=True)
class _Checked:
    """One line of a file of seals."""

    word: str
    about: str
    seal: Seal | None


def _checked_seals(log: Path, data: bytes, keys: Collection[str]) -> list[_Checked]:
    path = seal_file(log)
    try:
        text = path.read_text(encoding="utf-8", errors="replace") if path.exists() else None
    except OSError as error:
        raise AssistantError(f"{path}: cannot be read ({error.strerror}); check its rights") from error
    if text is None:
        return []
    lines = text.splitlines(keepends=True)
    if not lines:
        return [_Checked(BROKEN, f"{path.name}: is empty", None)]
    return [_checked(path, number, line, data, keys) for number, line in enumerate(lines, 1)]


def _checked(path: Path, number: int, line: str, data: bytes, keys: Collection[str]) -> _Checked:
    where = f"{path.name} line {number}"
    try:
        made = read_seal(line)
    except SealError as error:
        return _Checked(BROKEN, f"{where}: {error}", None)
    about = f"records 1 to {made.records}, sealed {made.at} by key {made.public_key[:KEY_SHOWN]}"
    if not device_key.is_signed(made.text, made.signature, made.public_key):
        return _Checked(BROKEN, f"{where}: the signature is false ({about})", made)
    if not made.covers(data):
        return _Checked(BROKEN, f"{where}: the log is no longer what was sealed ({about})", made)
    if made.public_key not in keys:
        return _Checked(
            UNKNOWN_KEY,
            f"{where}: is of another key than those trusted, key trust FILE if you know whose it is ({about})",
            made,
        )
    return _Checked(HOLDS, f"{where}: holds ({about})", made)


def _without_remains(found: list[_Checked]) -> list[_Checked]:
    """Leave out what a crash left of a line, where a whole one is there: it claims nothing."""
    return [one for one in found if one.seal is not None] or found


def seal_standing(log: Path, data: bytes, records: int) -> SealStanding:
    """Tell in one line what the seals of a log come to; only trusted keys count.

    Raises:
        AssistantError: a file cannot be read.

    """
    found = _checked_seals(log, data, trusted())
    for one in _without_remains(found):
        if one.word == BROKEN:
            whose = f"sealed by key {one.seal.public_key[:KEY_SHOWN]} on {one.seal.at}, " if one.seal else ""
            return SealStanding(BROKEN, f"{whose}broken ({one.about})")
    sealed = [(one.word, one.seal) for one in found if one.seal is not None]
    if not sealed:
        return SealStanding(NOT_SEALED, NOT_SEALED)
    word, latest = max(sealed, key=lambda one: (one[1].length, one[0] == HOLDS))
    behind = f", without records {latest.records + 1} to {records}" if records > latest.records else ""
    how = "holds" if word == HOLDS else "by an unknown key (key trust FILE, if you know whose it is)"
    return SealStanding(word, f"sealed by key {latest.public_key[:KEY_SHOWN]} on {latest.at}, {how}{behind}")


def seal_findings(log: Path, records: int, public_key: str | None) -> list[SealFinding]:
    """Check all seals of a log; with a public key only seals of that device count, else those of trusted keys.

    Raises:
        AssistantError: a file cannot be read.

    """
    path = seal_file(log)
    try:
        data = log.read_bytes()
    except OSError as error:
        raise AssistantError(f"{log}: cannot be read ({error.strerror}); check its rights") from error
    found = _without_remains(_checked_seals(log, data, trusted() if public_key is None else {public_key}))
    told = [SealFinding(one.word == HOLDS or (public_key is None and one.word != BROKEN), one.about) for one in found]
    good = [one.seal.records for one in found if one.word == HOLDS and one.seal is not None]
    if public_key is not None and not good:
        told.append(SealFinding(False, f"{path.name}: holds no good seal of that key"))
    if good and max(good) < records:
        told.append(SealFinding(True, f"records {max(good) + 1} to {records} were written after the last seal"))
    return told if found else [*told, SealFinding(True, NOT_SEALED)]
