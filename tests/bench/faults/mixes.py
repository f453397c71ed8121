"""Mixes of logs by chance: clock jumps, copies, beginnings, other splices, broken seals, odd bytes, several people.

Each mix goes through the account and its forms, and is counted once more here, from the JSON of the lines alone.
Survived: nothing is wrong in silence. What the account counts as confirmed is confirmed in a log and has no fault
outstanding in any; where logs differ about a joint it is among the contradictions or has its fault outstanding;
each record counts once; clocks, damage, other splices and broken seals are told, or the mix is refused by name.
"""

import json
import random
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from unittest.mock import patch

from assistant.account.account import Account
from assistant.app import report as reports
from assistant.app import seals
from assistant.dialogue.state import Standing
from assistant.errors import AssistantError
from assistant.handover.document import as_object
from assistant.handover.page import as_page
from assistant.handover.table import as_csv
from assistant.session.replay import rebuild
from tests.account.sessions import NINE, TWO_WAYS, Session
from tests.bench.faults.outcome import Outcome
from tests.dialogue.conversation import resume

WORDS = (
    *("1 blue white", "2 orange white", "3 green white", "4 brown white", "5 slate white", "confirm", "confirm"),
    *("confirm", "mark wet", "mark short pair 2", "clear short pair 2", "skip pair", "undo that", "redo pair 1"),
    *("go to pair 3", "go to pair 7", "yes", "no", "note wet \x1b[2J\udcff", "reading three ohms", "where am i"),
)
PEOPLE = ("Ada", "Bo\udcff Li", "", "Zo\N{LATIN SMALL LETTER E WITH DIAERESIS}")


@dataclass
class _Mix:
    """Logs as bytes, and what must be told of them."""

    logs: dict[str, bytes] = field(default_factory=dict)
    clock_set: bool = False
    damaged: bool = False
    other_places: bool = False
    broken_seal: str = ""


def mixes(times: int, *, seed: int = 7) -> Outcome:
    """Make so many mixes and count each in both ways."""
    outcome = Outcome("mixes of logs, counted twice")
    with tempfile.TemporaryDirectory() as name:
        key = Path(name) / "keys" / "device-key.pem"
        with patch.object(seals, "default_key", lambda: key):
            seals.make_key(key)
            for number in range(times):
                folder, chance = Path(name) / str(number), random.Random(f"{seed} {number}")
                folder.mkdir()
                fault = _fault(_mixed(chance), folder, chance, outcome)
                outcome.take(f"mix {number}: {fault}" if fault else "")
    return outcome


def _worked(session: Session, chance: random.Random, mix: _Mix, entries: int) -> None:
    for _ in range(entries):
        if chance.random() < 0.02:
            session.at -= timedelta(hours=chance.randint(1, 5))
            mix.clock_set = True
        session.typed(chance.choice(WORDS), after_s=chance.choice([2.0, 8.0, 700.0]))


def _mixed(chance: random.Random) -> _Mix:
    mix = _Mix()
    for number in range(chance.randint(1, 3)):
        place = "pole 8" if chance.random() < 0.08 and number else "pole 7"
        mix.other_places = mix.other_places or place != "pole 7"
        begun = NINE + timedelta(hours=number * chance.choice([0, 3, 24]), seconds=number)
        session = Session(TWO_WAYS, at=begun, place=place, person=chance.choice(PEOPLE)).typed("yes")
        _worked(session, chance, mix, chance.randint(3, 15))
        kind = chance.choice(["alone", "alone", "equal", "beginning", "apart"])
        name = f"{number}.jsonl"
        if kind == "apart":
            before, at = list(session.records), session.at
            for place_of, person in ((name, "one"), (f"copy {name}", "two")):
                session.records, session.at = list(before), at
                session.state = rebuild(session.records)
                session.put(resume(person=person), after_s=chance.randint(1, 9))
                _worked(session, chance, mix, chance.randint(1, 6))
                mix.logs[place_of] = session.data()
            continue
        mix.logs[name] = session.data()
        if kind != "alone":
            lines = session.data().splitlines(keepends=True)
            kept = len(lines) if kind == "equal" else chance.randint(1, len(lines))
            mix.logs[f"copy {name}"] = b"".join(lines[:kept])
    if chance.random() < 0.15:
        _spoil(mix, chance)
    return mix


def _spoil(mix: _Mix, chance: random.Random) -> None:
    name = chance.choice(sorted(mix.logs))
    lines = mix.logs[name].splitlines(keepends=True)
    if len(lines) > 3:
        del lines[chance.randrange(1, len(lines) - 1)]
        mix.logs[name], mix.damaged = b"".join(lines), True


