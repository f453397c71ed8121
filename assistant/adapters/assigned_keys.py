"""Keys of a foot switch or a presenter that stand for keys of the pad.

Only keys that nobody presses with something else in mind can be given away: not what a pad sends while Num Lock is off
(arrows, Page Down and so on) or in its application mode (F1 to F4), and no letter or space, since who types a word by
habit would confirm a pair with one of its letters.
"""

from collections.abc import Iterator, Mapping, Sequence
from functools import cache

from assistant.adapters.terminal import Key
from assistant.words.vocabulary import KEYS

LOWEST, HIGHEST = 5, 24
CAN_BE_ASSIGNED = (*(f"F{number}" for number in range(LOWEST, HIGHEST + 1)), "Tab")
PAD_KEYS = (*(key for key in KEYS if key not in ("\r", "\n", ",")), "Enter")


@cache
def sequences(name: str) -> tuple[str, ...]:
    """Give what terminals send for a key that can be assigned."""
    from prompt_toolkit.input.ansi_escape_sequences import ANSI_SEQUENCES
    from prompt_toolkit.keys import Keys

    if name == "Tab":
        return ("\t",)
    wanted = Keys(name.lower())
    return tuple(sequence for sequence, key in ANSI_SEQUENCES.items() if key is wanted)


def what_is_sent(assigned: Mapping[str, str]) -> dict[str, str]:
    """Give what terminals send for each assigned key -> what the pad's key sends."""
    return {
        sequence: "\r" if pad_key == "Enter" else pad_key
        for name, pad_key in assigned.items()
        for sequence in sequences(name)
    }


def translated(keys: Sequence[Key], sent: Mapping[str, str]) -> Iterator[Key]:
    """Put the pad's keys in the place of those that stand for them."""
    for key in keys:
        yield Key(sent[key.sent]) if key.sent in sent else key
