"""Text from outside: made well-formed where it comes in, and cleaned where it goes out."""

import re
from datetime import UTC, datetime

REPLACED = "\N{REPLACEMENT CHARACTER}"
_HALVES = re.compile("[\ud800-\udfff]")


def well_formed(text: str) -> str:
    """Give a text that can be written in UTF-8: halves of characters, as bytes that are none become, are replaced."""
    if _HALVES.search(text) is None:
        return text
    return text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")


def harmless(text: str) -> str:
    """Give a text that cannot steer a terminal: only what can be printed, and the ends of lines, stay."""
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() or sign == "\n" else REPLACED for sign in text)


_FORMULA = frozenset(
    "=+-@\N{FULLWIDTH EQUALS SIGN}\N{FULLWIDTH PLUS SIGN}\N{FULLWIDTH HYPHEN-MINUS}\N{FULLWIDTH COMMERCIAL AT}"
)
"""First signs that make spreadsheet programs compute a cell (OWASP, CSV injection)."""


def csv_cell(value: object) -> object:
    """Give what a cell of a table for other programs holds.

    Truth is true or false; a time is whole seconds in UTC, as in 2026-11-25T09:00:20Z (one without a zone is in UTC
    already); of a text the signs that steer or turn the writing are removed, ends of lines become spaces, and what a
    spreadsheet program would compute begins with an apostrophe.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        at = value.astimezone(UTC).replace(tzinfo=None) if value.tzinfo else value
        return f"{at.isoformat(timespec='seconds')}Z"
    if isinstance(value, str):
        text = "".join(sign for sign in value.replace("\r\n", " ").replace("\n", " ") if sign.isprintable())
        return f"'{text}" if text.lstrip()[:1] in _FORMULA and text.strip() else text
    return value
