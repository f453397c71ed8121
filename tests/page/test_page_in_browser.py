"""The page in a real browser, from a file: slider, filters, sound, print, accessibility, and nothing from elsewhere."""

import importlib.util
import io
import os
import shutil
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest

from assistant.account.account import Account, account_of
from assistant.adapters.kept_sound import FlacFolder
from assistant.app.cli import main
from assistant.dialogue.state import Standing, fold, initial
from assistant.handover.page import CODES, as_page, code_of
from tests.account.sessions import NINE, SWAPPED, TWO_WAYS, Session
from tests.account.test_account import a_morning
from tests.app.test_replay import heard
from tests.handover import big
from tests.tables import rows as reference

NAMES = ("chromium", "chromium-browser", "google-chrome")
CHROMIUM = next((path for name in NAMES if (path := shutil.which(name))), "")
MUST_RUN = "SPLICE_ASSISTANT_BROWSER"
"""Environment variable under which a missing browser is a failure."""
pytestmark = pytest.mark.browser


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

    def __init__(self, browser: Any, path: Path, width: int = 1280, **more: object) -> None:
        self.page = browser.new_page(viewport={"width": width, "height": 900}, **more)
        self.asked: list[str] = []
        self.told: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.told.append(message.text))
        self.page.on("pageerror", lambda error: self.told.append(str(error)))
        self.page.goto(path.as_uri())
        self.page.wait_for_selector("html[data-ready=yes]", state="attached")

    def slide(self, change: int) -> None:
        self.page.evaluate(
            "s => { const m = document.getElementById('moment'); m.value = s; m.dispatchEvent(new Event('input')); }",
            change,
        )

    def codes(self) -> dict[int, tuple[int, str]]:
        """Row -> its class number and its sign, from every place that shows it."""
        found = self.page.evaluate(
            "[...document.querySelectorAll('.group button')].map("
            "c => [+c.dataset.p, +c.parentElement.className.slice(1), c.lastElementChild.textContent])"
        )
        shown: dict[int, tuple[int, str]] = {}
        for row, code, sign in found:
            assert shown.setdefault(row, (code, sign)) == (code, sign), "a pair stands alike at all ends"
        return shown

    def squares(self) -> list[str]:
        return self.page.evaluate("[...document.querySelectorAll('.strip button')].map(b => b.textContent)")

    def lines(self) -> list[str]:
        return [row.inner_text() for row in self.page.query_selector_all("#lines tbody tr") if row.is_visible()]

    def fits(self) -> bool:
        """Tell whether nothing scrolls sideways."""
        return self.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def account_from(*sessions: Session) -> Account:
    return account_of([session.log(f"{i}.jsonl") for i, session in enumerate(sessions)], together=True)


def written(folder: Path, account: Account) -> Path:
    path = folder / "page.html"
    path.write_text(as_page(account, issued=NINE.replace(day=27)), encoding="utf-8")
    return path


