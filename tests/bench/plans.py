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

from assistant.cable.makeup import LARGEST_CABLE
from assistant.cable.plan_text import read_plan
from assistant.dialogue.messages import Typed
from assistant.dialogue.state import fold
from assistant.session.journal import load
from assistant.session.record import FIRST_SUM, Record, encode
from assistant.session.replay import rerun
from tests.bench.report import machine
from tests.dialogue.conversation import Conversation, start

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


def median_s(work: Callable[[], object], runs: int = RUNS) -> str:
    """Time it several times."""
    took = []
    for _ in range(runs):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return f"median {statistics.median(took):.3f} s (from {min(took):.3f} to {max(took):.3f}, {runs} runs)"


def start_of_work(what: list[str], folder: str) -> None:
    """Start a typed session as a process and wait for its first sentence."""
    command = [sys.executable, "-m", "assistant", "work", *what, "--typed", "--voice", "print", "--log", folder]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        while not (line := process.stdout.readline()).startswith("< "):
            assert line, "it ended without a sentence"
        process.kill()


def long_record(path: Path, steps: int, pairs: int) -> None:
    """Write the log of a session of so many steps; of eight entries, three confirm a pair and one is undone."""
    last_sum, lines = FIRST_SUM, []
    request = start(pairs)
    opened = Conversation(pairs)
    records = [Record(number=1, at="2026-01-01T00:00:00+00:00", input=request, facts=tuple(opened.facts))]
    entries = ("confirm", "where am i", "confirm", "what is pair 7", "undo that", "confirm", "say again", "next pair")
    for number in range(2, steps + 1):
        came = Typed(entries[number % len(entries)], opened.state.announcement)
        facts = opened.put(came).facts
        records.append(Record(number=number, at="2026-01-01T00:00:00+00:00", input=came, facts=facts))
    for record in records:
        line, last_sum = encode(record, last_sum)
        lines.append(line)
    path.write_bytes(b"".join(lines))


def long_sessions(folder: Path, steps: int) -> None:
    """Time the log of a session that has work to the end, and of one whose last pairs are made long before."""
    for pairs in (LARGEST_CABLE, LARGEST_CABLE // 5):
        log = folder / f"{pairs}.jsonl"
        long_record(log, steps, pairs)
        records = load(log).records
        facts = [fact for record in records for fact in record.facts]
        left = len(fold(facts).left())
        print(f"\n{steps:,} records on {pairs:,} pairs, {left:,} left at the end, {log.stat().st_size / 1e6:.1f} MB")
        print(f"  read and check the log    {median_s(lambda log=log: load(log))}")
        print(f"  fold its {len(facts):,} facts     {median_s(lambda facts=facts: fold(facts))}")
        print(f"  send it through the rules {median_s(lambda records=records: list(rerun(records)), 3)}")


def main() -> None:
    """Print all figures."""
    on = machine()
    print(
        f"{on['cpu']}, {on['cores']} cores, load {on['load'][0]}, {on['system']}, Python {on['python']}, {on['date']}\n"
    )
    text = large_plan()
    joints = len(read_plan(text).joints)
    print(f"a plan of {CABLES} cables and {joints:,} joints, {len(text.splitlines())} lines")
    print(f"  read_plan                 {median_s(lambda: read_plan(text))}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plan = folder / "large.toml"
        plan.write_text(text)
        print(f"  process to first sentence {median_s(lambda: start_of_work([str(plan)], name))}")
        print(f"  the same, 25-pair cable   {median_s(lambda: start_of_work(['--cable', '25'], name))}")
        long_sessions(folder, 20_000)


if __name__ == "__main__":
    main()
