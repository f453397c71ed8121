"""The page in a real browser, from a file: slider, filters, sound, print, accessibility, and nothing from elsewhere."""

import importlib.util
import os
import shutil
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.account.account import Account, account_of
from assistant.account.story import moment
from assistant.adapters.kept_sound import FlacFolder
from assistant.app.cli import main
from assistant.dialogue.state import Standing, fold, initial
from assistant.handover.page import CODES, as_page, code_of
from tests.account.sessions import NINE, SWAPPED, TWO_WAYS, Session
from tests.account.test_account import a_morning
from tests.app.test_replay import heard

NAMES = ("chromium", "chromium-browser", "google-chrome")
CHROMIUM = next((path for name in NAMES if (path := shutil.which(name))), "")
MUST_RUN = "SPLICE_ASSISTANT_BROWSER"
"""Environment variable under which a missing browser is a failure."""
pytestmark = pytest.mark.browser
HARMFUL = ("serious", "critical")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if not CHROMIUM or importlib.util.find_spec("playwright") is None:
        if MUST_RUN in os.environ:
            pytest.fail("the page is to be opened, and Chromium or the extra 'page' is missing")
        pytest.skip("no Chromium, or no extra 'page'")
    import playwright.sync_api as api

    with api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield running
        running.close()


class Opened:
    """A page with all that it asked for and complained of."""

    def __init__(self, browser: Any, path: Path) -> None:
        self.page = browser.new_page(viewport={"width": 1280, "height": 900})
        self.asked: list[str] = []
        self.told: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.told.append(message.text))
        self.page.on("pageerror", lambda error: self.told.append(str(error)))
        self.page.goto(path.as_uri())
        self.page.wait_for_selector("html[data-ready=yes]", state="attached")

    def slide(self, seconds: float) -> None:
        self.page.evaluate(
            "s => { const m = document.getElementById('moment'); m.value = s; m.dispatchEvent(new Event('input')); }",
            seconds,
        )

    def codes(self) -> dict[int, tuple[int, str]]:
        """Row -> its class number and its sign, from every place that shows it."""
        found = self.page.evaluate(
            "[...document.querySelectorAll('td[data-r]')]"
            ".map(c => [+c.dataset.r, +c.className.slice(1), c.lastElementChild.textContent])"
        )
        shown: dict[int, tuple[int, str]] = {}
        for row, code, sign in found:
            assert shown.setdefault(row, (code, sign)) == (code, sign), "a pair stands alike at all ends"
        return shown

    def lines(self) -> list[str]:
        return [row.inner_text() for row in self.page.query_selector_all("#lines tbody tr") if row.is_visible()]


def opened(browser: Any, folder: Path, *sessions: Session) -> tuple[Opened, Account]:
    account = account_of([session.log(f"{i}.jsonl") for i, session in enumerate(sessions)], together=True)
    path = folder / "page.html"
    path.write_text(as_page(account), encoding="utf-8")
    return Opened(browser, path), account


def test_it_opens_from_a_file_asks_nothing_and_complains_of_nothing(browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, a_morning())
    assert here.asked == [(tmp_path / "page.html").as_uri()]
    assert here.told == []
    assert "5 of 20" in here.page.inner_text(".figures").replace("\n", " ")


def test_the_slider_shows_the_groups_as_the_fold_has_them_at_every_moment(browser: Any, tmp_path: Path) -> None:
    session = a_morning().typed("redo pair 1", "clear open pair 5", "undo that", "8 green red")
    here, account = opened(browser, tmp_path, session)
    rows = list(account.plan.joints)
    for seconds in [*range(0, 200, 10), 45, 5, 10_000, 0]:
        here.slide(seconds)
        state = initial()
        for record in session.records:
            if (moment(record) - account.began).total_seconds() <= seconds:
                state = fold(record.facts, state)
        wanted = {}
        for index, joint in enumerate(rows):
            standing = state.standing(joint)
            how = known.value if (known := state.of(joint.number).confirmed) else ""
            code = code_of(standing, how, "")
            wanted[index] = (code, CODES[code].sign)
        assert here.codes() == wanted, f"at {seconds} s"
        confirmed = sum(state.standing(joint) is Standing.CONFIRMED for joint in rows)
        assert here.page.inner_text("#shown").endswith(f", {confirmed} of 20 confirmed")
    assert here.told == []


