"""Where several logs of one splice cannot all be right."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from assistant.account.walk import Spot, StandingChange
from assistant.dialogue.state import Standing


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two entries that do not go together."""

    lead: Spot
    what: str
    earlier: StandingChange
    later: StandingChange | None
    """None where the newest plan itself is the other side."""


def contradictions(
    changes: Iterable[StandingChange], mates_now: Mapping[Spot, tuple[Spot, ...]]
) -> tuple[Contradiction, ...]:
    """Compare all changes, in the order of time, with one another and with the newest plan.

    A log knows nothing of the others, so that within one log nothing contradicts itself.
    """
    found: list[Contradiction] = []
    standing: dict[Spot, dict[str, StandingChange]] = {}
    for change in changes:
        of_logs = standing.setdefault(change.lead, {})
        for earlier in [one for log, one in of_logs.items() if log != change.log]:
            what = _against(earlier, change)
            if what:
                found.append(Contradiction(change.lead, what, earlier, change))
            if change.reopened or what:
                del of_logs[earlier.log]
        of_logs[change.log] = change
    for lead, of_logs in standing.items():
        for change in of_logs.values():
            if change.standing is Standing.CONFIRMED and mates_now.get(lead) != change.mates:
                what = "was confirmed with other mates than the newest plan has"
                found.append(Contradiction(lead, what if lead in mates_now else _GONE, change, None))
    return tuple(found)


_GONE = "was confirmed and is not joined in the newest plan"


def _against(earlier: StandingChange, later: StandingChange) -> str:
    if later.standing is Standing.CONFIRMED and earlier.standing is Standing.CONFIRMED:
        return "was confirmed twice" if earlier.mates == later.mates else "was confirmed twice, with different mates"
    if later.standing is Standing.CONFIRMED and earlier.standing is Standing.FAULTY:
        return f"was marked {', '.join(f.value for f in earlier.known.faults)} and never cleared, then confirmed"
    if later.standing is Standing.FAULTY and earlier.standing is Standing.CONFIRMED:
        return f"was confirmed, then marked {', '.join(f.value for f in later.known.faults)} in another log"
    return ""
