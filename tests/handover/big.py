"""Large splices of three days and three people, made directly as records: no session is run for them."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta

from assistant.account.walk import ReadLog
from assistant.cable.colour_code import Order
from assistant.cable.plan_text import read_plan
from assistant.cable.splice_plan import JointNumber, Site
from assistant.dialogue import messages as m
from assistant.dialogue.messages import NOT_YET, Attendance, Channel, Check, Fact, PairTest, Typed
from assistant.session.record import Record
from assistant.words.intents import Fault

BEGAN = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
PEOPLE = ("first", "second", "third")
FAULTS = tuple(Fault)
WAYS = (
    Check.NUMBER_AND_COLOURS,
    Check.NUMBER_AND_COLOURS,
    Check.NUMBER_AND_COLOURS,
    Check.COLOURS,
    Check.NUMBER,
    Check.KEY,
)


def plan_text(joints: int) -> str:
    """Give a plan of so many joints, of one in twelve transferred, with dead, spare and protected pairs.

    Cables have at most 6,000 pairs, so that more joints take several of them.
    """
    cables = -(-joints // 6000)
    each = joints // cables
    straight = each * 10 // 12
    dead, spare = straight + each // 24, straight + each // 12
    ends, joins = [], []
    for letter in "abcdefgh"[:cables]:
        ends.append(_end(f"in{letter}", each, f"main 1-{each}"))
        ends.append(_end(f"out{letter}", each, f"main 1-{straight}; old {straight + 1}-{spare}; east 1-{each - spare}"))
        joins.append(
            f"""[[join]]
kind = "straight"
from = "in{letter} main 1-{straight}"
to = "out{letter} main 1-{straight}"
[[join]]
kind = "dead"
from = "in{letter} main {straight + 1}-{dead}"
reason = "cut off"
[[join]]
kind = "spare"
from = "in{letter} main {dead + 1}-{spare}"
[[join]]
kind = "transfer"
from = "in{letter} main {spare + 1}-{each}"
to = "out{letter} east 1-{each - spare}"
"""
        )
    return "\n".join(['title = "Mill Lane"', 'site = "manhole"', *ends, *joins])


def _end(name: str, pairs: int, counts: str) -> str:
    return f'[[end]]\nname = "{name}"\npairs = {pairs}\ncount = "{counts}"\n'


def records(joints: int, faults: int) -> Iterator[Record]:
    """Give the records: joints one by one, so many faults, every tenth of them mended, the last hundredth left."""
    text = plan_text(joints)
    to_join = read_plan(text).to_join
    every = max(2, len(to_join) // faults)
    left = len(to_join) - len(to_join) // 100
    number, at = 0, BEGAN

    def record(*facts: Fact, after_s: float = 9.0) -> Record:
        nonlocal number, at
        number, at = number + 1, at + timedelta(seconds=after_s)
        return Record(number=number, at=at.isoformat(timespec="milliseconds"), input=Typed("x", NOT_YET), facts=facts)

    settings = m.SessionSettings(plan_text=text, site=Site.MANHOLE, pair_order=Order.RING_FIRST, place="vault 7")
    yield record(m.SessionOpened(settings, Attendance(person=PEOPLE[0])))
    for index, joint in enumerate(to_join[:left]):
        if index and index % (len(to_join) // 3 + 1) == 0:
            who = Attendance(person=PEOPLE[index // (len(to_join) // 3 + 1)])
            yield record(m.SessionResumed(who), after_s=14 * 3600)
        turn = index // every
        if index % every == 1 and turn < faults:
            yield from _faulty(record, joint, turn)
        elif index % 997 == 5:
            yield record(m.PairSkipped(joint))
        else:
            how = WAYS[index % len(WAYS)]
            yield record(m.PairConfirmed(pair=joint, how=how, by=Channel.VOICE, asked_back=False))
    for joint in to_join[2:52]:
        yield record(m.PairTested(pair=joint, test=PairTest.CONTINUITY, passed=joint % 7 != 0, by=Channel.KEYS))


def _faulty(make: Callable[..., Record], joint: JointNumber, turn: int) -> Iterator[Record]:
    """Give a pair that is faulty and not joined, joined all the same, or mended and joined."""
    marked = m.FaultMarked(pair=joint, fault=FAULTS[turn % len(FAULTS)], by=Channel.VOICE)
    made = m.PairConfirmed(pair=joint, how=Check.NUMBER_AND_COLOURS, by=Channel.VOICE, asked_back=False)
    yield make(marked)
    if turn % 3 == 1:
        yield make(made)
    elif turn % 10 == 2:
        cleared = m.FaultCleared(pair=joint, fault=marked.fault, by=Channel.VOICE)
        yield make(cleared)
        yield make(made)


def log(joints: int, faults: int) -> ReadLog:
    """Give them as a log that was read."""
    made = tuple(records(joints, faults))
    return ReadLog(name="vault.jsonl", records=made, sha256="0" * 64, last_sum="0" * 16)
