"""The live session on a pseudo-terminal under random keys, stalls and signals: does it hang, stop, or confirm unasked?

    python -m tests.bench.random_events --rounds 200 --seed 1

In each round a session gets bursts of keys, held keys, escape sequences, pastes and bytes that are no text, some of
them while the process is stopped (SIGSTOP), and is told to stop in the end. Looked at from outside, by this program's
own clock and the log:

(a) it answers a key after all that, and ends;
(b) it ends within a second of the signal;
(c) each confirmation names its pair, or a key of its kind was written after that pair was announced, one for each.
"""

import argparse
import random
import re
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from assistant.dialogue.messages import Channel, Check, MovedTo, PairConfirmed, PairSkipped, SessionOpened, Undone
from assistant.session.record import Record
from tests.pseudo_terminal import TerminalSession

OBEYED_S = 1.0
QUIET_S = 1.0
"""Longer than a held key is looked at, so that the next key is a press of its own."""
ANSWER_WITHIN_S = 10.0
CLOCK_S = 0.001
"""Records tell the time in whole milliseconds."""
MOVES = (SessionOpened, PairConfirmed, PairSkipped, MovedTo, Undone)
"""What makes another pair the expected one."""
KEYS = ["+", "-", "\r", *"0123456789", "*", "/", ".", "1\r", "2\r", "+\r", "/1", "/6", ".11\r", ".21\r", "..*1\r"]
SEQUENCES = [
    *("\x1b[5~", "\x1b[H", "\x1bOA", "\x1b[15~", "\x1bOP", "\x1b1", "\x1b+", "\x1b[<0;1;1M", "\x1b[1+p", "\x1bOk"),
    *("\x1b", "\x1b[", "\x1b[200~+\r+\r\x1b[201~", "\x1b[200~1\r", "\x1b]0;+\x07"),
]
ENDS = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)


@dataclass(slots=True)
class Typed:
    """What was typed, each write with the time of day before it."""

    writes: list[tuple[float, str]] = field(default_factory=list)

    def write(self, session: TerminalSession, keys: str | bytes) -> None:
        """Type it."""
        self.writes.append((time.time(), keys.decode("latin-1") if isinstance(keys, bytes) else keys))
        session.type(keys)


@dataclass(frozen=True, slots=True)
class Round:
    """What came of one round; each failure in words."""

    events: int
    obeyed_s: float
    failures: tuple[str, ...]


def act(session: TerminalSession, typed: Typed, chance: random.Random) -> None:
    """Do one thing that may happen to a keypad."""
    match chance.randrange(7):
        case 0:
            typed.write(session, "".join(chance.choices(KEYS, k=chance.randint(1, 6))))
        case 1:
            typed.write(session, chance.choice(KEYS))
        case 2:
            typed.write(session, chance.choice(SEQUENCES) + chance.choice(["", "\r", "+"]))
        case 3:
            key = chance.choice(["+", "-", "\r", "1", "5"])
            for _ in range(chance.randint(2, 30)):
                typed.write(session, key)
                time.sleep(0.033)
        case 4:
            typed.write(session, chance.randbytes(chance.randint(1, 8)).replace(b"\x03", b"").replace(b"\x1a", b""))
        case 5:
            session.process.send_signal(signal.SIGSTOP)
            for _ in range(chance.randint(1, 4)):
                typed.write(session, chance.choice([*KEYS, *SEQUENCES]))
                time.sleep(chance.uniform(0.0, 0.3))
            session.process.send_signal(signal.SIGCONT)
        case 6:
            time.sleep(QUIET_S)
            typed.write(session, "+")
    time.sleep(chance.choice([0.0, 0.02, 0.1, 0.5]))


def unasked(records: Sequence[Record], writes: Sequence[tuple[float, str]]) -> list[str]:
    """Give the confirmations by the plus key for which no plus key was written after the pair became the expected one.

    What a record leads to is announced after it is written, so that its time is the earliest.
    """
    found, used, announced = [], -1.0, 0.0
    for record in records:
        for fact in record.facts:
            if isinstance(fact, PairConfirmed) and fact.by is Channel.KEYS and fact.how is Check.KEY:
                made = (at for at, keys in writes if "+" in keys or "\x1bOk" in keys)
                able = next((at for at in made if max(announced, used) < at <= _seconds(record) + CLOCK_S), None)
                if able is None:
                    found.append(f"record {record.number} confirms pair {fact.pair}, announced {announced}")
                used = used if able is None else able
            if isinstance(fact, MOVES):
                announced = _seconds(record)
    return found


