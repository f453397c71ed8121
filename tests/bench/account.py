"""How long the account of a long session takes, in each form, and its check; the page in Chromium if there is one.

python -m tests.bench.account
"""

import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.long_session import write
from tests.bench.report import machine

RUNS = 5
PAIRS, RECORDS, HOURS = 3600, 20_000, 12.0


def timed(arguments: list[str]) -> str:
    """Run a command several times as a process of its own."""
    took = []
    for _ in range(RUNS):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-m", "assistant", *arguments], check=True, stdout=subprocess.DEVNULL)
        took.append(time.perf_counter() - began)
    return f"median {statistics.median(took):.2f} s (from {min(took):.2f} to {max(took):.2f}, {RUNS} runs)"


def in_browser(page: Path) -> str:
    """Open the page several times; tell when its script was ready and how long a move of the slider takes."""
    chromium = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        chromium = None
    if chromium is None:
        return "not measured: no Chromium or no extra 'page' here"
    ready, moved = [], []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for _ in range(RUNS):
            tab = browser.new_page()
            began = time.perf_counter()
            tab.goto(page.as_uri(), wait_until="commit")
            tab.wait_for_selector("html[data-ready=yes]", state="attached")
            ready.append(time.perf_counter() - began)
            moved.append(
                tab.evaluate(
                    "() => { const m = document.getElementById('moment'), t = performance.now(); m.value = 0;"
                    " m.dispatchEvent(new Event('input')); return performance.now() - t; }"
                )
            )
            tab.close()
        browser.close()
    return (
        f"ready after median {statistics.median(ready):.2f} s, the slider from end to beginning "
        f"{statistics.median(moved):.0f} ms ({RUNS} runs)"
    )


def main() -> None:
    """Print all figures."""
    on = machine()
    print(f"{on['cpu']}, {on['cores']} cores, load {on['load'][0]}, {on['system']}, {on['date']}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log = folder / "long.jsonl"
        records = write(log, PAIRS, RECORDS, HOURS)
        print(f"{records:,} records, {PAIRS:,} pairs, {HOURS:g} h, {log.stat().st_size / 1e6:.1f} MB")
        print(f"replay --check  {timed(['replay', str(log), '--check'])}")
        for suffix in ("html", "csv", "json", "pdf"):
            out = folder / f"long.{suffix}"
            took = timed(["report", str(log), "-o", str(out)])
            print(f"report .{suffix:<5}   {took}, {out.stat().st_size / 1e6:.2f} MB")
        print(f"page in Chromium: {in_browser(folder / 'long.html')}")
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"largest process: {peak:.0f} MB (the browser's own processes may be among them)")


if __name__ == "__main__":
    main()
