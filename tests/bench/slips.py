"""Slips on either end of a joint: is what was called wrong ever logged as right, and does the report tell of it?

    python -m tests.bench.slips [SLIPS] [SEED]

Transfers, half taps and branches, whose far side lies some pairs further on or in another group, are worked through
by a made-up person who now and then has a wrong pair in one hand or the other, or says a wrong number, and calls what
is in hand: by voice, surely heard or asked back and said yes to, typed, or keyed. Which pairs a joint has, and what
was called, is known here by this program's own arithmetic (7 CFR 1755.890: 5 ring x 5 tip colours, groups of 25);
each confirmation is held against it. Then the person goes on: with the right call, or with one that does not name
what was wrong (the near pair alone, a word, a key), and each such deviation must stand in every form of the report.

A wrong far side is not seen where only the near pair is called: those are counted apart, and must be kept as that.
"""

import json
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime

from assistant.account.account import Account, account_of
from assistant.dialogue.messages import (
    AnnouncementNumber,
    DidYouSay,
    Ends,
    Fact,
    Heard,
    Input,
    KeysPressed,
    Mismatch,
    PairConfirmed,
    Typed,
)
from assistant.handover import parts
from assistant.handover.document import as_object
from assistant.handover.page import as_page
from assistant.handover.table import as_csv
from tests.account.sessions import Session
from tests.bench.interleavings import RING, TIP, colours, number_words

SLIPS_A_SESSION = 12
ISSUED = datetime(2026, 11, 27, tzinfo=UTC)
ALIKE = (("green", "brown"), ("blue", "brown"), ("orange", "green"), ("violet", "white"), ("red", "white"))
"""Colour words nearest to one another by our own comparison of phonemes; no published figures."""


@dataclass(frozen=True, slots=True)
class Work:
    """Joints 1 to `joints`: near pair n with the far pair n + shift, of a branch straight on with pair n as well."""

    kind: str
    near_pairs: int
    far_pairs: int
    joints: int
    shift: int

    @property
    def far_alone(self) -> bool:
        """Whether the near cable has no pair of any colours that a far side has."""
        own = {colours(n) for n in range(1, self.near_pairs + 1)}
        fars = [colours(n + self.shift) for n in range(1, self.joints + 1)]
        return not own & set(fars) and len(set(fars)) == len(fars)

    @property
    def plan(self) -> str:
        """The text of the plan."""
        ends = [("near", self.near_pairs), ("far", self.far_pairs)]
        far = f"far pairs {self.shift + 1}-{self.shift + self.joints}"
        rest = f'to = "{far}"'
        if self.kind == "branch":
            ends.append(("onward", self.near_pairs))
            rest = f'to = "onward pairs 1-{self.joints}"\nbranch = "{far}"'
        told = "".join(f'[[end]]\nname = "{name}"\npairs = {pairs}\n' for name, pairs in ends)
        return f'title = "made up"\n{told}[[join]]\nkind = "{self.kind}"\nfrom = "near pairs 1-{self.joints}"\n{rest}\n'


@dataclass(frozen=True, slots=True)
class Call:
    """What is called: any of a number, the colours of a near pair, those of a far pair."""

    number: int | None = None
    near: int | None = None
    far: int | None = None

    def fits(self, joint: int, work: Work) -> bool:
        """Tell whether all that is called is of this joint."""
        named = self.near is None or colours(self.near) == colours(joint)
        far = self.far is None or colours(self.far) == colours(joint + work.shift)
        return self.number in (None, joint) and named and far

    @property
    def words(self) -> str:
        """The call as it is said."""
        parts_said = ["pair " + number_words(self.number)] if self.number is not None else []
        sides = [" ".join(colours(pair)) for pair in (self.near, self.far) if pair is not None]
        return " ".join([*parts_said, " to ".join(sides)]).strip()

    @property
    def keys(self) -> str:
        """The call as it is keyed."""
        sides = [colours(pair) for pair in (self.near, self.far) if pair is not None]
        keyed = "".join(f".{RING.index(ring) + 1}{TIP.index(tip) + 1}" for ring, tip in sides)
        return f"{'' if self.number is None else self.number}{keyed}\n"


@dataclass(frozen=True, slots=True)
class Deviation:
    """A slip that was refused, after which its joint was confirmed without naming what had been wrong."""

    joint: int
    call: str
    how: str
    ends: str


