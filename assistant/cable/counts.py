"""Counts: the numbers by which pairs of a sheath are called, and the positions they stand for.

A count is a name with a range of numbers, as in "main 301-400". Colours follow the *position* in the
sheath; names follow the count (trade usage: common practice, no source).
"""

import re
from dataclasses import dataclass, field, replace
from typing import NewType

CalledNumber = NewType("CalledNumber", int)
"""The number by which a pair is called: that of its count, or its position where it is in none."""

LARGEST_NUMBER = 999_999
POSITIONS, SERVICE = "pairs", "service"
"""What stands in a plan instead of a count's name, where pairs are called by position or are service pairs."""


class CountError(ValueError):
    """A text that is no count. `at` is the index in the text where it goes wrong."""

    def __init__(self, message: str, at: int) -> None:
        """Take what is wrong and where."""
        super().__init__(message)
        self.at = at


@dataclass(frozen=True, slots=True)
class Run:
    """Numbers first to last, both included."""

    first: int
    last: int
    at: int = field(default=0, compare=False, repr=False)
    """Index in the text that it was read from."""

    def __len__(self) -> int:
        """How many numbers."""
        return self.last - self.first + 1

    def __str__(self) -> str:
        """Write it as in a plan."""
        return str(self.first) if self.first == self.last else f"{self.first}-{self.last}"


@dataclass(frozen=True, slots=True)
class Count:
    """A run of numbers of one named count."""

    name: str
    run: Run

    def __str__(self) -> str:
        """Write it as in a plan."""
        return f"{self.name} {self.run}"


_NAME = re.compile(r"\s*([A-Za-z][A-Za-z0-9]*)")
_RUN = re.compile(r"\s*([0-9]+)\s*(?:-\s*([0-9]+))?\s*")
_MOST_DIGITS = 20
"""More are not turned into a number, which Python refuses for thousands of them."""


def _behind_space(text: str, at: int) -> int:
    return len(text) - len(text[at:].lstrip())


def read_name(text: str, at: int = 0) -> tuple[str, int]:
    """Read a name, lower case, and give it with the index behind it.

    Raises:
        CountError: there is none.

    """
    found = _NAME.match(text, at)
    if not found:
        raise CountError('a name is missing here, as in "main 301-400"', _behind_space(text, at))
    return found.group(1).lower(), found.end()


def read_runs(text: str, at: int) -> tuple[Run, ...]:
    """Read runs with commas between them, to the end of the text.

    Raises:
        CountError: there is none, one is empty or runs backwards, or something else stands there.

    """
    runs: list[Run] = []
    while True:
        found = _RUN.match(text, at)
        if not found:
            raise CountError('a number or a range is missing here, as in "301-400"', _behind_space(text, at))
        first, last = (int(digits[:_MOST_DIGITS]) for digits in (found.group(1), found.group(2) or found.group(1)))
        if first < 1 or first > LARGEST_NUMBER or last > LARGEST_NUMBER:
            raise CountError(f"numbers go from 1 to {LARGEST_NUMBER}", found.start(1))
        if last < first:
            raise CountError(f"{first}-{last} runs backwards: give the lower number first", found.start(1))
        runs.append(Run(first, last, found.start(1)))
        at = found.end()
        if at == len(text):
            return tuple(runs)
        if text[at] != ",":
            raise CountError(f"{text[at : at + 20]!r} cannot stand here; write ranges as in 301-350, 360", at)
        at += 1


def read_counts(text: str) -> tuple[Count, ...]:
    """Read the counts of a sheath, semicolons between them: "main 301-400; spur 1-25".

    Raises:
        CountError: it is no list of counts.

    """
    counts: list[Count] = []
    at = 0
    for part in text.split(";"):
        try:
            name, behind = read_name(part)
            if name in (POSITIONS, SERVICE):
                raise CountError(
                    f"{name!r} has a meaning of its own in a plan; call the count otherwise", behind - len(name)
                )
            counts += [Count(name, replace(run, at=at + run.at)) for run in read_runs(part, behind)]
        except CountError as error:
            raise CountError(str(error), at + error.at) from None
        at += len(part) + 1
    return tuple(counts)
