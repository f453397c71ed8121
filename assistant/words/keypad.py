"""Key by key to a whole entry: an entry is taken as soon as no key could go on with it.

Also which events of a key are presses of their own: terminals tell a held key as many keys.
Must not know a terminal or a clock.
"""

from dataclasses import dataclass
from enum import Enum

from assistant.words.vocabulary import ALL_INTENTS, KEYS, MINUS, Scope, key_sentences

ERASE = ("\x7f", "\b")
"""Takes the last key back."""
CLEAR = ("\x1b",)
"""Drops the keys so far, as minus does behind a figure."""
SAME_PRESS_S = 0.8
"""A key that acts alone is pressed anew only after so long without it or with another key between: keys begin to
repeat after 0.25 s to 0.66 s (the usual settings of Linux consoles and of X servers), and a held key must act once."""
HOLD_S = 0.1
"""The same figure so soon again is a held key: X servers repeat every 0.04 s, Linux consoles every 0.09 s as they come,
and hardly anybody taps as fast
(common practice, no source)."""
HALF_TYPED_S = 30.0
"""What is not finished for so long was forgotten, and must not become part of another entry."""


@dataclass(frozen=True, slots=True)
class Keyed:
    """The keys so far, and the entry that the last key completed."""

    pending: str
    entry: str | None = None
    refused: bool = False
    """Whether the last key cannot be part of any entry here; nothing is pending then."""


def press(pending: str, key: str) -> Keyed:
    """Add a key, as the terminal sends it, to those that are pending."""
    if key in ERASE:
        return Keyed(pending[:-1])
    if key in CLEAR:
        return Keyed("")
    if key not in KEYS:
        return Keyed("", refused=True)
    automaton = key_sentences(Scope(ALL_INTENTS)).automaton
    state = automaton.after([KEYS[k] for k in pending + key])
    if not state and KEYS[key] == MINUS and pending:
        return Keyed("")
    if not state:
        return Keyed("", refused=True)
    if automaton.may_end(state) and not automaton.following(state):
        return Keyed("", entry=pending + key)
    return Keyed(pending + key)


class Stroke(Enum):
    """What an event of a key is."""

    PRESS = "press"
    SAME = "same"
    """The last press goes on; it has acted already."""
    HOLD = "hold"
    """A key that acts only with others is held: what it has typed is not meant."""


@dataclass(frozen=True, slots=True)
class Rhythm:
    """The last event of a key, and when; in seconds of any steady clock."""

    key: str = ""
    at_s: float = 0.0
    held: bool = False


def follow(before: Rhythm, key: str, at_s: float, *, alone: bool = False) -> tuple[Rhythm, Stroke]:
    """Tell what an event of a key is after the one before; `alone` for one that acts alone though it is in no entry."""
    name = KEYS.get(key, key)
    gap_s = at_s - before.at_s
    if name != before.key or key in ERASE or key in CLEAR or gap_s >= SAME_PRESS_S:
        return Rhythm(name, at_s), Stroke.PRESS
    if alone or before.held or press("", key).entry is not None:
        return Rhythm(name, at_s, held=before.held), Stroke.SAME
    if gap_s < HOLD_S:
        return Rhythm(name, at_s, held=True), Stroke.HOLD
    return Rhythm(name, at_s), Stroke.PRESS
