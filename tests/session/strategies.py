"""Hypothesis strategies for every message that a record can hold, made from the types of the fields.

A class that is added to `Input`, `Fact` or `Question` is drawn without a line here; a field of a type
that is not known here is refused by name.
"""

from dataclasses import fields, is_dataclass
from enum import Enum
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from hypothesis import strategies as st

from assistant.dialogue.messages import Fact, Input, Question
from assistant.ports import MOST_UPTIME_S, Uptime
from assistant.session.record import Record

INPUTS: tuple[type, ...] = get_args(Input)
FACTS: tuple[type, ...] = get_args(Fact)
QUESTIONS: tuple[type, ...] = get_args(Question)

PLAIN: dict[object, st.SearchStrategy[Any]] = {
    NoneType: st.none(),
    bool: st.booleans(),
    int: st.integers(),
    str: st.text(),
    float: st.floats(allow_nan=False),  # not a number is not equal to itself; infinities are drawn
}


def of_type(kind: Any) -> st.SearchStrategy[Any]:
    """Give values of a type as it stands in a message."""
    kind = getattr(kind, "__supertype__", kind)  # of a NewType
    if kind in PLAIN:
        return PLAIN[kind]
    if isinstance(kind, UnionType) or get_origin(kind) is Union:
        return st.one_of([of_type(option) for option in get_args(kind)])
    if get_origin(kind) is tuple:
        elements = get_args(kind)
        if elements[-1] is not ...:
            return st.tuples(*map(of_type, elements))
        return st.lists(of_type(elements[0]), max_size=4).map(tuple)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return st.sampled_from(kind)
    if is_dataclass(kind):
        hints = get_type_hints(kind)
        drawn = {field.name: of_type(hints[field.name]) for field in fields(kind)}
        positional = st.fixed_dictionaries(drawn)
        return positional.map(lambda values: kind(**values))
    raise TypeError(f"{kind}: no strategy for a field of this type")


inputs = st.one_of([of_type(kind) for kind in INPUTS])
facts = st.one_of([of_type(kind) for kind in FACTS])
sums = st.text("0123456789abcdef", min_size=16, max_size=16)


def records(
    came: st.SearchStrategy[Input] = inputs, happened: st.SearchStrategy[Fact] = facts
) -> st.SearchStrategy[Record]:
    """Give whole records."""
    return st.builds(
        Record,
        number=st.integers(min_value=1, max_value=10**9),
        at=st.datetimes(timezones=st.timezones()).map(lambda at: at.isoformat(timespec="milliseconds")),
        input=came,
        facts=st.lists(happened, max_size=5).map(tuple),
        uptime=st.none() | st.builds(Uptime, boot=st.text(max_size=8), seconds=st.floats(0, MOST_UPTIME_S)),
    )
