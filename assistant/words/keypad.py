"""Key by key to a whole entry: an entry is taken as soon as no key could go on with it."""

from dataclasses import dataclass

from assistant.words.vocabulary import ALL_INTENTS, KEYS, MINUS, Scope, key_sentences

ERASE = ("\x7f", "\b")
"""Takes the last key back."""
CLEAR = ("\x1b",)
"""Drops the keys so far, as minus does behind a figure."""


@dataclass(frozen=True, slots=True)
class Keyed:
    """The keys so far, and the entry that the last key completed."""

    pending: str
    entry: str | None = None
    refused: bool = False
    """Whether the last key cannot be part of any entry here; it is dropped."""


def press(pending: str, key: str) -> Keyed:
    """Add a key, as the terminal sends it, to those that are pending."""
    if key in ERASE:
        return Keyed(pending[:-1])
    if key in CLEAR or (KEYS.get(key) == MINUS and pending):
        return Keyed("")
    if key not in KEYS:
        return Keyed(pending, refused=True)
    automaton = key_sentences(Scope(ALL_INTENTS)).automaton
    state = automaton.after([KEYS[k] for k in pending + key])
    if not state:
        return Keyed(pending, refused=True)
    if automaton.may_end(state) and not automaton.following(state):
        return Keyed("", entry=pending + key)
    return Keyed(pending + key)
