"""Send what came in of a log through today's rules, and write the log anew: the same inputs, today's answers.

    python -m tests.bench.renew_session OLD.jsonl NEW.jsonl

For demo sessions whose sentences have changed: what was heard, typed and keyed stays as it was recorded, each made
after all that had been said before it. Printed is each answer that changed, to be read before the log is kept.
"""

import sys
from dataclasses import replace
from pathlib import Path

from assistant.dialogue.machine import decide
from assistant.dialogue.messages import AnnouncementNumber, Fact, Heard, Input, KeysPressed, Repeated, Said, Typed
from assistant.dialogue.state import fold, initial
from assistant.session.journal import FileJournal, load
from assistant.session.record import Record


def made_now(came: Input, number: AnnouncementNumber) -> Input:
    """Give the input as made after the announcement of this number."""
    match came:
        case Heard() | Typed() | KeysPressed():
            return replace(came, after=number)
        case _:
            return came


def said(facts: tuple[Fact, ...]) -> str:
    """Give what was said in a step."""
    return " ".join(fact.text for fact in facts if isinstance(fact, Said | Repeated))


def renew(old: Path, new: Path) -> None:
    """Write the log anew."""
    journal = FileJournal.create(new)
    state = initial()
    for number, record in enumerate(load(old).records, 1):
        came = made_now(record.input, state.announcement)
        facts = decide(state, came).facts
        journal.append(Record(number=number, at=record.at, input=came, facts=facts))
        state = fold(facts, state)
        if said(facts) != said(record.facts):
            print(f"{number}: {getattr(came, 'words', getattr(came, 'text', getattr(came, 'keys', '')))!r}")
            print(f"   was: {said(record.facts)}\n   now: {said(facts)}")
    journal.close()
    tally = state.tally()
    print(f"{new}: confirmed {tally.confirmed}, {tally.joined_faulty} with a fault, not joined {tally.not_joined}")


if __name__ == "__main__":
    renew(Path(sys.argv[1]), Path(sys.argv[2]))
