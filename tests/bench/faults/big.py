"""A log of 100,000 records: what reading it, checking it, reporting it and going on with it take.

python -m tests.bench.faults.big [--records 100000]
"""

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from assistant.session.record import FIRST_SUM, Record, encode
from tests.account.sessions import NINE, Session

PAIRS = 3600


def big_log(records: int) -> bytes:
    """Give a log in which most pairs of a cable are joined, and the calls that did not fit are many."""
    session = Session(cable=PAIRS, place="exchange")
    for number in range(1, 41):
        session.typed("confirm", "pair nine nine", "mark wet", "undo that", f"note {number}")
    made = session.records
    lines, before = [], FIRST_SUM
    for number in range(1, records + 1):
        one = made[number - 1] if number <= len(made) else made[2 + 5 * (number % 30)]  # a call that did not fit
        at = (NINE + timedelta(seconds=3 * number)).isoformat(timespec="milliseconds")
        line, before = encode(Record(number=number, at=at, input=one.input, facts=one.facts), before)
        lines.append(line)
    return b"".join(lines)


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, default=100_000)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        log = Path(name) / "a.jsonl"
        log.write_bytes(big_log(options.records))
        print(f"{options.records:,} records, {log.stat().st_size / 1e6:.1f} MB")
        page = Path(name) / "x.html"
        resume = ["work", "--resume", str(log), "--typed", "--voice", "print"]
        for label, command in (
            ("replay --check", ["replay", "--check", str(log)]),
            ("report -o page", ["report", str(log), "-o", str(page)]),
            ("work --resume, and leave", resume),
        ):
            began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run(
                [sys.executable, "-m", "assistant", *command], check=True, capture_output=True, stdin=subprocess.DEVNULL
            )
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            print(f"  {label:<26} {time.perf_counter() - began:.1f} s, {cpu:.1f} s of processor", flush=True)
        print(f"  page {page.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
