"""A short form of the bench of random events, and that its checks can fail."""

from collections.abc import Sequence

from assistant.dialogue.messages import AnnouncementNumber, Channel, Check, Fact, KeysPressed, PairConfirmed
from assistant.session.record import Record
from tests.bench import random_events


def record(number: int, second: int, keys: str, *facts: Fact) -> Record:
    came = KeysPressed(keys, AnnouncementNumber(number))
    return Record(number=number, at=f"2026-01-01T00:00:{second:02d}.000+00:00", input=came, facts=facts)


def confirmed(pair: int, how: Check) -> Fact:
    return PairConfirmed(pair=pair, how=how, by=Channel.KEYS, asked_back=False)  # type: ignore[arg-type]


def writes(*seconds: float) -> Sequence[tuple[float, str]]:
    midnight = 1767225600.0  # 2026-01-01 UTC, by date(1)
    return [(midnight + second, "+") for second in seconds]


RECORDS = [record(1, 10, "+", confirmed(1, Check.KEY)), record(2, 20, "+", confirmed(2, Check.KEY))]


def test_a_confirmation_without_a_key_of_its_own_is_found() -> None:
    assert random_events.unasked(RECORDS, writes(9.5, 19.5)) == []
    assert len(random_events.unasked(RECORDS, writes(9.5))) == 1, "one key cannot confirm two pairs"
    assert len(random_events.unasked(RECORDS, writes(9.4, 9.5))) == 1, "nor one that was made before the announcement"
    assert len(random_events.unasked(RECORDS, ())) == 2


def test_a_confirmation_by_another_number_is_found() -> None:
    assert random_events.unnamed([record(1, 10, "4\n", confirmed(4, Check.NUMBER))]) == []
    assert len(random_events.unnamed([record(1, 10, "4\n", confirmed(47, Check.NUMBER))])) == 1


def test_two_sessions_under_random_events() -> None:
    done = random_events.run(rounds=2, seed=7, events=8)
    # how long a stop takes is measured by the bench: here other tests may run beside
    failures = [failure for one in done for failure in one.failures if not failure.startswith("(b)")]
    assert failures == []
    assert all(one.events > 8 for one in done)
