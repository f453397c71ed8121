"""Which logs are one: the families that are compared give the same as comparing each log with each other one."""

import random
from dataclasses import asdict

import pytest

from assistant.account import copies
from assistant.account.copies import sort_out
from assistant.account.walk import ReadLog
from assistant.session.replay import rebuild
from tests.account.sessions import TWO_WAYS, Session, read
from tests.dialogue.conversation import resume

WORDS = ("confirm", "confirm", "mark wet", "skip pair", "where am i")


def carried_on(session: Session, chance: random.Random, person: str) -> Session:
    """Go on with a session in a place of its own."""
    other = Session(TWO_WAYS, place=f"pole {chance.randrange(3)}")
    other.records, other.at = list(session.records), session.at
    other.state = rebuild(other.records)
    other.put(resume(person=person), after_s=chance.randint(1, 9))
    return other.typed(*(chance.choice(WORDS) for _ in range(chance.randint(1, 4))))


def damaged(data: bytes, chance: random.Random) -> bytes:
    """Leave out up to three lines, the first and the last among them."""
    lines = data.splitlines(keepends=True)
    for _ in range(chance.randrange(4)):
        if len(lines) > 1:
            del lines[chance.randrange(len(lines))]
    return b"".join(lines)


def many_logs(seed: int) -> list[ReadLog]:
    """Give logs by chance: alone, equal, beginnings, carried on once and twice, with lines missing anywhere."""
    chance = random.Random(seed)
    logs: list[bytes] = []
    for number in range(3):
        begun = Session(TWO_WAYS, place=f"pole {number}").typed("yes")
        begun.typed(*(chance.choice(WORDS) for _ in range(chance.randint(1, 6))))
        family = [begun]
        for person in ("one", "two", "three")[: chance.randrange(4)]:
            family.append(carried_on(chance.choice(family), chance, person))
        for session in family:
            whole = session.data()
            lines = whole.splitlines(keepends=True)
            logs += [whole, b"".join(lines[: chance.randint(1, len(lines))]), damaged(whole, chance)]
    chance.shuffle(logs)
    return [read(f"{number}.jsonl", data) for number, data in enumerate(logs)]


@pytest.mark.parametrize("seed", range(12))
def test_families_give_what_comparing_all_with_all_gives(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    logs = many_logs(seed)
    found = sort_out(logs)
    one_family: list[int] = []
    monkeypatch.setattr(copies, "_families", lambda logs: [one_family for _ in logs])
    assert asdict(found) == asdict(sort_out(logs))
    assert found.told


def test_logs_that_have_nothing_in_common_are_not_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: ReadLog) -> tuple[int, bool]:
        raise AssertionError("they are of different families")

    logs = [Session(cable=25, place=f"pole {number}").log(f"{number}.jsonl") for number in range(4)]
    monkeypatch.setattr(copies, "_in_common", never)
    assert sort_out(logs).logs == logs
    with pytest.raises(AssertionError, match="different families"):
        sort_out([logs[0], logs[0]])
