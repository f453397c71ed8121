"""The state after so many records of a log, as bytes: a cache, so that a long log need not be folded again.

It says of which log it is by the checksum of its last record, which stands for all before it, and of which program by
a digest of all that makes states out of records. What is not exactly so, or was changed on the disk, is no snapshot.
It proves nothing: whoever can write it could write the log too, so that nothing that checks or reports reads one.
Must not know files.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any, get_args, get_type_hints

import msgspec
from immutables import Map

from assistant.cable.splice_plan import JointNumber, Plan
from assistant.dialogue import messages as m
from assistant.dialogue.messages import EntryFact, PairState
from assistant.dialogue.state import AtWork, State, UndoPoint, Verifying, plan_for, undo_point
from assistant.dialogue.tags import FACT_TAGS
from assistant.session.record import fact_object, read_fact
from assistant.session.salvage import Known

_MADE_ANEW = ("plan", "pairs", "undo", "question", "earlier")
"""Fields of a state that are kept in another way than the rest."""
_HINTS = get_type_hints(State)
_Plain = msgspec.defstruct(
    "_Plain",
    [(one.name, _HINTS[one.name]) for one in fields(State) if one.name not in _MADE_ANEW],
    forbid_unknown_fields=True,
)


class _Undo(msgspec.Struct, forbid_unknown_fields=True):
    """One entry that can be taken back, and what was before it."""

    tag: str
    fact: msgspec.Raw
    was: PairState | None
    """What was known of its joint; None where nothing was ever noted."""
    expected: JointNumber | None
    verifying: Verifying | None
    at_work: AtWork


class _Content(msgspec.Struct, forbid_unknown_fields=True):
    program: str
    number: int
    sum: str
    length: int
    digest: str
    plain: _Plain  # type: ignore[valid-type]  # it is made from the fields of a state
    question: dict[str, Any] | None
    """As the fact that asks it."""
    pairs: dict[JointNumber, PairState]
    undo: list[_Undo]
    """The latest first."""


_encode = msgspec.json.Encoder().encode
_decode = msgspec.json.Decoder(_Content).decode
_FACTS = {FACT_TAGS[kind]: msgspec.json.Decoder(kind).decode for kind in get_args(EntryFact)}
_DIGEST = 64
"""Hex digits in front, of the SHA-256 of all that follows."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The state after the records up to one of them."""

    known: Known
    state: State


def can_be_kept(state: State) -> bool:
    """Tell whether a snapshot can hold a state: the plan must be the one that the session began with.

    Of a log that goes on from others none is made: what they come to stands in its first record.
    """
    if state.earlier is not None:
        return False
    point = state.undo
    while point is not None:
        if isinstance(point.fact, m.PairReplaced | m.JointAdded):
            return False
        point = point.before
    return True


def to_bytes(snapshot: Snapshot, program: str) -> bytes:
    """Give the bytes that keep a snapshot; `program` is the digest of what makes states out of records."""
    state, known = snapshot.state, snapshot.known
    asked = None if state.question is None else fact_object(m.Asked(state.question))
    content = _Content(
        program=program,
        number=known.number,
        sum=known.sum,
        length=known.length,
        digest=known.digest,
        plain=_Plain(*(getattr(state, name) for name in _Plain.__struct_fields__)),
        question=asked,
        pairs=dict(state.pairs),
        undo=list(_points(state.undo)),
    )
    body = _encode(content)
    return hashlib.sha256(body).hexdigest().encode() + body


def from_bytes(data: bytes, program: str) -> Snapshot | None:
    """Read a snapshot; None where it is none, is not whole, or another program made it."""
    digest, body = data[:_DIGEST], data[_DIGEST:]
    if hashlib.sha256(body).hexdigest().encode() != digest:
        return None
    try:
        content = _decode(body)
        if content.program != program:
            return None
        return Snapshot(Known(content.number, content.sum, content.length, content.digest), _state(content))
    except Exception:  # it is only a cache: whatever is wrong with it, the log is read instead
        return None


def _points(undo: UndoPoint | None) -> Iterator[_Undo]:
    """Give all that can be taken back, the latest first."""
    while undo is not None:
        yield _Undo(
            tag=FACT_TAGS[type(undo.fact)],
            fact=msgspec.Raw(_encode(undo.fact)),
            was=undo.pairs.get(undo.pair),
            expected=undo.expected,
            verifying=undo.verifying,
            at_work=undo.at_work,
        )
        undo = undo.before


def _state(content: _Content) -> State:
    plain = msgspec.structs.asdict(content.plain)
    pairs = Map(content.pairs)
    question = None
    if content.question is not None:
        asked = read_fact(content.question)
        assert isinstance(asked, m.Asked)
        question = asked.question
    plan = plan_for(plain["settings"])
    return State(plan=plan, pairs=pairs, undo=_undo(content.undo, plan, pairs), question=question, **plain)


def _undo(points: list[_Undo], plan: Plan, pairs: Map[JointNumber, PairState]) -> UndoPoint | None:
    """Make the chain of what can be taken back: each entry changed what was known of its joint, and nothing else."""
    found: list[tuple[_Undo, EntryFact, Map[JointNumber, PairState]]] = []
    for point in points:
        fact = _FACTS[point.tag](bytes(point.fact))
        pairs = pairs.delete(fact.pair) if point.was is None else pairs.set(fact.pair, point.was)
        found.append((point, fact, pairs))
    before: UndoPoint | None = None
    for point, fact, then in reversed(found):
        before = undo_point(fact, plan, then, point.expected, point.verifying, point.at_work, before)
    return before
