"""A splice over three days: two people, two devices, interruptions, a battery that dies in the middle of a record.

    python -m tests.bench.days FOLDER [--pairs 900]

Each sitting is `work` itself with its real loop and journal, words typed into it, and a clock of its own: that of the
second device is two days back. Who splices keeps by himself what was told to be confirmed, and goes on from that, not
from what the program says. A kill leaves a log without its last record, a dead battery one whose last record is torn;
both are made here by cutting the file, since what was told was safe on the disk before (a real kill -9 is tried by
`tests.bench.faults`). Written into FOLDER: the plan, the folders of both devices, and under `all` a copy of each log.
"""

import argparse
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from assistant.app.work import WorkOptions, work
from assistant.cable.colour_code import Order
from assistant.cable.makeup import Cable, Position
from assistant.dialogue.naming import colours
from assistant.ports import Uptime
from assistant.words.numbers import spoken

DAYS = (datetime(2026, 3, 2, 7, tzinfo=UTC), datetime(2026, 3, 1, 8, tzinfo=UTC), datetime(2026, 3, 4, 7, tzinfo=UTC))
"""By the clock of the device: the second device's is two days back."""
STEP_S = 6.0
"""Seconds from one record to the next."""
FIRST, SECOND = "crew one", "crew two"
TALK = ("pass me the bonder please", "what did he say about lunch")
ASKED = ("what is pair 7", "how many left", "where am i", "which faults")


class DayClock:
    """A clock that goes on by some seconds with each record."""

    def __init__(self, at: datetime) -> None:
        """Begin at a time."""
        self.at = at

    def now(self) -> datetime:
        """Give the next time."""
        self.at += timedelta(seconds=STEP_S)
        return self.at

    def uptime(self) -> Uptime | None:
        """Give nothing: what is tried here are clocks that nobody checks."""
        return None

    def steady_s(self) -> float:
        """Give the seconds of it."""
        return self.at.timestamp()

    def call_after(self, seconds: float, call: Callable[[], None]) -> None:
        """Refuse: nothing is called out here."""
        raise NotImplementedError


class Ear:
    """Takes in what is shown, as who splices hears it."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self.lines: list[str] = []

    def show(self, line: str) -> None:
        """Take in a line."""
        self.lines.append(line)


@dataclass(slots=True)
class Splice:
    """What the people themselves know of their work. Built by `three_days`."""

    folder: Path
    pairs: int
    plan: Path
    made_by: dict[int, str] = field(default_factory=dict)
    """Pair -> who was told that it is confirmed."""
    marked: dict[int, str] = field(default_factory=dict)
    """Pair -> who marked it open."""
    interruptions: Counter[str] = field(default_factory=Counter)
    told: list[str] = field(default_factory=list)
    """All that was said."""

    @property
    def todo(self) -> list[int]:
        """Pairs that nobody was told to be confirmed, and that are not marked, in order."""
        return [pair for pair in range(1, self.pairs + 1) if pair not in self.made_by and pair not in self.marked]


def plan_text(pairs: int) -> str:
    """Give the plan: a straight splice of one cable."""
    ends = "".join(f'[[end]]\nname = "{name}"\npairs = {pairs}\n\n' for name in ("west", "east"))
    return f"""title = "Three days"

