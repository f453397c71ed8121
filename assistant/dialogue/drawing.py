"""The table of modes and entries as text for people, and which mode leads to which, found by trying every entry."""

from collections.abc import Iterator

from assistant.cable.splice_plan import Site
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import (
    Attendance,
    DidYouSay,
    EarlierWork,
    Heard,
    Input,
    SessionSettings,
    StartAsked,
    StartTimer,
    Step,
    TimedOut,
    Typed,
)
from assistant.dialogue.modes import Mode
from assistant.dialogue.rules import session
from assistant.dialogue.state import State, fold, initial
from assistant.dialogue.table import CLOSED, TABLE, Cell, Dispatch
from assistant.words.vocabulary import ENTRIES

_PLAN = """
title = "To try every entry"
[[end]]
name = "west"
pairs = 50
[[end]]
name = "east"
pairs = 50
[[join]]
kind = "straight"
from = "west pairs 1-50"
to = "east pairs 1-50"
[[protect]]
pairs = "west pairs 2"
reason = "alarm circuit"
"""
_BEGINNINGS = (
    (SessionSettings(cable_pairs=50, first=1, last=50, asking=True), None),
    (SessionSettings(plan_text=_PLAN), None),
    (SessionSettings(plan_text=_PLAN, any_order=True), None),
    (SessionSettings(plan_text=_PLAN, site=Site.CABINET, short_checks=True), None),
    (SessionSettings(plan_text=_PLAN), EarlierWork(logs=(), joints=())),
)
_CALLS = ("blue white", "orange white", "group one orange white")
_UNSURE = "unsure"
_MOST_NAMED = 8
"""Entries that are named where they lead from one mode to another; of more, only the answers are."""
_ANSWERS = {"yes", "no"}


def table() -> str:
    """Give the table as Markdown: a row an entry, a column a mode; a dash where it is refused."""
    modes = [mode for mode in Mode if mode is not Mode.ENDED]
    lines = [f"| entry | {' | '.join(mode.value for mode in modes)} |", "| --- " * (len(modes) + 1) + "|"]
    for row in ENTRIES:
        cells = [_cell(TABLE[mode].cells[row.intent]) for mode in modes]
        lines.append(f"| {row.name} | {' | '.join(cells)} |")
    unsure = [_cell(TABLE[mode].unsure) for mode in modes]
    lines.append(f"| *heard, not surely* | {' | '.join(unsure)} |")
    return "\n".join(lines) + "\n"


def _cell(cell: Cell) -> str:
    if isinstance(cell, Dispatch):
        return f"*{cell.value}*"
    return "-" if cell in CLOSED or cell is session.stay_silent else cell.__name__.replace("_", " ")


def transitions() -> str:
    """Give the modes and what leads from one to another, as a Mermaid state diagram."""
    edges: dict[tuple[Mode, Mode], dict[str, None]] = {}
    for before, entry, after in _tried():
        if before is not after:
            edges.setdefault((before, after), {})[entry] = None
    lines = ["stateDiagram-v2"]
    for (before, after), entries in edges.items():
        named = ", ".join(entries)
        if len(entries) > _MOST_NAMED:
            named = ", ".join([*sorted(_ANSWERS & set(entries)), "other entries"])
        lines.append(f"    {_id(before)} --> {_id(after)}: {named}")
    return "\n".join(lines) + "\n"


def _id(mode: Mode) -> str:
    return mode.name.lower()


def _tried() -> Iterator[tuple[Mode, str, Mode]]:
    """Try every entry in the first state of each mode that is found on the way from each beginning."""
    for settings, earlier in _BEGINNINGS:
        began = _into(initial(), StartAsked(settings, Attendance(), earlier))[0]
        joined, _ = _into(began, Typed(_CALLS[0], began.announcement))
        waiting, seen = [began, joined], {began.mode, joined.mode}
        while waiting:
            state = waiting.pop(0)
            for entry, came in _entries(state):
                after, step = _into(state, came)
                yield state.mode, entry, after.mode
                if after.mode not in seen:
                    seen.add(after.mode)
                    waiting.append(after)
                for timer in (effect for effect in step.effects if isinstance(effect, StartTimer)):
                    timed, _ = _into(after, TimedOut(timer.joint))
                    waiting += [timed] if timed.mode is Mode.CALLING and not after.called_out else []


def _entries(state: State) -> Iterator[tuple[str, Input]]:
    number = state.announcement
    for row in ENTRIES:
        for example in row.examples[:1] if row.name != "pair" else _CALLS:
            yield row.name, Typed(example, number)
    if not isinstance(state.question, DidYouSay):
        yield _UNSURE, Heard(judgement="ask back", words=_CALLS[0], readings=(), after=number)


def _into(state: State, came: Input) -> tuple[State, Step]:
    step = decide(state, came)
    return fold(step.facts, state), step
