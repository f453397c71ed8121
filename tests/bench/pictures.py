"""Makes the pictures of the page and of the paper that stand in demo_sessions, from a demo session.

.venv/bin/pip install pypdfium2 pillow && .venv/bin/python -m tests.bench.pictures
"""

import shutil
from datetime import datetime
from pathlib import Path

from assistant.app.report import account_from
from assistant.handover.page import as_page
from assistant.handover.paper import as_pdf

DEMOS = Path(__file__).parents[2] / "demo_sessions"
SHOWN = "aerial-50-plan"
COLOURS = 128


def main() -> None:
    """Write both pictures."""
    import pypdfium2
    from PIL import Image
    from playwright.sync_api import sync_playwright

    account, _ = account_from([DEMOS / SHOWN / "session.jsonl"])
    issued = account.ended.replace(microsecond=0)
    paper = pypdfium2.PdfDocument(as_pdf(account, issued=issued))[0].render(scale=1.5).to_pil()
    paper.convert("RGB").quantize(COLOURS).save(DEMOS / "paper.png", optimize=True)
    chromium = next(path for name in ("chromium", "google-chrome") if (path := shutil.which(name)))
    page = DEMOS / "page.html"
    page.write_text(as_page(account, issued=issued), encoding="utf-8")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        tab = browser.new_page(viewport={"width": 1100, "height": 1560})
        tab.goto(page.as_uri())
        tab.click(".strip button")
        tab.click("#back a")
        tab.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
        tab.screenshot(path=DEMOS / "page.png")
        browser.close()
    page.unlink()
    Image.open(DEMOS / "page.png").convert("RGB").quantize(COLOURS).save(DEMOS / "page.png", optimize=True)
    for name in ("page.png", "paper.png"):
        print(f"{datetime.now():%H:%M} {name}: {(DEMOS / name).stat().st_size:,} bytes")


if __name__ == "__main__":
    main()
