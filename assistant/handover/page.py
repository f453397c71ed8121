"""The account as a page: one HTML file that needs nothing else and asks no network.

Whatever a log holds is escaped by the template; the page's own script is the only one that may run,
since the page allows it by its checksum (W3C Content Security Policy).
"""

import base64
import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from itertools import groupby
from typing import Any

from assistant.account.account import Account
from assistant.account.contradictions import JOINED
from assistant.account.runs import runs, why
from assistant.account.story import Line
from assistant.account.topics import Topic
from assistant.account.walk import ENDS_NAMED, StandingChange
from assistant.cable.colour_code import RINGS, TIPS, Order
from assistant.cable.splice_plan import End
from assistant.dialogue import naming, sentences
from assistant.dialogue.state import Standing
from assistant.handover import parts
from assistant.handover.parts import Part
from assistant.handover.summary import WAYS, clock, headline, verdict, words_of
from assistant.texts import harmless

CHART_WIDTH, CHART_HEIGHT = 1000, 120
MOST_LISTED = 2500
"""Rows of a list on the page; the rest is counted, and stands in the JSON. So a page of any log stays below 5 MB."""
MOST_CHANGES = 60_000
"""Changes that the page has one by one, the latest; of those before them it has the last of each joint."""
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
    """In the place of a pair; no two look alike without colour."""
    mark: str
    """In the square of a group."""
    label: str


CODES: tuple[Code, ...] = (
    Code("", "\N{MIDDLE DOT}", "left"),
    Code("skip", "s", "skipped"),
    Code("fault", "\N{MULTIPLICATION SIGN}", "faulty, not joined"),
    Code("dead", "\N{EN DASH}", "dead"),
    Code("spare", "o", "spare"),
    Code("fault+", "!", "joined, fault outstanding"),
    Code("again", "?", "to be called again"),
    Code("test-", "t", "confirmed, failed a test"),
    *(Code(sign, "\N{CHECK MARK}", f"confirmed {about}") for sign, about in WAYS.values()),
)
"""Index in this tuple = class k0, k1, ... of the picture."""
_PLAIN = (Standing.OPEN, Standing.SKIPPED, Standing.FAULTY, Standing.DEAD, Standing.SPARE, Standing.JOINED_FAULTY)
_AGAIN, _FAILED = len(_PLAIN), len(_PLAIN) + 1
_FIRST_WAY = _FAILED + 1
_WAY_CODE = {way: _FIRST_WAY + index for index, way in enumerate(WAYS)}
_WORST_FIRST = (_AGAIN, 5, 2, _FAILED, 1, 0, *reversed(_WAY_CODE.values()), 3, 4)
"""Codes in the order in which one of them stands for a whole group."""


def as_page(account: Account, sounds: Sounds | None = None, *, issued: datetime) -> str:
    """Give the page."""
    script = _text("page.js")
    sounds = sounds or {}
    return str(
        _template().render(
            account=account,
            back=list(parts.to_go_back_for(account)),
            caution=sentences.CAUTION(),
            chart=_chart(account),
            codes=CODES,
            data=_data(account, sounds),
            ends=ENDS_NAMED,
            head=headline(account),
            identity=parts.identity(account, issued),
            issued=issued,
            most=MOST_LISTED,
            name=_name(account),
            notices=parts.notices(account),
            people=parts.people(account),
            parts=[make(account) for make in _PARTS],
            running=_style_text(f"{_name(account)}, issued {issued:%Y-%m-%d %H:%M %Z}".strip()),
            script=script,
            script_sum=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
            sounds=sounds,
            inside=sum(sound.inside for sound in sounds.values()),
            style=_text("page.css"),
            topics=[topic.value for topic in Topic if any(topic in line.topics for _, line in account.lines)],
            verdict=verdict(account),
            ways=WAYS,
        )
    )


_PARTS: tuple[Callable[[Account], Part], ...] = (
    parts.faults,
    parts.joints,
    parts.apart,
    parts.not_in_plan,
    parts.tests,
    parts.remarks,
    parts.mismatches,
    parts.checks,
    parts.sessions,
    parts.logs,
)


def _name(account: Account) -> str:
    names = (account.plan.title or "pairs in sequence", account.place, account.site.value if account.site else "")
    return f"Splice record: {', '.join(name for name in names if name)}"


def _style_text(text: str) -> str:
    """Write a text as a string of a style sheet that nothing in it can end (CSS Syntax Level 3, escapes)."""
    shown = "".join(sign if sign.isascii() and sign.isalnum() else f"\\{ord(sign):x} " for sign in harmless(text))
    return f'"{shown}"'


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
    maker.filters["clock"] = clock
    return maker.from_string(_text("page.html.j2"))


def _text(name: str) -> str:
    return files("assistant.handover").joinpath(name).read_text(encoding="utf-8")


def code_of(standing: Standing, how: str, *, doubt: bool = False, failed: bool = False) -> int:
    """Give the index in `CODES`, of the worst that is to be said of a joint."""
    if doubt and standing in (Standing.OPEN, Standing.SKIPPED):
        return _AGAIN
    if standing is not Standing.CONFIRMED:
        return _PLAIN.index(standing)
    return _FAILED if failed else _WAY_CODE[how]


class _Names:
    """Numbers texts that come again and again."""

    def __init__(self) -> None:
        self.of: dict[str, int] = {}

    def __call__(self, text: str) -> int:
        return self.of.setdefault(text, len(self.of))


