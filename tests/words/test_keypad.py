"""Key by key to entries, and which events of a key are presses."""

import random

import pytest

from assistant.words.grammar import sample
from assistant.words.keypad import HOLD_S, SAME_PRESS_S, Keyed, Rhythm, Stroke, follow, press
from assistant.words.vocabulary import ENTRIES, KEYS, VocabularyRow

P, S, H = Stroke.PRESS, Stroke.SAME, Stroke.HOLD


def strokes(*events: tuple[str, float]) -> list[Stroke]:
    rhythm, found = Rhythm(), []
    for key, at_s in events:
        rhythm, stroke = follow(rhythm, key, at_s)
        found.append(stroke)
    return found


def held(key: str, first_s: float, every_s: float, count: int) -> list[tuple[str, float]]:
    """A key held from 10 s on: once, then again and again after a first wait."""
    return [(key, 10.0)] + [(key, 10.0 + first_s + every_s * n) for n in range(count)]


def keyed(keys: str) -> list[str]:
    """Give the entries that these keys make, key by key."""
    pending, entries = "", []
    for key in keys:
        got = press(pending, key)
        pending = got.pending
        entries += [got.entry] if got.entry else []
    return entries


def test_minus_is_a_key_of_its_own_where_an_entry_has_it_and_clears_figures_elsewhere() -> None:
    assert keyed("/-2\r") == ["/-2\r"], "go to cable two"
    assert keyed("..-2500\r") == ["..-2500\r"], "a reading"
    assert keyed("47-12\r") == ["12\r"]


# first wait and rate: the usual of an X server (xset(1): 660 ms, 25 a second) and of a Linux console
# (kbdrate(8): 250 ms, 10.9 a second)
@pytest.mark.parametrize(("first_s", "every_s"), [(0.66, 0.04), (0.25, 1 / 10.9)])
@pytest.mark.parametrize("key", ["+", "-", "\r"])
def test_a_key_that_acts_alone_acts_once_however_long_it_is_held(key: str, first_s: float, every_s: float) -> None:
    assert strokes(*held(key, first_s, every_s, 200)) == [P] + [S] * 200


def test_the_same_key_counts_again_after_a_while_or_after_another_key() -> None:
    assert strokes(("+", 1.0), ("+", 1.0 + SAME_PRESS_S)) == [P, P]
    assert strokes(("\r", 1.0), ("4", 1.1), ("\r", 1.2)) == [P, P, P]
    assert strokes(("\r", 1.0), ("\n", 1.1)) == [P, S], "both are the Enter key"


def test_a_held_figure_is_told_once_and_a_doubled_one_counts_twice() -> None:
    assert strokes(*held("5", 0.66, 0.04, 50)) == [P, P, H] + [S] * 48
    assert strokes(("5", 1.0), ("5", 1.0 + HOLD_S)) == [P, P]
    assert strokes(("5", 1.0), ("6", 1.001)) == [P, P]
    assert strokes(("5", 1.0), ("5", 1.01), ("5", 1.01 + SAME_PRESS_S)) == [P, H, P], "it was let go"


def test_taking_keys_back_may_be_held() -> None:
    assert strokes(*held("\x7f", 0.25, 0.03, 5)) == [P] * 6


def test_a_key_that_cannot_stand_here_clears_what_was_half_typed() -> None:
    assert press("47", "/") == Keyed("", refused=True)
    assert press("47", "a") == Keyed("", refused=True)
    assert press("47", "-") == Keyed("")
    assert press("4", "7") == Keyed("47")
    assert press("47", "\r") == Keyed("", entry="47\r")


@pytest.mark.parametrize("row", [row for row in ENTRIES if row.keys], ids=lambda row: row.name)
def test_whatever_is_an_entry_of_keys_is_one_when_it_is_keyed_key_by_key(row: VocabularyRow) -> None:
    """An entry that is the beginning of another one would never end, and its keys would go into what comes next."""
    assert row.keys is not None
    signs = {name: key for key, name in KEYS.items() if key not in "\n,"}
    for seed in range(200):
        entry = "".join(signs[name] for name in sample(row.keys, random.Random(seed)))
        assert keyed(entry) == [entry]
