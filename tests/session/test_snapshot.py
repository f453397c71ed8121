"""Going on from a snapshot is going on from the whole log: the same state, and the same answers to all that follows.

The fold of the whole log is the measure; a snapshot that is not exactly of this log and this program is not used.
"""

import random
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.cable.splice_plan import JointNumber, Site
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import Input, SessionSettings, TimedOut, Typed
from assistant.dialogue.state import State, UndoPoint, fold
from assistant.session.journal import FileJournal
from assistant.session.record import FIRST_SUM, RecordsLost, check, proven
from assistant.session.replay import rebuild, settled
from assistant.session.salvage import known_of, read_log
from assistant.session.snapshot import Snapshot, can_be_kept, from_bytes, to_bytes
from tests.account.sessions import TWO_WAYS, Session
from tests.dialogue.conversation import resume, utterance

PROGRAM = "a" * 64
PROTECTED = TWO_WAYS + '\n[[protect]]\npairs = "west elm 2-3"\nreason = "alarm line"\n'
KINDS: dict[str, dict[str, Any]] = {
    "straight": {"cable": 50},
    "any order": {"cable": 50, "any_order": True},
    "plan": {"plan": TWO_WAYS},
    "short checks": {"plan": PROTECTED, "site": Site.MANHOLE, "short_checks": True},
    "questions": {"cable": 100, "asking": True},
}
TEXTS = (
    *("confirm", "confirm", "confirm", "pair two", "pair 7", "blue white", "skip this pair", "undo that", "undo that"),
    *("mark wet", "mark split pair 6 and pair 9", "joined but noisy", "clear wet", "redo pair 2", "redo pair 5"),
    *("go to pair 30", "go to group two", "go to cable two", "which faults", "where am i", "what is pair forty seven"),
    *(
        "group two",
        "start verification",
        "test good",
        "mark open",
        "reading five hundred mega ohms",
        "end verification",
    ),
    *("call them out", "faster", "confirm module", "hold on", "carry on", "note damp", "finish session", "no", "yes"),
)


def came(chance: random.Random, state: State) -> Input:
    """Give something that comes in: mostly said to what was put last, at times early, asked back, or out of time."""
    draw = chance.random()
    text = chance.choice(TEXTS)
    if draw < 0.05:
        return resume(person=chance.choice(["", "second"]), microphone=chance.choice(["", "headset"]))
    if draw < 0.15 and state.called_out:
        return TimedOut(chance.choice(state.called_out))
    if draw < 0.2:
        return utterance(text, "ask back", state.announcement)
    if draw < 0.25:
        return Typed(text, max(0, state.announcement - 1))
    if draw < 0.3 and state.expected is not None:
        return TimedOut(state.expected)
    if state.question is not None and draw < 0.7:
        return Typed(chance.choice(["yes", "yes", "no"]), state.announcement)
    return Typed(text, state.announcement)


def session(kind: str, seed: int, count: int) -> Session:
    chance = random.Random(seed)
    made = Session(**KINDS[kind])
    for _ in range(count):
        made.put(came(chance, made.state))
    return made


def chain(undo: UndoPoint | None) -> Iterator[tuple[object, ...]]:
    while undo is not None:
        yield undo.fact, undo.pair, undo.same_entry, dict(undo.pairs), undo.expected, undo.verifying
        undo = undo.before


def alike(one: State, other: State) -> None:
    """Compare all of two states, to the last type, and all that can be taken back."""
    for field in fields(State):
        if field.name != "undo":
            here, there = getattr(one, field.name), getattr(other, field.name)
            assert (type(here), here) == (type(there), there), field.name
    assert list(chain(one.undo)) == list(chain(other.undo))


def kept(made: Session, number: int) -> tuple[Snapshot, bytes]:
    """Give a snapshot of the state after a record, read back from its bytes, and the log."""
    data = made.data()
    lines = data.splitlines(keepends=True)
    known = known_of(b"".join(lines[:number]), number, read_log(data).sums[number - 1])
    back = from_bytes(to_bytes(Snapshot(known, rebuild(made.records[:number])), PROGRAM), PROGRAM)
    assert back is not None
    assert back.known == known
    return back, data


@pytest.mark.parametrize("kind", KINDS)
@settings(deadline=None, max_examples=30)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(0, 60), data=st.data())
def test_going_on_from_a_snapshot_is_going_on_from_the_whole_log(kind, seed, count, data) -> None:
    made = session(kind, seed, count)
    number = data.draw(st.integers(1, len(made.records)))
    back, log = kept(made, number)
    alike(back.state, rebuild(made.records[:number]))
    loaded, whole = read_log(log, back.known), read_log(log)
    assert loaded.records == whole.records[number:]
    assert (loaded.last_sum, loaded.length, loaded.last_number) == (whole.last_sum, whole.length, whole.last_number)
    here, there = rebuild(loaded.records, back.state), rebuild(whole.records)
    alike(here, there)
    chance = random.Random(seed + 1)
    for turn in range(40):
        # back beyond the snapshot: a run of corrections, between other things
        one = Typed("undo that", here.announcement) if 5 < turn < 25 else came(chance, here)
        step = decide(here, one)
        assert step == decide(there, one)
        here, there = fold(step.facts, here), fold(step.facts, there)
        alike(here, there)


def test_all_that_was_entered_can_be_taken_back_behind_a_snapshot() -> None:
    made = Session(cable=25).typed(*["confirm"] * 12, "mark wet", "skip this pair")
    back, _ = kept(made, len(made.records))
    state = back.state
    for _ in range(14):
        state = fold(decide(state, Typed("undo that", state.announcement)).facts, state)
    assert (state.left(), state.expected, state.undo) == (tuple(range(1, 26)), 1, None)
    assert dict(state.pairs) == {}


# --- what is no snapshot of this log -------------------------------------------------------------------------------


def bytes_of(made: Session) -> bytes:
    known = known_of(made.data(), len(made.records), read_log(made.data()).last_sum)
    return to_bytes(Snapshot(known, made.state), PROGRAM)


@settings(deadline=None, max_examples=300)
@given(data=st.data())
def test_a_snapshot_changed_in_any_byte_is_none(data) -> None:
    whole = bytes_of(Session(cable=25).typed("confirm", "mark wet", "finish session"))
    at = data.draw(st.integers(0, len(whole) - 1))
    other = data.draw(st.integers(0, 255).filter(lambda byte: byte != whole[at]))
    assert from_bytes(whole[:at] + bytes([other]) + whole[at + 1 :], PROGRAM) is None
    assert from_bytes(whole[:at], PROGRAM) is None
    assert from_bytes(whole + bytes([other]), PROGRAM) is None


def test_another_program_does_not_use_it() -> None:
    assert from_bytes(bytes_of(Session(cable=25)), "b" * 64) is None


@pytest.mark.parametrize(
    "part", ["plain", "question", "pairs", "undo", "number", "unknown"], ids=lambda part: f"without or with {part}"
)
def test_what_holds_other_things_is_none_although_its_digest_fits(part: str) -> None:
    import hashlib

    whole = bytes_of(Session(cable=25).typed("confirm"))
    content = msgspec.json.decode(whole[64:])
    content.pop(part) if part in content else content.update({part: 1})
    body = msgspec.json.encode(content)
    assert from_bytes(hashlib.sha256(body).hexdigest().encode() + body, PROGRAM) is None


def test_a_snapshot_of_another_log_is_not_used() -> None:
    made, other = Session(cable=25).typed("confirm", "confirm"), Session(cable=25).typed("confirm", "blue white")
    back, _ = kept(made, 3)
    loaded = read_log(other.data(), back.known)
    assert (loaded.known, loaded) == (None, read_log(other.data()))


@pytest.mark.parametrize(
    "known",
    [
        lambda known: replace(known, number=known.number - 1),
        lambda known: replace(known, number=known.number + 1),
        lambda known: replace(known, length=known.length + 1),
        lambda known: replace(known, sum="f" * 16),
        lambda known: replace(known, digest="0" * 64),
        lambda known: known_of(b"", 0, FIRST_SUM),
        lambda known: replace(known, number=-1),
        lambda known: replace(known, number=10**9),
        lambda known: replace(known, length=-1),
    ],
)
def test_one_that_says_anything_else_of_the_log_is_not_used(known) -> None:
    made = Session(cable=25).typed("confirm", "confirm", "confirm")
    back, data = kept(made, 3)
    loaded = read_log(data, known(back.known))
    assert (loaded.known, loaded) == (None, read_log(data))


