"""The account as a splice record on paper: PDF, one to a few pages, A4 or Letter, with fields to fill in by hand.

Its fields are those usual on a splice record (common practice, no source). The standard fonts of PDF hold
Latin letters; what they lack is shown as a question mark, and stands in full on the page and in the JSON.
"""

import io
from collections.abc import Callable, Iterable
from itertools import islice
from typing import Any

from assistant.account.account import Account
from assistant.dialogue import sentences
from assistant.dialogue.state import Standing
from assistant.handover.summary import WAYS, headline, joint_runs, left_over, tally_line

MOST_LISTED = 25
"""Lines of a list on paper; the rest is counted, and stands on the page."""
BLANKS = (
    "closure",
    "bonds made",
    "filling or pressure",
    "sheath length marks",
    "splicer (name, signature)",
    "checked by",
)
"""Fields that the tool does not know, to be filled in by hand."""


def as_pdf(account: Account, paper: str = "A4") -> bytes:
    """Give the PDF; the same account gives the same bytes."""
    from reportlab.lib import pagesizes
    from reportlab.lib.units import mm
    from reportlab.platypus import SimpleDocTemplate

    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=getattr(pagesizes, paper),
        leftMargin=15 * mm,
        rightMargin=15 * mm,
        topMargin=14 * mm,
        bottomMargin=16 * mm,
        title=_plain(f"Splice record: {account.plan.title}"),
        invariant=1,
    )
    foot = _foot(account)
    document.build(_story(account, _Style()), onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


class _Style:
    """Makes paragraphs and tables of one look."""

    def __init__(self) -> None:
        from reportlab.lib.styles import getSampleStyleSheet

        self._sheet: Any = getSampleStyleSheet()
        self._sheet["Heading3"].keepWithNext = 1
        self._sheet["BodyText"].fontSize, self._sheet["BodyText"].leading = 8.5, 10.5

    def text(self, text: object, style: str = "BodyText", *, bold: bool = False) -> Any:
        """Give a paragraph; the text is shown as it is, whatever marks it holds."""
        from xml.sax.saxutils import escape

        from reportlab.platypus import Paragraph

        shown = escape(_plain(str(text)))
        return Paragraph(f"<b>{shown}</b>" if bold else shown, self._sheet[style])

    def table(self, head: Iterable[str], rows: Iterable[Iterable[object]], widths: list[float]) -> Any:
        """Give a table that goes on over pages with its head; widths are shares of the line."""
        from reportlab.lib import colors
        from reportlab.lib.units import mm
        from reportlab.platypus import Table

        heads = [self.text(cell, bold=True) for cell in head]
        lines = [[self.text(cell) for cell in row] for row in rows] or [[self.text("none"), *[""] * (len(heads) - 1)]]
        cells = [heads, *lines]
        look: list[Any] = [("GRID", (0, 0), (-1, -1), 0.4, colors.grey), ("VALIGN", (0, 0), (-1, -1), "TOP")]
        look += [("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5)]
        return Table(cells, colWidths=[share * 180 * mm for share in widths], repeatRows=1, style=look, hAlign="LEFT")


def _plain(text: str) -> str:
    """Keep what the standard fonts of PDF can show, and mark the rest."""
    kept = "".join(sign if sign.isprintable() else " " for sign in text)
    return kept.encode("cp1252", "replace").decode("cp1252")


def _foot(account: Account) -> Callable[[Any, Any], None]:
    sums = ", ".join(f"{log.name} {log.count} records, last checksum {log.last_sum}" for log in account.logs)

    def draw(canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFont("Helvetica", 7)
        canvas.drawString(42, 26, _plain(sums)[:150])
        canvas.drawRightString(document.pagesize[0] - 42, 26, f"page {document.page}")
        canvas.restoreState()

    return draw


def _story(account: Account, style: _Style) -> list[Any]:
    head = headline(account)
    days = f"{account.began:%Y-%m-%d %H:%M} to {account.ended:%Y-%m-%d %H:%M %z}"
    people = ", ".join(dict.fromkeys(one.person for one in account.sittings if one.person)) or "not given"
    facts = [
        ("splice", account.plan.title or "pairs in sequence"),
        ("place", ", ".join(part for part in (account.place, account.site.value if account.site else "") if part)),
        ("date", days),
        ("splicer", people),
        ("joints", f"{head.to_join} to make: {tally_line(account)}"),
        ("not joined", f"{account.tally[Standing.DEAD]} dead, {account.tally[Standing.SPARE]} spare"),
        ("work", f"{head.work} without pauses; stretches of work: {len(account.stretches)}"),
        ("checked", "; ".join(f"{account.ways[way]} {about}" for way, (_, about) in WAYS.items() if account.ways[way])),
    ]
    return [
        style.text("Splice record", "Title"),
        style.table(("field", "entry"), facts, [0.16, 0.84]),
        style.text("A confirmed pair is the word of the person who joined it, not an electrical test.", bold=True),
        style.text(sentences.CAUTION()),
        *_notices(account, style),
        *_contradictions(account, style),
        style.text("Sheaths", "Heading3"),
        style.table(("end", "pairs", "gauge", "counts"), _sheaths(account), [0.2, 0.12, 0.12, 0.56]),
        style.text("Joints", "Heading3"),
        style.table(("kind", "pairs", "stand", "how many", "why"), _runs(account), [0.1, 0.5, 0.12, 0.1, 0.18]),
        *_left(account, style),
        *_slips(account, style),
        style.text("Tests and notes", "Heading3"),
        style.table(("time", "about", "entry"), _remarks(account), [0.2, 0.3, 0.5]),
        style.text("Checks before the work", "Heading3"),
        style.table(("time", "check", "answer"), _answers(account), [0.2, 0.5, 0.3]),
        style.text("To be filled in by hand", "Heading3"),
        style.table(("field", "entry"), [(blank, "") for blank in BLANKS], [0.3, 0.7]),
        style.text("Logs", "Heading3"),
        style.table(
            ("log", "records", "seal", "SHA-256 of the file"),
            [(log.name, log.count, log.seal_line, log.sha256) for log in account.logs],
            [0.22, 0.1, 0.28, 0.4],
        ),
    ]


def _notices(account: Account, style: _Style) -> list[Any]:
    if not account.notices:
        return []
    rows: list[tuple[object, ...]] = [(notice,) for notice in account.notices]
    again = ", ".join(str(row.sides[0]) for row in account.doubtful)
    if again:
        rows.append((f"to be called again: {again}",))
    return [
        style.text("To be known of the logs", "Heading3"),
        style.table(("what",), rows, [1.0]),
    ]


def _limited(rows: list[tuple[object, ...]]) -> list[tuple[object, ...]]:
    if len(rows) <= MOST_LISTED:
        return rows
    more = len(rows) - MOST_LISTED
    return [*rows[:MOST_LISTED], (f"and {more} more, on the page", *[""] * (len(rows[0]) - 1))]


def _sheaths(account: Account) -> list[tuple[object, ...]]:
    return [
        (
            end.name or "cable",
            end.cable.pairs,
            f"{end.gauge_awg} AWG" if end.gauge_awg else "",
            "; ".join(str(count) for count in end.counts) or "by position",
        )
        for end in account.plan.ends
    ]


def _runs(account: Account) -> list[tuple[object, ...]]:
    runs = joint_runs(account)
    return _limited([(run.kind, " = ".join(run.pairs), run.standing, run.count, run.why) for run in runs])


def _contradictions(account: Account, style: _Style) -> list[Any]:
    if not account.contradictions:
        return []
    rows: list[tuple[object, ...]] = [
        (
            account.called(one.lead),
            one.what,
            "; ".join(f"{c.log} record {c.record}" for c in (one.earlier, one.later) if c),
        )
        for one in account.contradictions
    ]
    return [
        style.text("Logs that contradict each other", "Heading3"),
        style.table(("pair", "what", "entries"), _limited(rows), [0.3, 0.4, 0.3]),
    ]


def _left(account: Account, style: _Style) -> list[Any]:
    left = list(islice(left_over(account), MOST_LISTED + 1))
    if not left:
        return []
    named = ", ".join(str(row.sides[0]) for row in left[:MOST_LISTED])
    return [style.text("Left", "Heading3"), style.text(named + (" and more" if len(left) > MOST_LISTED else ""))]


def _slips(account: Account, style: _Style) -> list[Any]:
    rows: list[tuple[object, ...]] = [
        (
            f"{slip.at:%Y-%m-%d %H:%M:%S}",
            ", ".join(account.called(spot) for spot in slip.expected),
            slip.call,
            slip.followed_by,
        )
        for slip in account.slips
    ]
    return [
        style.text("Calls that did not fit, and what followed", "Heading3"),
        style.table(("time", "expected", "called", "then"), _limited(rows), [0.2, 0.25, 0.25, 0.3]),
    ]


def _remarks(account: Account) -> list[tuple[object, ...]]:
    rows: list[tuple[object, ...]] = [
        (f"{one.at:%Y-%m-%d %H:%M:%S}", account.called(one.lead) if one.lead else "the splice", one.text or one.file)
        for one in account.remarks
    ]
    for row in account.rows:
        if row.known.tests:
            results = ", ".join(f"{test.value} {'passed' if good else 'failed'}" for test, good in row.known.tests)
            rows.append(("", row.sides[0], results))
    return _limited(rows)


def _answers(account: Account) -> list[tuple[object, ...]]:
    rows: list[tuple[object, ...]] = [
        (f"{a.at:%Y-%m-%d %H:%M:%S}", a.check, f"{'done' if a.done else 'not done'}, {a.by}") for a in account.answers
    ]
    return _limited(rows)
