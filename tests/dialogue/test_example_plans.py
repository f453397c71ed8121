"""Each example plan from end to end, by typed words and by keys alone; every joint accounted for."""

from pathlib import Path

import pytest

from assistant.cable.colour_code import RINGS, TIPS, Colours
from assistant.cable.splice_plan import Joint
from assistant.dialogue.messages import Channel, PairConfirmed
from assistant.dialogue.modes import Mode
from assistant.dialogue.state import State
from assistant.words.numbers import spoken_digits
from tests.dialogue.conversation import Conversation

PLANS = sorted((Path(__file__).parents[2] / "demo_sessions" / "plans").glob("*.toml"))


def typed(state: State, joint: Joint) -> str:
    end, address = state.plan.end_of(joint.lead), state.plan.address(joint.lead)
    if not isinstance(address.colours, Colours):
        return f"service {spoken_digits(address.position)}"
    number = spoken_digits(end.called(joint.lead.position)[1])
    colours = f"{address.colours.ring.value} {address.colours.tip.value}"
    return (colours, f"pair {number}", f"{number} {colours}")[joint.number % 3]


def keyed(state: State, joint: Joint) -> str:
    end, address = state.plan.end_of(joint.lead), state.plan.address(joint.lead)
    if not isinstance(address.colours, Colours):
        return f".*{address.position}\n"
    number = end.called(joint.lead.position)[1]
    colours = f".{RINGS.index(address.colours.ring) + 1}{TIPS.index(address.colours.tip) + 1}"
    return (f"{colours}\n", f"{number}\n", f"{number}{colours}\n")[joint.number % 3]


@pytest.mark.parametrize("by", [Channel.TYPED, Channel.KEYS])
@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.stem)
def test_an_example_plan_from_end_to_end(path: Path, by: Channel) -> None:
    talk = Conversation(0, 0, 0, plan_text=path.read_text())
    say = talk.typed if by is Channel.TYPED else talk.keyed
    yes = "yes" if by is Channel.TYPED else "+"
    for number in talk.state.plan.to_join:
        joint = talk.state.expected_joint
        assert joint is not None
        assert joint.number == number
        say(typed(talk.state, joint) if by is Channel.TYPED else keyed(talk.state, joint))
        if talk.state.question is not None:
            say(yes)
    tally = talk.state.tally()
    assert (tally.open, tally.skipped, tally.faulty) == (0, 0, 0)
    assert tally.confirmed == len(talk.state.plan.to_join)
    assert tally.total == len(talk.state.plan.joints)
    assert {fact.by for fact in talk.facts if isinstance(fact, PairConfirmed)} == {by}
    say("finish" if by is Channel.TYPED else "/9")
    assert talk.state.mode is Mode.ENDED
