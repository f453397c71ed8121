"""The account as a table: CSV by RFC 4180 in UTF-8, one row for each pair of each joint."""

import csv
import io

from assistant.account.account import Account, Row
from assistant.account.findings import Finding
from assistant.handover.summary import finished_words
from assistant.texts import csv_cell

COLUMNS: dict[str, str] = {
    "turn": "number of the joint: its turn in the plan, or the pair in a straight sequence",
    "kind": "straight, transfer, branch, half-tap, dead or spare",
    "end": "name of the end that this row is about; a joint has a row for each of its ends, the called one first",
    "count": "count of the pair; pair where it is called by position, service for service pairs",
    "number": "number in the count",
    "position": "place in the sheath, from 1",
    "group": "group of 25 through the whole cable, from 1; 0 for service pairs",
    "binder": "colours of the group's binder",
    "colours": "colours of the pair",
    "standing": "open, skipped, faulty, joined_faulty, confirmed, dead or spare",
    "how": "how the pair was named when it was confirmed; empty where it is not",
    "ends": "near, far or both: which sides of the joint were named; none, or not told, where an earlier log tells",
    "named": "true or false: whether the pair of this row was named when the joint was confirmed",
    "by": "voice, typed or keys; empty where only an earlier log tells, which was not given",
    "asked_back": "true or false: whether it was accepted only after a question",
    "person": "who confirmed it",
    "at_utc": "when, by the clock of the device, in whole seconds of UTC",
    "log": "log and",
    "record": "number of the record that confirmed it",
    "faults": "faults outstanding, set apart by semicolons",
    "found_by": "who found each of them, in the same order",
    "found_at_utc": "when, in the same order",
    "found_record": "in which log and record, in the same order",
    "tests": "latest result of each test",
    "readings": "measurements",
    "notes": "notes, or the file of a spoken one",
    "protect": "why the pair is protected",
    "reason": "why it is dead or spare",
    "doubt": "why nobody can tell whether it is joined, so that it has to be called again",
    "logs": "each log with its seal, what must be known of the logs, and whether the splice is finished; the same in "
    "every row",
}
"""Name of each column -> what it holds. Times, truths and texts are written as `texts.csv_cell` says."""


def columns() -> str:
    """Give a Markdown table of the columns."""
    return "\n".join(
        ["| column | what it holds |", "| --- | --- |", *(f"| {name} | {what} |" for name, what in COLUMNS.items())]
    )


def as_csv(account: Account) -> str:
    """Give the table."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    seals = (f"{log.name}: {log.seal_line}" for log in account.logs)
    of_logs = "; ".join([*seals, *account.notices, f"finished: {finished_words(account)}"])
    outstanding: dict[int, dict[str, Finding]] = {}
    for one in account.findings:
        if one.mended is None:
            outstanding.setdefault(one.row, {})[one.fault] = one
    for index, row in enumerate(account.rows):
        for side in range(len(row.sides)):
            cells = [*_cells(row, side), *_faults(row, outstanding.get(index, {})), *_rest(row), of_logs]
            writer.writerow([csv_cell(cell) for cell in cells])
    return out.getvalue()


def _cells(row: Row, index: int) -> list[object]:
    made, side = row.made, row.sides[index]
    return [
        *(row.joint.number, row.joint.kind.value, side.end, side.count, side.number, side.position),
        *(side.group, side.binder, side.colours, row.standing.value, row.how),
        *(row.ends, row.was_named(index) if row.how else ""),
        *((made.by, made.asked_back, made.person, made.at, made.log, made.record) if made else [""] * 6),
    ]


def _faults(row: Row, found: dict[str, Finding]) -> list[object]:
    faults = [fault.value for fault in row.known.faults]
    some = [found.get(fault) for fault in faults]
    return [
        "; ".join(faults),
        "; ".join(one.finder if one else "" for one in some),
        "; ".join(str(csv_cell(one.found.at)) if one else "" for one in some),
        "; ".join(f"{one.found.log} {one.found.record}" if one else "" for one in some),
    ]


def _rest(row: Row) -> list[object]:
    return [
        "; ".join(f"{test.value} {'passed' if passed else 'failed'}" for test, passed in row.known.tests),
        "; ".join(remark.text for remark in row.remarks if remark.is_reading),
        "; ".join(remark.text or remark.file for remark in row.remarks if not remark.is_reading),
        row.joint.protect,
        row.joint.reason,
        row.doubt,
    ]