def opened(browser: Any, folder: Path, *sessions: Session) -> tuple[Opened, Account]:
    account = account_from(*sessions)
    return Opened(browser, written(folder, account)), account


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the page of 12,000 joints."""
    return written(tmp_path_factory.mktemp("large"), account_of([big.log(12_000, 330)]))


def test_it_opens_from_a_file_asks_nothing_and_complains_of_nothing(browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, a_morning())
    assert here.asked == [(tmp_path / "page.html").as_uri()]
    assert here.told == []
    assert here.page.inner_text(".figures").split("\n")[:2] == ["confirmed of 20", "5"]


def test_the_slider_shows_pairs_and_groups_as_the_fold_has_them_after_every_change(
    browser: Any, tmp_path: Path
) -> None:
    session = a_morning().typed("redo pair 1", "clear open pair 5", "undo that", "8 green red")
    here, account = opened(browser, tmp_path, session)
    here.page.click("#all")
    rows = list(account.plan.joints)
    last = len(account.changes)
    assert last == 12
    for change in [*range(last + 1), 3, 0, last]:
        here.slide(change)
        state = initial()
        for record in session.records:
            if record.number <= (account.changes[change - 1].record if change else 1):
                state = fold(record.facts, state)
        wanted = {}
        for index, joint in enumerate(rows):
            how = known.value if (known := state.of(joint.number).confirmed) else ""
            code = code_of(state.standing(joint), how)
            wanted[index] = (code, CODES[code].sign)
        assert here.codes() == wanted, f"after change {change}"
        worst = {Standing.JOINED_FAULTY: "!", Standing.FAULTY: "\N{MULTIPLICATION SIGN}", Standing.SKIPPED: "s"}
        standings = [state.standing(joint) for joint in rows]
        sign = next((mark for standing, mark in worst.items() if standing in standings), "\N{MIDDLE DOT}")
        assert here.squares() == [sign, sign], "of both ends"
        confirmed = sum(state.standing(joint) is Standing.CONFIRMED for joint in rows)
        assert here.page.inner_text("#shown").endswith(f", {confirmed} of 20 confirmed")
    assert here.told == []


def test_a_failed_test_shows_in_the_map_though_the_pair_is_confirmed(browser: Any, tmp_path: Path) -> None:
    from dataclasses import replace

    from assistant.dialogue.messages import Channel, PairTest, PairTested

    session = Session(cable=2).typed("1 blue white", "2 orange white")
    failed = PairTested(pair=1, test=PairTest.CONTINUITY, passed=False, by=Channel.KEYS)
    session.records.append(replace(session.records[-1], number=4, facts=(failed,)))
    here, _ = opened(browser, tmp_path, session)
    assert here.squares() == ["t"]
    here.page.click("#all")
    assert [sign for _, sign in here.codes().values()] == ["test-", "N+C"]
    assert here.page.inner_text("#shown").endswith("2 of 2 confirmed")
    assert "1 failed a test" in here.page.inner_text(".verdict")


def test_the_slider_names_the_time_of_the_place(browser: Any, tmp_path: Path) -> None:
    from datetime import timedelta, timezone

    session = Session(cable=25, at=NINE.astimezone(timezone(timedelta(hours=-7)))).typed("1 blue white")
    here, _ = opened(browser, tmp_path, session)
    assert here.page.get_attribute("#moment", "aria-valuetext") == "2026-11-25 02:00:20, 1 of 25 confirmed"
    here.slide(0)
    assert here.page.inner_text("#shown") == "before the first change, 0 of 25 confirmed"


def test_nights_take_nothing_of_the_slider_and_play_goes_through_work_only(browser: Any, tmp_path: Path) -> None:
    session = Session(cable=25).typed("1 blue white", *["redo pair 1", "1 blue white"] * 8)
    here, _ = opened(browser, tmp_path, session.typed("2 orange white", after_s=14 * 3600))
    assert here.page.get_attribute("#moment", "max") == "18"
    here.page.click("#play")
    here.page.get_by_role("button", name="Stop").wait_for()
    here.page.get_by_role("button", name="Play").wait_for(timeout=9_000)
    assert here.page.inner_text("#shown") == "2026-11-25 23:03:00, 2 of 25 confirmed"


def test_filters_hide_places_and_steps(browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, a_morning())
    here.page.click("#all")
    colour = "getComputedStyle(document.querySelector('.group td.k2')).color"
    assert here.page.evaluate(colour) == "rgb(17, 17, 17)"
    here.page.uncheck("input.state[value='2']")
    assert here.page.evaluate(colour) == "rgba(0, 0, 0, 0)"
    here.page.click("#steps summary")
    here.page.wait_for_selector("#lines tbody tr")
    everything = len(here.lines())
    for box in here.page.query_selector_all("input.topic"):
        if box.get_attribute("value") != "mismatches":
            box.uncheck()
    (line,) = here.lines()
    assert "pair 9 brown red" in line
    assert here.page.inner_text("#count") == f"1 of {everything}"
    here.page.fill("#words", "nothing like it")
    assert here.lines() == []


def test_places_of_a_group_stand_where_their_colours_are(browser: Any, tmp_path: Path) -> None:
    """ANSI/ICEA S-80-576-2002 colour table as reproduced: tips down, rings across."""
    here, _ = opened(browser, tmp_path, Session(cable=25))
    here.page.click("#all")
    heads = [one.inner_text() for one in here.page.query_selector_all(".group thead th")]
    seen = 0
    for line in here.page.query_selector_all(".group tbody tr"):
        tip = line.query_selector("th").inner_text()
        for ring, cell in zip(heads, line.query_selector_all("td"), strict=True):
            row = next(r for r in reference("pair_colours.csv") if r["pair"] == cell.inner_text().split()[0])
            assert (row["tip"].lower(), row["ring"].lower()) == (tip, ring)
            seen += 1
    assert seen == 25


PLANS = Path(__file__).parents[2] / "demo_sessions" / "plans"


@pytest.mark.parametrize("plan", ["transfer-screened", "main-900-branch"])
def test_the_page_names_every_pair_as_the_account_does(plan: str, browser: Any, tmp_path: Path) -> None:
    """Service pairs, several counts, a branch and the other naming order among them."""
    here, account = opened(browser, tmp_path, Session((PLANS / f"{plan}.toml").read_text(encoding="utf-8")))
    shown = here.page.evaluate(
        """async (rows) => { const found = []; for (let row = 0; row < rows; row += 1) {
        location.hash = "#p" + row; await new Promise(done => addEventListener("hashchange", done, { once: true }));
        found.push(document.querySelector("#pair h3").textContent); } return found; }""",
        len(account.rows),
    )
    assert shown == [" = ".join(str(side) for side in row.sides) for row in account.rows]


def test_a_pair_of_12_000_joints_is_found_in_two_actions_with_all_that_happened(browser: Any, large: Path) -> None:
    here = Opened(browser, large)
    here.page.fill("#wanted", "inb main 35 slate red")
    here.page.keyboard.press("Enter")
    assert here.page.evaluate("document.activeElement.textContent") == "inb main 35 slate red = outb main 35 slate red"
    history = here.page.inner_text("#pair table")
    assert "confirmed; named by" in history
    assert "vault.jsonl" in history
    assert here.told == []


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ("9", "1 joint"),
        ("pair 9", "1 joint"),
        ("brown red", "1 joint"),
        ("red brown", "1 joint"),
        ("gray white", "1 joint"),
        ("ash 109", "1 joint"),
        ("9 green red", "0 joints"),
        ("group 2", "0 joints"),
        ("group 1 blue", "5 joints"),
        ("nothing", "0 joints"),
    ],
)
def test_what_is_found(wanted: str, found: str, browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, a_morning())
    here.page.fill("#wanted", wanted)
    assert here.page.inner_text("#found p") == found
    assert here.page.is_visible("#pair") == (found == "1 joint")


def test_the_history_of_a_pair_has_its_slips_changes_and_records(browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, a_morning().typed("clear open pair 5"))
    here.page.fill("#wanted", "elm 3")
    told = [row.inner_text() for row in here.page.query_selector_all("#pair tbody tr")]
    assert len(told) == 2
    assert "called \N{LEFT DOUBLE QUOTATION MARK}pair 9 brown red" in told[0]
    assert "confirmed; named by number\tone\t0.jsonl 5" in told[1]
    here.page.fill("#wanted", "elm 5")
    told = [row.inner_text() for row in here.page.query_selector_all("#pair tbody tr")]
    assert ["faulty, not joined: open" in told[0], "cleared open; left" in told[1]] == [True, True]


def test_the_pair_that_is_shown_follows_the_slider(browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, a_morning())
    here.page.fill("#wanted", "elm 1")
    assert "number and both colours" in here.page.inner_text("#pair strong")
    here.slide(0)
    assert here.page.inner_text("#pair strong") == "left at this moment"


def test_links_of_what_to_go_back_for_lead_to_the_pair(browser: Any, tmp_path: Path) -> None:
    here, _ = opened(browser, tmp_path, a_morning())
    here.page.click("#back a")
    assert here.page.inner_text("#pair h3").startswith("west elm 5 slate white = east ash 105")
    here.page.click("#pair p a")
    assert here.page.inner_text("#opened caption") == "west, group 1"


def test_keys_alone_find_a_pair_open_a_group_and_move_the_slider(browser: Any, large: Path) -> None:
    here = Opened(browser, large)
    press = here.page.keyboard.press
    seen = []
    for _ in range(400):
        press("Tab")
        seen.append(here.page.evaluate("document.activeElement.id || document.activeElement.className"))
        if here.page.evaluate("document.activeElement.matches('.strip button')"):
            break
    assert [one for one in seen if one in ("wanted", "moment", "play", "all")] == ["wanted", "moment", "play", "all"]
    press("ArrowRight")
    press("ArrowDown")
    press("Enter")
    assert here.page.inner_text("#opened caption").startswith("ina, group 26, binder orange white")
    press("Enter")
    assert not here.page.query_selector("#opened caption")
    here.page.focus("#wanted")
    here.page.keyboard.type("outa east 5")
    press("Enter")
    assert here.page.evaluate("document.activeElement.textContent").startswith("ina main 5505")
    here.page.focus("#moment")
    press("Home")
    assert here.page.inner_text("#shown") == "before the first change, 0 of 11000 confirmed"


def test_kept_sound_plays_from_the_lists_and_from_the_pair(browser: Any, tmp_path: Path) -> None:
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
    here.page.fill("#wanted", "9")
    for place in ("#mismatches", "#pair"):
        played = here.page.evaluate(
            """async (place) => { const a = document.querySelector(place + ' audio'); a.muted = true; await a.play();
            await new Promise(r => a.addEventListener('ended', r)); return [a.duration, a.error]; }""",
            place,
        )
        assert played == [pytest.approx(1.0, abs=0.01), None]
    assert [url for url in here.asked if not url.startswith(("file:", "data:"))] == []


def printed(here: Opened, size: str) -> list[str]:
    reader = pypdf.PdfReader(io.BytesIO(here.page.pdf(format=size, prefer_css_page_size=False)))
    assert float(reader.pages[0].mediabox.width) == pytest.approx({"A4": 595, "Letter": 612}[size], abs=1)
    return [" ".join(unicodedata.normalize("NFKC", page.extract_text()).split()) for page in reader.pages]


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_one_page_of_summary_is_printed_and_the_parts_that_are_asked_for(
    size: str, browser: Any, tmp_path: Path, large: Path
) -> None:
    here, _ = opened(browser, tmp_path, a_morning())
    (summary,) = printed(here, size)
    assert "Splice record: Elm Road, pole 7, aerial, issued 2026-11-27 09:00 UTC" in summary, "the header"
    assert "page 1 of 1" in summary
    assert "Go back for 15 of 20 joints" in summary
    for not_asked in ("The moment", "what became of it", "People and days", "Print"):
        assert not_asked not in summary
    for part in ("faults", "people"):
        here.page.check(f"input.printed[value={part}]")
    more = " ".join(printed(here, size))
    assert "what became of it" in more
    assert "joined an hour" in more
    for not_asked in ("Steps worth looking at", "from confirmed"):
        assert not_asked not in more
    (of_many,) = printed(Opened(browser, large), size)
    assert "Go back for 435 of 11,000 joints" in of_many


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1400])
def test_no_finding_of_accessibility(scheme: str, width: int, browser: Any, tmp_path: Path) -> None:
    """axe-core, the rules of WCAG 2.1 A and AA and best practice."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="extra 'page' is not installed")
    first = a_morning()
    second = Session(SWAPPED, at=NINE.replace(day=26)).typed("yes", "1 blue white", "test good")
    account = account_from(first, second)
    here = Opened(browser, written(tmp_path, account), width, color_scheme=scheme)
    here.page.click("#all")
    here.page.fill("#wanted", "elm 1")
    for summary in here.page.query_selector_all("summary"):
        summary.click()
    found = axe.Axe().run(here.page).response
    assert len(found["passes"]) > 25
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []
    assert here.told == []


