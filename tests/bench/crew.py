"""How long `crew` takes to roll up a folder of many logs, and how much memory.

python -m tests.bench.crew [--logs 2000] [--runs 3]
"""

import argparse
import itertools
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

from assistant.session.record import Record
from tests.bench.report import machine
from tests.crew.shifts import MICROPHONES, PEOPLE, log_bytes, shift, told_as

KINDS = 40
"""Sessions that are driven through the machine; the others are these at another time, by another person."""
RECORDS = 300
LOGS_OF_A_SPLICE = 3
KIBIBYTES_OF_MAXRSS = 1024 if sys.platform != "darwin" else 1


def sessions(most: int) -> list[list[Record]]:
    """Give the first sessions by chance that did not end before so many records."""
    driven = (shift(seed, most)[:most] for seed in itertools.count())
    return list(itertools.islice((records for records in driven if len(records) == most), KINDS))


def make_logs(folder: Path, count: int, most: int = RECORDS) -> Iterator[int]:
    """Write so many logs of so many records and give the size of each."""
    made, chance = sessions(most), random.Random(7)
    for number in range(count):
        person, microphone = chance.choice(PEOPLE), chance.choice(MICROPHONES)
        later = timedelta(days=number // 8, seconds=chance.randrange(3600))
        place = f"pole {number // (KINDS * LOGS_OF_A_SPLICE)}"
        text = log_bytes(told_as(record, person, microphone, later, place) for record in made[number % KINDS])
        path = folder / f"{2026 + number // 1000}" / f"{number:05}.jsonl"
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(text)
        yield len(text)


def main() -> None:
    """Print all figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--logs", type=int, default=2000)
    parser.add_argument("--runs", type=int, default=3)
    options = parser.parse_args()
    on = machine()
    print(
        f"{on['cpu']}, {on['cores']} cores, load {on['load'][0]}, {on['system']}, Python {on['python']}, {on['date']}"
    )
    with tempfile.TemporaryDirectory() as name:
        folder, parquet = Path(name) / "logs", Path(name) / "parquet"
        folder.mkdir()
        size = sum(make_logs(folder, options.logs))
        print(f"{options.logs:,} logs of {RECORDS} records, {size / 1e6:.0f} MB")
        for label, what in (
            ("roll up logs", [str(folder)]),
            ("the same, and write Parquet", [str(folder), "--parquet", str(parquet)]),
            ("roll up Parquet", [str(parquet), "--from-parquet"]),
        ):
            took, before = [], resource.getrusage(resource.RUSAGE_CHILDREN)
            for _ in range(options.runs):
                began = time.perf_counter()
                subprocess.run(
                    [sys.executable, "-m", "assistant", "crew", *what, "--json"], check=True, capture_output=True
                )
                took.append(time.perf_counter() - began)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            cpu = (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / options.runs
            print(
                f"  {label:<28} median {statistics.median(took):.2f} s (from {min(took):.2f} to {max(took):.2f}, "
                f"{options.runs} runs), {cpu:.2f} s of processor, "
                f"largest process so far {after.ru_maxrss * KIBIBYTES_OF_MAXRSS / 1e6:.0f} MB",
                flush=True,
            )
        print(f"  Parquet: {sum(path.stat().st_size for path in parquet.iterdir()) / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
