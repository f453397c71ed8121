"""The questions of `crew` on a distributed engine, here with a driver and two workers on one machine.

    python -m tests.bench.distributed PARQUET [--workers 2] [--runs 1]

Sail (PyPI: pysail, pyspark-client) takes Spark's SQL; its workers get their work from the driver over the network,
as on several machines. Prints one JSON object: how long each question took, in seconds, and its rows.
"""

import argparse
import json
import os
import time
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from assistant.crew.database import TABLES, parquet_file
from assistant.crew.tables import questions


def plain(value: Any) -> Any:
    """Give a value as every engine has it."""
    return float(value) if isinstance(value, Decimal) else str(value) if isinstance(value, datetime) else value


def main() -> None:
    """Ask all questions and print the answers."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parquet", type=Path)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--runs", type=int, default=1)
    options = parser.parse_args()
    os.environ |= {
        "SAIL_MODE": "local-cluster",
        "SAIL_CLUSTER__WORKER_INITIAL_COUNT": str(options.workers),
        "RUST_LOG": "error",
        "TZ": "UTC",
    }
    from pysail.spark import SparkConnectServer  # reads the environment when it is imported
    from pyspark.sql import SparkSession

    began = time.perf_counter()
    server = SparkConnectServer("127.0.0.1", 0)
    server.start(background=True)
    host, port = server.listening_address
    session = SparkSession.builder.remote(f"sc://{host}:{port}").getOrCreate()
    for table in TABLES:
        session.read.parquet(str(parquet_file(options.parquet, table))).createOrReplaceTempView(table)
    started = time.perf_counter() - began
    found = {}
    for one in questions():
        took = []
        for _ in range(options.runs):
            began = time.perf_counter()
            rows = session.sql(one.query).collect()
            took.append(time.perf_counter() - began)
        found[one.name] = {"seconds": min(took), "rows": [[plain(value) for value in row] for row in rows]}
    print(json.dumps({"started_s": started, "questions": found}))
    session.stop()
    server.stop()


if __name__ == "__main__":
    main()
