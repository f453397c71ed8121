"""A long session made by the program from a plan: 3,600 pairs, 12 hours, 20,000 records.

    python -m tests.bench.long_session FILE [--pairs 3600] [--records 20000] [--hours 12]

Every fact comes from today's rules; what is called and when is drawn by chance from a fixed seed.
"""

import argparse
import random
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from assistant import __version__
from assistant.cable.colour_code import Order
from assistant.cable.splice_plan import Joint, Site
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import (
    NOT_YET,
    Attendance,
    EarReading,
    Heard,
    Input,
    KeysPressed,
    SessionSettings,
    StartAsked,
    Step,
    Typed,
)
from assistant.dialogue.naming import colours as colours_named
from assistant.dialogue.state import State, fold, initial
from assistant.session.record import FIRST_SUM, Record, encode
from assistant.words.numbers import spoken
from tests.bench.renew_session import made_now

BEGAN = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
PAUSES = 9
PAUSE_S = (600.0, 2400.0)


def plan_text(pairs: int) -> str:
    """Give a plan whose last twelfth is transferred to another count, with some dead and spare pairs before it."""
    straight = pairs * 10 // 12
    dead, spare = straight + pairs // 24, straight + pairs // 12
    return f"""title = "Long transfer"
site = "manhole"

[[end]]
name = "in"
pairs = {pairs}
count = "main 1-{pairs}"

[[end]]
name = "out"
pairs = {pairs}
count = "main 1-{straight}; old {straight + 1}-{spare}; east 1-{pairs - spare}"

[[join]]
kind = "straight"
from = "in main 1-{straight}"
to = "out main 1-{straight}"

[[join]]
kind = "dead"
from = "in main {straight + 1}-{dead}"
reason = "cut off at the wall"

[[join]]
kind = "spare"
from = "in main {dead + 1}-{spare}"

[[join]]
kind = "transfer"
from = "in main {spare + 1}-{pairs}"
to = "out east 1-{pairs - spare}"
"""


class Splicer:
    """Answers the checks, then calls pairs as they come, with slips, faults, questions and pauses."""

    def __init__(self, seed: int) -> None:
        """Take a seed."""
        self._rng = random.Random(seed)

    def inputs(self, state: State) -> Iterator[Input]:
        """Give what is said next in this state: one or several inputs, the joint itself last."""
        rng, joint = self._rng, state.expected_joint
        if state.question is not None:
            yield heard("yes", rng)
            return
        if joint is None:
            yield Typed("finish session", NOT_YET)
            return
        for likely, words in ((0.9, "say again"), (0.9, "where am i"), (0.8, "how many left"), (0.8, "next pair")):
            if rng.random() < likely:
                yield heard(words, rng)
        if rng.random() < 0.95:
            yield heard(called(state, joint), rng, "ignored")
        if rng.random() < 0.02:
            yield heard(called(state, state.plan.joints[rng.randrange(len(state.plan.joints))]), rng)
        if rng.random() < 0.004:
            yield Typed("mark " + rng.choice(("open", "short", "wet", "ground")), NOT_YET)
            return
        if rng.random() < 0.003:
            yield Typed("note seen <b>damp</b> & cleaned", NOT_YET)
        yield heard(called(state, joint), rng) if rng.random() < 0.9 else KeysPressed("#", NOT_YET)
        if rng.random() < 0.006:
            yield heard("undo that", rng)


def called(state: State, joint: Joint) -> str:
    """Name a joint by number and colours, as its end has them."""
    end = state.plan.end_of(joint.lead)
    _, number = end.called(joint.lead.position)
    return f"{spoken(number)}, {colours_named(end.address(joint.lead.position).colours, state.settings.pair_order)}"


def heard(words: str, rng: random.Random, judgement: str = "accepted") -> Heard:
    """Give an utterance with likely scores."""
    margin, ratio = round(rng.uniform(1, 20), 3), -round(rng.uniform(0, 2), 3)
    readings = tuple(
        EarReading(ear=ear, words=words, margin=margin, likelihood_ratio=ratio, confidence=None)
        for ear in ("whisper", "sphinx")
    )
    return Heard(judgement=judgement, words=words, readings=readings, after=NOT_YET)


def session(pairs: int, most: int, hours: float, seed: int = 1) -> Iterator[Record]:
    """Give the records of a session that goes to its end, or to so many records."""
    rng = random.Random(seed + 1)
    splicer, state, number = Splicer(seed), initial(), 0
    step_s = (hours * 3600 - PAUSES * sum(PAUSE_S) / 2) / most
    pause_at = {rng.randrange(most) for _ in range(PAUSES)}
    at = BEGAN
    waiting: list[Input] = [start_asked(pairs)]
    while not state.ended and number < most:
        waiting = waiting or list(splicer.inputs(state))
        came = made_now(waiting.pop(0), state.announcement)
        step: Step = decide(state, came)
        state = fold(step.facts, state)
        if step.facts:
            at += timedelta(
                seconds=rng.uniform(0.5, 1.5) * step_s + (rng.uniform(*PAUSE_S) if number in pause_at else 0)
            )
            number += 1
            yield Record(number=number, at=at.isoformat(timespec="milliseconds"), input=came, facts=step.facts)


def start_asked(pairs: int) -> StartAsked:
    """Give the beginning."""
    settings = SessionSettings(
        cable_pairs=0,
        first=0,
        last=0,
        asking=False,
        pair_order=Order.RING_FIRST,
        binder_order=Order.RING_FIRST,
        plan_text=plan_text(pairs),
        site=Site.MANHOLE,
        short_checks=True,
        place="vault <7> & shaft",
    )
    who = Attendance(
        app_version=__version__,
        person="splicer one",
        microphone="headset A",
        ears="whisper+sphinx",
    )
    return StartAsked(settings, who)


def write(path: Path, pairs: int, most: int, hours: float, seed: int = 1) -> int:
    """Write the log and give how many records it holds."""
    last_sum, count = FIRST_SUM, 0
    with path.open("wb") as file:
        for record in session(pairs, most, hours, seed):
            line, last_sum = encode(record, last_sum)
            file.write(line)
            count += 1
    return count


def main() -> int:
    """Write the file."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    parser.add_argument("--pairs", type=int, default=3600)
    parser.add_argument("--records", type=int, default=20_000)
    parser.add_argument("--hours", type=float, default=12.0)
    options = parser.parse_args()
    print(f"{write(options.file, options.pairs, options.records, options.hours):,} records in {options.file}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