def _data(account: Account, sounds: Sounds) -> str:
    """Give what the script needs, as JSON that cannot end its element; groups are drawn from it when opened."""
    logs, people, texts = _Names(), _Names(), _Names()
    start = [
        code_of(Standing.OPEN if row.joint.kind.joined else Standing(row.joint.kind.value), "") for row in account.rows
    ]
    early, late = account.changes[:-MOST_CHANGES], account.changes[-MOST_CHANGES:]
    latest = sorted({change.lead: change for change in early}.values(), key=lambda change: change.turn)
    changes = [
        [
            round((change.turn - account.began).total_seconds()),
            account.row_of[change.lead],
            code_of(
                change.standing,
                change.made.how if change.made else "",
                doubt=bool(change.doubt),
                failed=change.known.failed,
            ),
            logs(change.log),
            change.record,
            people(account.who.of(change.log, change.record)),
            texts(_told(change)),
            round((change.at - change.turn).total_seconds()),
        ]
        for change in (*latest, *late)
    ]
    data = {
        "began": account.began.isoformat(),
        "start": [[code, len(list(same))] for code, same in groupby(start)],
        "changes": changes,
        "codes": [[code.sign, code.mark, code.label] for code in CODES],
        "worst_first": _WORST_FIRST,
        "first_confirmed": _FAILED,
        "joined": sum(row.joint.kind.joined for row in account.rows),
        "tips": [tip.value for tip in TIPS],
        "rings": [ring.value for ring in RINGS],
        "ends": [_end(account, end) for end in account.plan.ends],
        "joints": _joints(account),
        "slips": _slips(account, logs),
        "remarks": [
            [
                *_when(account, one.at, logs(one.log), one.record),
                account.row_of.get(one.lead, -1) if one.lead else -1,
                parts.remark_words(one),
            ]
            for one in account.remarks
        ],
        "topics": [topic.value for topic in Topic],
        "steps": [_step(account, line, logs(log)) for log, line in _steps(account)],
        "steps_in_all": len(account.lines),
        "sounds": [[logs(log), record, sound.address] for (log, record), sound in sounds.items()],
        "logs": list(logs.of),
        "people": list(people.of),
        "texts": list(texts.of),
    }
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")


def _told(change: StandingChange) -> str:
    """Say what a change made of a joint."""
    made = change.made if change.standing in JOINED else None
    return "; ".join(
        part
        for part in (
            "opened again" if change.reopened else "",
            *(f"cleared {fault.value}" for fault in change.cleared),
            words_of(change.standing, change.known, change.doubt, change.made),
            f"named by {made.how}" if made else "",
            "asked back" if made and made.asked_back else "",
            *(f"{test.value} passed" for test, passed in change.known.tests if passed),
            change.doubt,
        )
        if part
    )


def _when(account: Account, at: datetime, log: int, record: int) -> list[object]:
    return [round((at - account.began).total_seconds()), log, record]


def _slips(account: Account, logs: _Names) -> list[list[object]]:
    found = []
    for slip in account.slips:
        rows = dict.fromkeys(account.row_of.get(spot, -1) for spot in (*slip.expected, *slip.called[:4], *slip.far))
        expected = ", ".join(account.called(spot) for spot in slip.expected) or "none"
        called = parts.called_words(account, slip)
        text = f"expected {expected}, called \N{LEFT DOUBLE QUOTATION MARK}{called}\N{RIGHT DOUBLE QUOTATION MARK}"
        text += f"; then {slip.followed_by}"
        found.append([*_when(account, slip.at, logs(slip.log), slip.record), [row for row in rows if row >= 0], text])
    return found


def _step(account: Account, line: Line, log: int) -> list[object]:
    topics = [index for index, topic in enumerate(Topic) if topic in line.topics]
    return [*_when(account, line.at, log, line.record), topics, line.way, line.came, " ".join(line.said)]


def _end(account: Account, end: End) -> dict[str, object]:
    """Give what names the pairs of an end, and its groups."""
    cable, order = end.cable, end.order or account.order
    groups = []
    for number in range(1, cable.groups + 1):
        group = cable.group(number)
        names = (f"group {number}", naming.binder(group, order), naming.super_unit(group))
        groups.append([", ".join(name for name in names if name), group.first, group.last])
    counts, position = [], 1
    for count in end.counts:
        counts.append([count.name, count.run.first, position, len(count.run)])
        position += len(count.run)
    service = [end.address(position).colours for position in range(cable.carrier_pairs + 1, cable.pairs + 1)]
    gauge = f", {end.gauge_awg} AWG" if end.gauge_awg else ""
    carries = "; ".join(str(count) for count in end.counts)
    return {
        "name": end.name,
        "about": f"{cable.pairs} pairs{gauge}{', ' if carries else ''}{carries}",
        "pairs": cable.pairs,
        "carrier": cable.carrier_pairs,
        "ring_first": order is Order.RING_FIRST,
        "counts": counts,
        "groups": groups,
        "service": [naming.colours(colours, order) if colours else "" for colours in service],
    }


def _joints(account: Account) -> list[list[object]]:
    """Give all joints as runs: first index, how many, kind, ends with positions, why."""
    placed = [(row.joint, row.sides) for row in account.rows]
    return [
        [
            run[0],
            len(run),
            placed[run[0]][0].kind.value,
            [[place.end, place.position] for place in placed[run[0]][0].places],
            why(placed[run[0]][0]),
        ]
        for run in runs(placed)
    ]


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
