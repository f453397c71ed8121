"""The figures of `crew` counted once more, in plain Python, from records in memory: no SQL, no files."""

import itertools
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from assistant.account.work_time import ENOUGH
from assistant.dialogue.messages import (
    Answered,
    Asked,
    Check,
    CheckAnswered,
    DidYouSay,
    Fact,
    FaultCleared,
    FaultMarked,
    Heard,
    Held,
    Mismatch,
    Missed,
    MovedTo,
    PairConfirmed,
    PairSkipped,
    PairTested,
    QuestionDropped,
    Reopened,
    SessionEnded,
    SessionOpened,
    SessionResumed,
    Undone,
)
from assistant.dialogue.state import State
from assistant.session.record import Record
from assistant.session.replay import rebuild

PAUSE = timedelta(minutes=10)
NO_NAME = "(not given)"
ENOUGH_HOURS = ENOUGH.total_seconds() / 3600
AFTER = "(after the last pair)"
Rows = list[tuple[object, ...]]
Entry = PairConfirmed | FaultMarked | FaultCleared | Reopened | PairSkipped | MovedTo | PairTested
CLOSING = (Asked, Answered, CheckAnswered, QuestionDropped, Held, SessionResumed, SessionEnded)


@dataclass
class Session:
    """One log, looked at in Python."""

    records: Sequence[Record]
    state: State = field(init=False)
    standing: list[tuple[Entry, Record]] = field(init=False)
    opened: SessionOpened = field(init=False)

    def __post_init__(self) -> None:
        self.state = rebuild(self.records)
        self.standing = []
        for record in self.records:
            for fact in record.facts:
                if isinstance(fact, Undone):
                    self.standing.pop()
                elif isinstance(fact, Entry):
                    self.standing.append((fact, record))
        self.opened = next(f for r in self.records for f in r.facts if isinstance(f, SessionOpened))

    def splice(self) -> str:
        """Give the name that the splice must have: title or range, and place."""
        opened = self.opened
        sequence = f"pairs {opened.settings.first} to {opened.settings.last} of {opened.settings.cable_pairs}"
        return f"{self.state.plan.title or sequence}, {opened.settings.place.strip()}"

    def kind(self, joint: int) -> str:
        return self.state.plan.by_number[joint].kind.value

    def confirmed(self) -> dict[int, tuple[PairConfirmed, Record]]:
        """Give each joint that is joined at the end with its last confirmation."""
        last = {fact.pair: (fact, record) for fact, record in self.standing if isinstance(fact, PairConfirmed)}
        return {joint: found for joint, found in last.items() if self.state.of(joint).confirmed is not None}

    def made(self) -> tuple[int, int, int]:
        """Count joints that are confirmed, joined with a fault outstanding, and not joined for a fault."""
        known = [self.state.of(joint.number) for joint in self.state.plan.joints]
        return (
            sum(one.confirmed is not None and not one.faults for one in known),
            sum(one.confirmed is not None and bool(one.faults) for one in known),
            sum(one.confirmed is None and bool(one.faults) for one in known),
        )

    def reopened(self) -> set[int]:
        return {fact.pair for fact, _ in self.standing if isinstance(fact, Reopened)}

    def in_hand(self) -> list[str]:
        """Give the kind of the joint in hand for each record."""
        kinds, kind = [], AFTER
        for record in reversed(self.records):
            done = [fact for fact in record.facts if isinstance(fact, PairConfirmed)]
            kind = self.kind(done[0].pair) if done else kind
            kinds.append(kind)
        return kinds[::-1]

    def worked(self) -> list[timedelta]:
        """Give the working time that each record ends."""
        times = [datetime.fromisoformat(record.at) for record in self.records]
        gaps = [later - before for before, later in itertools.pairwise(times)]
        return [timedelta(0), *(gap if timedelta(0) <= gap <= PAUSE else timedelta(0) for gap in gaps)]

    def who(self) -> list[tuple[str, str]]:
        """Give person and microphone of each record."""
        found, now = [], (NO_NAME, NO_NAME)
        for record in self.records:
            for fact in record.facts:
                if isinstance(fact, SessionOpened | SessionResumed):
                    now = (named(fact.who.person), named(fact.who.microphone))
            found.append(now)
        return found


