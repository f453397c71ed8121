"""The account as a page: one HTML file that needs nothing else and asks no network.

Whatever a log holds is escaped by the template; the page's own script is the only one that may run,
since the page allows it by its checksum (W3C Content Security Policy).
"""

import base64
import hashlib
import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

from assistant.account.account import Account, Row
from assistant.account.story import Line
from assistant.account.topics import Topic
from assistant.cable.colour_code import PAIRS_PER_GROUP, RINGS, TIPS
from assistant.cable.makeup import Position
from assistant.cable.splice_plan import End, Place
from assistant.dialogue import naming, sentences
from assistant.dialogue.checks import question_of
from assistant.dialogue.messages import PairTest
from assistant.dialogue.state import Standing
from assistant.handover.summary import WAYS, differing, headline, joint_runs, left_over, named

CHART_WIDTH, CHART_HEIGHT = 1000, 120
MOST_LISTED = 2500
"""Rows of a list on the page; the rest is counted, and stands in the JSON. So a page of any log stays below 5 MB."""
MOST_CHANGES = 60_000
"""Changes that the slider goes through, the latest; those before them are shown together."""
TELLING = (Topic.LOST, Topic.CLOCK, Topic.MISMATCH, Topic.CORRECTION, Topic.FAULT, Topic.NOTE, Topic.TROUBLE)
"""What steps are about that come into the list first."""


@dataclass(frozen=True, slots=True)
class PageSound:
    """A sound of the record as the page gives it: inside the page, or as a file beside it."""

    address: str
    inside: bool

    @classmethod
    def within(cls, flac: bytes) -> "PageSound":
        """Put the bytes of a FLAC file into the page."""
        return cls("data:audio/flac;base64," + base64.b64encode(flac).decode(), True)


Sounds = Mapping[tuple[str, int], PageSound]
"""Name of a log and number of a record -> its sound."""


@dataclass(frozen=True, slots=True)
class Code:
    """One way to stand, as the pictures show it."""

    sign: str
    label: str


CODES: tuple[Code, ...] = (
    Code("", "open"),
    Code("skip", "skipped"),
    Code("fault", "faulty"),
    Code("dead", "dead"),
    Code("spare", "spare"),
    Code("fault+", "joined, fault outstanding"),
    Code("again", "to be called again"),
    *(Code(sign, f"confirmed {about}") for sign, about in WAYS.values()),
)
"""Index in this tuple = class k0, k1, ... of the picture."""
_PLAIN = (Standing.OPEN, Standing.SKIPPED, Standing.FAULTY, Standing.DEAD, Standing.SPARE, Standing.JOINED_FAULTY)
_AGAIN = len(_PLAIN)
_FIRST_WAY = _AGAIN + 1
_WAY_CODE = {way: _FIRST_WAY + index for index, way in enumerate(WAYS)}


@dataclass(frozen=True, slots=True)
class Cell:
    """One place of a group: the row that it belongs to, its number, and how it stands at the end."""

    row: int | None
    """None where the pair is in no join of the plan."""
    number: int
    code: int


@dataclass(frozen=True, slots=True)
class GroupPicture:
    """The 25 places of a group; tips down, rings across."""

    title: str
    cells: tuple[tuple[Cell | None, ...], ...]
    """5 rows of 5; None where the cable has no such pair."""


@dataclass(frozen=True, slots=True)
class EndPicture:
    """All groups of one end."""

    name: str
    about: str
    groups: tuple[GroupPicture, ...]
    service: tuple[tuple[str, Cell], ...]
    """Service pairs with their colours; empty where no source gives them."""


def as_page(account: Account, sounds: Sounds | None = None) -> str:
    """Give the page."""
    script = _text("page.js")
    sounds = sounds or {}
    answers = [(a, question_of(a.check, account.site) if account.site else a.check) for a in account.answers]
    return str(
        _template().render(
            account=account,
            answers=answers,
            caution=sentences.CAUTION(),
            chart=_chart(account),
            codes=CODES,
            data=_data(account),
            differing=differing(account),
            ends=[_end_picture(account, index, end) for index, end in enumerate(account.plan.ends)],
            faulty=[row for row in account.rows if row.known.faults or row.known.failed],
            head=headline(account),
            left=list(left_over(account)),
            named=named,
            rings=[ring.value for ring in RINGS],
            most=MOST_LISTED,
            runs=joint_runs(account),
            steps=_steps(account),
            script=script,
            script_sum=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
            sounds=sounds,
            inside=sum(sound.inside for sound in sounds.values()),
            style=_text("page.css"),
            tests=_tests(account),
            tips=[tip.value for tip in TIPS],
            topics=[topic for topic in Topic if any(topic in line.topics for _, line in account.lines)],
            ways=WAYS,
        )
    )


def _steps(account: Account) -> list[tuple[str, Line]]:
    """Give the steps for the list, the most telling of them where there are too many, in the order of time."""
    if len(account.lines) <= MOST_LISTED:
        return list(account.lines)

    def rank(index: int) -> int:
        topics = account.lines[index][1].topics
        return min((TELLING.index(topic) for topic in topics if topic in TELLING), default=len(TELLING))

    chosen = sorted(sorted(range(len(account.lines)), key=rank)[:MOST_LISTED])
    return [account.lines[index] for index in chosen]


