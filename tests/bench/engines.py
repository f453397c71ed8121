"""How the time of `crew` grows with the number of logs, on DuckDB and on a distributed engine.

    nice -n 19 python -m tests.bench.engines [--logs 1000 10000 100000] [--roll-up 1000]

Logs are made by the program and rolled up into Parquet by `crew`; from there the tables are multiplied, each copy with
names of its own. All questions are asked, each engine in a process of its own; the best of the runs counts.
"""

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.crew import make_logs
from tests.bench.report import machine

RECORDS = 60
NAMES = {"sessions": ("log", "splice"), "records": ("log",), "facts": ("log",), "joints": ("splice", "log")}


def rolled_up(folder: Path, logs: int) -> tuple[float, Path]:
    """Make so many logs, roll them up, and give the seconds and the folder of the Parquet."""
    there, parquet = folder / f"logs-{logs}", folder / f"rolled-{logs}"
    there.mkdir()
    size = sum(make_logs(there, logs, RECORDS))
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "assistant", "crew", str(there), "--parquet", str(parquet), "--json"]
    subprocess.run(command, check=True, capture_output=True)
    took, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    of_processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(
        f"roll up {logs:,} logs of {RECORDS} records, {size / 1e6:.0f} MB: {took:.1f} s, {of_processor:.1f} s of "
        "processor",
        flush=True,
    )
    return took, parquet


def multiplied(small: Path, many: int, out: Path) -> Path:
    """Write the tables so many times over."""
    import duckdb

    out.mkdir()
    for table, names in NAMES.items():
        new = ", ".join(f"CASE WHEN {name} IS NOT NULL THEN {name} || ' ' || copy END AS {name}" for name in names)
        with duckdb.connect() as connection:
            connection.execute(
                f"COPY (SELECT * EXCLUDE (copy) REPLACE ({new}) FROM read_parquet('{small / table}.parquet'), "
                f"(SELECT CAST(range AS VARCHAR) AS copy FROM range({many}))) "
                f"TO '{out / table}.parquet' (FORMAT parquet, COMPRESSION zstd)"
            )
    return out


def on_duckdb(parquet: Path) -> float:
    """Give the seconds of all questions, without the start of the program."""
    code = (
        "import sys, time\nfrom pathlib import Path\nfrom assistant.crew.database import of_parquet\n"
        "from assistant.crew.tables import questions\n"
        "with of_parquet(Path(sys.argv[1])) as tables:\n    began = time.perf_counter()\n"
        "    for one in questions():\n        tables.ask(one.query, one.name)\n"
        "    print(time.perf_counter() - began)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(parquet)], check=True, capture_output=True, text=True)
    return float(done.stdout)


def on_sail(parquet: Path) -> float:
    """Give the seconds of all questions, without the start of driver and workers."""
    command = [sys.executable, "-m", "tests.bench.distributed", str(parquet)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found = json.loads(done.stdout.splitlines()[-1])["questions"]
    return float(sum(one["seconds"] for one in found.values()))


def main() -> None:
    """Print all figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--logs", type=int, nargs="+", default=[1000, 10_000, 100_000])
    parser.add_argument("--roll-up", type=int, nargs="+", default=[1000])
    parser.add_argument("--runs", type=int, default=3)
    options = parser.parse_args()
    on = machine()
    print(
        f"{on['cpu']}, {on['cores']} cores, load {on['load'][0]}, {on['system']}, Python {on['python']}, {on['date']}"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        small, *_ = [rolled_up(folder, logs)[1] for logs in options.roll_up]
        print(f"{'logs':>8}  {'records':>11}  {'Parquet MB':>10}  {'DuckDB s':>9}  {'Sail s':>7}")
        for logs in options.logs:
            tables = multiplied(small, logs // options.roll_up[0], folder / f"tables-{logs}")
            size = sum(path.stat().st_size for path in tables.iterdir()) / 1e6
            duck = min(on_duckdb(tables) for _ in range(options.runs))
            sail = min(on_sail(tables) for _ in range(options.runs))
            print(f"{logs:>8,}  {logs * RECORDS:>11,}  {size:>10.1f}  {duck:>9.2f}  {sail:>7.2f}", flush=True)


if __name__ == "__main__":
    main()
