"""All programs of faults, or some, with the table for DEVELOPERS.md.

python -m tests.bench.faults [--times 1000] [--only flipped_bits power_cuts]
"""

import argparse
import time

from tests.bench.faults import PROGRAMS


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, help="trials of each (usual: its own number)")
    parser.add_argument("--only", nargs="+", choices=sorted(PROGRAMS), default=list(PROGRAMS))
    options = parser.parse_args()
    print("| what | tried | survived | lost | besides |\n| --- | --- | --- | --- | --- |")
    for name in options.only:
        program, usual = PROGRAMS[name]
        began = time.monotonic()
        outcome = program(options.times or usual)
        outcome.notes["seconds"] = round(time.monotonic() - began)
        print(outcome, flush=True)
        for fault in outcome.lost[:5]:
            print(f"  {fault}")


if __name__ == "__main__":
    main()
