"""`ask`: one question in words, without sound or a session."""

from dataclasses import dataclass
from typing import assert_never

from assistant.cable.colour_code import Order
from assistant.cable.makeup import Address, Cable, Group
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import Attendance, Said, SessionOpened, SessionSettings, Typed
from assistant.dialogue.resolve import (
    Disagreement,
    Groups,
    Nothing,
    Pairs,
    TheGroup,
    ThePair,
    resolve_group,
    resolve_pair,
)
from assistant.dialogue.state import State, fold
from assistant.errors import AssistantError
from assistant.words.intents import Ask, CallGroup, CallPair, GoTo
from assistant.words.parser import Understood, parse
from assistant.words.render import as_object, binder_text
from assistant.words.vocabulary import ALL_INTENTS, Scope


@dataclass(frozen=True, slots=True)
class AskResult:
    """What a question came to."""

    understood: dict[str, object]
    answer: dict[str, object] | None
    """None where the question names nothing in the cable, or asks for no pair or group."""
    text: str
    wrong: bool
    """Whether the question asks for what the cable does not have, or contradicts itself."""


def answer(text: str, cable: Cable, order: Order) -> AskResult:
    """Answer a question.

    Raises:
        AssistantError: the words are not understood.

    """
    parsed = parse(text, Scope(ALL_INTENTS))
    if not isinstance(parsed, Understood):
        raise AssistantError(f"ask: {text!r} is not understood; splice-assistant words tells what is")
    settings = SessionSettings(
        cable_pairs=cable.pairs, first=1, last=cable.pairs, asking=True, pair_order=order, binder_order=order
    )
    state = fold((SessionOpened(settings, Attendance()),))
    answered = decide(state, Typed(text, state.announcement))
    said = " ".join(fact.text for fact in answered.facts if isinstance(fact, Said))
    intent = parsed.intent
    call = intent.call if isinstance(intent, Ask | GoTo) else intent
    found = _found(call, state) if isinstance(call, CallPair | CallGroup) else None
    return AskResult(as_object(intent), _as_object(found, cable), said, isinstance(found, Nothing | Disagreement))


_Found = ThePair | Pairs | TheGroup | Groups | Disagreement | Nothing


def _found(call: CallPair | CallGroup, state: State) -> _Found:
    if isinstance(call, CallPair):
        return resolve_pair(call, state.end_in_work, state.group_in_work)
    return resolve_group(call, state.cable, state.group_in_work)


def _as_object(found: _Found | None, cable: Cable) -> dict[str, object] | None:
    match found:
        case ThePair(address):
            return pair_object(address, cable)
        case Pairs(addresses):
            return {"pair": None, **_colours_object(addresses[0])} | {
                "candidates": [pair_object(address, cable) for address in addresses]
            }
        case TheGroup(group):
            return _group_object(group) | {"first": group.first, "last": group.last}
        case Groups(groups):
            return {
                "group": None,
                "candidates": [_group_object(g) | {"first": g.first, "last": g.last} for g in groups],
            }
        case Disagreement() | Nothing() | None:
            return None
        case never:
            assert_never(never)


def pair_object(address: Address, cable: Cable) -> dict[str, object]:
    """Give the full address of a pair as a JSON object; `next` is the next pair's number, if any."""
    following = address.pair + 1
    return {
        "pair": address.pair,
        **_colours_object(address),
        **_group_object(address.group),
        "next": following if cable.has(following) else None,
    }


def _colours_object(address: Address) -> dict[str, object]:
    colours = address.colours
    return {"tip": colours.tip.value, "ring": colours.ring.value} if colours else {}


def _group_object(group: Group) -> dict[str, object]:
    unit = group.super_unit_binder
    return {
        "group": group.in_super_unit,
        "binder": binder_text(group.binder) if group.binder else None,
        "super_unit": unit.value if unit else None,
        "group_in_cable": group.number,
    }
