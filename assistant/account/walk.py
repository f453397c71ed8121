"""One walk through the records of one log: all that an account takes from it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import assert_never

from assistant.account.identity import Splice, earlier_of, splice_of
from assistant.account.story import AccountError, Line, line_of, lost_words
from assistant.account.times import LogClock, clock_of
from assistant.cable.makeup import Position
from assistant.cable.splice_plan import Joint, JointNumber, Place, Plan
from assistant.dialogue import messages as m
from assistant.dialogue.messages import AsBuiltFact, Fact, PairState
from assistant.dialogue.naming import put_off_for
from assistant.dialogue.state import Standing, State
from assistant.dialogue.tags import FACT_TAGS
from assistant.errors import AssistantError
from assistant.session.record import LaterInput, Record, RecordsLost
from assistant.session.replay import HistoryError, forged, refusing_forgery, steps
from assistant.words.intents import Fault

CONFIRMATIONS = (FACT_TAGS[m.PairConfirmed], m.PairConfirmed.__name__)
"""How `undone` names a confirmation; logs before 0.2 have the name of its class."""
FINISHED, STOPPED_FOR_TODAY = "finished", "stopped for today"
"""How a sitting ends on purpose."""
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
    sums: tuple[str, ...] = ()
    """Checksum of each record."""
    damages: tuple[str, ...] = ()
    """Where the file is not what was written, a line each; empty where it is."""
    seal: str = "not sealed"
    """holds, broken, unknown key or not sealed."""
    seal_line: str = "not sealed"
    """The same with key and time, for reading."""

    @property
    def count(self) -> int:
        """How many records are there, without those that are lost."""
        return sum(not isinstance(record.input, RecordsLost) for record in self.records)

    @property
    def earlier(self) -> m.EarlierWork | None:
        """What the earlier logs came to that it goes on with; None where it goes on with none."""
        return earlier_of(self.records)


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
    ends: str
    """near, far or both: which sides of the joint were named; none where it was not named at all, and not told where
    only an earlier log tells, which was not given."""
    far_ends: tuple[str, ...]
    """Names of the ends whose pair was named as the far side."""


NOT_NAMED = "none"
"""Which sides were named, where a joint was confirmed without being named."""
NOT_TOLD = "not told"
"""The same, where it was confirmed in an earlier log that was not given."""
ENDS_NAMED: dict[str, str] = {
    m.Ends.BOTH.value: "both ends named",
    m.Ends.FAR.value: "far end alone named",
    m.Ends.NEAR.value: "near end alone named",
    NOT_NAMED: "no end named",
    NOT_TOLD: "told by an earlier log only",
}
"""The same for reading, the surest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingChange:
    """A joint that stands otherwise than before."""

    at: datetime
    turn: datetime
    """The time by which changes of several logs are put in order."""
    log: str
    record: int
    joint: int
    """Its number in the plan of this log."""
    lead: Spot
    mates: tuple[Spot, ...]
    standing: Standing
    was: PairState
    """What this log knew of it before."""
    known: PairState
    made: Made | None
    reopened: bool = False
    cleared: tuple[Fault, ...] = ()
    """Faults that were said to be mended; a mark that was only taken back is not."""
    doubt: str = ""
    """Why nobody can tell whether it is joined; empty where the log says."""
    carried: bool = False
    """Whether it is what earlier logs came to when this one went on with them, and no change made here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """A note or a reading, with the pair it is tied to."""

    at: datetime
    turn: datetime
    log: str
    record: int
    lead: Spot | None
    text: str
    file: str = ""
    """Sound file of a spoken note, in the folder of the log."""
    sha256: str = ""
    is_reading: bool = False
    is_as_built: bool = False
    """Whether it tells what was built otherwise than planned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AsBuilt:
    """What was built otherwise than planned, and not taken back."""

    at: datetime
    turn: datetime
    log: str
    record: int
    fact: AsBuiltFact
    spots: tuple[Spot, ...]
    """The pair that is left or put off; of a spare in its place, both; of a joint that was added, all its pairs."""
    kind: str
    """spare used, joint added, put off, or reversed on purpose."""
    reason: str = ""
    """Why it is put off, and what was tried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """A call that was not what was expected, and what followed."""

    at: datetime
    turn: datetime
    log: str
    record: int
    expected: tuple[Spot, ...]
    called: tuple[Spot, ...]
    """Pairs that the call names; none where it contradicts itself or names none of this cable."""
    call: str
    followed_by: str
    far: tuple[Spot, ...] = ()
    """Pairs that the call names as the far side of the joint."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """A session, or the part of it after it was taken up again."""

    log: str
    record: int
    """The last one of it."""
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
    record: int
    check: str
    done: bool
    by: str


@dataclass(slots=True)
class Walk:
    """What one log gives. Built by `walk`, and not changed afterwards."""

    log: ReadLog
    opened: m.SessionOpened
    splice: Splice
    clock: LogClock
    last: State
    lines: list[Line] = field(default_factory=list)
    changes: list[StandingChange] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    slips: list[Slip] = field(default_factory=list)
    sittings: list[Sitting] = field(default_factory=list)
    answers: list[CheckReply] = field(default_factory=list)
    made: dict[int, list[Made]] = field(default_factory=dict)
    """How each joint was confirmed, without what was taken back; the last one stands."""
    as_built: list[AsBuilt] = field(default_factory=list)
    """What was built otherwise than planned, without what was taken back."""
    carried: list[StandingChange] = field(default_factory=list)
    """How the joints stood when it went on with earlier logs."""
    built: tuple[AsBuiltFact, ...] = ()
    """What the earlier logs had built otherwise then."""
    followed: dict[int, str] = field(default_factory=dict)
    """Number of a slip's record -> what was done next, in a few words."""
    unfollowed: list[int] = field(default_factory=list)
    """Numbers of the records of slips behind which nothing was done so far."""
    later: list[int] = field(default_factory=list)
    """Records that hold what a later version wrote."""
    until: Line | None = None
    """The last step that a fact came of: how long the sitting lasted so far."""

    @property
    def touched(self) -> bool:
        """Whether anything was done in it."""
        return bool(self.changes)


