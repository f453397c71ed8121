"""The account as an object for programs: names, numbers and times only, ready for JSON."""

from datetime import datetime
from importlib.resources import files

from assistant import __version__
from assistant.account.account import Account, Row
from assistant.account.chain import Link
from assistant.account.contradictions import Contradiction
from assistant.account.findings import Finding
from assistant.account.story import Line
from assistant.account.walk import AsBuilt, Made, ReadLog, Remark, Sitting, Slip, StandingChange
from assistant.dialogue import sentences
from assistant.dialogue.state import Standing
from assistant.handover.summary import GoBack, go_back, verdict

FORM = 1
"""Raised when a name changes its meaning or is taken away; names may be added."""


def as_object(account: Account, *, issued: datetime) -> dict[str, object]:
    """Give the whole account, as `schema` describes it."""
    return {
        "form": FORM,
        "made_at": stamp(issued),
        "version": __version__,
        "title": account.plan.title,
        "place": account.place,
        "site": account.site.value if account.site else None,
        "caution": sentences.CAUTION(),
        "logs": [_log(account, log) for log in account.logs],
        "notices": list(account.notices),
        "plan": account.identity.plan,
        "finished": _sitting(account.finished) if account.finished else None,
        "first_day": account.first_day.isoformat(),
        "verdict": verdict(account).line,
        "go_back": [_reason(account, reason) for reason in go_back(account)],
        "findings": [_finding(account, one) for one in account.findings],
        "person_days": [
            {"person": one.person, "day": one.day.isoformat(), "joined": one.joined, "work_s": round(one.work_s, 3)}
            for one in account.person_days
        ],
        "to_be_called_again": [str(row.sides[0]) for row in account.doubtful],
        "sessions": [_sitting(one) for one in account.sittings],
        "ends": [
            {
                "name": end.name,
                "pairs": end.cable.pairs,
                "gauge_awg": end.gauge_awg,
                "counts": [str(count) for count in end.counts],
            }
            for end in account.plan.ends
        ],
        "tally": {standing.value: account.tally[standing] for standing in Standing},
        "confirmed_by": dict(account.ways),
        "ends_named": dict(account.ends_named),
        "work_s": round(account.work_s, 3),
        "stretches": [{"began": stamp(s.began), "ended": stamp(s.ended)} for s in account.stretches],
        "utterances": dict(account.heard),
        "joints": [row_object(row) for row in account.rows],
        "as_built": [_as_built(account, one) for one in account.as_built],
        "mismatches": [_slip(account, slip) for slip in account.slips],
        "contradictions": [_contradiction(account, one) for one in account.contradictions],
        "checks": [
            {"log": a.log, "at": stamp(a.at), "check": a.check, "done": a.done, "by": a.by} for a in account.answers
        ],
        "notes": [{"about": account.called(r.lead) if r.lead else None, **_remark(r)} for r in account.remarks],
        "lines": [_line(log, line) for log, line in account.lines],
    }


def _log(account: Account, log: ReadLog) -> dict[str, object]:
    return {
        "name": log.name,
        "records": log.count,
        "sha256": log.sha256,
        "last_sum": log.last_sum,
        "seal": log.seal,
        "seal_line": log.seal_line,
        "damages": list(log.damages),
        "goes_on_from": [_link(link) for link in account.chain.of(log)],
    }


def schema() -> str:
    """Give the JSON Schema (draft 2020-12) of the object; it allows names that are added later."""
    return files("assistant.handover").joinpath("document.schema.json").read_text(encoding="utf-8")


def _link(link: Link) -> dict[str, object]:
    head = link.head
    return {
        "name": link.earlier or head.name,
        "record": head.records,
        "last_sum": head.last_sum,
        "fit": link.fit.value,
        "unchanged": link.to_the_byte,
    }


def _reason(account: Account, reason: GoBack) -> dict[str, object]:
    by = reason.by.replace(" ", "_")
    return {
        "why": reason.title,
        "joints": sorted(account.rows[index].joint.number for index in reason.indices),
        "pairs": [
            {"what": one.what, by: one.found_by, "runs": [run.text for run in one.runs]} for one in reason.errands
        ],
    }


