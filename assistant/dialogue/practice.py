"""Practising the keypad: what is asked for, and whether the keys say it. It is no session, and logs nothing."""

import random
from dataclasses import dataclass

from assistant.cable.colour_code import RINGS, TIPS
from assistant.dialogue.card import sections
from assistant.words.intents import CallPair, Finish, Intent
from assistant.words.parser import Ambiguous, NoMatch, Understood, parse, parse_keys
from assistant.words.vocabulary import ALL_INTENTS, ENTRIES, Scope, VocabularyRow

_ALL = Scope(ALL_INTENTS)
_ROWS = {entry.intent: entry for entry in ENTRIES}


@dataclass(frozen=True, slots=True)
class Task:
    """Something to be keyed."""

    words: str
    """As it is called."""
    intent: Intent
    keys: str
    """How it is keyed, for people."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of the keys."""

    right: bool
    told: str
    leaves: bool = False
    """Whether they ask to end the practice."""


def lesson(rng: random.Random, count: int) -> tuple[Task, ...]:
    """Give so many tasks: a pair by turns with something else, what is wanted most first."""
    rows = [row for section in sections() for row in section.first] + [
        row for section in sections() for row in section.rest
    ]
    others = [row for row in rows if row.intent is not CallPair]
    return tuple(
        _entry_task(others[number // 2 % len(others)], rng) if number % 2 else _pair_task(rng)
        for number in range(count)
    )


def _pair_task(rng: random.Random) -> Task:
    number, by = rng.randint(1, 25), rng.choice(("number", "colours", "both"))
    tip, ring = divmod(number - 1, 5)
    colours, keyed = f"{RINGS[ring].value} {TIPS[tip].value}", f".{ring + 1}{tip + 1}"
    words = {"number": f"pair {number}", "colours": colours, "both": f"pair {number}, {colours}"}[by]
    keys = {"number": f"{number}", "colours": keyed, "both": f"{number}{keyed}"}[by]
    return _task(words, f"{keys} Enter")


def _entry_task(row: VocabularyRow, rng: random.Random) -> Task:
    return _task(rng.choice(row.examples), row.key_text)


def _task(words: str, keys: str) -> Task:
    meant = parse(words, _ALL)
    assert isinstance(meant, Understood), words
    return Task(words, meant.intent, keys)


def judged(task: Task, keys: str) -> Outcome:
    """Tell whether keys say what was asked for; a key that means several things counts as what it means there."""
    if parse_keys(keys, Scope(frozenset({type(task.intent)}))) == Understood(task.intent):
        return Outcome(True, "Right.")
    if parse_keys(keys, Scope(frozenset({Finish}))) == Understood(Finish()):
        return Outcome(False, "", leaves=True)
    found = parse_keys(keys, _ALL)
    meant = f"would be: {_ROWS[type(_first(found))].help}" if not isinstance(found, NoMatch) else "is no such entry"
    return Outcome(False, f"Wrong. That {meant}. {task.words[0].upper()}{task.words[1:]} is {task.keys}")


def _first(found: Understood | Ambiguous) -> Intent:
    """Give what keys mean where pairs are called, which stands first in the table."""
    return found.intent if isinstance(found, Understood) else found.intents[0]
