"""A short form of `tests.bench.slips`: wrong pairs called on either end of transfers, half taps and branches."""

import random
from collections import Counter
from collections.abc import Callable

import pytest

from assistant.dialogue.messages import Check, Ends
from assistant.dialogue.rules import following
from assistant.dialogue.rules.ends import Named
from tests.bench.slips import drive


def test_no_slip_is_logged_as_right_and_what_was_confirmed_all_the_same_is_in_the_report() -> None:
    counts, reported, unseen = drive(150, random.Random(11))
    came: Counter[str] = Counter()
    for (_, what), count in counts.items():
        came[what] += count
    assert (came["tried"], came["refused"], came["not taken"], came["logged as right"]) == (150, 150, 0, 0)
    assert reported > 30
    assert unseen > 5
    assert len({kind for kind, _ in counts}) == 17


def any_far_side(*_: object) -> Named:
    return Named(Check.COLOURS, Ends.BOTH, (1,))


def near_end_for_both(state: following.State, made: following.Joint, call: following.CallPair) -> Named | None:
    named = real(state, made, call)
    return named and Named(named.how)


real = following.named


@pytest.mark.parametrize("wrong", [any_far_side, near_end_for_both])
def test_the_slips_would_notice_a_far_side_that_is_not_checked_or_not_kept(
    wrong: Callable[..., Named | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(following, "named", wrong)
    with pytest.raises(AssertionError, match=r"was logged|wanted"):
        drive(150, random.Random(11))
