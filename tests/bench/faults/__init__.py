"""Faults of every kind against the record, each by a program that prints what was tried, survived and lost."""

from collections.abc import Callable

from tests.bench.faults.bits import flipped_bits, lost_blocks
from tests.bench.faults.kills import kills
from tests.bench.faults.mixes import mixes
from tests.bench.faults.outcome import Outcome
from tests.bench.faults.places import accidents, failing_disks
from tests.bench.faults.power import power_cuts

PROGRAMS: dict[str, tuple[Callable[[int], Outcome], int]] = {
    "flipped_bits": (flipped_bits, 10_000),
    "lost_blocks": (lost_blocks, 10_000),
    "accidents": (accidents, 1_000),
    "failing_disks": (failing_disks, 1_000),
    "power_cuts": (power_cuts, 2_000),
    "kills": (kills, 50),
    "mixes": (mixes, 1_000),
}
"""Each with its usual number of trials."""
