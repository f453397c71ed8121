"""The vocabulary in other forms: for programs, and as a table."""

from dataclasses import fields
from enum import Enum

from assistant.cable.colour_code import Colours
from assistant.words.intents import Ask, CallGroup, GoTo, Intent, Redo
from assistant.words.vocabulary import COLOUR_WORDS, ENTRIES, VocabularyRow

NAMES: dict[type[Intent], str] = {entry.intent: entry.name for entry in ENTRIES}


def as_object(intent: Intent) -> dict[str, object]:
    """Give an intent as a JSON object: its name under "intent", and each slot that is filled.

    Colours of a pair are under "tip" and "ring"; a group is under "group", "binder" (tip and ring
    joined by a hyphen, tip first) and "super_unit", at the same level.
    """
    slots: dict[str, object] = {"intent": NAMES[type(intent)]}
    inner = intent.call if isinstance(intent, Ask | GoTo | Redo) else intent
    if inner is not intent:
        slots["of"] = NAMES[type(inner)]
    for slot in fields(inner):
        _add(slots, slot.name, getattr(inner, slot.name), in_group=isinstance(inner, CallGroup))
    return slots


def _add(slots: dict[str, object], name: str, value: object, *, in_group: bool) -> None:
    match value:
        case None:
            return
        case Colours(tip, ring) if name == "colours":
            slots |= {"tip": tip.value, "ring": ring.value}
        case Colours():
            slots[name] = binder_text(value)
        case CallGroup():
            for slot in fields(value):
                _add(slots, slot.name, getattr(value, slot.name), in_group=True)
        case Enum():
            slots[name] = value.value
        case _:
            slots["group" if in_group and name == "number" else name] = value


def binder_text(binder: Colours) -> str:
    """Write a binder as the regulation does: tip first, with a hyphen."""
    return f"{binder.tip.value}-{binder.ring.value}"


def _said_entries() -> tuple[VocabularyRow, ...]:
    return tuple(entry for entry in ENTRIES if entry.examples)


def as_list() -> list[dict[str, object]]:
    """Give every entry for programs."""
    return [
        {"intent": entry.name, "say": list(entry.examples), "keys": entry.key_text, "help": entry.help}
        for entry in _said_entries()
    ]


def table() -> str:
    """Give a Markdown table of everything that can be said and keyed."""
    rows = ["| say | keys | what it does |", "| --- | --- | --- |"]
    for entry in _said_entries():
        said = " · ".join(f"“{example}”" for example in entry.examples)
        keys = entry.key_text.replace("|", "\\|")
        rows.append(f"| {said} | `{keys}` | {entry.help} |")
    return "\n".join(rows) + "\n"


def other_words() -> str:
    """Tell which other colour words are understood."""
    others = [f"{', '.join(words[1:])} for {words[0]}" for words in COLOUR_WORDS.values() if len(words) > 1]
    return f"Also understood: {'; '.join(others)}."
