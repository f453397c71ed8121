"""Which splice a log is of: its plan, its title, its place; where no place is given, the day it was begun."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from assistant.account.story import moment
from assistant.dialogue.messages import SessionOpened
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

    @property
    def key(self) -> tuple[object, ...]:
        """What is the same for all logs of the splice."""
        return (self.title, self.plan, self.place, None if self.place else self.day)

    @property
    def name(self) -> str:
        """Name it in a few words."""
        return ", ".join(part for part in (self.title or self.plan, self.place or f"begun {self.day}") if part)


def splice_of(opened: SessionOpened, records: Sequence[Record], begun: State) -> Splice:
    """Give the splice of a log, from its opening and the state after it.

    Raises:
        AccountError: its first record has no time.

    """
    plan = begun.plan
    if opened.settings.plan_text:
        named = hashlib.sha256(opened.settings.plan_text.encode("utf-8", "surrogatepass")).hexdigest()[:12]
    else:
        named = f"pairs {opened.settings.first} to {opened.settings.last} of {opened.settings.cable_pairs}"
    return Splice(
        title=plan.title,
        plan=named,
        ends=", ".join(f"{end.name} {end.cable.pairs} pairs".strip() for end in plan.ends),
        place=opened.settings.place.strip(),
        day=moment(records[0]).date(),
    )


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
    return ""
