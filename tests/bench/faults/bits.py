"""Any one flipped bit, and any one lost block of 4,096 bytes, in a log of 1,000 records.

Survived: every record that is read is one that was written, no more are lost than lie in the damage, the damage
is named, and no pair counts as confirmed that was not, or that a lost record may have changed.
"""

import random
from bisect import bisect_right
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache

from assistant.account.account import account_of
from assistant.account.story import AccountError
from assistant.dialogue.state import Standing
from assistant.session import record, salvage
from assistant.session.record import RecordsLost
from assistant.session.replay import steps
from assistant.session.salvage import lines_of, read_log
from tests.account.sessions import read
from tests.bench.faults.outcome import Outcome
from tests.bench.faults.sessions import long_log

BLOCK = 4096
COUNTED = 20
"""Of so many trials one is taken through the whole account, which takes longer than reading."""


class _Log:
    def __init__(self, records: int) -> None:
        self.data = long_log(records)
        self.lines = lines_of(self.data)
        self.ends: list[int] = []
        for line in self.lines:
            self.ends.append((self.ends[-1] if self.ends else 0) + len(line))
        self.written = set(self.lines)
        self.confirmed_after = [
            {joint for joint, known in state.pairs.items() if known.confirmed is not None}
            for _, _, state in steps(read_log(self.data).records)
        ]

    def touched(self, start: int, end: int) -> int:
        """Count the lines that have a byte in the damage."""
        return bisect_right(self.ends, end - 1) - bisect_right(self.ends, start) + 1

    def fault_of(self, spoilt: bytes, touched: int, *, counted: bool) -> str:
        """Say what is wrong with the reading of a spoilt log; empty where nothing is."""
        found = read_log(spoilt)
        pairs = zip(found.records, found.lines, strict=True)
        real = [line for one, line in pairs if not isinstance(one.input, RecordsLost)]
        if not set(real) <= self.written:
            return "a record was read that nobody wrote"
        if len(real) < len(self.lines) - touched:
            return f"{len(self.lines) - len(real)} records were lost where {touched} lines were touched"
        if not found.damages and spoilt != self.data and not found.torn:
            return "the damage was not named"
        return self._wrong_count(spoilt) if counted else ""

    def _wrong_count(self, spoilt: bytes) -> str:
        try:
            account = account_of([read("a.jsonl", spoilt)])
        except AccountError as error:
            return "" if "beginning is lost" in str(error) else f"the account failed: {error}"
        counted = {row.joint.number for row in account.rows if row.standing is Standing.CONFIRMED}
        wrong = counted - self.confirmed_after[-1]
        if wrong:
            return f"pairs {sorted(wrong)} count as confirmed and are not"
        return "" if account.notices else "the account says nothing of the damage"


@contextmanager
def each_text_read_once() -> Iterator[None]:
    """Read each text of a line once: nearly all are the same in all trials, and reading takes the longest."""
    once = lru_cache(maxsize=100_000)(record.read)
    before = record.read, salvage.read
    record.read = salvage.read = once
    try:
        yield
    finally:
        record.read, salvage.read = before


def flipped_bits(times: int, *, records: int = 1000, seed: int = 1) -> Outcome:
    """Flip one bit, so many times."""
    outcome, chance, log = Outcome(f"one flipped bit in {records:,} records"), random.Random(seed), _Log(records)
    with each_text_read_once():
        for trial in range(times):
            at = chance.randrange(len(log.data))
            spoilt = bytearray(log.data)
            spoilt[at] ^= 1 << chance.randrange(8)
            outcome.take(log.fault_of(bytes(spoilt), 1, counted=trial % COUNTED == 0))
    return outcome


def lost_blocks(times: int, *, records: int = 1000, seed: int = 2) -> Outcome:
    """Lose one block, so many times: filled with zeros, with ones, with chance, or with another block of the log."""
    outcome, chance, log = Outcome(f"one lost 4 kB block in {records:,} records"), random.Random(seed), _Log(records)
    blocks = -(-len(log.data) // BLOCK)
    with each_text_read_once():
        for trial in range(times):
            start = chance.randrange(blocks) * BLOCK
            end = min(start + BLOCK, len(log.data))
            other = chance.randrange(blocks) * BLOCK
            copied = log.data[other : other + BLOCK]
            fill = chance.choice([bytes(BLOCK), b"\xff" * BLOCK, chance.randbytes(BLOCK), copied])
            spoilt = log.data[:start] + fill.ljust(BLOCK, b"\x00")[: end - start] + log.data[end:]
            outcome.take(log.fault_of(spoilt, log.touched(start, end), counted=trial % COUNTED == 0))
    return outcome
