"""Sealing logs with the device's key, and finding out whether seals hold."""

import hashlib
import os
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from assistant.adapters import device_key
from assistant.errors import AssistantError
from assistant.session.journal import load
from assistant.session.seal import Seal, SealError, read_seal

SEAL_SUFFIX = ".seal"


def default_key() -> Path:
    """Give the place of this device's key."""
    import platformdirs

    return Path(platformdirs.user_data_dir("splice-assistant")) / "device-key.pem"


def seal_file(log: Path) -> Path:
    """Give the file of the seals of a log."""
    return log.with_name(log.name + SEAL_SUFFIX)


def seal(log: Path, key: Path) -> Seal:
    """Seal a log as it is now, after checking it.

    Raises:
        AssistantError: there is no key, the log is damaged, or the seal cannot be written.

    """
    private = device_key.load_key(key)
    loaded = load(log)
    whole = log.read_bytes()[: loaded.length]
    made = Seal(
        records=len(loaded.records),
        length=loaded.length,
        sha256=hashlib.sha256(whole).hexdigest(),
        at=datetime.now().astimezone().isoformat(timespec="seconds"),
        public_key=device_key.public_half(private),
    )
    made = replace(made, signature=device_key.sign(private, made.text))
    path = seal_file(log)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(made.line)
            file.flush()
            os.fsync(handle)
    except OSError as error:
        raise AssistantError(f"{path}: the seal cannot be written ({error.strerror}); check the folder") from error
    return made


@dataclass(frozen=True, slots=True)
class SealFinding:
    """What a check found, and whether it is as it should be."""

    holds: bool
    about: str


def seal_findings(log: Path, records: int, public_key: str | None) -> list[SealFinding]:
    """Check all seals of a log; with a public key only seals of that device count.

    Raises:
        AssistantError: a file cannot be read.

    """
    path = seal_file(log)
    try:
        data = log.read_bytes()
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines() if path.exists() else []
    except OSError as error:
        raise AssistantError(f"{error.filename}: cannot be read ({error.strerror}); check its rights") from error
    found = [_finding(path, number, line, data, public_key) for number, line in enumerate(lines, 1)]
    good = [seal for finding, seal in found if finding.holds and seal is not None]
    told = [finding for finding, _ in found]
    if public_key is not None and not good:
        told.append(SealFinding(False, f"{path.name}: holds no good seal of that key"))
    if good and max(one.records for one in good) < records:
        latest = max(one.records for one in good)
        told.append(SealFinding(True, f"records {latest + 1} to {records} were written after the last seal"))
    return told


def _finding(
    path: Path, number: int, line: str, data: bytes, public_key: str | None
) -> tuple[SealFinding, Seal | None]:
    where = f"{path.name} line {number}"
    try:
        made = read_seal(line)
    except SealError as error:
        return SealFinding(False, f"{where}: {error}"), None
    about = f"records 1 to {made.records}, sealed {made.at} by key {made.public_key[:16]}"
    if not device_key.is_signed(made.text, made.signature, made.public_key):
        return SealFinding(False, f"{where}: the signature is false ({about})"), None
    if not made.covers(data):
        return SealFinding(False, f"{where}: the log is no longer what was sealed ({about})"), None
    if public_key is not None and made.public_key != public_key:
        return SealFinding(False, f"{where}: is of another key ({about})"), None
    return SealFinding(True, f"{where}: holds ({about})"), made
