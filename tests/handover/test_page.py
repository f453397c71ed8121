"""The page as text: nothing of a log can become an element, and only the page's own script may run."""

import base64
import hashlib
import json
import re
from datetime import UTC, datetime
from html.parser import HTMLParser

from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.account.account import Account, account_of
from assistant.handover.page import CODES, PageSound, Sounds, as_page
from tests.account.sessions import TWO_WAYS, Session
from tests.account.test_account import a_morning
from tests.handover import big

ISSUED = datetime(2026, 11, 27, 8, 30, tzinfo=UTC)
HOSTILE = (
    '\\"; } * { display: none } </style>',
    "</script><script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7 * 7 }}{% raw %}",
    "<!--",
    "]]>",
    "\u2028 javascript:alert(1)",
)


class Elements(HTMLParser):
    """Lists elements with their attributes' names, and collects text by element."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, tuple[str, ...]]] = []
        self.texts: list[str] = []
        self.scripts: list[str] = []
        self._in: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, tuple(name for name, _ in attrs)))
        self._in.append(tag)

    def handle_endtag(self, tag: str) -> None:
        self._in.append("/" + tag)

    def handle_data(self, data: str) -> None:
        (self.scripts if self._in and self._in[-1] == "script" else self.texts).append(data)


def page(text: str = "damp", **more: object) -> str:
    session = Session(TWO_WAYS.replace("cut off", "gone"), person=text, place=text, microphone=text, **more)
    session.typed("yes", f"note {text}", "1 blue white", "pair 9 brown red", f"note about {text}")
    return made(account_of([session.log()]))


def made(account: Account, sounds: Sounds | None = None) -> str:
    return as_page(account, sounds, issued=ISSUED)


SHAPE = Elements(page()).elements


@settings(max_examples=60)
@given(st.sampled_from(HOSTILE) | st.text(st.characters(blacklist_categories=["Cs", "Cc"]), min_size=1, max_size=40))
def test_no_text_of_a_log_changes_the_elements_of_the_page(text: str) -> None:
    found = Elements(page("x" + text + "x"))
    assert found.elements == SHAPE
    assert len(found.scripts) == 2


def test_hostile_text_is_shown_as_it_is() -> None:
    for text in HOSTILE:
        shown = "".join(Elements(page(f"x{text}x")).texts)
        assert f"x{text}x" in shown


def test_only_the_script_whose_sum_the_page_names_may_run() -> None:
    """Content Security Policy Level 3, W3C: 'sha256-' and the base64 of the digest."""
    text = page()
    script = Elements(text).scripts[-1]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    assert f"script-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'")


def test_the_page_asks_for_nothing_from_elsewhere() -> None:
    text = page()
    assert not re.findall(r"""(?:src|href)\s*=\s*["'](?!#|data:)""", text)
    assert "http" not in text.replace("http-equiv", "")
    assert "@import" not in text
    assert "url(" not in text


def test_no_two_standings_look_alike_without_colour() -> None:
    assert len({code.sign for code in CODES}) == len(CODES)
    assert "NC" not in {code.sign for code in CODES}, "that reads as no connection"


def test_the_header_of_a_printed_page_is_one_string_of_the_style_whatever_the_title_holds() -> None:
    """CSS Syntax Level 3: a string ends at its quote, and an escape stands for any code point."""
    text = made(account_of([Session(TWO_WAYS, place='x"; } </style><b>').typed("1 blue white").log()]))
    (content,) = re.findall(r"@top-left \{ content: (.*); \} \}$", text, re.MULTILINE)
    assert re.fullmatch(r'"(?:[0-9A-Za-z]|\\[0-9a-f]+ )*"', content)
    shown = re.sub(r"\\([0-9a-f]+) ", lambda found: chr(int(found[1], 16)), content[1:-1])
    assert shown == 'Splice record: Elm Road, x"; } </style><b>, aerial, issued 2026-11-27 08:30 UTC'


def test_the_page_of_12_000_joints_is_below_5_mb() -> None:
    assert len(made(account_of([big.log(12_000, 330)])).encode()) < 5_000_000


def test_what_to_go_back_for_stands_first_with_count_finder_and_links() -> None:
    text = "".join(Elements(made(account_of([a_morning().log()]))).texts)
    plain = " ".join(text.split())
    assert plain.index("Go back for 15 of 20 joints: 1 faulty, not joined; 1 skipped; 13 left.") < plain.index("Pairs")
    assert "faulty, not joined (1) whatfound byhow manypairs openone1west elm 5" in plain
    assert '<a href="#p4">west elm 5</a>' in made(account_of([a_morning().log()]))


def test_the_data_of_the_script_cannot_end_its_element() -> None:
    found = Elements(page("</script>"))
    data = json.loads(found.scripts[0])
    assert sum(many for _, many in data["start"]) == 25


def test_sounds_stand_beside_what_they_are_of() -> None:
    account = account_of([a_morning().log()])
    sounds = {("a.jsonl", 4): PageSound.within(b"fLaC"), ("a.jsonl", 12): PageSound("a.sounds/12.flac", False)}
    text = made(account, sounds)
    places = re.findall(r'<span class="sound" data-log="a.jsonl" data-record="(\d+)">', text)
    assert places == ["12", "4"], "in the lists of notes and of mismatches"
    assert text.count("data:audio/flac;base64,ZkxhQw==") == 1, "once, however many lists have it"
    data = json.loads(Elements(text).scripts[0])
    assert data["sounds"] == [[0, 4, "data:audio/flac;base64,ZkxhQw=="], [0, 12, "a.sounds/12.flac"]]
    assert "Sounds: 1 of 2 in this page" in text
