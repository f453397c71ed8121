"""One walk through the records of one log: all that an account takes from it."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime

from assistant.account.story import AccountError, Line, line_of
from assistant.cable.makeup import Position
from assistant.cable.splice_plan import Joint, JointNumber, Plan
from assistant.dialogue import messages as m
from assistant.dialogue.messages import Fact
from assistant.dialogue.state import PairState, Standing, State
from assistant.session.record import Record
from assistant.session.replay import HistoryError, refusing_forgery, steps

Spot = tuple[str, Position]
"""A pair of the cable: name of its end, and position in the sheath."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadLog:
    """The records of one log, with what shows that they are the ones that were written."""

    name: str
    records: tuple[Record, ...]
    sha256: str
    """Of the whole file, in hex."""
    last_sum: str
    """Checksum of the last record, which stands for all before it."""
    torn_bytes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """How a joint came to be confirmed."""

    how: str
    by: str
    asked_back: bool
    protected: str
    person: str
    at: datetime
    log: str
    record: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingChange:
    """A joint that stands otherwise than before."""

    at: datetime
    log: str
    record: int
    joint: int
    """Its number in the plan of this log."""
    lead: Spot
    mates: tuple[Spot, ...]
    standing: Standing
    known: PairState
    made: Made | None
    reopened: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """A note or a reading, with the pair it is tied to."""

    at: datetime
    log: str
    record: int
    lead: Spot | None
    text: str
    file: str = ""
    """Sound file of a spoken note, in the folder of the log."""
    sha256: str = ""
    is_reading: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """A call that was not what was expected, and what followed."""

    at: datetime
    log: str
    record: int
    expected: tuple[Spot, ...]
    called: tuple[Spot, ...]
    """Pairs that the call names; none where it contradicts itself or names none of this cable."""
    call: str
    followed_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """A session, or the part of it after it was taken up again."""

    log: str
    began: datetime
    ended: datetime
    person: str
    microphone: str
    ears: str
    app_version: str
    taken_up: bool
    keeps_sound: bool
    end: str = "broke off"


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReply:
    """A check before the work, and whether it was answered with done. A person's word, no measurement."""

    at: datetime
    log: str
    check: str
    done: bool
    by: str


@dataclass(slots=True)
class Walk:
    """What one log gives. Built by `walk`, and not changed afterwards."""

    log: ReadLog
    opened: m.SessionOpened
    last: State
    lines: list[Line] = field(default_factory=list)
    changes: list[StandingChange] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    slips: list[Slip] = field(default_factory=list)
    sittings: list[Sitting] = field(default_factory=list)
    answers: list[CheckReply] = field(default_factory=list)
    made: dict[int, Made] = field(default_factory=dict)
    """How each joint was confirmed last."""


def walk(log: ReadLog) -> Walk:
    """Walk through a log.

    Raises:
        AccountError: it holds no session that joins anything, or a time that is none.

    """
    opened = next((f for r in log.records[:1] for f in r.facts if isinstance(f, m.SessionOpened)), None)
    if opened is None:
        raise AccountError(f"{log.name}: holds no session")
    if opened.settings.asking:
        raise AccountError(f"{log.name}: is a session of questions only, in which nothing is joined")
    found: Walk | None = None
    try:
        for before, record, state in steps(log.records):
            found = found or Walk(log, opened, state)
            found.last = state
            with refusing_forgery(record):
                _take(found, before, record)
        assert found is not None
        with refusing_forgery(log.records[-1]):
            found.slips = list(_followed(found))
    except (AccountError, HistoryError) as error:
        raise AccountError(f"{log.name}: {error}") from error
    return found


def spots(plan: Plan, joint: Joint) -> tuple[Spot, ...]:
    """Give the pairs of a joint, the one that is called first."""
    return tuple((plan.ends[place.end].name, place.position) for place in joint.places)


def _take(found: Walk, before: State, record: Record) -> None:
    state = found.last
    line = line_of(record, before)
    found.lines.append(line)
    for fact in record.facts:
        _take_fact(found, fact, line, state)
        if isinstance(fact, m.Mismatch):
            found.slips.append(_slip(found.log.name, fact, line, before))
    if state.pairs is not before.pairs:
        touched = dict.fromkeys(JointNumber(j) for f in record.facts if isinstance(j := getattr(f, "pair", None), int))
        for number in touched:
            if state.of(number) != before.of(number):
                found.changes.append(_change(found, number, line, record.facts))