def unnamed(records: Sequence[Record]) -> list[str]:
    """Give the confirmations by number or colours whose keys do not name them."""
    found = []
    for record in records:
        keys = getattr(record.input, "keys", "")
        for fact in record.facts:
            if isinstance(fact, PairConfirmed) and fact.how in (Check.NUMBER, Check.NUMBER_AND_COLOURS):
                number = re.match(r"\d+", keys)
                if number is None or int(number.group()) != fact.pair:
                    found.append(f"record {record.number} confirms pair {fact.pair} by {keys!r}")
    return found


def _seconds(record: Record) -> float:
    return datetime.fromisoformat(record.at).timestamp()


def one_round(folder: Path, chance: random.Random, events: int) -> Round:
    """Run a session through random events, and look at it from outside."""
    session, typed, failures = TerminalSession(folder, "--cable", "25"), Typed(), []
    obeyed_s = float("nan")
    try:
        session.wait_for("Next one, blue white")
        for _ in range(events):
            act(session, typed, chance)
        if chance.random() < 0.5:
            failures += _answers(session, typed)
        obeyed_s = session.stop(chance.choice(ENDS))
        if obeyed_s > OBEYED_S:
            failures.append(f"(b) it ended {obeyed_s:.2f} s after the signal")
        if session.process.returncode < 0 or "Traceback" in session.shown:
            failures.append(f"(a) it ended by {session.process.returncode}: {session.shown[-500:]}")
        records = session.records()
        failures += [f"(c) {line}" for line in (*unasked(records, typed.writes), *unnamed(records))]
    except Exception as error:  # a hang or a fault is what is looked for
        failures.append(f"(a) {type(error).__name__}: {error}")
    finally:
        session.close()
    return Round(len(typed.writes), obeyed_s, tuple(failures))


def _answers(session: TerminalSession, typed: Typed) -> list[str]:
    """Tell whether it still answers; a session that was ended by the keys has done so."""
    time.sleep(QUIET_S)
    typed.write(session, "\x1b")
    time.sleep(QUIET_S)
    shown = len(session.shown)
    typed.write(session, "/1")
    end = time.monotonic() + ANSWER_WITHIN_S
    while session.process.poll() is None and "<" not in session.shown[shown:]:
        if time.monotonic() > end:
            return [f"(a) no answer within {ANSWER_WITHIN_S:.0f} s: {session.shown[-500:]}"]
        time.sleep(0.02)
    return []


def run(rounds: int, seed: int, events: int) -> list[Round]:
    """Run all rounds."""
    done = []
    for number in range(rounds):
        with tempfile.TemporaryDirectory() as folder:
            done.append(one_round(Path(folder), random.Random(f"{seed}/{number}"), events))
        for failure in done[-1].failures:
            print(f"round {number}: {failure}", flush=True)
    return done


def main(arguments: list[str] | None = None) -> int:
    """Run it and print how many were tried and failed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=20, help="sessions (%(default)s)")
    parser.add_argument("--events", type=int, default=15, help="things that happen in each (%(default)s)")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    done = run(options.rounds, options.seed, options.events)
    kinds = Counter(failure[:3] for one in done for failure in one.failures)
    obeyed = sorted(one.obeyed_s for one in done if one.obeyed_s == one.obeyed_s)
    print(f"tried {len(done)} sessions with {sum(one.events for one in done)} writes, seed {options.seed}")
    print(f"failed {sum(bool(one.failures) for one in done)}: {dict(kinds) or 'none'}")
    print(
        f"obeyed within: median {obeyed[len(obeyed) // 2]:.2f} s, longest {obeyed[-1]:.2f} s"
        if obeyed
        else "none ended"
    )
    return 1 if kinds else 0


if __name__ == "__main__":
    sys.exit(main())