def walk(log: ReadLog, not_before: datetime | None = None) -> Walk:
    """Walk through a log; `not_before` is where the logs end, on a clock that goes on, that it goes on from.

    Raises:
        AccountError: it holds no session that joins anything, or a time that is none.

    """
    opened = next((f for r in log.records[:1] for f in r.facts if isinstance(f, m.SessionOpened)), None)
    if opened is None:
        lost = any(isinstance(record.input, RecordsLost) for record in log.records[:1])
        why = "its beginning is lost, so that nobody can tell which cable it was; give a copy of it too" if lost else ""
        raise AccountError(f"{log.name}: {why or 'holds no session'}")
    if opened.settings.asking:
        raise AccountError(f"{log.name}: is a session of questions only, in which nothing is joined")
    found: Walk | None = None
    try:
        clock = clock_of(log.records, not_before)
        jumps = {jump.record for jump in clock.jumps}
        for turn, (before, record, state) in zip(clock.turns, steps(log.records), strict=True):
            found = found or Walk(log, opened, splice_of(opened, log.records, state), clock, state)
            found.last = state
            try:
                _take(found, before, record, line_of(record, before, turn, clock_set=record.number in jumps))
            except AssistantError:
                raise
            except Exception as error:  # as `refusing_forgery`, which takes its time in a long log
                raise forged(record, error) from error
        assert found is not None
        _close_sitting(found)
        with refusing_forgery(log.records[-1]):
            found.slips = list(_followed(found))
    except (AccountError, HistoryError) as error:
        raise AccountError(f"{log.name}: {error}") from error
    return found


def spots(plan: Plan, joint: Joint) -> tuple[Spot, ...]:
    """Give the pairs of a joint, the one that is called first."""
    return tuple((plan.ends[place.end].name, place.position) for place in joint.places)


_ONLY_SAID = (m.Said, m.Repeated, m.Missed)
"""Facts that leave nothing in an account but their step: most of a long log."""


