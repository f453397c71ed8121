"""Which splice a log is of: its plan, its title, its place; where no place is given, the day it was begun."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from assistant.account.story import moment
from assistant.dialogue.messages import EarlierWork, SessionOpened, WorkBegunAnew, WorkTakenUp
from assistant.dialogue.state import State
from assistant.session.record import Record


@dataclass(frozen=True, slots=True)
class Splice:
    """What tells one splice from another, as the beginning of a session has it."""

    title: str
    plan: str
    """First digits of the SHA-256 of the plan's text; cable and range where there is none."""
    ends: str
    place: str
    day: date
    """Of the first opening."""
    anew: str = ""
    """When it was begun anew, although there were earlier logs; empty where it was not."""

    @property
    def key(self) -> tuple[object, ...]:
        """What is the same for all logs of the splice."""
        return (self.title, self.plan, self.place, None if self.place else self.day, self.anew)

    @property
    def name(self) -> str:
        """Name it in a few words."""
        anew = f"begun anew {self.anew[:16]}" if self.anew else ""
        return ", ".join(part for part in (self.title or self.plan, self.place or f"begun {self.day}", anew) if part)


def splice_of(opened: SessionOpened, records: Sequence[Record], begun: State) -> Splice:
    """Give the splice of a log, from its opening and the state after it.

    A log that goes on with earlier ones is of the day on which the first of them was begun.

    Raises:
        AccountError: its first record has no time.

    """
    plan, earlier = begun.plan, earlier_of(records)
    if opened.settings.plan_text:
        named = hashlib.sha256(opened.settings.plan_text.encode("utf-8", "surrogatepass")).hexdigest()[:12]
    else:
        named = f"pairs {opened.settings.first} to {opened.settings.last} of {opened.settings.cable_pairs}"
    return Splice(
        title=plan.title,
        plan=named,
        ends=", ".join(f"{end.name} {end.cable.pairs} pairs".strip() for end in plan.ends),
        place=opened.settings.place.strip(),
        day=_first_day(earlier) or moment(records[0]).date(),
        anew=earlier.anew if earlier else _anew(records),
    )


def _first_day(earlier: EarlierWork | None) -> date | None:
    try:
        return None if earlier is None else date.fromisoformat(earlier.first_day)
    except ValueError:
        return None  # no day that a session wrote


def _anew(records: Sequence[Record]) -> str:
    anew = any(isinstance(fact, WorkBegunAnew) for record in records for fact in record.facts)
    return records[0].at if anew else ""


def earlier_of(records: Sequence[Record]) -> EarlierWork | None:
    """Give what the earlier logs came to that a log goes on with; None where it does not."""
    found = next((fact for record in records[:1] for fact in record.facts if isinstance(fact, EarlierWork)), None)
    if found is None:
        return None
    taken = any(isinstance(fact, WorkTakenUp) for record in records for fact in record.facts)
    return found if taken else None


def difference(one: Splice, other: Splice) -> str:
    """Say in what two splices differ; empty where they are one."""
    if one.ends != other.ends:
        return f"other cables: {one.ends}; {other.ends}"
    if one.title != other.title:
        return f"other titles: {one.title or 'none'}; {other.title or 'none'}"
    if one.plan != other.plan:
        return f"other plans: {one.plan}; {other.plan}"
    if one.place != other.place:
        return f"other places: {one.place or 'none given'}; {other.place or 'none given'}"
    if not one.place and one.day != other.day:
        return f"no place is given, and they were begun on other days: {one.day}; {other.day}"
    if one.anew != other.anew:
        return "one of them was begun anew"
    return ""
