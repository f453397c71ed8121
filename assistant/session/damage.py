"""What is wrong with a log whose chain of checksums does not hold: which lines, and what was likely done.

Every checksum covers the checksum before it and its own line. A changed line therefore breaks at itself
alone, a lost one at the line behind it, which also shows by its number. Must not know files.
"""

import json
import re
from dataclasses import dataclass

from assistant.session.record import FIRST_SUM, checksum_of, split

_NUMBER = re.compile(rb'"number":(\d{1,12})[,}]')


@dataclass(frozen=True, slots=True)
class Damage:
    """One place where the log is not what was written."""

    line: int
    """1 upward, in the file as it is."""
    what: str


def damage_of(lines: list[bytes]) -> list[Damage]:
    """List all places where the chain does not hold; empty where it does.

    Whoever has the program can write a whole new chain, and can cut off the end: only a signature shows that.
    """
    found: list[Damage] = []
    before, expected = FIRST_SUM, 1
    for index, line in enumerate(lines, 1):
        parts = split(line)
        if parts is None:
            found.append(Damage(index, "is no whole record"))
            expected += 1
            before = ""
            continue
        checksum, body = parts
        number = _number(body)
        holds = not before or checksum_of(before, body) == checksum
        what = _what(number, expected, holds=holds)
        if what:
            found.append(Damage(index, what))
        before = checksum
        expected = (number if number is not None else expected) + 1
    return found


def _what(number: int | None, expected: int, *, holds: bool) -> str:
    if number is None:
        return "has no number; it was changed"
    if number > expected:
        lost = number - expected
        return f"is record {number}: {lost} before it {'is' if lost == 1 else 'are'} lost"
    if number < expected:
        return f"is record {number} again, or in the wrong place: lines were put in or moved"
    return "" if holds else f"record {number} was changed, or the line before it"


def _number(body: bytes) -> int | None:
    try:
        number = json.loads(b"{" + body + b"}").get("number")
    except (ValueError, RecursionError, AttributeError):
        found = _NUMBER.search(body)
        number = int(found.group(1)) if found else None
    return number if isinstance(number, int) and not isinstance(number, bool) else None