def named(text: str) -> str:
    return text.strip() or NO_NAME


def percent(part: float, whole: float) -> float | None:
    return 100 * part / whole if whole else None


def pairs_per_hour(sessions: Mapping[str, Session]) -> Rows:
    pairs: Counter[str] = Counter()
    again: Counter[str] = Counter()
    hours: dict[str, float] = {}
    for session in sessions.values():
        for joint in session.confirmed():
            pairs[session.kind(joint)] += 1
            again[session.kind(joint)] += joint in session.reopened()
        if not session.opened.settings.asking:
            for kind, time in zip(session.in_hand(), session.worked(), strict=True):
                hours[kind] = hours.get(kind, 0) + time.total_seconds() / 3600
    return [
        (
            kind,
            pairs[kind],
            again[kind],
            hours.get(kind, 0.0),
            pairs[kind] / hours[kind] if pairs[kind] and hours.get(kind, 0) >= ENOUGH_HOURS else None,
        )
        for kind in sorted({*pairs, *hours})
    ]


def how_confirmed(sessions: Mapping[str, Session]) -> Rows:
    found = Counter((s.kind(j), fact.how.value) for s in sessions.values() for j, (fact, _) in s.confirmed().items())
    of_kind: Counter[str] = Counter()
    for (kind, _), pairs in found.items():
        of_kind[kind] += pairs
    rows: Rows = [
        (kind, how, pairs, percent(pairs, of_kind[kind]), percent(pairs, found.total()))
        for (kind, how), pairs in found.items()
    ]
    return sorted(rows, key=lambda row: (row[0], -row[2], row[1]))  # type: ignore[operator]


def ends_named(sessions: Mapping[str, Session]) -> Rows:
    """A word, a key and a module name no pair."""
    unnamed = (Check.WORD, Check.KEY, Check.MODULE)
    found = Counter(
        (s.kind(j), "none" if fact.how in unnamed else fact.ends.value)
        for s in sessions.values()
        for j, (fact, _) in s.confirmed().items()
    )
    of_kind: Counter[str] = Counter()
    for (kind, _), pairs in found.items():
        of_kind[kind] += pairs
    rows: Rows = [(kind, ends, pairs, percent(pairs, of_kind[kind])) for (kind, ends), pairs in found.items()]
    return sorted(rows, key=lambda row: (row[0], -row[2], row[1]))  # type: ignore[operator]


def mismatches_and_faults(sessions: Mapping[str, Session]) -> Rows:
    pairs: Counter[str] = Counter()
    mismatches: Counter[str] = Counter()
    faults: Counter[str] = Counter()
    left: Counter[str] = Counter()
    kinds: set[str] = set()
    for session in sessions.values():
        kinds |= {session.kind(fact.pair) for fact, _ in session.standing}
        pairs.update(session.kind(joint) for joint in session.confirmed())
        marked = {(f.pair, f.fault) for f, _ in session.standing if isinstance(f, FaultMarked)}
        faults.update(session.kind(joint) for joint, _ in marked)
        left.update(session.kind(joint) for joint, fault in marked if fault in session.state.of(joint).faults)
        for kind, record in zip(session.in_hand(), session.records, strict=True):
            mismatches[kind] += sum(isinstance(fact, Mismatch) for fact in record.facts)
    return [
        (
            kind,
            pairs[kind],
            mismatches[kind],
            percent(mismatches[kind] * 10, pairs[kind]),
            faults[kind],
            percent(faults[kind] * 10, pairs[kind]),
            left[kind],
        )
        for kind in sorted(kinds | {kind for kind, count in mismatches.items() if count})
    ]


def hearing_by_microphone(sessions: Mapping[str, Session]) -> Rows:
    fates: dict[str, Counter[str]] = defaultdict(Counter)
    logs: dict[str, set[str]] = defaultdict(set)
    for name, session in sessions.items():
        for record, (_, microphone) in zip(session.records, session.who(), strict=True):
            if isinstance(record.input, Heard):
                lost = Missed("not understood") in record.facts
                fates[microphone]["not understood" if lost else record.input.judgement] += 1
                logs[microphone].add(name)
    kinds = ("accepted", "ask back", "ignored", "not understood")
    return [
        (
            microphone,
            len(logs[microphone]),
            fates[microphone].total(),
            *(percent(fates[microphone][k], fates[microphone].total()) for k in kinds),
        )
        for microphone in sorted(fates)
    ]


