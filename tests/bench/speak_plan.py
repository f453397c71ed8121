"""Run a splice plan end to end by synthetic speech through the real hearing chain, and account for it.

    python -m tests.bench.speak_plan PLAN --log DIR [--most N] [--both-ends]

A synthetic voice calls every joint of the plan, in turns by colours, by number and colours, and by
number, or by the colours of both its ends; it answers the checks and questions. Printed: what was
logged against what was called, how often the voice was asked back, and how long it took. Both voices
are synthetic: the figures say nothing about people.
"""

import argparse
import platform
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import islice
from pathlib import Path

from assistant.app.demo import Call, Caller, WatchedScreen
from assistant.app.plan import load_plan
from assistant.app.work import WorkOptions, work
from assistant.cable.colour_code import Colours, ServiceColours
from assistant.cable.splice_plan import Joint, Plan
from assistant.dialogue.messages import Heard, Mismatch, PairConfirmed
from assistant.session.journal import load
from assistant.words.numbers import spoken_digits


def call_of(plan: Plan, joint: Joint) -> tuple[str, str]:
    """Give the words for a joint, and other ones: colours, number and colours, or number, in turns."""
    end, address = plan.end_of(joint.lead), plan.address(joint.lead)
    if address.group.service:
        assert isinstance(address.colours, ServiceColours)
        colours = f"{address.colours.tip.value} {address.colours.ring.value}"
        return f"service {spoken_digits(address.position)}", f"service {colours}"
    assert isinstance(address.colours, Colours)
    colours = f"{address.colours.ring.value} {address.colours.tip.value}"
    number = spoken_digits(end.called(address.pair)[1])
    forms = (colours, f"{number}, {colours}", f"pair {number}")
    return forms[joint.number % 3], forms[(joint.number + 1) % 3]


def both_ends_of(plan: Plan, joint: Joint) -> tuple[str, str]:
    """Give the words that name both ends of a joint by their colours, and the same after its number."""
    named = [plan.address(place).colours for place in (joint.lead, *plan.far_of(joint)[:1])]
    near, far = (f"{one.ring.value} {one.tip.value}" for one in named if isinstance(one, Colours))
    number = spoken_digits(plan.end_of(joint.lead).called(joint.lead.position)[1])
    return f"{near} to {far}", f"pair {number}, {near} to {far}"


def script(plan: Plan, most: int, call_of: Callable[[Plan, Joint], tuple[str, str]]) -> Iterator[Call]:
    """Give all that the voice says: the checks, every joint, the end."""
    if plan.site is not None:
        yield Call("yes")
    for number in islice(plan.to_join, most):
        joint = plan.by_number[number]
        words, otherwise = call_of(plan, joint)
        yield Call(words, number, otherwise)
        if joint.protect:
            yield Call("yes")
    yield Call("finish session")
    if most < len(plan.to_join):
        yield Call("yes")


def main() -> int:
    """Run it; the exit code is 1 when a joint was confirmed that was not called."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("plan", type=Path)
    parser.add_argument("--log", type=Path, required=True)
    parser.add_argument("--most", type=int, default=100_000, help="call only so many joints")
    parser.add_argument("--both-ends", action="store_true", help="call both ends of every joint")
    options = parser.parse_args()
    plan, _ = load_plan(options.plan)
    screen = WatchedScreen()
    caller = Caller(screen, tuple(script(plan, options.most, both_ends_of if options.both_ends else call_of)))
    began = time.perf_counter()
    state, path = work(
        WorkOptions(plan=options.plan, short_checks=True, log=options.log, voice="print"), source=caller, screen=screen
    )
    took = time.perf_counter() - began
    records = load(path).records
    facts = [fact for record in records for fact in record.facts]
    made = [fact for fact in facts if isinstance(fact, PairConfirmed)]
    confirmed = [fact.pair for fact in made]
    heard = Counter(record.input.judgement for record in records if isinstance(record.input, Heard))
    wrong = [number for number in confirmed if number not in caller.called]
    print(f"\n{datetime.now().astimezone():%Y-%m-%d %H:%M}, {platform.platform()}, {platform.processor() or 'cpu'}")
    print(f"{options.plan.name}: called {len(caller.called)}, confirmed {len(confirmed)}, wrong {len(wrong)}")
    print(f"ends named {dict(Counter(fact.ends.value for fact in made))}")
    print(f"mismatches {sum(isinstance(fact, Mismatch) for fact in facts)}; utterances {dict(heard)}")
    print(f"account {state.tally()}; {took:.0f} s; log {path}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
