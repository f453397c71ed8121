"""One account of the work on one splice, from the logs of one or several sessions.

Each log is walked through by itself. A pair then stands as the log says that touched it last; where
the logs contradict one another it is listed. Rows are those of the newest plan.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from assistant.account.contradictions import Contradiction, contradictions
from assistant.account.sides import Side, side
from assistant.account.story import AccountError, Line
from assistant.account.topics import Topic
from assistant.account.walk import (
    CheckReply,
    Made,
    ReadLog,
    Remark,
    Sitting,
    Slip,
    Spot,
    StandingChange,
    Walk,
    spots,
    walk,
)
from assistant.account.work_time import Slice, Stretch, pace, stretches
from assistant.cable.colour_code import Order
from assistant.cable.splice_plan import Joint, Plan, Site
from assistant.dialogue import messages as m
from assistant.dialogue.state import UNTOUCHED, PairState, Standing

SELDOM_READ = frozenset({Topic.CONFIRMED, Topic.CHECK})
"""Topics whose lines stand in the rows or the answers already."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One joint of the newest plan, and all that is known of it."""

    joint: Joint
    sides: tuple[Side, ...]
    standing: Standing
    known: PairState
    made: Made | None
    changed: datetime | None
    remarks: tuple[Remark, ...]

    @property
    def how(self) -> str:
        """How the pair was named when it was confirmed; empty where it is not."""
        return self.made.how if self.made and self.standing is Standing.CONFIRMED else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """All that is told of one splice."""

    plan: Plan
    order: Order
    site: Site | None
    place: str
    logs: tuple[ReadLog, ...]
    sittings: tuple[Sitting, ...]
    rows: tuple[Row, ...]
    """One for each joint, in the order of the newest plan."""
    changes: tuple[StandingChange, ...]
    """Of the joints of the newest plan, in the order of time; before the first, all stand open, dead or spare."""
    lines: tuple[tuple[str, Line], ...]
    """Log and step for every step worth looking for, in the order of time; confirmed pairs are in the rows."""
    slips: tuple[Slip, ...]
    answers: tuple[CheckReply, ...]
    remarks: tuple[Remark, ...]
    contradictions: tuple[Contradiction, ...]
    stretches: tuple[Stretch, ...]
    pace: tuple[Slice, ...]
    heard: Counter[str]
    """How many utterances were accepted, asked back or ignored."""
    row_of: dict[Spot, int]
    """Index of the row that each pair is in."""

    @property
    def tally(self) -> Counter[Standing]:
        """How many joints stand how."""
        return Counter(row.standing for row in self.rows)

    @property
    def ways(self) -> Counter[str]:
        """How many confirmed joints were named how."""
        return Counter(row.how for row in self.rows if row.how)

    @property
    def work_s(self) -> float:
        """Seconds of work without the pauses."""
        return sum(stretch.seconds for stretch in self.stretches)

    @property
    def began(self) -> datetime:
        """Time of the first record."""
        return self.stretches[0].began

    @property
    def ended(self) -> datetime:
        """Time of the last record."""
        return self.stretches[-1].ended

    def called(self, spot: Spot) -> str:
        """Name a pair by its end, count, number and colours."""
        index = self.row_of.get(spot)
        if index is None:
            return f"{spot[0]} pair {spot[1]}".strip()
        row = self.rows[index]
        sides = zip(spots(self.plan, row.joint), row.sides, strict=True)
        return next(str(one) for at, one in sides if at == spot)


def account_of(logs: Sequence[ReadLog]) -> Account:
    """Account for one splice.

    Raises:
        AccountError: there is nothing to account for, or the logs are of different splices.

    """
    walks = sorted((walk(log) for log in logs), key=lambda one: one.lines[0].at)
    newest = walks[-1]
    for one in walks:
        _refuse_other_splice(one, newest)
    plan, order = newest.last.plan, newest.opened.settings.pair_order
    changes = tuple(sorted((c for one in walks for c in one.changes), key=lambda change: change.at))
    remarks = tuple(sorted((r for one in walks for r in one.remarks), key=lambda remark: remark.at))
    lines = sorted(((one.log.name, line) for one in walks for line in one.lines), key=lambda pair: pair[1].at)
    work = stretches(line.at for _, line in lines)
    row_of = {spot: index for index, joint in enumerate(plan.joints) for spot in spots(plan, joint)}
    mates = {spots(plan, joint)[0]: spots(plan, joint)[1:] for joint in plan.joints}
    rows = _rows(plan, order, changes, remarks)
    confirmed = [row.made.at for row in rows if row.made and row.how]
    return Account(
        plan=plan,
        order=order,
        site=newest.last.settings.site or plan.site,
        place=next((one.opened.settings.place for one in reversed(walks) if one.opened.settings.place), ""),
        logs=tuple(one.log for one in walks),
        sittings=tuple(sitting for one in walks for sitting in one.sittings),
        rows=rows,
        changes=tuple(change for change in changes if mates.get(change.lead) == change.mates),
        lines=tuple((log, line) for log, line in lines if line.topics - SELDOM_READ),
        slips=tuple(slip for one in walks for slip in one.slips),
        answers=tuple(answer for one in walks for answer in one.answers),
        remarks=remarks,
        contradictions=contradictions(changes, mates),
        stretches=work,
        pace=pace(confirmed, work[0].began, work[-1].ended),
        heard=Counter(r.input.judgement for log in logs for r in log.records if isinstance(r.input, m.Heard)),
        row_of=row_of,
    )


def _refuse_other_splice(one: Walk, newest: Walk) -> None:
    """Refuse a log whose ends are other cables; the joints of a plan may have been changed since."""
    if one.last.plan.is_sequence and newest.last.plan.is_sequence:
        same = one.last.cable == newest.last.cable
    else:
        same = _cables(one) == _cables(newest)
    if not same:
        raise AccountError(
            f"{one.log.name}: is of another splice than {newest.log.name} ({_about(one)}; {_about(newest)}); "
            "give the logs of one splice"
        )


def _cables(one: Walk) -> dict[str, object]:
    return {end.name: end.cable for end in one.last.plan.ends}


def _about(one: Walk) -> str:
    plan = one.last.plan
    return ", ".join(f"{end.name} {end.cable.pairs} pairs".strip() for end in plan.ends)


def _rows(
    plan: Plan, order: Order, changes: tuple[StandingChange, ...], remarks: tuple[Remark, ...]
) -> tuple[Row, ...]:
    latest = {change.lead: change for change in changes}
    told: dict[Spot, list[Remark]] = {}
    for remark in remarks:
        if remark.lead is not None:
            told.setdefault(remark.lead, []).append(remark)
    rows = []
    for joint in plan.joints:
        lead, *mates = spots(plan, joint)
        change = latest.get(lead)
        if change is not None and change.mates != tuple(mates):
            change = None  # it was joined as an older plan says: a contradiction, not this joint
        untouched = Standing(joint.kind.value) if not joint.kind.joined else Standing.OPEN
        rows.append(
            Row(
                joint=joint,
                sides=tuple(side(plan, place, order) for place in joint.places),
                standing=change.standing if change else untouched,
                known=change.known if change else UNTOUCHED,
                made=change.made if change else None,
                changed=change.at if change else None,
                remarks=tuple(told.get(lead, ())),
            )
        )
    return tuple(rows)