def test_the_slider_names_the_time_of_the_place(browser: Any, tmp_path: Path) -> None:
    from datetime import timedelta, timezone

    session = Session(cable=25, at=NINE.astimezone(timezone(timedelta(hours=-7)))).typed("1 blue white")
    here, _ = opened(browser, tmp_path, session)
    here.slide(0)
    assert here.page.inner_text("#shown") == "2026-11-25 02:00:10, 0 of 25 confirmed"
    assert here.page.get_attribute("#moment", "aria-valuetext") == "2026-11-25 02:00:10, 0 of 25 confirmed"


def test_play_runs_to_the_end_and_stops(browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, Session(cable=25).typed("1 blue white", "2 orange white"))
    here.page.click("#play")
    here.page.get_by_role("button", name="Stop").wait_for()
    here.page.get_by_role("button", name="Play").wait_for(timeout=10_000)
    assert here.page.inner_text("#shown").endswith("2 of 25 confirmed")


def test_filters_hide_places_and_steps(browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, a_morning())
    colour = "getComputedStyle(document.querySelector('td.k2')).color"
    assert here.page.evaluate(colour) == "rgb(255, 255, 255)"
    here.page.uncheck("input.state[value='2']")
    assert here.page.evaluate(colour) == "rgba(0, 0, 0, 0)"
    everything = len(here.lines())
    for box in here.page.query_selector_all("input.topic"):
        if box.get_attribute("value") != "mismatches":
            box.uncheck()
    (line,) = here.lines()
    assert "pair 9 brown red" in line
    assert here.page.inner_text("#count") == f"1 of {everything}"
    here.page.fill("#words", "nothing like it")
    assert here.lines() == []


def test_keys_alone_move_the_slider(browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, a_morning())
    here.page.focus("#moment")
    here.page.keyboard.press("Home")
    assert ", 0 of 20 confirmed" in here.page.inner_text("#shown")


def test_kept_sound_plays_from_the_page(browser: Any, tmp_path: Path) -> None:
    log = tmp_path / "a.jsonl"
    sounds = FlacFolder(log)
    session = Session(cable=25, keeps_sound=True)
    tone = (3000 * np.sin(np.arange(16000) / 5)).astype(np.int16)
    checksum = sounds.take(tone)
    session.put(heard("nine brown red", checksum))
    sounds.keep(checksum, len(session.records))
    session.write(log)
    assert main(["report", str(log), "-o", str(tmp_path / "page.html")]) == 0
    here = Opened(browser, tmp_path / "page.html")
    played = here.page.evaluate(
        """async () => { const a = document.querySelector('#mismatches audio'); a.muted = true; await a.play();
        await new Promise(r => a.addEventListener('ended', r)); return [a.duration, a.error]; }"""
    )
    assert played == [pytest.approx(1.0, abs=0.01), None]
    assert [url for url in here.asked if not url.startswith(("file:", "data:"))] == []


def test_it_prints_to_clean_pages(browser: Any, tmp_path: Path) -> None:
    import io

    import pypdf

    here, _ = opened(browser, tmp_path, a_morning())
    for size, width in (("A4", 595), ("Letter", 612)):
        reader = pypdf.PdfReader(io.BytesIO(here.page.pdf(format=size)))
        assert float(reader.pages[0].mediabox.width) == pytest.approx(width, abs=1)
        text = unicodedata.normalize("NFKC", "\n".join(page.extract_text() for page in reader.pages))
        assert "Elm Road" in text
        assert "Calls that did not fit" in text
        assert "Show the moment" not in text, "controls are not printed"


def test_no_serious_finding_of_accessibility(browser: Any, tmp_path: Path) -> None:
    """axe-core, the rules of WCAG 2.1 A and AA and best practice."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="extra 'page' is not installed")
    first = a_morning()
    second = Session(SWAPPED, at=NINE.replace(day=26)).typed("yes", "1 blue white", "test good")
    here, _ = opened(browser, tmp_path, first, second)
    found = axe.Axe().run(here.page).response
    assert len(found["passes"]) > 20
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"] if one["impact"] in HARMFUL] == []


def test_hostile_text_does_not_run(browser: Any, tmp_path: Path) -> None:
    hostile = "</script><img src=x onerror=\"document.title='taken'\"><script>document.title='taken'</script>"
    session = Session(TWO_WAYS, person=hostile, place=hostile).typed(f"note {hostile}", f"nonsense {hostile}")
    here, _ = opened(browser, tmp_path, session)
    assert here.page.title() == "Splice record: Elm Road"
    assert here.page.query_selector("img") is None
    assert len(here.page.query_selector_all("script")) == 2
    assert here.told == []
    here.page.evaluate(
        "() => { const s = document.createElement('script'); s.text = \"document.title='taken'\";"
        " document.body.append(s); }"
    )
    assert here.page.title() == "Splice record: Elm Road", "even an element that got in may not run"