def _take(found: Walk, before: State, record: Record, line: Line) -> None:
    state = found.last
    found.lines.append(line)
    if record.later or isinstance(record.input, LaterInput):
        found.later.append(record.number)
    facts = [f for f in record.facts if not isinstance(f, _ONLY_SAID) and _is_there(f, before, state)]
    named = (number for fact in facts for number in _joints_named(fact))
    touched = dict.fromkeys(number for number in named if number in state.plan.by_number)
    made = {number: _last(found.made.get(number)) for number in touched}
    for fact in facts:
        _take_fact(found, fact, line, state)
        _keep_made(found, fact, line)
        _keep_as_built(found, fact, line)
        if isinstance(fact, m.Mismatch):
            found.slips.append(_slip(found.log.name, fact, line, before))
        if isinstance(fact, m.WorkTakenUp):
            _take_up(found, line, before)
    _keep_followed(found, facts, line, before)
    if record.facts:
        found.until = line
    doubtful = _doubtful(record, state)
    for number in [*doubtful, *(joint for joint in touched if joint not in doubtful)]:
        again = made.get(number) is not _last(found.made.get(number))  # by another person, and as before
        other = before.plan.by_number.get(number) != state.plan.by_number[number]
        if other or state.of(number) != before.of(number) or number in doubtful or again:
            found.changes.append(_change(found, number, line, record.facts, before, doubtful.get(number, "")))


def _take_up(found: Walk, line: Line, before: State) -> None:
    """Keep how the joints stood in the earlier logs: who made them, and when, only these can tell."""
    state, earlier = found.last, found.last.earlier
    if earlier is None:
        return
    found.built = earlier.built
    again = {number for number in earlier.again if number in state.plan.by_number}
    for number in sorted({*state.pairs, *again}):
        why = f"{found.log.name} has it called again, since the logs before it did not tell"
        change = _change(found, number, line, (), before, why if number in again else "")
        how = change.known.confirmed
        made = how and Made(
            how=how.value,
            by="",
            asked_back=False,
            protected="",
            person="",
            at=line.at,
            log=found.log.name,
            record=line.record,
            ends=NOT_TOLD,
            far_ends=(),
        )
        found.carried.append(replace(change, made=made or None, carried=True))


def _keep_followed(found: Walk, facts: Sequence[Fact], line: Line, before: State) -> None:
    """Keep what followed the slips before this step, and that something is to follow its own."""
    done = next((fact for fact in facts if isinstance(fact, _Following)), None)
    if done is not None and found.unfollowed:
        words = f"{_named(done, before, found.last)} at {line.at:%H:%M:%S}"
        found.followed.update(dict.fromkeys(found.unfollowed, words))
        found.unfollowed.clear()
    if any(isinstance(fact, m.Mismatch) for fact in facts):
        found.unfollowed.append(line.record)


def _is_there(fact: Fact, before: State, after: State) -> bool:
    """Tell whether a fact's joint is there; behind lost records it may have come to be in them."""
    number = None if isinstance(fact, m.LookedUp) else getattr(fact, "pair", None)
    return number is None or number in before.plan.by_number or number in after.plan.by_number


def _joints_named(fact: Fact) -> Iterator[JointNumber]:
    """Give the joints that a fact changes."""
    if isinstance(number := getattr(fact, "pair", None), int):
        yield JointNumber(number)
    if isinstance(fact, m.PairReplaced):
        yield fact.number


def _doubtful(record: Record, state: State) -> dict[JointNumber, str]:
    """Give the joints of which a record leaves open how they stand, with the reason."""
    if isinstance(record.input, RecordsLost):
        return dict.fromkeys((j for j in record.input.doubtful if j in state.plan.by_number), lost_words(record))
    later = (fact.pair for fact in record.later if fact.pair in state.plan.by_number)
    return {joint: f"record {record.number} is of a later version" for joint in later if joint is not None}


NoPart = (
    m.PairConfirmed
    | m.FaultMarked
    | m.FaultCleared
    | m.Reopened
    | m.CalledOut
    | m.PaceSet
    | m.CallingDropped
    | m.TalkSet
    | m.VerifyingBegun
    | m.PairTested
    | m.VerifyingEnded
    | m.PairSkipped
    | m.MovedTo
    | m.PairReplaced
    | m.JointAdded
    | m.PairPutOff
    | m.ReversalTagged
    | m.Undone
    | m.EarlierWork
    | m.WorkTakenUp
    | m.WorkBegunAnew
    | m.Mismatch
    | m.LookedUp
    | m.GroupNamed
    | m.GroupTaken
    | m.Asked
    | m.Answered
    | m.QuestionDropped
    | m.Missed
    | m.Held
    | m.CarriedOn
    | m.Said
    | m.Repeated
    | m.TroubleHeard
    | m.DeviceLost
    | m.MicrophoneTroubled
    | m.SoundMissed
)
"""Facts whose outcome is read off the state, or which are no part of the account."""


