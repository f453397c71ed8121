"""Seals: signatures that show which device wrote a log, and how far. Must not know keys, files or a clock.

A seal covers the first bytes of a log by their SHA-256. It stands in a file of its own beside the log, a
line of JSON each, so that the log can go on; the next seal covers more of it.
"""

import hashlib
import json
from dataclasses import asdict, dataclass

from cattrs import Converter

HEAD = b"splice-assistant seal 1\n"
"""Begins every signed text, so that a seal is never mistaken for a signature of anything else."""
_CONVERTER = Converter(forbid_extra_keys=True)


class SealError(ValueError):
    """A line that is no seal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """A signature over the beginning of a log."""

    records: int
    length: int
    """Bytes that are covered."""
    sha256: str
    """Of these bytes, in hex."""
    at: str
    """When it was made by the device's clock, ISO 8601."""
    public_key: str
    """Of the device: Ed25519 (RFC 8032), 32 bytes in hex."""
    signature: str = ""
    """64 bytes in hex."""

    @property
    def text(self) -> bytes:
        """What is signed: all fields but the signature."""
        fields = {name: value for name, value in asdict(self).items() if name != "signature"}
        return HEAD + json.dumps(fields, sort_keys=True, separators=(",", ":")).encode()

    @property
    def line(self) -> str:
        """The line that keeps it."""
        return json.dumps(asdict(self), separators=(",", ":")) + "\n"

    def covers(self, data: bytes) -> bool:
        """Tell whether a log still begins with the bytes that were signed."""
        return len(data) >= self.length and hashlib.sha256(data[: self.length]).hexdigest() == self.sha256


def read_seal(line: str) -> Seal:
    """Read the line of a seal.

    Raises:
        SealError: it is none.

    """
    try:
        seal = _CONVERTER.structure(json.loads(line), Seal)
        lengths = len(bytes.fromhex(seal.public_key)), len(bytes.fromhex(seal.signature))
    except Exception as error:  # cattrs and json raise many kinds; all mean the same here
        raise SealError("is no seal") from error
    if lengths != (32, 64) or seal.length < 0:
        raise SealError("is no seal: its key or signature has the wrong length")
    return seal