def _finding(account: Account, one: Finding) -> dict[str, object]:
    return {
        "pair": str(account.rows[one.row].sides[0]),
        "turn": account.rows[one.row].joint.number,
        "fault": one.fault,
        "failed": list(one.failed),
        "found_by": one.finder,
        "found": _entry(account, one.found),
        "how": one.how or "outstanding",
        "mended_by": one.mender,
        "mended": _entry(account, one.mended) if one.mended else None,
    }


def _sitting(one: Sitting) -> dict[str, object]:
    return {
        "log": one.log,
        "began": stamp(one.began),
        "ended": stamp(one.ended),
        "end": one.end,
        "taken_up": one.taken_up,
        "person": one.person,
        "microphone": one.microphone,
        "ears": one.ears,
        "version": one.app_version,
        "keeps_sound": one.keeps_sound,
    }


def _line(log: str, line: Line) -> dict[str, object]:
    return {
        "log": log,
        "record": line.record,
        "at": stamp(line.at),
        "way": line.way,
        "came": line.came,
        "said": list(line.said),
        "topics": sorted(topic.value for topic in line.topics),
    }


def stamp(at: datetime) -> str:
    """Write a time, ISO 8601 with its zone, to the millisecond."""
    return at.isoformat(timespec="milliseconds")


def row_object(row: Row) -> dict[str, object]:
    """Give one joint."""
    return {
        "turn": row.joint.number,
        "kind": row.joint.kind.value,
        "pairs": [
            {
                "end": side.end,
                "count": side.count,
                "number": side.number,
                "position": side.position,
                "group": side.group,
                "colours": side.colours,
                "binder": side.binder,
                "named": row.was_named(index),
            }
            for index, side in enumerate(row.sides)
        ],
        "standing": row.standing.value,
        "faults": [fault.value for fault in row.known.faults],
        "tests": {test.value: passed for test, passed in row.known.tests},
        "confirmed": _made(row.made) if row.made else None,
        "changed": stamp(row.changed) if row.changed else None,
        "remarks": [_remark(remark) for remark in row.remarks],
        "protect": row.joint.protect,
        "reason": row.joint.reason,
        "put_off": row.known.put_off.value if row.known.put_off else None,
        "reversed_on_purpose": row.known.reversed_on_purpose,
        "doubt": row.doubt,
    }


def _made(made: Made) -> dict[str, object]:
    return {
        "how": made.how,
        "ends": made.ends,
        "far_ends": list(made.far_ends),
        "by": made.by,
        "asked_back": made.asked_back,
        "protected": made.protected,
        "person": made.person,
        "at": stamp(made.at),
        "log": made.log,
        "record": made.record,
    }


def _remark(remark: Remark) -> dict[str, object]:
    return {
        "at": stamp(remark.at),
        "log": remark.log,
        "record": remark.record,
        "kind": "as built" if remark.is_as_built else "reading" if remark.is_reading else "note",
        "text": remark.text,
        "file": remark.file,
        "sha256": remark.sha256,
    }


def _as_built(account: Account, one: AsBuilt) -> dict[str, object]:
    return {
        "at": stamp(one.at),
        "log": one.log,
        "record": one.record,
        "kind": one.kind,
        "pairs": [account.called(spot) for spot in one.spots],
        "reason": one.reason,
    }


def _slip(account: Account, slip: Slip) -> dict[str, object]:
    return {
        "at": stamp(slip.at),
        "log": slip.log,
        "record": slip.record,
        "expected": [account.called(spot) for spot in slip.expected],
        "called": [account.called(spot) for spot in slip.called],
        "call": slip.call,
        "far": [account.called(spot) for spot in slip.far],
        "followed_by": slip.followed_by,
    }


def _contradiction(account: Account, one: Contradiction) -> dict[str, object]:
    return {
        "pair": account.called(one.lead),
        "what": one.what,
        "entries": [_entry(account, change) for change in (one.earlier, one.later) if change is not None],
    }


def _entry(account: Account, change: StandingChange) -> dict[str, object]:
    return {
        "log": change.log,
        "record": change.record,
        "at": stamp(change.at),
        "standing": change.standing.value,
        "mates": [account.called(spot) for spot in change.mates],
    }