@pytest.mark.parametrize(("width", "zoom"), [(390, 1), (700, 1), (1400, 1), (700, 2)])
def test_nothing_scrolls_sideways(width: int, zoom: int, browser: Any, large: Path, tmp_path: Path) -> None:
    """The last is a window of 1400 points at 200 per cent: WCAG 2.1, 1.4.10 and 1.4.4."""
    small = written(tmp_path, account_from(a_morning()))
    for path in (large, small):
        here = Opened(browser, path, width, device_scale_factor=zoom)
        for summary in here.page.query_selector_all("summary"):
            summary.click()
        here.page.click(".strip button")
        here.page.evaluate("location.hash = '#p2'")
        here.page.wait_for_selector("#pair h3")
        assert here.fits()


def test_hostile_text_does_not_run(browser: Any, tmp_path: Path) -> None:
    hostile = "</script><img src=x onerror=\"document.title='taken'\"><script>document.title='taken'</script>"
    session = Session(TWO_WAYS, person=hostile, place=hostile).typed(f"note {hostile}", f"nonsense {hostile}")
    here, _ = opened(browser, tmp_path, session)
    assert here.page.title().startswith("Splice record: Elm Road, </script><img src=x")
    assert here.page.query_selector("img") is None
    assert len(here.page.query_selector_all("script")) == 2
    assert here.told == []
    here.page.evaluate(
        "() => { const s = document.createElement('script'); s.text = \"document.title='taken'\";"
        " document.body.append(s); }"
    )
    assert here.page.title() != "taken", "even an element that got in may not run"
