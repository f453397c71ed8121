"""The account as a table: CSV by RFC 4180, one row for each pair of each joint."""

import csv
import io

from assistant.account.account import Account, Row
from assistant.account.sides import Side

COLUMNS = (
    *("turn", "kind", "end", "count", "number", "position", "group", "binder", "colours", "standing", "how", "by"),
    *("asked_back", "person", "at", "log", "record", "faults", "tests", "readings", "notes", "protect", "reason"),
    *("doubt", "logs"),
)
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""First signs that make spreadsheet programs compute a cell (OWASP, CSV injection)."""


def as_csv(account: Account) -> str:
    """Give the table."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    of_logs = "; ".join([*(f"{log.name}: {log.seal_line}" for log in account.logs), *account.notices])
    for row in account.rows:
        for side in row.sides:
            writer.writerow([_harmless(cell) for cell in [*_cells(row, side), of_logs]])
    return out.getvalue()


def _cells(row: Row, side: Side) -> list[object]:
    made = row.made
    return [
        *(row.joint.number, row.joint.kind.value, side.end, side.count, side.number, side.position),
        *(side.group, side.binder, side.colours, row.standing.value, row.how),
        *((made.by, made.asked_back, made.person, made.at.isoformat(), made.log, made.record) if made else [""] * 6),
        "; ".join(fault.value for fault in row.known.faults),
        "; ".join(f"{test.value} {'passed' if passed else 'failed'}" for test, passed in row.known.tests),
        "; ".join(remark.text for remark in row.remarks if remark.is_reading),
        "; ".join(remark.text or remark.file for remark in row.remarks if not remark.is_reading),
        row.joint.protect,
        row.joint.reason,
        row.doubt,
    ]


def _harmless(cell: object) -> object:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell
