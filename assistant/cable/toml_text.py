"""TOML with places: where a table, a key or a value stands, which `tomllib` does not tell; every error has a place.

Must not know files, nor what the text is about.
"""

import re
import tomllib
from dataclasses import dataclass
from typing import Any

MOST_SHOWN = 40
"""Characters of a wrong value that an error repeats."""
_TOO_LONG = re.compile(r"\w{1000}|([\[{]\s*){50}")
_TOML_PLACE = re.compile(r"(.*) \(at line (\d+), column (\d+)\)", re.DOTALL)


class PlacedError(ValueError):
    """Something wrong in a text; says where and what to do."""

    def __init__(self, message: str, line: int, column: int) -> None:
        """Take what is wrong and where, both counted from 1."""
        super().__init__(f"line {line}, column {column}: {message}")
        self.message = message
        self.line = line
        self.column = column


def read_toml(text: str) -> dict[str, Any]:
    """Read the values.

    Raises:
        PlacedError: it is no TOML.

    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = _TOML_PLACE.fullmatch(str(error))
        end = text.count("\n") + 1
        message, line, column = found.groups() if found else (str(error), end, 1)
        raise PlacedError(f"this is no TOML: {message}; correct it there", int(line), int(column)) from error
    except (ValueError, RecursionError) as error:  # tomllib lets these out
        found = _TOO_LONG.search(text)
        place = place_of(text, found.start() if found else 0)
        raise PlacedError("a number or a nesting is far too long; shorten it", *place) from error


def shown(value: object) -> str:
    """Give a wrong value for an error, cut where it is long."""
    try:
        text = repr(value)
    except ValueError:  # Python writes no number of thousands of digits
        return "such a number"
    return text if len(text) <= MOST_SHOWN else f"{text[:MOST_SHOWN]}..."


def place_of(text: str, at: int) -> tuple[int, int]:
    """Give line and column of an index, both counted from 1."""
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)


@dataclass(frozen=True, slots=True)
class TomlSource:
    """The text, to find where a value stands: `tomllib` does not tell."""

    text: str

    def locate(self, table: str, index: int, key: str, offset: int | None = None) -> tuple[int, int]:
        """Give line and column of a key's value, or of a place inside its text; of the table if it has no such key."""
        start, found = self._key(table, index, key)
        if found is None:
            return place_of(self.text, start)
        if offset is None:
            return place_of(self.text, found.end("before"))
        return place_of(self.text, found.end() + offset)

    def locate_key(self, table: str, index: int, key: str) -> tuple[int, int]:
        """Give line and column of a key itself; of the table if it stands elsewhere."""
        start, found = self._key(table, index, key)
        return place_of(self.text, start if found is None else found.start("key"))

    def headings(self, table: str) -> list[re.Match[str]]:
        """List the headings of a table or of tables of this name, in single or double brackets."""
        return list(
            re.finditer(rf"""^[ \t]*(?P<key>\[\[?)\s*["']?{re.escape(table)}["']?\s*\]""", self.text, re.MULTILINE)
        )

    def _key(self, table: str, index: int, key: str) -> tuple[int, re.Match[str] | None]:
        """Give where a table begins, and its key up to the first character inside a text."""
        start, behind = 0, 0
        if table and index < len(headings := self.headings(table)):
            start, behind = headings[index].start("key"), headings[index].end()
        elif key and (headings := self.headings(key)):
            start = headings[0].start("key")  # a table where the plan has none
        following = re.compile(r"^[ \t]*\[", re.MULTILINE).search(self.text, behind)
        wanted = (
            rf"""^[ \t]*(?P<before>(?P<key>["']?{re.escape(key)}["']?)[ \t]*=[ \t]*)(?:\"{{3}}\n?|'{{3}}\n?|["'])?"""
        )
        pattern = re.compile(wanted, re.MULTILINE)
        return start, pattern.search(self.text, behind, following.start() if following else len(self.text))