@dataclass(slots=True)
class Person:
    """Somebody who works through a plan, slips, and goes on."""

    chance: random.Random
    work: Work
    session: Session
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    deviations: list[Deviation] = field(default_factory=list)
    unseen: list[int] = field(default_factory=list)
    """Joints with a wrong far side of which only the near pair was called."""

    def put(self, came: Input) -> tuple[Fact, ...]:
        """Put something in, and give what came of it."""
        behind = len(self.session.records)
        self.session.put(came)
        return tuple(fact for record in self.session.records[behind:] for fact in record.facts)

    def enter(self, call: Call) -> tuple[tuple[Fact, ...], bool]:
        """Call by a way drawn at random; give what came of it, and whether it was asked back."""
        now = self.session.state.announcement
        way = self.chance.choice(("typed", "keys", "accepted", "ask back"))
        if way in ("typed", "keys"):
            return self.put(Typed(call.words, now) if way == "typed" else KeysPressed(call.keys, now)), False
        facts = self.put(heard(call.words, way, now))
        asked = isinstance(self.session.state.question, DidYouSay)
        return (facts + self.put(Typed("yes", self.session.state.announcement)) if asked else facts), asked

    def slip(self, kind: str, call: Call, joint: int) -> bool:
        """Call what is wrong, hold what came of it against the plan, and tell whether it was refused."""
        assert not call.fits(joint, self.work), f"{kind}: {call} is no slip at joint {joint} of {self.work}"
        facts, asked = self.enter(call)
        confirmed = [fact for fact in facts if isinstance(fact, PairConfirmed)]
        assert not confirmed, f"{kind}: {call} at joint {joint} of {self.work} was logged: {confirmed}"
        refused = any(isinstance(fact, Mismatch) for fact in facts)
        self.counts[kind, "tried"] += 1
        self.counts[kind, "asked back"] += asked
        self.counts[kind, "refused" if refused else "not taken"] += 1
        self.counts[kind, "logged as right"] += len(confirmed)
        return refused

    def go_on(self, joint: int, call: Call, *, refused: bool) -> None:
        """Confirm the joint after a slip: as it is to be called, or without naming what was wrong."""
        chance, words = self.chance, " ".join(colours(joint))
        whole = Call(near=joint, far=joint + self.work.shift)
        kept = {"colours": (words, "near"), "word": ("confirm pair", "none"), "key": ("+", "none")}
        how = chance.choice(("whole", "whole", *kept, *(["far alone"] if self.work.far_alone else [])))
        if how in ("whole", "far alone"):
            facts, _ = self.enter(whole if how == "whole" else Call(near=joint + self.work.shift))
            wanted = ("colours", (Ends.BOTH if how == "whole" else Ends.FAR).value)
        else:
            text, ends = kept[how]
            now = self.session.state.announcement
            facts = self.put(KeysPressed(text, now) if how == "key" else Typed(text, now))
            wanted = (how, ends)
            if refused:
                came = next(r.input for r in reversed(self.session.records[:-1]) if is_refusal(r.facts))
                self.deviations.append(Deviation(joint, as_came(came, call), *wanted))
        (fact,) = (fact for fact in facts if isinstance(fact, PairConfirmed))
        assert fact.pair == joint, f"{fact} for joint {joint} of {self.work}"
        named = fact.how.value in ("colours", "number", "number+colours")
        assert (fact.how.value, fact.ends.value if named else "none") == wanted, f"{fact}, wanted {wanted}"


def is_refusal(facts: tuple[Fact, ...]) -> bool:
    """Tell whether a step was a call that did not fit."""
    return any(isinstance(fact, Mismatch) for fact in facts)


def as_came(came: Input, call: Call) -> str:
    """Give a call as the report is to show it; what was asked back is shown by its words."""
    return call.keys.strip() if isinstance(came, KeysPressed) else call.words


def heard(words: str, judgement: str, after: AnnouncementNumber) -> Heard:
    """Make an utterance."""
    return Heard(judgement=judgement, words=words, readings=(), after=after)


def pair_alike(pair: int) -> Iterator[int]:
    """Give pairs of the same 25 whose colours differ by one word that sounds alike."""
    own, first = set(colours(pair)), (pair - 1) // 25 * 25
    for other in range(first + 1, first + 26):
        new, old = set(colours(other)) - own, own - set(colours(other))
        if len(new) == 1 and any({*new, *old} == set(two) for two in ALIKE):
            yield other


def slips_at(work: Work, joint: int, chance: random.Random) -> dict[str, Call]:
    """Give slips of every kind that can be made at a joint."""
    near, far = joint, joint + work.shift
    other = chance.choice([n for n in range(1, work.joints + 1) if n != joint])
    next_one = joint + 1 if joint < work.joints else joint - 1
    wrong_near = chance.choice([n for n in range(1, min(25, work.near_pairs) + 1) if n != near])
    wrong_far = chance.choice([n for n in range(1, 26) if colours(n) != colours(far)])
    third = chance.choice([n for n in range(1, work.joints + 1) if n != joint and colours(n) != colours(other)])
    near_alike = [n for n in pair_alike(near) if n <= work.near_pairs] or [wrong_near]
    far_alike = list(pair_alike(far)) or [wrong_far]
    return {
        "wrong near, both called": Call(near=wrong_near, far=far),
        "wrong near, near called": Call(near=wrong_near),
        "wrong near, number too": Call(number=joint, near=wrong_near, far=far),
        "wrong far": Call(near=near, far=wrong_far),
        "wrong far, number too": Call(number=joint, near=near, far=wrong_far),
        "far of the neighbour": Call(near=near, far=next_one + work.shift),
        "near of the neighbour": Call(near=next_one, far=far),
        "a joint whole, not in turn": Call(near=other, far=other + work.shift),
        "near and far of two others": Call(near=other, far=third + work.shift),
        "sides the wrong way round": Call(near=far, far=near),
        "wrong number, right colours": Call(number=other, near=near, far=far),
        "number alone, wrong": Call(number=other),
        "near that sounds alike": Call(near=chance.choice(near_alike), far=far),
        "far that sounds alike": Call(near=near, far=chance.choice(far_alike)),
        "near colours for the far": Call(near=near, far=near),
        "far alone, of another joint": Call(near=other + work.shift),
        "far alone, though near has it": Call(near=far),
    }