def asked_back_by_person(sessions: Mapping[str, Session]) -> Rows:
    found: dict[str, Counter[str]] = defaultdict(Counter)
    for session in sessions.values():
        people = {record.number: who[0] for record, who in zip(session.records, session.who(), strict=True)}
        for record in session.records:
            found[people[record.number]]["utterances"] += isinstance(record.input, Heard)
        for _, record in session.confirmed().values():
            found[people[record.number]]["pairs"] += 1
        turns: list[tuple[Fact, str]] = [
            (fact, people[record.number])
            for record in session.records
            for fact in record.facts
            if isinstance(fact, CLOSING)
        ]
        for index, (fact, person) in enumerate(turns):
            if isinstance(fact, Asked) and isinstance(fact.question, DidYouSay):
                after = turns[index + 1][0] if index + 1 < len(turns) else None
                found[person]["asked"] += 1
                found[person]["yes"] += after == Answered(yes=True)
                found[person]["no"] += after == Answered(yes=False)
    return [
        (
            person,
            *(of[name] for name in ("pairs", "utterances", "asked", "yes", "no")),
            of["asked"] - of["yes"] - of["no"],
            percent(of["asked"], of["utterances"]),
        )
        for person, of in sorted(found.items())
    ]


def overview(sessions: Mapping[str, Session]) -> Rows:
    rows: Rows = []
    for name, session in sorted(sessions.items()):
        times = [datetime.fromisoformat(record.at).astimezone(UTC).replace(tzinfo=None) for record in session.records]
        opened, state = session.opened, session.state
        sequence = f"{opened.settings.cable_pairs}-pair cable, pairs {opened.settings.first} to {opened.settings.last}"
        rows.append(
            (
                name,
                min(times),
                max(times),
                named(opened.who.person),
                named(opened.settings.place),
                state.plan.title or sequence,
                len(session.records),
                sum(session.worked(), timedelta(0)).total_seconds() / 3600,
                *session.made(),
                "yes" if state.ended else "no",
            )
        )
    return rows


def splices(sessions: Mapping[str, Session]) -> Rows:
    """Each session is a splice of its own here; logs that share one are told of in test_splices."""
    rows: Rows = []
    for session in sessions.values():
        if not session.opened.settings.asking:
            to_join = len(session.state.plan.to_join)
            made = session.made()
            rows.append((session.splice(), 1, to_join, *made, to_join - sum(made)))
    return sorted(rows, key=lambda row: str(row[0]))


def by_person(sessions: Mapping[str, Session]) -> Rows:
    found: dict[tuple[str, str], list[int]] = {}
    hours: dict[tuple[str, str], float] = defaultdict(float)
    for session in sessions.values():
        if session.opened.settings.asking:
            continue
        people = {record.number: who[0] for record, who in zip(session.records, session.who(), strict=True)}
        for record, time in zip(session.records, session.worked(), strict=True):
            hours[people[record.number], session.splice()] += time.total_seconds() / 3600
        last = {fact.pair: record.number for fact, record in session.standing if isinstance(fact, PairConfirmed)}
        for joint, number in last.items():
            known = session.state.of(joint)
            if known.confirmed is not None:
                counts = found.setdefault((people[number], session.splice()), [0, 0])
                counts[bool(known.faults)] += 1
    rows: Rows = []
    for who, worked in sorted(hours.items()):
        counts = found.get(who, [0, 0])
        rows.append((*who, *counts, worked, sum(counts) / worked if worked >= ENOUGH_HOURS else None))
    return rows


COUNTS = {
    count.__name__: count
    for count in (
        pairs_per_hour,
        how_confirmed,
        ends_named,
        mismatches_and_faults,
        hearing_by_microphone,
        asked_back_by_person,
        overview,
        splices,
        by_person,
    )
}
"""Question -> how to count it."""
