"""One account of the work on one splice, from the logs of one or several sessions.

Each log is walked through by itself, in the order of its records, and what is in several copies counts once.
A pair then stands as the log says that touched it last, with every fault that no log cleared; where the logs
contradict one another it is listed. Rows are those of the newest plan. What else must be known of the logs
to trust the account is told in `notices`.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Protocol, TypeVar, assert_never

from immutables import Map

from assistant.account.chain import Chain, Knows, Link, chain_of
from assistant.account.contradictions import Between, Contradiction, contradictions
from assistant.account.copies import Sorted, sort_out
from assistant.account.findings import Finding, findings
from assistant.account.identity import Splice, difference
from assistant.account.people import Attendants, PersonDay, person_days
from assistant.account.sides import Side, side
from assistant.account.story import AccountError, Line, lost_words
from assistant.account.topics import Topic
from assistant.account.walk import (
    FINISHED,
    AsBuilt,
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
from assistant.cable.splice_plan import (
    ChangeError,
    JoinKind,
    Joint,
    Plan,
    Site,
    free_number,
    with_joint_added,
    with_pair_replaced,
)
from assistant.dialogue import messages as m
from assistant.dialogue.messages import AsBuiltFact, PairState
from assistant.dialogue.state import UNTOUCHED, Standing, State
from assistant.session.record import RecordsLost
from assistant.words.intents import Fault

PlanChange = m.PairReplaced | m.JointAdded
"""Facts that make another plan."""
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
    doubt: str
    """Why nobody can tell whether it is joined, so that it has to be called again; empty where the logs say."""
    changed: datetime | None
    log: str
    """The log that changed it last; empty where none did."""
    remarks: tuple[Remark, ...]

    @property
    def how(self) -> str:
        """How the pair was named when it was confirmed; empty where it is not."""
        joined = self.standing in (Standing.CONFIRMED, Standing.JOINED_FAULTY)
        return self.made.how if self.made and joined else ""

    @property
    def ends(self) -> str:
        """Which sides were named when it was confirmed, as `Made.ends`; empty where it is not."""
        return self.made.ends if self.made and self.how else ""

    def was_named(self, index: int) -> bool:
        """Tell whether the pair of one of its sides was named when it was confirmed; 0 is the one that is called."""
        if not self.made or not self.how:
            return False
        if index == 0:
            return self.made.ends in (m.Ends.NEAR.value, m.Ends.BOTH.value)
        return self.sides[index].end in self.made.far_ends


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """All that is told of one splice."""

    plan: Plan
    order: Order
    site: Site | None
    place: str
    logs: tuple[ReadLog, ...]
    identity: Splice
    """As the newest log has it."""
    first_day: date
    """Of the first opening of all."""
    notices: tuple[str, ...]
    """What must be known of the logs, a line each: copies, damage, clocks that were set, other splices."""
    first_own: Mapping[str, int]
    """Name of a log -> its first record that counts here and not in another log."""
    chain: Chain
    """Which log goes on from which."""
    built: tuple[AsBuiltFact, ...]
    """Spares used and joints added, in the order that makes the plan what it is."""
    finished: Sitting | None
    """The sitting in which it was said last that the splice is finished; None while it is not, or was opened again."""
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
    as_built: tuple[AsBuilt, ...]
    """What was built otherwise than planned, in the order of time; the rows are as built."""
    findings: tuple[Finding, ...]
    """Every fault and failed test, in the order of time, those that are mended too."""
    person_days: tuple[PersonDay, ...]
    who: Attendants
    sounds: Mapping[tuple[str, int], str]
    """Log and record of each utterance whose sound was kept -> SHA-256 of the sound."""
    contradictions: tuple[Contradiction, ...]
    stretches: tuple[Stretch, ...]
    pace: tuple[Slice, ...]
    heard: Counter[str]
    """How many utterances were accepted, asked back or ignored."""
    row_of: dict[Spot, int]
    """Index of the row that each pair is in."""

    @property
    def splice(self) -> str:
        """Its name in a few words."""
        return self.identity.name

    @property
    def tally(self) -> Counter[Standing]:
        """How many joints stand how."""
        return Counter(row.standing for row in self.rows)

    @property
    def ways(self) -> Counter[str]:
        """How many confirmed joints were named how."""
        return Counter(row.how for row in self.rows if row.how)

    @property
    def ends_named(self) -> Counter[str]:
        """Of how many confirmed joints which sides were named."""
        return Counter(row.ends for row in self.rows if row.ends)

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
        """Time of the last record, on a clock that was never set."""
        return self.stretches[-1].ended

    @property
    def doubtful(self) -> tuple[Row, ...]:
        """Joints that have to be called again, since nobody can tell whether they are joined."""
        return tuple(row for row in self.rows if row.doubt)

    def called(self, spot: Spot) -> str:
        """Name a pair by its end, count, number and colours."""
        index = self.row_of.get(spot)
        if index is None:
            return f"{spot[0]} pair {spot[1]}".strip()
        row = self.rows[index]
        sides = zip(spots(self.plan, row.joint), row.sides, strict=True)
        return next(str(one) for at, one in sides if at == spot)


def account_of(logs: Sequence[ReadLog], *, together: bool = False, walked: Mapping[str, Walk] | None = None) -> Account:
    """Account for one splice.

    Args:
        logs: with names of their own.
        together: even where the logs are of different splices with the same cables.
        walked: walks through logs that were made already, by their names.

    Raises:
        AccountError: there is nothing to account for, or the logs are of different splices.

    """
    found, chain, walks, told = _walked(logs, walked or {}, together=together)
    newest, parts = walks[-1], [_own(one, found.first_own[one.log.name]) for one in walks]
    as_built = _in_turn(one for part in parts for one in part.as_built)
    plan, built, unfit = _plan_as_built(newest, as_built, chain.knows.get(newest.log.name, {}))
    told += unfit
    last, order = replace(newest.last, plan=plan), newest.opened.settings.pair_order
    changes = _in_turn(change for part in parts for change in part.changes)
    remarks, on_rows = _remarks(plan, parts, as_built, order)
    lines = sorted(every := [(p.log.name, line) for p in parts for line in p.lines], key=lambda pair: pair[1].turn)
    work = stretches(line.turn for _, line in lines)
    row_of = {spot: index for index, joint in enumerate(plan.joints) for spot in spots(plan, joint)}
    carried = [change for part in parts for change in part.carried]
    of_joint, combined = _combined(_in_turn([*carried, *changes]), last, found.shared, chain.knows)
    rows = _rows(last, order, of_joint, on_rows)
    standing = [row.made for row in rows if row.made and row.how]
    of_log = {one.log.name: {line.record: line.turn for line in one.lines} for one in walks}
    who = Attendants(sittings := tuple(sitting for part in parts for sitting in part.sittings))
    return Account(
        plan=plan,
        order=order,
        site=newest.last.settings.site or plan.site,
        place=_places(walks),
        logs=tuple(_vouched(one.log, walks, chain) for one in walks),
        identity=newest.splice,
        first_day=min(one.splice.day for one in walks),
        first_own=found.first_own,
        chain=chain,
        built=built,
        finished=_finished(walks),
        notices=(*told, *(line for one in walks for line in _notices(one))),
        sittings=sittings,
        rows=rows,
        changes=combined,
        lines=tuple((log, line) for log, line in lines if line.topics - SELDOM_READ),
        slips=_in_turn(slip for part in parts for slip in part.slips),
        answers=tuple(answer for part in parts for answer in part.answers),
        remarks=remarks,
        as_built=as_built,
        findings=findings(combined, row_of, who),
        person_days=person_days(((log, line.record, line.at, line.turn) for log, line in every), standing, who),
        who=who,
        sounds={(log, line.record): line.sound_sha256 for log, line in every if line.sound_sha256},
        contradictions=contradictions(_told_of(changes, carried, chain), _mates(plan), _between(chain, walks)),
        stretches=work,
        pace=pace((of_log[made.log][made.record] for made in standing), work[0].began, work[-1].ended),
        heard=Counter(one for part in parts for one in _judged(part)),
        row_of=row_of,
    )


def _walked(
    logs: Sequence[ReadLog], walked: Mapping[str, Walk], *, together: bool
) -> tuple[Sorted, Chain, list[Walk], list[str]]:
    """Sort the logs out and walk through those that count, the oldest first; give what must be known of them.

    A log is never older than where those end that it goes on from, whatever its clock shows.
    """
    found = sort_out(logs)
    chain = chain_of(found.logs, found.shared)
    done = {name: one for name, one in walked.items() if any(one.log is log for log in found.logs)}
    by_name = {log.name: log for log in found.logs}
    made: dict[str, Walk] = {}
    for name in chain.order:
        ends = [_end_of(made[link.earlier], link) for link in chain.links if link.log == name and link.earlier in made]
        begins = max(ends, default=None)
        known = done.get(name)
        late = known is not None and (begins is None or known.clock.turns[0] >= begins)
        made[name] = known if known is not None and late else walk(by_name[name], begins)
    walks = sorted(made.values(), key=lambda one: one.clock.turns[0])
    refused = [line for one in walks for line in _refused(one, walks[-1], together=together)]
    return found, chain, walks, [*found.told, *chain.told, *refused]


def _end_of(earlier: Walk, link: Link) -> datetime:
    """Give the time of the last record that a later log knew of, on a clock that goes on."""
    turns = [t for r, t in zip(earlier.log.records, earlier.clock.turns, strict=True) if r.number <= link.head.records]
    return turns[-1] if turns else earlier.clock.turns[0]


def _places(walks: Iterable[Walk]) -> str:
    return "; ".join(dict.fromkeys(one.splice.place for one in walks if one.splice.place))


def _mates(plan: Plan) -> dict[Spot, tuple[Spot, ...]]:
    """Give, by the pair that is called, the other pairs of each joint."""
    placed = (spots(plan, joint) for joint in plan.joints if joint.kind.joined)
    return {lead: mates for lead, *others in placed for mates in [tuple(others)]}


def _told_of(
    changes: Sequence[StandingChange], carried: Iterable[StandingChange], chain: Chain
) -> tuple[StandingChange, ...]:
    """Give all changes, and, where the earlier logs are not at hand, what a log has from them."""
    return _in_turn([*(one for one in carried if one.log in chain.incomplete), *changes])


def _between(chain: Chain, walks: Iterable[Walk]) -> Between:
    return Between(chain.knows, [one.log.name for one in walks if one.clock.jumps])


def _finished(walks: Sequence[Walk]) -> Sitting | None:
    """Give the sitting that finished the splice, if nothing was begun or gone on with after it."""
    last = max(walks, key=lambda one: one.clock.turns[-1])
    return last.sittings[-1] if last.sittings and last.sittings[-1].end == FINISHED else None


def _vouched(log: ReadLog, walks: Iterable[Walk], chain: Chain) -> ReadLog:
    """Say of a log without a seal of its own whether a sealed one that goes on from it names it to the last byte."""
    seals = {one.log.name: one.log for one in walks if one.log.seal == "holds"}
    by = next((x.log for x in chain.links if x.earlier == log.name and x.to_the_byte and x.log in seals), None)
    if by is None or log.seal != "not sealed":
        return log
    return replace(log, seal_line=f"not sealed; {by} goes on from it as it is, and is {seals[by].seal_line}")


class _HasTurn(Protocol):
    @property
    def turn(self) -> datetime: ...


_T = TypeVar("_T", bound=_HasTurn)


def _in_turn(items: Iterable[_T]) -> tuple[_T, ...]:
    return tuple(sorted(items, key=lambda one: one.turn))


def _judged(part: Walk) -> Iterator[str]:
    own = {line.record for line in part.lines}
    return (r.input.judgement for r in part.log.records if isinstance(r.input, m.Heard) and r.number in own)


def _own(one: Walk, first: int) -> Walk:
    """Leave out of a walk what another log has as well."""
    if first == 1:
        return one
    return replace(
        one,
        lines=[line for line in one.lines if line.record >= first],
        changes=[change for change in one.changes if change.record >= first],
        remarks=[remark for remark in one.remarks if remark.record >= first],
        as_built=[built for built in one.as_built if built.record >= first],
        slips=[slip for slip in one.slips if slip.record >= first],
        sittings=[sitting for sitting in one.sittings if sitting.record >= first],
        answers=[answer for answer in one.answers if answer.record >= first],
    )


def _plan_as_built(
    newest: Walk, as_built: Iterable[AsBuilt], known: Mapping[str, int]
) -> tuple[Plan, tuple[AsBuiltFact, ...], list[str]]:
    """Give the newest plan with what other logs built otherwise, all that was built so, and what does not fit.

    `known` says, by the names of logs, up to which record the newest one has what they built.
    """
    plan, told = newest.last.plan, []
    own = {(one.fact, one.record) for one in newest.as_built}
    built = [*newest.built, *(one.fact for one in newest.as_built if isinstance(one.fact, PlanChange))]
    for one in as_built:
        if one.log == newest.log.name or (one.fact, one.record) in own or one.record <= known.get(one.log, 0):
            continue
        try:
            match one.fact:
                case m.PairReplaced(old=old, new=new):
                    number = free_number(plan, (new,))
                    plan = with_pair_replaced(plan, old, new, number)
                    built.append(replace(one.fact, number=number))
                case m.JointAdded(places=places):
                    added = Joint(number=free_number(plan, places), kind=JoinKind.STRAIGHT, places=places)
                    plan = with_joint_added(plan, added)
                    built.append(replace(one.fact, pair=added.number))
                case m.PairPutOff() | m.ReversalTagged():
                    pass
                case never:
                    assert_never(never)
        except ChangeError as error:
            told.append(
                f"{one.log}: record {one.record} ({one.kind}) does not go together with what {newest.log.name} has: "
                f"{error}; see what is joined there"
            )
    return plan, tuple(built), told


def _as_built_remark(plan: Plan, one: AsBuilt, order: Order) -> tuple[Remark, AsBuilt]:
    """Put in words what was built otherwise."""
    match one.fact:
        case m.PairReplaced(old=old, new=new):
            text = f"{side(plan, new, order)} is used in place of {side(plan, old, order)}"
        case m.JointAdded(places=places):
            text = f"not in the plan: {' = '.join(str(side(plan, place, order)) for place in places)}"
        case m.PairPutOff():
            text = f"put off: {one.reason}"
        case m.ReversalTagged():
            text = one.reason
        case never:
            assert_never(never)
    remark = Remark(
        at=one.at, turn=one.turn, log=one.log, record=one.record, lead=one.spots[0], text=text, is_as_built=True
    )
    return remark, one


def _remarks(
    plan: Plan, parts: Iterable[Walk], as_built: Iterable[AsBuilt], order: Order
) -> tuple[tuple[Remark, ...], list[tuple[Remark, Spot | None]]]:
    """Give all remarks, what was built otherwise among them, and each with every pair that it is about."""
    built = [_as_built_remark(plan, one, order) for one in as_built]
    remarks = _in_turn([*(remark for part in parts for remark in part.remarks), *(remark for remark, _ in built)])
    noted: list[tuple[Remark, Spot | None]] = [(one, one.lead) for one in remarks if not one.is_as_built]
    return remarks, [*noted, *_of_rows(plan, built)]


def _of_rows(plan: Plan, built: Iterable[tuple[Remark, AsBuilt]]) -> Iterator[tuple[Remark, Spot]]:
    """Give each of them to every joint that it is about."""
    lead = {spot: spots(plan, joint)[0] for joint in plan.joints for spot in spots(plan, joint)}
    for remark, one in built:
        yield from ((remark, spot) for spot in dict.fromkeys(lead.get(spot, spot) for spot in one.spots))


def _refused(one: Walk, newest: Walk, *, together: bool) -> Iterator[str]:
    """Refuse a log of another splice, or tell of it where both are wanted together."""
    differs = difference(one.splice, newest.splice)
    if not differs:
        return
    line = f"{one.log.name} is of another splice than {newest.log.name} ({differs})"
    if not together or _cables(one) != _cables(newest):
        way = (
            "give the logs of one splice"
            if _cables(one) != _cables(newest)
            else ("give the logs of one splice, or --together if they are of one all the same")
        )
        raise AccountError(f"{line}; {way}")
    yield f"{line}; they were put together all the same, as was asked for"


def _notices(one: Walk) -> Iterator[str]:
    """Tell what must be known of a log to trust what it says."""
    name, log = one.log.name, one.log
    yield from (f"{name}: {damage}" for damage in log.damages)
    for record in log.records:
        if isinstance(record.input, RecordsLost):
            count = len(record.input.doubtful)
            again = f"; {count} pairs have to be called again" if count else ""
            yield (
                f"{name}: {lost_words(record)} ({record.at} to {record.input.until or 'the end'}){again}; "
                "what is lost may have named any other pair too"
            )
    if one.later:
        yield (
            f"{name}: was written by a later version ({one.opened.who.app_version or 'unknown'}); {len(one.later)} of "
            f"its records, first record {one.later[0]}, are read only as far as they are known here"
        )
    yield from (f"{name}: {jump}" for jump in one.clock.jumps)
    if log.torn_bytes:
        yield f"{name}: {log.torn_bytes} bytes of a last line that was cut off while it was written do not count"


def _cables(one: Walk) -> dict[str, object]:
    return {end.name: end.cable for end in one.last.plan.ends}


def _where_it_counts(made: Made | None, shared: Mapping[str, int]) -> Made | None:
    """Name the log in which a confirmation counts, where several have it."""
    other = next((log for log, last in shared.items() if made is not None and made.record <= last), None)
    return made if made is None or other is None else replace(made, log=other)


@dataclass(slots=True)
class _Joined:
    """What all logs together say of one joint. Built by `_combined`."""

    known: PairState = UNTOUCHED
    made: Made | None = None
    doubt: str = ""
    changed: datetime | None = None
    log: str = ""
    logs: dict[str, int] = field(default_factory=dict)
    """Logs that changed it, with the last record that did."""
    faults: dict[str, tuple[Fault, ...]] = field(default_factory=dict)
    """What each log has outstanding: a mark taken back in one of them does not take back that of another."""

    inherited: dict[str, Made] = field(default_factory=dict)
    """How it was made, as a log had it that did not make it, but went on from others."""

    def take_over(self, change: StandingChange, knows: Knows) -> bool:
        """Put in how a log had it when it went on with others; tell whether that was otherwise than what is known.

        It counts where the log knew of all that was done so far; what another one did by itself stays.
        """
        known = knows.get(change.log, {})
        if any(record > known.get(log, 0) for log, record in self.logs.items()):
            return False
        differs = self.known != change.known or bool(change.doubt)
        if differs:
            self.known, self.doubt = change.known, change.doubt
            self.made = None if change.known.confirmed is None else self.made or change.made
            self.changed, self.log = change.at, change.log
            self.logs[change.log] = change.record
            self.faults = {change.log: change.known.faults}
        if self.made is not None:
            self.inherited[change.log] = self.made
        return differs

    def take(self, change: StandingChange, shared: Knows, knows: Knows) -> None:
        """Put in the next change; what its log did not know of stays as it was."""
        own = knows.get(change.log, {})
        alone = all(log == change.log or record <= own.get(log, 0) for log, record in self.logs.items())
        self.logs[change.log] = change.record
        self.changed, self.log = change.at, change.log
        made = _where_it_counts(change.made, shared.get(change.log, {}))
        if made is None and change.known.confirmed is not None:
            made = self.inherited.get(change.log)
        change = replace(change, made=made)
        was, now = change.was, change.known
        decided = now.confirmed is not was.confirmed or now.confirmed is not None
        self.doubt = change.doubt or ("" if decided or change.reopened else self.doubt)
        for log, outstanding in self.faults.items():
            self.faults[log] = tuple(fault for fault in outstanding if fault not in change.cleared)
        self.faults[change.log] = now.faults
        if alone:
            self.faults = {change.log: now.faults}
            self.known, self.made = now, change.made
            return
        if was.reversed_on_purpose == now.reversed_on_purpose:
            now = replace(now, reversed_on_purpose=self.known.reversed_on_purpose)
        faults = list(dict.fromkeys(fault for of_log in self.faults.values() for fault in of_log))
        tests = {**({} if change.cleared else dict(self.known.tests)), **dict(now.tests)}
        if decided or change.reopened or change.doubt:
            self.made = change.made
            self.known = replace(now, faults=tuple(faults))
        else:
            before = self.known
            self.known = replace(now, confirmed=before.confirmed, faults=tuple(faults), tests=tuple(tests.items()))
            if was.put_off is None and now.put_off is None:
                self.known = replace(self.known, put_off=before.put_off, tried=before.tried)


def _combined(
    changes: Iterable[StandingChange], last: State, shared: Knows, knows: Knows
) -> tuple[dict[Spot, _Joined], tuple[StandingChange, ...]]:
    """Fold the changes of all logs, in the order of time; give each as all logs together have it.

    A change with other mates than the newest plan has is not of this joint: it is a contradiction.
    """
    joint_of = {spots(last.plan, joint)[0]: joint for joint in last.plan.joints}
    found: dict[Spot, _Joined] = {}
    made: list[StandingChange] = []
    for change in changes:
        joint = joint_of.get(change.lead)
        if joint is None or spots(last.plan, joint)[1:] != change.mates:
            continue
        joined = found.setdefault(change.lead, _Joined())
        if change.carried:
            if not joined.take_over(change, knows):
                continue
        else:
            joined.take(change, shared, knows)
        standing = replace(last, pairs=Map({joint.number: joined.known})).standing(joint)
        made.append(replace(change, standing=standing, known=joined.known, made=joined.made, doubt=joined.doubt))
    return found, tuple(made)


def _rows(
    last: State, order: Order, of_joint: Mapping[Spot, _Joined], remarks: Iterable[tuple[Remark, Spot | None]]
) -> tuple[Row, ...]:
    plan = last.plan
    told: dict[Spot, list[Remark]] = {}
    for remark, lead in remarks:
        if lead is not None:
            told.setdefault(lead, []).append(remark)
    known = Map({j.number: of_joint[lead].known for j in plan.joints if (lead := spots(plan, j)[0]) in of_joint})
    state = replace(last, pairs=known)
    rows = []
    for joint in plan.joints:
        lead = spots(plan, joint)[0]
        found = of_joint.get(lead, _Joined())
        rows.append(
            Row(
                joint=joint,
                sides=tuple(side(plan, place, order) for place in joint.places),
                standing=state.standing(joint),
                known=found.known,
                made=found.made,
                doubt=found.doubt,
                changed=found.changed,
                log=found.log,
                remarks=tuple(told.get(lead, ())),
            )
        )
    return tuple(rows)