@cache
def _template() -> Any:
    import jinja2

    maker = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True, auto_reload=False
    )
    maker.filters["stamp"] = lambda at: f"{at:%Y-%m-%d %H:%M:%S %z}"
    return maker.from_string(_text("page.html.j2"))


def _text(name: str) -> str:
    return files("assistant.handover").joinpath(name).read_text(encoding="utf-8")


def code_of(standing: Standing, how: str, doubt: str) -> int:
    """Give the index in `CODES`."""
    if doubt and standing in (Standing.OPEN, Standing.SKIPPED):
        return _AGAIN
    return _WAY_CODE[how] if standing is Standing.CONFIRMED else _PLAIN.index(standing)


def _row_code(row: Row) -> int:
    return code_of(row.standing, row.how, row.doubt)


def _end_picture(account: Account, index: int, end: End) -> EndPicture:
    groups: dict[int, list[list[Cell | None]]] = {}
    service: list[tuple[str, Cell]] = []
    titles: dict[int, str] = {}
    for position in range(1, end.cable.pairs + 1):
        address = end.address(position)
        joint = account.plan.at.get(Place(index, Position(position)))
        row = None if joint is None else account.plan.turn[joint]
        code = 0 if row is None else _row_code(account.rows[row])
        if address.group.service:
            colours = naming.colours(address.colours, account.order) if address.colours else "as the cable shows"
            service.append((colours, Cell(row, address.position, code)))
            continue
        number = address.group.number
        if number not in groups:
            groups[number] = [[None] * len(RINGS) for _ in TIPS]
            binder = naming.binder(address.group, end.order or account.order)
            unit = naming.super_unit(address.group)
            titles[number] = ", ".join(part for part in (f"group {number}", binder, unit) if part)
        tip, ring = divmod((address.position - 1) % PAIRS_PER_GROUP, len(RINGS))
        groups[number][tip][ring] = Cell(row, end.called(Position(position))[1], code)
    gauge = f", {end.gauge_awg} AWG" if end.gauge_awg else ""
    counts = "; ".join(str(count) for count in end.counts)
    return EndPicture(
        name=end.name or "cable",
        about=f"{end.cable.pairs} pairs{gauge}{', ' if counts else ''}{counts}",
        groups=tuple(
            GroupPicture(titles[number], tuple(tuple(line) for line in cells)) for number, cells in groups.items()
        ),
        service=tuple(service),
    )


def _data(account: Account) -> str:
    """Give what the script needs, as JSON that cannot end its element."""
    start = [
        code_of(Standing.OPEN if row.joint.kind.joined else Standing(row.joint.kind.value), "", "")
        for row in account.rows
    ]
    changes = [
        [
            round((change.turn - account.began).total_seconds()),
            account.row_of[change.lead],
            code_of(change.standing, change.made.how if change.made else "", change.doubt),
        ]
        for change in account.changes
    ]
    early, changes = changes[:-MOST_CHANGES], changes[-MOST_CHANGES:]
    if early:  # of those that are shown together the last one of each joint is seen
        changes = [*{row: [early[-1][0], row, code] for _, row, code in early}.values(), *changes]
    data = {
        "began": account.began.isoformat(),
        "ended_s": int((account.ended - account.began).total_seconds()) + 1,
        "start": start,
        "changes": changes,
        "codes": [[code.sign, code.label] for code in CODES],
        "first_way": _FIRST_WAY,
        "joined": sum(row.joint.kind.joined for row in account.rows),
    }
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")


def _tests(account: Account) -> list[tuple[str, int, int]]:
    """Count for each test how many pairs passed and failed it."""
    counts = Counter(made for row in account.rows for made in row.known.tests)
    return [(t.value, counts[t, True], counts[t, False]) for t in PairTest if counts[t, True] + counts[t, False]]


@dataclass(frozen=True, slots=True)
class Chart:
    """The time of the work as a drawing of fixed size; x and widths in its units."""

    minutes: int
    most: int
    bars: tuple[tuple[float, float, float, str, int], ...]
    """x, width, height, time, confirmed."""
    work: tuple[tuple[float, float], ...]
    """x and width of each stretch of work; between them are pauses."""
    slips: tuple[float, ...]
    ticks: tuple[tuple[float, str], ...]


def _chart(account: Account) -> Chart:
    begin, end = account.pace[0].began, account.pace[-1].began
    width_s = account.pace[0].minutes * 60
    whole_s = (end - begin).total_seconds() + width_s
    most = max(1, *(one.confirmed for one in account.pace))

    def x(at: datetime) -> float:
        return round(CHART_WIDTH * (at - begin).total_seconds() / whole_s, 2)

    wide = round(CHART_WIDTH * width_s / whole_s, 2)
    bars = tuple(
        (
            x(one.began),
            wide,
            round(CHART_HEIGHT * one.confirmed / most, 1),
            f"{one.began:%Y-%m-%d %H:%M}",
            one.confirmed,
        )
        for one in account.pace
    )
    each = max(1, len(account.pace) // 10)
    many_days = begin.date() != end.date()
    return Chart(
        minutes=account.pace[0].minutes,
        most=most,
        bars=bars,
        work=tuple((x(s.began), max(1.0, x(s.ended) - x(s.began))) for s in account.stretches),
        slips=tuple(x(slip.turn) for slip in account.slips),
        ticks=tuple(
            (x(one.began), f"{one.began:%d. %H:%M}" if many_days else f"{one.began:%H:%M}")
            for one in account.pace[::each]
        ),
    )