def _fault(mix: _Mix, folder: Path, chance: random.Random, outcome: Outcome) -> str:
    paths = []
    for name, data in mix.logs.items():
        paths.append(folder / name)
        paths[-1].write_bytes(data)
    if chance.random() < 0.2 and not mix.damaged:
        sealed = chance.choice(paths)
        seals.seal(sealed, seals.default_key())
        if chance.random() < 0.5 and sealed.read_bytes().count(b"\n") > 2:
            sealed.write_bytes(b"".join(sealed.read_bytes().splitlines(keepends=True)[:-1]))
            mix.logs[sealed.name], mix.broken_seal = sealed.read_bytes(), sealed.name
    try:
        account, _ = reports.account_from(paths)
    except AssistantError as error:
        outcome.note("refused by name")
        return "" if mix.other_places and "other places" in str(error) else f"refused: {error}"
    if mix.other_places and len({_place(data) for data in mix.logs.values()}) > 1:
        return "logs of two places were put together"
    now = datetime.now(UTC)
    for made in (as_page(account, issued=now), as_csv(account), as_object(account, issued=now)):
        json.dumps(made, ensure_ascii=False).encode() if isinstance(made, dict) else made.encode()
    return _told_wrong(account, mix) or _counted_wrong(account, mix, outcome)


def _place(data: bytes) -> str:
    return str(json.loads(data.splitlines()[0])["input"]["place"])


def _told_wrong(account: Account, mix: _Mix) -> str:
    notices = " ".join(account.notices)
    jumps = any(_jumps(data) for data in mix.logs.values())
    if jumps and "the clock was set back" not in notices:
        return "a clock that was set is not told"
    if mix.damaged and " lost" not in notices:
        return "damage is not told"
    standings = {log.name: log.seal for log in account.logs}
    if standings.get(mix.broken_seal, "broken") != "broken":
        return "a broken seal is not told"
    return ""


def _jumps(data: bytes) -> bool:
    times = [datetime.fromisoformat(json.loads(line)["at"]) for line in data.splitlines()]
    return any(later < before - timedelta(seconds=1) for before, later in pairwise(times))


def _counted_wrong(account: Account, mix: _Mix, outcome: Outcome) -> str:
    distinct = {(json.loads(line)["number"], line[8:24]) for data in mix.logs.values() for line in data.splitlines()}
    counted = sum(
        record.last_number >= account.first_own[log.name] and not _is_lost(record)
        for log in account.logs
        for record in log.records
    )
    if counted != len(distinct):
        return f"{counted} records count, and there are {len(distinct)}"
    by_log = [_standing(data) for data in mix.logs.values() if not mix.damaged]
    said = {one.lead[1] for one in account.contradictions}
    for row in account.rows:
        here = [log[row.joint.number] for log in by_log if row.joint.number in log]
        if row.standing is Standing.CONFIRMED and by_log:
            outcome.note("joints confirmed")
            if not any(confirmed for confirmed, _ in here):
                return f"joint {row.joint.number} counts as confirmed, and no log says so"
            outstanding = any(
                (row.joint.number, fault) not in _mended(mix, besides=log)
                for log, faults in _outstanding(mix, row.joint.number)
                for fault in faults
            )
            if outstanding and row.joint.number not in said:
                return f"joint {row.joint.number} counts as confirmed, a log has a fault, and nothing is said"
    if len(account.logs) == 1 and by_log:
        longest = _standing(max(mix.logs.values(), key=len))
        right = {joint for joint, (confirmed, faults) in longest.items() if confirmed and not faults}
        if {row.joint.number for row in account.rows if row.standing is Standing.CONFIRMED} != right:
            return "one log, and not what it says"
    return ""


def _is_lost(record: object) -> bool:
    return type(getattr(record, "input", None)).__name__ == "RecordsLost"


def _outstanding(mix: _Mix, joint: int) -> Iterable[tuple[str, tuple[str, ...]]]:
    """Give the faults of a joint that each log comes to which is not the beginning of another."""
    for name, data in mix.logs.items():
        if not any(other != data and other.startswith(data) for other in mix.logs.values()):
            yield name, _standing(data).get(joint, (False, ()))[1]


def _mended(mix: _Mix, *, besides: str) -> set[tuple[int, str]]:
    """Give the faults that another log says are mended."""
    facts = (
        fact
        for name, data in mix.logs.items()
        if name != besides
        for line in data.splitlines()
        for fact in json.loads(line)["facts"]
    )
    return {(fact["pair"], fact["fault"]) for fact in facts if fact["tag"] == "fault-cleared"}


def _standing(data: bytes) -> dict[int, tuple[bool, tuple[str, ...]]]:
    """Count one log by its JSON alone: joint -> whether it is confirmed, and its faults."""
    entries: list[dict[str, object]] = []
    for line in data.splitlines():
        for fact in json.loads(line)["facts"]:
            if fact["tag"] == "undone":
                entries.pop()
            elif fact["tag"] in ENTRIES:
                entries.append(fact)
    found: dict[int, tuple[bool, tuple[str, ...]]] = {}
    for fact in entries:
        joint = int(str(fact["pair"]))
        confirmed, faults = found.get(joint, (False, ()))
        if fact["tag"] == "pair-confirmed":
            confirmed = True
        elif fact["tag"] == "reopened":
            confirmed = False
        elif fact["tag"] == "fault-marked":
            faults = (*(one for one in faults if one != fact["fault"]), str(fact["fault"]))
        elif fact["tag"] == "fault-cleared":
            faults = tuple(one for one in faults if one != fact["fault"])
        found[joint] = confirmed, faults
    return found


ENTRIES = {
    *("pair-confirmed", "fault-marked", "fault-cleared", "reopened", "pair-skipped", "moved-to", "pair-tested"),
}
"""Facts that `undone` takes back, as the format says."""