def _take_fact(found: Walk, fact: Fact, line: Line, state: State) -> None:
    log = found.log.name
    match fact:
        case m.SessionOpened() | m.SessionResumed():
            found.sittings.append(_sitting(log, fact, line))
        case m.SessionLeft(reason=reason):
            _end(found, line, f"left ({reason})")
        case m.SessionEnded():
            _end(found, line, "finished")
        case m.CheckAnswered(check=check, done=done, by=by):
            found.answers.append(CheckReply(at=line.at, log=log, check=check, done=done, by=by.value))
        case m.ReadingLogged(pair=pair, number=number, unit=unit):
            lead = spots(state.plan, state.plan.by_number[pair])[0]
            text = f"{number} {unit.value}"
            found.remarks.append(Remark(at=line.at, log=log, record=line.record, lead=lead, text=text, is_reading=True))
        case m.NoteKept(pair=tied, text=text, file=file, sha256=sha256):
            spot = None if tied is None else spots(state.plan, state.plan.by_number[tied])[0]
            found.remarks.append(
                Remark(at=line.at, log=log, record=line.record, lead=spot, text=text, file=file, sha256=sha256)
            )
    if found.sittings:
        found.sittings[-1] = replace(found.sittings[-1], ended=line.at)


def _sitting(log: str, fact: m.SessionOpened | m.SessionResumed, line: Line) -> Sitting:
    return Sitting(
        log=log,
        began=line.at,
        ended=line.at,
        person=fact.who.person,
        microphone=fact.who.microphone,
        ears=fact.who.ears,
        app_version=fact.who.app_version,
        taken_up=isinstance(fact, m.SessionResumed),
        keeps_sound=fact.who.keeps_sound,
    )


def _end(found: Walk, line: Line, how: str) -> None:
    if found.sittings:
        found.sittings[-1] = replace(found.sittings[-1], ended=line.at, end=how)


def _change(found: Walk, number: JointNumber, line: Line, facts: tuple[Fact, ...]) -> StandingChange:
    state, log = found.last, found.log.name
    joint = state.plan.by_number[number]
    lead, *mates = spots(state.plan, joint)
    known = state.of(number)
    for fact in facts:
        if isinstance(fact, m.PairConfirmed) and fact.pair == number:
            found.made[number] = Made(
                how=fact.how.value,
                by=fact.by.value,
                asked_back=fact.asked_back,
                protected=fact.protected,
                person=found.sittings[-1].person if found.sittings else "",
                at=line.at,
                log=log,
                record=line.record,
            )
    return StandingChange(
        at=line.at,
        log=log,
        record=line.record,
        joint=number,
        lead=lead,
        mates=tuple(mates),
        standing=state.standing(joint),
        known=known,
        made=found.made.get(number) if known.confirmed is not None else None,
        reopened=any(isinstance(fact, m.Reopened) for fact in facts),
    )


def _slip(log: str, fact: m.Mismatch, line: Line, before: State) -> Slip:
    end = before.end_in_work.name
    joint = before.expected_joint
    return Slip(
        at=line.at,
        log=log,
        record=line.record,
        expected=() if joint is None else spots(before.plan, joint)[:1],
        called=tuple((end, position) for position in fact.heard),
        call=fact.call,
        followed_by="",
    )


_FOLLOWING = (m.PairConfirmed, m.PairSkipped, m.FaultMarked, m.MovedTo, m.Undone, m.Mismatch)


def _followed(found: Walk) -> Iterator[Slip]:
    """Tell of each slip what was done next; of one walk backwards, so that long logs take no longer."""
    following: dict[int, str] = {}
    words = "nothing more in this log"
    for record, line in zip(reversed(found.log.records), reversed(found.lines), strict=True):
        following[record.number] = words
        done = next((fact for fact in record.facts if isinstance(fact, _FOLLOWING)), None)
        if done is not None:
            words = f"{_named(done, found.last)} at {line.at:%H:%M:%S}"
    for slip in found.slips:
        yield replace(slip, followed_by=following[slip.record])


def _named(fact: Fact, state: State) -> str:
    if isinstance(fact, m.Mismatch):
        return f'another call that did not fit ("{fact.call}")'
    number: JointNumber = getattr(fact, "pair", JointNumber(0))
    end, position = spots(state.plan, state.plan.by_number[number])[0]
    called = f"{end} {state.plan.end_of(state.plan.by_number[number].lead).called(position)[1]}".strip()
    match fact:
        case m.PairConfirmed(how=how):
            return f"{called} confirmed by {how.value}"
        case m.PairSkipped():
            return f"{called} skipped"
        case m.FaultMarked(fault=fault):
            return f"{called} marked {fault.value}"
        case m.MovedTo():
            return f"the work moved to {called}"
        case _:
            return f"the entry for {called} taken back"
