"""Logs that are one: equal ones, beginnings of one another, and copies that were carried on in two places.

A checksum stands for all records before it, so that two logs with one checksum in common have all in common
up to there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from assistant.account.story import lost_words
from assistant.account.walk import ReadLog
from assistant.session.record import Record, RecordsLost


@dataclass(slots=True)
class Sorted:
    """The logs that count, and what is to be told of the others. Built by `sort_out`."""

    logs: list[ReadLog] = field(default_factory=list)
    first_own: dict[str, int] = field(default_factory=dict)
    """Name of a log -> its first record that is in no log before it; those before it count there."""
    shared: dict[str, dict[str, int]] = field(default_factory=dict)
    """Name of a log -> name of one before it -> the last record that both have."""
    told: list[str] = field(default_factory=list)


def sort_out(logs: Sequence[ReadLog]) -> Sorted:
    """Count each record once; give the logs in the order they came."""
    found = Sorted()
    for log in logs:
        for index, other in enumerate(found.logs):
            last, apart = _in_common(log, other)
            if last and not apart:
                found.logs[index] = _one(other, log, found.told)
                break
        else:
            found.logs.append(log)
    found.logs = [_helped(log, found.logs, found.told) for log in found.logs]
    for index, log in enumerate(found.logs):
        found.first_own[log.name] = 1
        for other in found.logs[:index]:
            last, _ = _in_common(log, other)
            if last:
                found.shared.setdefault(log.name, {})[other.name] = last
                found.first_own[log.name] = max(found.first_own[log.name], last + 1)
                found.told.append(
                    f"{other.name} and {log.name} are one log up to record {last}, and both went on from there; "
                    "what they have in common counts once"
                )
    return found


def sums_of(log: ReadLog) -> dict[int, str]:
    """Give the checksum of each record that is there, by its number."""
    pairs = zip(log.records, log.sums, strict=False)
    return {record.number: checksum for record, checksum in pairs if not isinstance(record.input, RecordsLost)}


def _in_common(one: ReadLog, other: ReadLog) -> tuple[int, bool]:
    """Give the last record that both have, 0 for none, and whether they are different behind it."""
    here, there = sums_of(one), sums_of(other)
    both = here.keys() & there.keys()
    last = max((number for number in both if here[number] == there[number]), default=0)
    return last, any(here[number] != there[number] for number in both)


def _one(first: ReadLog, second: ReadLog, told: list[str]) -> ReadLog:
    """Make one log of two that do not differ: the longer one, with what it lacks filled in from the other."""
    longer, other = (second, first) if _worth(second) > _worth(first) else (first, second)
    filled, gaps = _filled(longer.records, {record.number: record for record in other.records})
    if gaps:
        told.append(f"{longer.name}: {', '.join(gaps)}, and taken from {other.name}")
    told += [f"{other.name}: {damage}" for damage in other.damages]
    if _length(other) == _length(longer):
        told.append(f"{other.name} is the same log as {longer.name}; it counts once")
    else:
        told.append(
            f"{other.name} is the beginning of {longer.name} (records 1 to {_length(other)} of {_length(longer)}); "
            "it counts once"
        )
    sums = {**sums_of(other), **sums_of(longer)}
    return replace(longer, records=filled, sums=tuple(sums.get(record.number, "") for record in filled))


def _helped(log: ReadLog, others: Sequence[ReadLog], told: list[str]) -> ReadLog:
    """Fill in what a log lacks of the part that it has in common with another one."""
    for other in others:
        last = 0 if other is log else _in_common(log, other)[0]
        there = {record.number: record for record in other.records if record.number <= last}
        filled, gaps = _filled(log.records, there)
        if gaps:
            told.append(f"{log.name}: {', '.join(gaps)}, and taken from {other.name}")
            sums = {**sums_of(other), **sums_of(log)}
            log = replace(log, records=filled, sums=tuple(sums.get(record.number, "") for record in filled))
    return log


def _worth(log: ReadLog) -> tuple[int, bool]:
    return _length(log), not log.damages


def _length(log: ReadLog) -> int:
    return max((record.number for record in log.records if not isinstance(record.input, RecordsLost)), default=0)


def _filled(records: tuple[Record, ...], other: Mapping[int, Record]) -> tuple[tuple[Record, ...], list[str]]:
    """Put records of another copy where they are lost, if it has them all."""
    made: list[Record] = []
    gaps: list[str] = []
    for record in records:
        if not isinstance(record.input, RecordsLost):
            made.append(record)
            continue
        numbers = range(record.number, record.last_number + 1)
        there = [other[number] for number in numbers if number in other]
        if len(there) == len(numbers) and _real(there):
            made += there
            gaps.append(lost_words(record))
        else:
            made.append(record)
    return tuple(made), gaps


def _real(records: list[Record]) -> bool:
    return not any(isinstance(record.input, RecordsLost) for record in records)
