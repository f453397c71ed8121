"""How fast a large plan is loaded and started, and how fast a long record is folded.

python -m tests.bench.plans
"""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from assistant.cable.plan_text import read_plan
from assistant.dialogue.messages import StartAsked, Typed
from assistant.dialogue.state import fold, plan_of
from assistant.session.journal import load
from assistant.session.record import FIRST_SUM, Record, encode
from assistant.session.replay import rebuild, rerun
from tests.bench.report import machine
from tests.dialogue.conversation import Conversation

RUNS = 5
CABLES, PAIRS = 20, 1200


def large_plan() -> str:
    """Give a plan of 20 cables of 1,200 pairs and 12,000 joints."""
    ends = "".join(f'[[end]]\nname = "c{i}"\npairs = {PAIRS}\ncount = "k{i} 1-{PAIRS}"\n\n' for i in range(CABLES))
    joins = "".join(
        f'[[join]]\nkind = "straight"\nfrom = "c{i} k{i} 1-{PAIRS}"\nto = "c{i + 1} k{i + 1} 1-{PAIRS}"\n\n'
        for i in range(0, CABLES, 2)
    )
    return f'title = "Large"\n\n{ends}{joins}'


def median_s(work: Callable[[], object]) -> str:
    """Time it several times."""
    took = []
    for _ in range(RUNS):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return f"median {statistics.median(took):.3f} s (from {min(took):.3f} to {max(took):.3f}, {RUNS} runs)"


def start_of_work(path: Path, folder: str) -> None:
    """Start a typed session as a process and wait for its first sentence."""
    command = [sys.executable, "-m", "assistant", "work", str(path), "--typed", "--voice", "print", "--log", folder]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        while not (line := process.stdout.readline()).startswith("< "):
            assert line, "it ended without a sentence"
        process.kill()


def long_record(path: Path, steps: int) -> None:
    """Write the log of a session of so many steps on a 3,600-pair cable."""
    talk = Conversation(3600)
    last_sum, lines = FIRST_SUM, []
    start = StartAsked(
        cable_pairs=3600,
        first=1,
        last=3600,
        asking=False,
        app_version="bench",
        pair_order=talk.state.pair_order,
        binder_order=talk.state.binder_order,
    )
    opened = Conversation(3600)
    records = [Record(number=1, at="2026-01-01T00:00:00+00:00", input=start, facts=tuple(opened.facts))]
    entries = ("confirm", "where am i", "confirm", "what is pair 7", "undo that", "confirm", "say again", "next pair")
    for number in range(2, steps + 1):
        came = Typed(entries[number % len(entries)])
        facts = opened.put(came).facts
        records.append(Record(number=number, at="2026-01-01T00:00:00+00:00", input=came, facts=facts))
    for record in records:
        line, last_sum = encode(record, last_sum)
        lines.append(line)
    path.write_bytes(b"".join(lines))


def main() -> None:
    """Print all figures."""
    print(machine())
    text = large_plan()
    print(f"read_plan, {CABLES} cables, 12,000 joints: {median_s(lambda: read_plan(text))}")
    with tempfile.TemporaryDirectory() as folder:
        plan = Path(folder) / "large.toml"
        plan.write_text(text)
        print(f"work PLAN until the first sentence, whole process: {median_s(lambda: start_of_work(plan, folder))}")
        log = Path(folder) / "long.jsonl"
        long_record(log, 20_000)
        print(
            f"log of 20,000 records, {log.stat().st_size / 1e6:.1f} MB, load and check: {median_s(lambda: load(log))}"
        )
        records = load(log).records
        facts = [fact for record in records for fact in record.facts]
        print(f"fold {len(facts)} facts: {median_s(lambda: (plan_of.cache_clear(), fold(facts)))}")
        print(f"rebuild: {median_s(lambda: rebuild(records))}; rerun: {median_s(lambda: rerun(records))}")


if __name__ == "__main__":
    main()
