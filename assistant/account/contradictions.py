"""Where several logs of one splice cannot all be right."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from assistant.account.walk import Spot, StandingChange
from assistant.dialogue.state import Standing

JOINED = (Standing.CONFIRMED, Standing.JOINED_FAULTY)


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two entries that do not go together."""

    lead: Spot
    what: str
    earlier: StandingChange
    later: StandingChange | None
    """None where the newest plan itself is the other side."""


@dataclass(frozen=True, slots=True)
class Between:
    """What is known of how the logs hang together."""

    shared: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    """Name of a log -> name of another -> the last record of the other that is its own as well, or that it knew."""
    clock_set: Collection[str] = ()
    """Logs whose clock was set in between, so that the order between them and others is not sure."""


def contradictions(
    changes: Iterable[StandingChange], mates_now: Mapping[Spot, tuple[Spot, ...]], between: Between
) -> tuple[Contradiction, ...]:
    """Compare all changes, in the order of time, with one another and with the newest plan.

    A log knows of no others but those that it goes on from; within what one knows nothing contradicts itself.
    """
    found: list[Contradiction] = []
    standing: dict[Spot, dict[str, StandingChange]] = {}
    for change in changes:
        of_logs = standing.setdefault(change.lead, {})
        own = of_logs.get(change.log)
        known = between.shared.get(change.log, {})
        for log, earlier in [(log, one) for log, one in of_logs.items() if log != change.log]:
            knew = earlier is own or earlier.record <= known.get(earlier.log, 0)
            what = "" if knew else _against(earlier, change, between)
            if what:
                found.append(Contradiction(change.lead, what, earlier, change))
            if change.reopened or what:
                del of_logs[log]
        of_logs[change.log] = change
        for log, others in between.shared.items():
            if change.record <= others.get(change.log, 0):
                of_logs[log] = change
    for lead, of_logs in standing.items():
        for change in {id(one): one for one in of_logs.values()}.values():
            if change.standing in JOINED and mates_now.get(lead) != change.mates:
                what = "was confirmed with other mates than the newest plan has"
                found.append(Contradiction(lead, what if lead in mates_now else _GONE, change, None))
    return tuple(found)


TWICE = "was confirmed twice"
"""By two who did not know of one another: it stands, and tells of work done twice."""
_GONE = "was confirmed and is not joined in the newest plan"


def _against(earlier: StandingChange, later: StandingChange, between: Between) -> str:
    marked = ", ".join(f.value for f in later.known.faults if f not in later.was.faults)
    outstanding = ", ".join(f.value for f in earlier.known.faults)
    newly = later.standing in JOINED and later.was.confirmed is None
    if newly and earlier.standing in JOINED:
        return TWICE if earlier.mates == later.mates else "was confirmed twice, with different mates"
    if newly and earlier.standing is Standing.FAULTY:
        return f"was marked {outstanding} and never cleared, then confirmed"
    if marked and earlier.standing in JOINED:
        return f"was confirmed, then marked {marked} in another log"
    if later.standing is Standing.SKIPPED and earlier.standing in JOINED:
        return "was confirmed, then skipped in another log"
    if later.doubt and earlier.standing in JOINED:
        return ""
    if between.clock_set and {earlier.log, later.log} & set(between.clock_set) and later.standing != earlier.standing:
        return "stands otherwise in two logs, and a clock was set in between: which came last is not sure"
    return ""
