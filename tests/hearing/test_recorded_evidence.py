"""Today's verdicts on recorded opinions: people and natural voices, calls and talk, in quiet and in real noise.

Made by `tests.bench.evidence`, `--ears fitted+sphinx --limit 6`, seed 1: of people (numbers and colours joined from
single words) on 2026-11-26, with the ears that take sound as it comes; of six natural voices that were in no training
on 2026-11-25, by the ears of then. No sound is in it. Whoever changes a rule and means it writes the new figures here,
with why.
"""

from collections import Counter
from pathlib import Path

import pytest

from tests.bench.evidence import HUMAN, NATURAL, Recorded, counted, outcome, read

EVIDENCE = Path(__file__).parent.parent / "data" / "evidence-fitted.json.gz"
LEAST_RIGHT = {
    (HUMAN, "quiet"): (34, 34),
    (HUMAN, "10 dB"): (32, 34),
    (HUMAN, "5 dB"): (24, 34),
    (NATURAL, "quiet"): (35, 40),
    (NATURAL, "10 dB"): (35, 40),
    (NATURAL, "5 dB"): (29, 40),
}
"""Right calls at least, of so many. Of natural voices one and two fewer than at first: clearing, opening again,
modules, passed tests and other cables were put among what needs the second ear, since they change the record. Of people
34 and not 38 calls: "repeat" and "pause" are understood only when typed since, and no ear listens for them."""
MOST_TALK_ASKED = 3
"""Pieces of talk asked back at most, in all conditions together, of 72."""


@pytest.fixture(scope="module")
def evidence() -> list[Recorded]:
    return read(EVIDENCE)


@pytest.fixture(scope="module")
def counts(evidence: list[Recorded]) -> dict[tuple[str, str, bool], Counter[str]]:
    return counted(evidence)


@pytest.mark.parametrize("group", LEAST_RIGHT, ids=" ".join)
def test_as_many_calls_are_right_as_were(
    group: tuple[str, str], counts: dict[tuple[str, str, bool], Counter[str]]
) -> None:
    found = counts[(*group, True)]
    right, of = LEAST_RIGHT[group]
    dropped = of - found.total()
    assert 0 <= dropped <= of // 4, "the vocabulary has lost too many of the sentences: record evidence anew"
    assert found["right"] >= right - dropped


def test_no_call_is_taken_for_another(evidence: list[Recorded]) -> None:
    assert [(one.words, one.condition) for one in evidence if outcome(one) == "wrong"] == []


def test_talk_is_not_accepted_and_seldom_asked_back(counts: dict[tuple[str, str, bool], Counter[str]]) -> None:
    talk = sum((found for (_, _, call), found in counts.items() if not call), Counter[str]())
    assert talk.total() == 72
    assert talk["wrong"] == 0
    assert talk["asked"] <= MOST_TALK_ASKED