def _take_fact(found: Walk, fact: Fact, line: Line, state: State) -> None:
    log = found.log.name
    match fact:
        case m.SessionOpened() | m.SessionResumed():
            _close_sitting(found)
            found.sittings.append(_sitting(log, fact, line))
        case m.SessionLeft(reason=reason):
            _end(found, f"left ({reason})")
        case m.SessionEnded(for_today=for_today):
            _end(found, STOPPED_FOR_TODAY if for_today else FINISHED)
        case m.CheckAnswered():
            found.answers.append(_reply(log, fact, line))
        case m.ReadingLogged(pair=pair, unit=unit):
            lead = spots(state.plan, state.plan.by_number[pair])[0]
            text = f"{fact.value} {unit.value}"
            found.remarks.append(_remark(log, line, lead, text, is_reading=True))
        case m.NoteKept(pair=tied, text=text, file=file, sha256=sha256):
            spot = None if tied is None else spots(state.plan, state.plan.by_number[tied])[0]
            found.remarks.append(_remark(log, line, spot, text, file=file, sha256=sha256))
        case other:
            _take_nothing(other)


def _take_nothing(_fact: NoPart) -> None:
    """Leave a fact alone; a kind of fact that is not listed is found by the checker of types."""


def _reply(log: str, fact: m.CheckAnswered, line: Line) -> CheckReply:
    return CheckReply(at=line.at, log=log, record=line.record, check=fact.check, done=fact.done, by=fact.by.value)


def _remark(
    log: str, line: Line, lead: Spot | None, text: str, *, file: str = "", sha256: str = "", is_reading: bool = False
) -> Remark:
    return Remark(
        at=line.at,
        turn=line.turn,
        log=log,
        record=line.record,
        lead=lead,
        text=text,
        file=file,
        sha256=sha256,
        is_reading=is_reading,
    )


def _sitting(log: str, fact: m.SessionOpened | m.SessionResumed, line: Line) -> Sitting:
    return Sitting(
        log=log,
        record=line.record,
        began=line.at,
        ended=line.at,
        person=fact.who.person,
        microphone=fact.who.microphone,
        ears=fact.who.ears,
        app_version=fact.who.app_version,
        taken_up=isinstance(fact, m.SessionResumed),
        keeps_sound=fact.who.keeps_sound,
    )


def _end(found: Walk, how: str) -> None:
    if found.sittings:
        found.sittings[-1] = replace(found.sittings[-1], end=how)


def _close_sitting(found: Walk) -> None:
    """Say how long the last sitting lasted: to the last step that a fact came of."""
    if found.sittings and found.until is not None:
        found.sittings[-1] = replace(found.sittings[-1], ended=found.until.at, record=found.until.record)


def _change(
    found: Walk, number: JointNumber, line: Line, facts: tuple[Fact, ...], before: State, doubt: str
) -> StandingChange:
    state, log = found.last, found.log.name
    joint = state.plan.by_number[number]
    lead, *mates = spots(state.plan, joint)
    known = state.of(number)
    return StandingChange(
        at=line.at,
        turn=line.turn,
        log=log,
        record=line.record,
        joint=number,
        lead=lead,
        mates=tuple(mates),
        standing=state.standing(joint),
        was=before.of(number),
        known=known,
        made=_last(found.made.get(number)) if known.confirmed is not None else None,
        reopened=any(isinstance(fact, m.Reopened) for fact in facts),
        cleared=tuple(f.fault for f in facts if isinstance(f, m.FaultCleared) and f.pair == number),
        doubt=doubt,
    )


def _last(made: list[Made] | None) -> Made | None:
    return made[-1] if made else None


def _keep_made(found: Walk, fact: Fact, line: Line) -> None:
    """Keep how a joint was confirmed, or forget it where that is taken back."""
    if isinstance(fact, m.PairConfirmed):
        one = Made(
            how=fact.how.value,
            by=fact.by.value,
            asked_back=fact.asked_back,
            protected=fact.protected,
            person=found.sittings[-1].person if found.sittings else "",
            at=line.at,
            log=found.log.name,
            record=line.record,
            ends=fact.ends.value if fact.how.names_a_pair else NOT_NAMED,
            far_ends=tuple(found.last.plan.ends[end].name for end in fact.far_ends),
        )
        found.made.setdefault(fact.pair, []).append(one)
    elif isinstance(fact, m.Undone) and fact.entry in CONFIRMATIONS and found.made.get(fact.pair):
        found.made[fact.pair].pop()


