"""Sessions made by today's rules from what is typed and heard, as records with times, in memory or as a log."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from assistant.account.walk import ReadLog
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import Input, StopAsked, Typed
from assistant.dialogue.state import State, fold, initial
from assistant.ports import Uptime
from assistant.session.record import FIRST_SUM, Record, encode
from assistant.session.replay import settled
from assistant.session.salvage import read_log
from tests.dialogue.conversation import start

NINE = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)

TWO_WAYS = """title = "Elm Road"
site = "aerial"

[[end]]
name = "west"
pairs = 25
count = "elm 1-25"

[[end]]
name = "east"
pairs = 25
count = "ash 101-125"

[[join]]
kind = "transfer"
from = "west elm 1-20"
to = "east ash 101-120"

[[join]]
kind = "dead"
from = "west elm 21-22"
reason = "cut off"

[[join]]
kind = "spare"
from = "west elm 23-25"
"""
SWAPPED = TWO_WAYS.replace("ash 101-120", "ash 102-120, 101")
"""The same cables after the plan was changed: every pair has another mate."""


def read(name: str, data: bytes) -> ReadLog:
    """Read a log as a report does, without its seals."""
    loaded = settled(read_log(data))
    return ReadLog(
        name=name,
        records=loaded.records,
        sha256="0" * 64,
        last_sum=loaded.last_sum,
        torn_bytes=len(loaded.torn),
        sums=loaded.sums,
        damages=tuple(f"line {one.line} {one.what}" for one in loaded.damages),
    )


class Session:
    """Takes inputs, ten seconds apart, and keeps the records."""

    def __init__(self, plan: str = "", cable: int = 25, at: datetime = NINE, **more: object) -> None:
        self.state: State = initial()
        self.records: list[Record] = []
        self.at = at
        self.boot = ""
        """Which start of the machine the records name, with the time since; empty for records without it."""
        self.passed_s = 0.0
        ends = {"cable": 0, "first": 0, "last": 0} if plan else {"cable": cable}
        self.put(start(**{"first": 1, **ends, "plan_text": plan, **more}))  # type: ignore[arg-type]

    def put(self, came: Input, after_s: float = 10) -> "Session":
        self.at += timedelta(seconds=after_s)
        self.passed_s += after_s
        step = decide(self.state, came)
        self.state = fold(step.facts, self.state)
        if step.facts:
            stamp = self.at.isoformat(timespec="milliseconds")
            up = Uptime(self.boot, self.passed_s) if self.boot else None
            record = Record(number=len(self.records) + 1, at=stamp, input=came, facts=step.facts, uptime=up)
            self.records.append(record)
        return self

    def typed(self, *texts: str, after_s: float = 10) -> "Session":
        for text in texts:
            self.put(Typed(text, self.state.announcement), after_s)
        return self

    def left(self) -> "Session":
        return self.put(StopAsked("end of input"))

    def data(self) -> bytes:
        last_sum, lines = FIRST_SUM, []
        for record in self.records:
            line, last_sum = encode(record, last_sum)
            lines.append(line)
        return b"".join(lines)

    def log(self, name: str = "a.jsonl") -> ReadLog:
        return read(name, self.data())

    def write(self, path: Path) -> Path:
        path.write_bytes(self.data())
        return path