def draw(chance: random.Random) -> Work:
    """Draw a plan whose sides differ in their colours."""
    if chance.random() < 0.25:  # a small cable, whose far side lies where it has no colours
        pairs = chance.choice((6, 10, 12))
        return Work(
            chance.choice(("transfer", "half-tap", "branch")), pairs, 25, pairs, chance.randint(pairs, 25 - pairs)
        )
    shift = chance.choice([s for s in range(1, 70) if s % 25])
    joints = chance.randint(5, 25)
    return Work(chance.choice(("transfer", "half-tap", "branch")), chance.choice((25, 50)), 100, joints, shift)


def one_session(chance: random.Random, slips: int) -> Person:
    """Work through a plan drawn at random, with so many slips at most."""
    work = draw(chance)
    person = Person(chance, work, Session(work.plan))
    while slips and (turn := person.session.state.expected) is not None:
        joint = int(turn)
        if chance.random() < 0.1:
            person.unseen.append(joint)
            person.put(Typed(" ".join(colours(joint)), person.session.state.announcement))
            continue
        kinds = {kind: call for kind, call in slips_at(work, joint, chance).items() if not call.fits(joint, work)}
        if work.far_alone:  # what is said alone is the far side, and right
            kinds.pop("far alone, though near has it")
        kind = chance.choice(list(kinds))
        refused = person.slip(kind, kinds[kind], joint)
        person.go_on(joint, kinds[kind], refused=refused)
        slips -= 1
    return person


def in_report(person: Person, account: Account) -> int:
    """Hold each deviation against all forms of the report, and give how many there were."""
    object_ = as_object(account, issued=ISSUED)
    page, table = as_page(account, issued=ISSUED), as_csv(account).splitlines()
    shown = [[str(cell) for cell in row] for row in parts.mismatches(account).rows]
    rows = {int(row.joint.number): row for row in account.rows}
    told: list[dict[str, object]] = object_["mismatches"]  # type: ignore[assignment]
    for one in person.deviations:
        near = f"near {one.joint} confirmed by {one.how}"
        assert any(slip["call"] == one.call and near in str(slip["followed_by"]) for slip in told), one
        assert any(row[2].split(" (far side")[0] == one.call and near in row[3] for row in shown), one
        assert json.dumps(one.call)[1:-1] in page
        assert near in page
        made = rows[one.joint].made
        assert made is not None
        assert (made.how, made.ends) == (one.how, one.ends), one
        assert any(line.startswith(f"{one.joint},") and f",{one.how},{one.ends}," in line for line in table), one
    for joint in person.unseen:
        made = rows[joint].made
        assert made is not None
        assert (made.ends, made.far_ends) == (Ends.NEAR.value, ()), joint
    return len(person.deviations)


def drive(slips: int, chance: random.Random) -> tuple[Counter[tuple[str, str]], int, int]:
    """Make so many slips, and give what came of them by kind, the deviations reported, and those not seen.

    Raises:
        AssertionError: a slip was logged as right, or a deviation does not stand in the report.

    """
    counts: Counter[tuple[str, str]] = Counter()
    reported = unseen = made = 0
    while made < slips:
        person = one_session(chance, min(SLIPS_A_SESSION, slips - made))
        reported += in_report(person, account_of([person.session.log()]))
        counts += person.counts
        unseen += len(person.unseen)
        made = sum(count for (_, what), count in counts.items() if what == "tried")
    return counts, reported, unseen


def main() -> None:
    """Make slips, and print what came of them."""
    slips = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    began = time.monotonic()
    counts, reported, unseen = drive(slips, random.Random(seed))
    heads = ("tried", "refused", "asked back", "not taken", "logged as right")
    print(f"{'':32}" + "".join(f"{head:>17}" for head in heads))
    for kind in sorted({kind for kind, _ in counts}):
        print(f"{kind:32}" + "".join(f"{counts[kind, head]:17}" for head in heads))
    print(f"{'all':32}" + "".join(f"{sum(c for (_, w), c in counts.items() if w == head):17}" for head in heads))
    print(f"confirmed without naming what was wrong, and told so in every form of the report: {reported}")
    print(f"wrong far side, near pair called alone: not seen; kept as near end alone named: {unseen}")
    print(f"{time.monotonic() - began:.0f} s, seed {seed}")


if __name__ == "__main__":
    main()
