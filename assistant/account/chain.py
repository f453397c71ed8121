"""Which log goes on from which: the order of logs by what they name in their first records, whatever clocks say.

A log that goes on with earlier ones names how far each of them went, by its checksum; what is named must be there
and fit. Whoever changes, cuts off or exchanges an earlier log is shown by the later one.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from assistant.account.copies import sums_of
from assistant.account.walk import ReadLog
from assistant.dialogue.messages import LogHead


class Fit(Enum):
    """What became of a log that another one goes on from."""

    FITS = "fits"
    MISSING = "missing"
    """It is not among the logs."""
    CUT_OFF = "cut off"
    """It is there, and does not go as far as it went then."""
    CHANGED = "changed"
    """It is there, and goes on otherwise than it did then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A log, and one that it goes on from."""

    log: str
    head: LogHead
    fit: Fit
    earlier: str = ""
    """Name of the log that it goes on from; empty where it is not there."""
    grew_to: int = 0
    """Last record of the earlier log, where it went on after that; else 0."""
    to_the_byte: bool = False
    """Whether the file is what it was then, to the last byte."""

    @property
    def last_known(self) -> int:
        """The last record of the earlier log that the later one knew of; 0 where that cannot be told."""
        return self.head.records if self.fit in (Fit.FITS, Fit.CUT_OFF) else 0

    @property
    def told(self) -> str:
        """Say it, where it has to be known."""
        head, named = self.head, self.earlier or self.head.name
        begins = f"{self.log} goes on from {named}, record {head.records}"
        match self.fit:
            case Fit.MISSING:
                return f"{begins}, which was not given: what it has from there has no person and no time"
            case Fit.CUT_OFF:
                return f"{begins}, which it does not have any more: its end was cut off; get another copy of it"
            case Fit.CHANGED:
                return (
                    f"{begins}, which is another one now: it was changed, or went on from an earlier copy; compare them"
                )
            case Fit.FITS if self.grew_to:
                return f"{begins}, which went on by itself to record {self.grew_to}: both are counted"
            case _:
                return ""


Knows = Mapping[str, Mapping[str, int]]
"""Name of a log -> name of another -> the last record of the other that it knew of, or has itself."""


@dataclass(frozen=True, slots=True)
class Chain:
    """How all logs hang together."""

    links: tuple[Link, ...]
    order: tuple[str, ...]
    """Names of the logs, each behind those that it goes on from."""
    knows: Knows
    told: tuple[str, ...]

    def of(self, log: ReadLog) -> tuple[Link, ...]:
        """Give what a log goes on from."""
        return tuple(link for link in self.links if link.log == log.name)

    @property
    def incomplete(self) -> frozenset[str]:
        """Logs that begin, or of which one that they go on from begins, with what is not at hand as it was then."""
        found: set[str] = set()
        for name in self.order:
            links = [one for one in self.links if one.log == name]
            if any(one.fit is not Fit.FITS or one.earlier in found for one in links):
                found.add(name)
        return frozenset(found)

    def tips(self, logs: Sequence[ReadLog]) -> tuple[ReadLog, ...]:
        """Give the logs that no other one goes on from at their end."""
        return tuple(
            log
            for log in logs
            if not any(known.get(log.name, 0) >= last_of(log) for name, known in self.knows.items() if name != log.name)
        )


def last_of(log: ReadLog) -> int:
    """Give the number of the last record that is there."""
    return max(sums_of(log), default=0)


def chain_of(logs: Sequence[ReadLog], shared: Knows) -> Chain:
    """Put logs in order by what they name.

    Args:
        logs: each once, with names of their own.
        shared: records that two of them have in common.

    """
    sums = {log.name: sums_of(log) for log in logs}
    links = tuple(link for log in logs for link in _links(log, logs, sums))
    before = {log.name: [one for one in links if one.log == log.name and one.earlier] for log in logs}
    order: list[str] = []
    for log in logs:
        _put(log.name, before, order, frozenset())
    return Chain(links, tuple(order), _knows(order, before, shared), tuple(_told(links)))


def _links(log: ReadLog, logs: Iterable[ReadLog], sums: Mapping[str, Mapping[int, str]]) -> Iterator[Link]:
    earlier = log.earlier
    others = [one for one in logs if one.name != log.name]
    for head in earlier.logs if earlier else ():
        fits = [one for one in others if sums[one.name].get(head.records) == head.last_sum]
        same = [one for one in others if sums[one.name].get(1) == head.first_sum]
        if fits:
            found, last = fits[0], last_of(fits[0])
            yield Link(
                log=log.name,
                head=head,
                fit=Fit.FITS,
                earlier=found.name,
                grew_to=last if last > head.records else 0,
                to_the_byte=found.sha256 == head.sha256,
            )
        elif same:
            fit = Fit.CUT_OFF if last_of(same[0]) < head.records else Fit.CHANGED
            yield Link(log=log.name, head=head, fit=fit, earlier=same[0].name)
        else:
            yield Link(log=log.name, head=head, fit=Fit.MISSING)


def _put(name: str, before: Mapping[str, Sequence[Link]], order: list[str], above: frozenset[str]) -> None:
    """Put a log in order behind those that it goes on from; forged ones that go round in a circle come as they may."""
    if name in order or name in above:
        return
    for link in before[name]:
        _put(link.earlier, before, order, above | {name})
    order.append(name)


def _knows(order: Sequence[str], before: Mapping[str, Sequence[Link]], shared: Knows) -> dict[str, dict[str, int]]:
    found: dict[str, dict[str, int]] = {}
    for name in order:
        known = dict(shared.get(name, {}))
        for link in before[name]:
            last = link.last_known
            further = {other: count for other, count in found.get(link.earlier, {}).items() if last}
            for other, of_other in shared.items():  # one that has its beginning in common with the earlier one
                if common := min(last, of_other.get(link.earlier, 0)):
                    further[other] = max(common, further.get(other, 0))
            for other, count in {**further, link.earlier: last}.items():
                known[other] = max(count, known.get(other, 0))
        found[name] = known
    return found


def _told(links: Sequence[Link]) -> Iterator[str]:
    yield from (link.told for link in links if link.told)
    forks: dict[tuple[str, int], list[str]] = {}
    for link in links:
        forks.setdefault((link.head.last_sum, link.head.records), []).append(link.log)
    for (_, records), names in forks.items():
        if len(names) > 1:
            named = next(link for link in links if link.log == names[0] and link.head.records == records)
            yield (
                f"{', '.join(names[:-1])} and {names[-1]} both go on from {named.earlier or named.head.name}, record "
                f"{records}, side by side: what was done in one of them the other one did not know"
            )
