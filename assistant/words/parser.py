"""From words or keys to an intent, strictly: what is not in the vocabulary is not understood.

Must not know the state of the dialogue; what is open now comes in as a `Scope`.
"""

import re
from dataclasses import dataclass

from assistant.words.grammar import Sentences, full_matches
from assistant.words.intents import Intent
from assistant.words.numbers import DIGITS
from assistant.words.vocabulary import KEYS, Scope, key_sentences, text_sentences


@dataclass(frozen=True, slots=True)
class Understood:
    """The words mean exactly this."""

    intent: Intent


@dataclass(frozen=True, slots=True)
class Ambiguous:
    """The words have several meanings."""

    intents: tuple[Intent, ...]


@dataclass(frozen=True, slots=True)
class NoMatch:
    """The words are no entry, or none that is open now."""


Parsed = Understood | Ambiguous | NoMatch


_SIGNS_OF_NUMBERS = (
    (re.compile(r"\.(?=\d)"), "point"),
    (re.compile(r"(?<=\d),(?=\d)"), "comma"),
    (re.compile(r"(?<!\w)-(?=\d)"), "minus"),
)
"""Signs that change a number, which must not be passed over as other punctuation is."""


def words_in(text: str) -> tuple[str, ...]:
    """Give the words of a typed line: lower case, no punctuation, figures as digits said one by one.

    A point before a figure is said: 5.2 is no 52. A comma between figures means a point in other countries, and a
    minus before one is no reading here, so that both stand as words that no entry has. A single figure alone is a
    pair ("7" is "pair seven"): typing it cannot be misheard.
    """
    for sign, word in _SIGNS_OF_NUMBERS:
        text = sign.sub(f" {word} ", text)
    plain = re.sub(r"[^a-z0-9 ]+", " ", text.lower().replace("-", " "))
    words = [w for token in plain.split() for w in ([*token] if token.isdigit() else [token])]
    spoken = [DIGITS[int(word)] if word.isdigit() else word for word in words]
    if len(words) == 1 and words[0].isdigit():
        spoken.insert(0, "pair")
    return tuple(spoken)


def parse(text: str, scope: Scope) -> Parsed:
    """Find what a typed or heard sentence means among the intents that are open."""
    return _parsed(text_sentences(scope), words_in(text))


def parse_keys(keys: str, scope: Scope) -> Parsed:
    """Find what key presses, as the terminal sends them, mean among the intents that are open."""
    if not all(key in KEYS for key in keys):
        return NoMatch()
    return _parsed(key_sentences(scope), tuple(KEYS[key] for key in keys))


def _parsed(sentences: Sentences, words: tuple[str, ...]) -> Parsed:
    found = {dict(values)["intent"]: None for values in full_matches(sentences.node, words)}
    intents: tuple[Intent, ...] = tuple(found)  # type: ignore[arg-type]
    if not intents:
        return NoMatch()
    return Understood(intents[0]) if len(intents) == 1 else Ambiguous(intents)