AS_BUILT = {
    m.PairReplaced: "spare used",
    m.JointAdded: "joint added",
    m.PairPutOff: "put off",
    m.ReversalTagged: "reversed on purpose",
}


_AS_BUILT_TAGS = {FACT_TAGS[kind] for kind in AS_BUILT}


def _keep_as_built(found: Walk, fact: Fact, line: Line) -> None:
    """Keep what was built otherwise, or forget it where that is taken back."""
    if isinstance(fact, m.Undone) and fact.entry in _AS_BUILT_TAGS:
        if found.as_built and found.as_built[-1].fact.pair == fact.pair:
            found.as_built.pop()
        return
    if not isinstance(fact, AsBuiltFact):
        return
    plan, reason = found.last.plan, ""
    match fact:
        case m.PairReplaced(old=old, new=new):
            places: tuple[Place, ...] = (old, new)
        case m.JointAdded(places=places):
            pass
        case m.PairPutOff(pair=pair):
            places = (plan.by_number[pair].lead,)
            reason = put_off_for(fact.reason, fact.tried)
        case m.ReversalTagged(pair=pair, tagged=tagged):
            places = (plan.by_number[pair].lead,)
            reason = "reversed on purpose, and tagged" if tagged else "the tag of its reversal was taken off"
        case never:
            assert_never(never)
    found.as_built.append(
        AsBuilt(
            at=line.at,
            turn=line.turn,
            log=found.log.name,
            record=line.record,
            fact=fact,
            spots=tuple((plan.ends[place.end].name, place.position) for place in places),
            kind=AS_BUILT[type(fact)],
            reason=reason,
        )
    )


def _slip(log: str, fact: m.Mismatch, line: Line, before: State) -> Slip:
    end = before.end_in_work.name
    joint = before.expected_joint
    return Slip(
        at=line.at,
        turn=line.turn,
        log=log,
        record=line.record,
        expected=() if joint is None else spots(before.plan, joint)[:1],
        called=tuple((end, position) for position in fact.heard),
        call=fact.call,
        followed_by="",
        far=tuple((before.plan.end_of(place).name, place.position) for place in fact.far),
    )


_Following = (
    *(m.PairConfirmed, m.PairSkipped, m.FaultMarked, m.MovedTo, m.Undone, m.Mismatch),
    *(m.PairReplaced, m.JointAdded, m.PairPutOff, m.ReversalTagged),
)
"""Facts that tell what was done next after a call that did not fit."""


def _followed(found: Walk) -> Iterator[Slip]:
    """Tell of each slip what was done next."""
    for slip in found.slips:
        yield replace(slip, followed_by=found.followed.get(slip.record, "nothing more in this log"))


def _named(fact: Fact, before: State, after: State) -> str:
    """Say what a fact did; a joint that it adds is only known after it, one that it takes away only before."""
    if isinstance(fact, m.Mismatch):
        return f'another call that did not fit ("{fact.call}")'
    assert isinstance(fact, _Following)
    plan = before.plan if fact.pair in before.plan.by_number else after.plan
    joint = plan.by_number[fact.pair]
    end, position = spots(plan, joint)[0]
    called = f"{end} {plan.end_of(joint.lead).called(position)[1]}".strip()
    match fact:
        case m.PairConfirmed(how=how, ends=ends):
            sides = "" if ends is m.Ends.NEAR else f", {ENDS_NAMED[ends.value]}"
            return f"{called} confirmed by {how.value}{sides}"
        case m.PairSkipped():
            return f"{called} skipped"
        case m.FaultMarked(fault=fault):
            return f"{called} marked {fault.value}"
        case m.MovedTo():
            return f"the work moved to {called}"
        case m.Undone():
            return f"the entry for {called} taken back"
        case m.PairReplaced():
            return f"a spare used in place of {called}"
        case m.JointAdded():
            return f"{called} added to the joints"
        case m.ReversalTagged(tagged=tagged):
            return f"{called} {'tagged as' if tagged else 'no longer'} reversed on purpose"
        case m.PairPutOff(reason=reason):
            return f"{called} put off, {reason.value}"
        case never:
            assert_never(never)
