"""The page as text: nothing of a log can become an element, and only the page's own script may run."""

import base64
import hashlib
import json
import re
from html.parser import HTMLParser

from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.account.account import account_of
from assistant.cable.colour_code import RINGS, TIPS, colours_of
from assistant.handover.page import CODES, PageSound, as_page
from tests.account.sessions import TWO_WAYS, Session
from tests.account.test_account import a_morning
from tests.tables import rows as reference

HOSTILE = (
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
    return as_page(account_of([session.log()]))


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


def test_places_of_a_group_stand_where_their_colours_are() -> None:
    """ANSI/ICEA S-80-576-2002 colour table as reproduced: tips down, rings across."""
    text = as_page(account_of([Session(cable=25).log()]))
    (group,) = re.findall(r'<table class="group">(.*?)</table>', text, re.DOTALL)
    heads = re.findall(r'<th scope="col">(\w+)</th>', group)
    for line in re.findall(r"<tr><th scope=\"row\">.*?</tr>", group, re.DOTALL):
        (tip,) = re.findall(r'<th scope="row">(\w+)</th>', line)
        for ring, number in zip(heads, re.findall(r"<td[^>]*>(\d+)<i>", line), strict=True):
            row = next(r for r in reference("pair_colours.csv") if r["pair"] == number)
            assert (row["tip"].lower(), row["ring"].lower()) == (tip, ring)
    assert (len(heads), len(TIPS), colours_of(7).ring) == (5, 5, RINGS[1])


def test_every_place_says_in_letters_how_it_stands() -> None:
    text = as_page(account_of([a_morning().log()]))
    signs = dict(re.findall(r'<td data-r="(\d+)" class="k\d+">\d+<i>(\w*)</i>', text))
    assert [signs[str(row)] for row in range(8)] == ["NC", "C", "N", "W", "fault", "skip", "NC", ""]
    assert {signs[str(row)] for row in range(20, 25)} == {"dead", "spare"}
    assert len({code.sign for code in CODES}) == len(CODES), "no two look alike without colour"


def test_the_data_of_the_script_cannot_end_its_element() -> None:
    found = Elements(page("</script>"))
    data = json.loads(found.scripts[0])
    assert len(data["start"]) == 25


def test_sounds_stand_beside_what_they_are_of() -> None:
    account = account_of([a_morning().log()])
    text = as_page(
        account, {("a.jsonl", 4): PageSound.within(b"fLaC"), ("a.jsonl", 12): PageSound("a.sounds/12.flac", False)}
    )
    assert text.count('src="data:audio/flac;base64,ZkxhQw=="') == 2, "in the list of mismatches and in the steps"
    assert "Sounds: 1 of 2 in this page" in text
