"""`plan`: check a plan file and print its sequence as a table, for programs, or as a card for the splice."""

import csv
import io
from pathlib import Path

from assistant.account.runs import in_words, runs, spans, why
from assistant.account.sides import Side, side
from assistant.app.text_files import read_text_file
from assistant.cable.colour_code import Order
from assistant.cable.plan_text import PlanError, read_plan
from assistant.cable.splice_plan import Joint, Plan, in_runs, unjoined
from assistant.dialogue import sentences
from assistant.errors import AssistantError

COLUMNS = ("turn", "kind", "end", "count", "number", "position", "colours", "group", "binder", "protect", "reason")


def load_plan(path: Path) -> tuple[Plan, str]:
    """Read a plan file and give the plan with its text.

    Raises:
        AssistantError: the file cannot be read, or is no plan; the text names line and column.

    """
    text = read_text_file(path)
    try:
        return read_plan(text), text
    except PlanError as error:
        raise AssistantError(f"{path}: {error}") from error


def warnings(plan: Plan) -> list[str]:
    """List the pairs that are in no join, each end on a line."""
    lines = []
    for name, positions in unjoined(plan).items():
        if positions:
            runs = ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in in_runs(positions))
            lines.append(f"{name}: {len(positions)} pairs are in no join: pairs {runs} of the sheath")
    return lines


def as_object(plan: Plan, order: Order) -> dict[str, object]:
    """Give the plan for programs."""
    return {
        "title": plan.title,
        "site": plan.site.value if plan.site else None,
        "work": plan.work.value,
        "ends": [
            {"name": e.name, "pairs": e.cable.pairs, "gauge_awg": e.gauge_awg, "counts": [str(c) for c in e.counts]}
            for e in plan.ends
        ],
        "joints": [_joint_object(plan, joint, order) for joint in plan.joints],
        "warnings": warnings(plan),
    }


def _joint_object(plan: Plan, joint: Joint, order: Order) -> dict[str, object]:
    sides = [side(plan, place, order) for place in joint.places]
    return {
        "turn": joint.number,
        "kind": joint.kind.value,
        "sides": [{name: getattr(s, name) for name in Side.__slots__} for s in sides],
        "protect": joint.protect,
        "reason": joint.reason,
    }


def as_csv(plan: Plan, order: Order) -> str:
    """Give one row for each pair of each joint."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for joint in plan.joints:
        for place in joint.places:
            s = side(plan, place, order)
            row = [joint.number, joint.kind.value, s.end, s.count, s.number, s.position, s.colours, s.group, s.binder]
            writer.writerow([*row, joint.protect, joint.reason])
    return out.getvalue()


def as_table(plan: Plan, order: Order) -> str:
    """Give a line for each joint."""
    lines = [_heading(plan)]
    for joint in plan.joints:
        sides = [side(plan, place, order) for place in joint.places]
        named = "  =  ".join(f"{s.end} {s.count} {s.number} ({s.colours}, group {s.group})" for s in sides)
        told = f"  {why(joint)}" if why(joint) else ""
        lines.append(f"{joint.number:>5}  {joint.kind.value:<9} {named}{told}")
    return "\n".join(lines)


def as_card(plan: Plan, order: Order) -> str:
    """Give a page to read at the splice: a line for each run of joints inside a group."""
    lines = [_heading(plan), ""]
    for end in plan.ends:
        counts = "; ".join(str(count) for count in end.counts) or "by position"
        gauge = f", {end.gauge_awg} AWG" if end.gauge_awg else ""
        lines.append(f"{end.name}: {end.cable.pairs} pairs{gauge}, {counts}")
    lines.append("")
    placed = [(joint, tuple(side(plan, place, order) for place in joint.places)) for joint in plan.joints]
    for run in runs(placed, in_group=True):
        joint = placed[run[0]][0]
        told = f"  {why(joint)}" if why(joint) else ""
        lines.append(f"{joint.kind.value:<9} {in_words(spans(placed[run[0]], placed[run[-1]]))}{told}")
    lines += ["", *(f"NOT IN THE PLAN  {line}" for line in warnings(plan))]
    lines.append(sentences.CAUTION())
    return "\n".join(lines)


def _heading(plan: Plan) -> str:
    site = f", {plan.site.value}" if plan.site else ""
    return f"{plan.title or 'Splice plan'}{site}: {len(plan.to_join)} joints, {plan.work.value}"