{ends}[[join]]
kind = "straight"
from = "west pairs 1-{pairs}"
to = "east pairs 1-{pairs}"
"""


def called(splice: Splice, pair: int) -> str:
    """Name a pair as it is typed: number and colours."""
    named = Cable(splice.pairs).address(Position(pair)).colours
    assert named is not None
    return f"pair {pair}, {colours(named, Order.RING_FIRST)}"


@contextmanager
def typing(lines: list[str]) -> Iterator[None]:
    """Put lines into standard input."""
    before = sys.stdin
    with tempfile.TemporaryFile("w+") as file:
        file.write("".join(f"{line}\n" for line in lines))
        file.seek(0)
        sys.stdin = file
        try:
            yield
        finally:
            sys.stdin = before


def sit(splice: Splice, device: str, person: str, clock: DayClock, lines: list[str], *, resume: bool) -> Path:
    """Let a person work for a while, and keep what he was told; give the log."""
    ear = Ear()
    log, plan = splice.folder / device, None if resume else splice.plan
    options = WorkOptions(
        plan=plan, log=log, resume="" if resume else None, typed=True, voice="print", untuned=True, person=person
    )
    with typing(lines):
        _, path = work(options, screen=ear, clock=clock)
    said = [line for line in ear.lines if line.startswith("< ")]
    splice.told += said
    by_name = {colours_and_number(splice, pair): pair for pair in splice.todo + list(splice.marked)}
    for line in said:
        head, confirmed, _ = line.removeprefix("< ").partition(", confirmed.")
        if confirmed:
            pair = by_name[head.lower()]
            assert pair not in splice.made_by, f"pair {pair} is confirmed a second time"
            splice.made_by[pair] = person
    return path


def colours_and_number(splice: Splice, pair: int) -> str:
    """Name a pair as it is read back."""
    return called(splice, pair).replace(f"pair {pair}", spoken(pair), 1)


def broken_off(splice: Splice, log: Path, *, battery: bool) -> None:
    """Leave a log as a kill leaves it, without its last record, or as a dead battery: the record before it torn."""
    lines = log.read_bytes().splitlines(keepends=True)
    kept = lines[:-1] if not battery else [*lines[:-2], lines[-2][: len(lines[-2]) // 2]]
    log.write_bytes(b"".join(kept))
    splice.interruptions["dead battery" if battery else "kill"] += 1


def stretch(splice: Splice, count: int, number: int) -> list[str]:
    """Give what is typed in one sitting: pairs, and between them talk, a question, a hold or a slip."""
    lines: list[str] = []
    todo = splice.todo[:count]
    middle = len(todo) // 2
    for index, pair in enumerate(todo):
        if index == middle:
            kind = ("talk", "question", "hold", "slip")[number % 4]
            splice.interruptions[kind] += 1
            lines += {
                "talk": [TALK[number % len(TALK)]],
                "question": [ASKED[number % len(ASKED)]],
                "hold": ["hold on", called(splice, todo[-1]), "carry on"],
                "slip": [called(splice, todo[-1])],
            }[kind]
        lines.append(called(splice, pair))
    return lines


def day(splice: Splice, device: str, people: list[str], clock: DayClock, share: int, *, goes_on: bool) -> None:
    """Let people work a day on one device: each sitting but the last is broken off, and gone on with."""
    each = share // len(people)
    for number, person in enumerate(people):
        first, last = number == 0, number == len(people) - 1
        lines = ["yes"] if first and goes_on else []
        lines += stretch(splice, each, number + sum(splice.interruptions.values()))
        if first:
            pair = splice.todo[each]
            splice.marked[pair] = person
            lines.append(f"mark open pair {pair}")
        dies = not first and not last and device == "two" and not splice.interruptions["dead battery"]
        torn = splice.todo[each] if dies else 0
        lines += [called(splice, torn)] if dies else []
        log = sit(splice, device, person, clock, lines if not last else [*lines, "stop for today"], resume=not first)
        if last:
            continue
        splice.made_by.pop(torn, None)  # it was never told: the answer comes after the record
        broken_off(splice, log, battery=dies)
        clock.at += timedelta(minutes=40)


def hand_over(splice: Splice, source: str, target: str) -> None:
    """Carry the logs of one device to the other, as on a card."""
    (splice.folder / target).mkdir(exist_ok=True)
    for log in (splice.folder / source).glob("*.jsonl"):
        shutil.copy2(log, splice.folder / target / f"{source}-{log.name}")


def three_days(folder: Path, pairs: int) -> Splice:
    """Make the whole splice."""
    folder.mkdir(parents=True, exist_ok=True)
    plan = folder / "plan.toml"
    plan.write_text(plan_text(pairs))
    splice = Splice(folder, pairs, plan)
    third = pairs // 3
    day(splice, "one", [FIRST] * 4, DayClock(DAYS[0]), third, goes_on=False)
    hand_over(splice, "one", "two")
    day(splice, "two", [SECOND] * 4, DayClock(DAYS[1]), third, goes_on=True)
    hand_over(splice, "two", "one")
    for doubled in (folder / "one").glob("two-one-*"):
        doubled.unlink()  # it is there already under its own name
    clock = DayClock(DAYS[2])
    day(splice, "one", [FIRST, SECOND, FIRST, SECOND], clock, third - 5, goes_on=True)
    finish(splice, clock)
    (folder / "all").mkdir(exist_ok=True)
    for log in (folder / "one").glob("*.jsonl"):
        shutil.copy2(log, folder / "all" / log.name)
    return splice


def finish(splice: Splice, clock: DayClock) -> None:
    """Mend what is marked, call what is left, and finish."""
    lines = ["yes"]
    for pair in sorted(splice.marked):
        lines += [f"clear open pair {pair}", called(splice, pair)]
    rest = [called(splice, pair) for pair in splice.todo]
    sit(splice, "one", SECOND, clock, [*lines, *rest, "finish the splice"], resume=False)


def main() -> None:
    """Make it, and tell what came of it."""
    parser = argparse.ArgumentParser(description="A splice over three days.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--pairs", type=int, default=900)
    options = parser.parse_args()
    made = three_days(options.folder, options.pairs)
    kinds = ", ".join(f"{kind} {count}" for kind, count in made.interruptions.items())
    print(f"{len(made.made_by)} of {made.pairs} pairs told to be confirmed, {len(made.marked)} marked and mended")
    print(f"interruptions: {sum(made.interruptions.values())} ({kinds})")


if __name__ == "__main__":
    main()