@settings(deadline=None, max_examples=200)
@given(data=st.data())
def test_damage_before_or_behind_the_snapshot_is_found_as_ever(data) -> None:
    made = Session(cable=25).typed("confirm", "confirm", "mark wet", "confirm")
    back, log = kept(made, data.draw(st.integers(1, 5)))
    changed = bytearray(log)
    changed[data.draw(st.integers(0, len(log) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    cut = bytes(changed[: data.draw(st.integers(0, len(log)))])
    for spoilt in (bytes(changed), cut, log[: len(cut)]):
        loaded, whole = read_log(spoilt, back.known), read_log(spoilt)
        assert (loaded.damages, loaded.torn, loaded.last_sum) == (whole.damages, whole.torn, whole.last_sum)
        begun = back.state if loaded.known else None
        assert loaded.records == whole.records[loaded.known.number if loaded.known else 0 :]
        if whole.records and not whole.damages:
            alike(rebuild(loaded.records, begun), rebuild(whole.records))


@settings(deadline=None, max_examples=300)
@given(data=st.data())
def test_many_lines_are_proven_as_each_alone_is(data) -> None:
    lines = Session(cable=25).typed("confirm", "confirm").data().splitlines(keepends=True)
    spoilt = data.draw(st.integers(0, len(lines) - 1))
    at = data.draw(st.integers(0, len(lines[spoilt]) - 1))
    lines[spoilt] = data.draw(
        st.sampled_from(
            [lines[spoilt], lines[spoilt][:at], lines[spoilt][at:], lines[spoilt][:at] + b"x" + lines[spoilt][at + 1 :]]
        )
    )
    before: str | None = FIRST_SUM
    try:
        for line in lines:
            before, _ = check(line, before)
    except ValueError:
        before = None
    assert proven(lines, FIRST_SUM) == before


def test_a_gap_behind_a_snapshot_puts_its_joints_in_doubt() -> None:
    """A repaired log has its gap as a record; what was known before it does not make the lost pair confirmed."""
    made = Session(cable=25).typed(*["confirm"] * 6)
    back, data = kept(made, 3)
    lines = data.splitlines(keepends=True)
    lost = settled(read_log(b"".join([*lines[:4], b"x" * 50 + b"\n", *lines[5:]])))
    repaired = b"".join(lost.lines)
    loaded = read_log(repaired, back.known)
    assert loaded.known == back.known
    assert any(isinstance(record.input, RecordsLost) for record in loaded.records)
    state = rebuild(loaded.records, back.state)
    alike(state, rebuild(read_log(repaired).records))
    assert {JointNumber(3), JointNumber(4)} <= set(state.left())


def test_log_and_copy_are_opened_with_what_is_known(tmp_path: Path) -> None:
    made = Session(cable=25).typed(*["confirm"] * 6)
    back, data = kept(made, 3)
    short = b"".join(data.splitlines(keepends=True)[:5])
    log, copy = tmp_path / "a.jsonl", tmp_path / "copy" / "a.jsonl"
    copy.parent.mkdir()
    for first, second in ((short, data), (data, short)):
        log.write_bytes(first)
        copy.write_bytes(second)
        journal, loaded = FileJournal.reopen(log, copy, settle=settled, known=back.known)
        journal.close()
        assert loaded.known == back.known
        assert loaded.last_number == len(made.records)
        alike(rebuild(loaded.records, back.state), made.state)
        assert log.read_bytes() == copy.read_bytes() == data


def test_a_plan_is_made_anew_from_the_settings() -> None:
    made = session("plan", 1, 10)
    back, _ = kept(made, len(made.records))
    assert isinstance(back.state.settings, SessionSettings)
    assert back.state.plan == made.state.plan


def test_encoding_is_not_changed_by_being_read_twice() -> None:
    made = session("straight", 3, 50)
    once = bytes_of(made)
    again = from_bytes(once, PROGRAM)
    assert again is not None
    assert to_bytes(again, PROGRAM) == once


def test_a_plan_built_otherwise_is_in_no_snapshot_until_that_is_taken_back() -> None:
    """Going back over such an entry changes more than one joint, and the plan, which a snapshot does not hold."""
    talk = Session(cable=12, last=10).typed("1 blue white", "use spare pair 12 for pair 2", "yes")
    assert not can_be_kept(rebuild(talk.records))
    assert can_be_kept(rebuild(talk.typed("undo that").records))
    assert not can_be_kept(rebuild(talk.typed("add a joint pair 11", "yes", "pair 11").records))
