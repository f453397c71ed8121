"""A log of 100,000 records: what checking it, reporting it and going on with it take.

python -m tests.bench.faults.big [--records 100000] [--log FILE]    (making it takes minutes: --log keeps it)
"""

import argparse
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from assistant.dialogue.scope import scope_of
from assistant.words.intents import Intent
from assistant.words.parser import Understood, parse
from tests.account.sessions import Session
from tests.dialogue.conversation import utterance

PAIRS = 3600
SAID = {
    "pair nine nine": 50,
    "where am i": 12,
    "say again": 8,
    "which group": 6,
    "confirm": 14,
    "undo that": 3,
    "mark wet": 2,
    "previous pair": 2,
    "go to pair 3000": 1,
    "redo pair 2": 1,
    "skip this pair": 1,
}
"""What is said, and how often of a hundred times: most calls do not fit, as in a log of many days with open ears."""


def big_log(records: int) -> bytes:
    """Give a log made by today's rules in which the pairs of a cable are joined, with all that comes between."""
    chance = random.Random(1)
    session = Session(cable=PAIRS, place="exchange")
    texts, weights = list(SAID), list(SAID.values())
    meanings: dict[str, Intent] = {}
    while len(session.records) < records:
        words = "yes" if session.state.question is not None else chance.choices(texts, weights)[0]
        if words not in meanings:  # as the hearing does it; to find it anew each time takes hours
            parsed = parse(words, scope_of(session.state))
            assert isinstance(parsed, Understood)
            meanings[words] = parsed.intent
        heard = utterance(words, after=session.state.announcement)
        session.put(replace(heard, meaning=meanings[words]), after_s=3)
    return session.data()


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, default=100_000)
    parser.add_argument("--log", type=Path, help="keep the log here, or take the one there")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        log = Path(name) / "a.jsonl"
        there = options.log is not None and options.log.exists()
        log.write_bytes(options.log.read_bytes() if there else big_log(options.records))
        if not there and options.log is not None:
            options.log.write_bytes(log.read_bytes())
        count = log.read_bytes().count(b"\n")
        on = f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}"
        print(f"{count:,} records, {log.stat().st_size / 1e6:.1f} MB; {on}")
        page = Path(name) / "x.html"
        resume = ["work", "--resume", str(log), "--typed", "--voice", "print"]
        for label, command in (
            ("without a log: --version", ["--version"]),
            ("replay --check", ["replay", "--check", str(log)]),
            ("report -o page", ["report", str(log), "-o", str(page)]),
            ("work --resume, no snapshot", resume),
            ("work --resume, a snapshot", resume),
        ):
            print(f"  {label:<28} {timed(command)}", flush=True)
        print(f"  page {page.stat().st_size / 1e6:.2f} MB")


def timed(command: list[str]) -> str:
    """Run a command as a process of its own; give its time, and that of the processor, which others do not share."""
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-m", "assistant", *command], check=True, capture_output=True, stdin=subprocess.DEVNULL
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return f"{time.perf_counter() - began:.2f} s, {cpu:.2f} s of processor"


if __name__ == "__main__":
    main()
