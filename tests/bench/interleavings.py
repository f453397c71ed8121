"""Random interleavings of everything that can come in, with delays: is a pair ever confirmed by what did not name it?

    python -m tests.bench.interleavings [EVENTS] [SEED]

The pure core is driven by words, keys, unsure hearings, stale and doubled inputs, time-outs, broken devices, stops
and resumptions. Sentences are put late, or never. What each input named, and what had been put when it was made, is
kept by this program itself, by its own arithmetic of the colour code (7 CFR 1755.890: 5 ring x 5 tip colours, groups
of 25), and each confirmation is held against it:

- an input that names a pair confirms that pair, and colours alone only in a group told of when it was made, or where
  the cable has them once;
- a test is passed by what names nothing: only by the pair that was put, or with "group good" by the group that was;
- colours called for the far side are those of the joint that is confirmed, and are kept as checked only if they were
  called; alone they confirm only where the called cable has none of them;
- no pair is ever in two joints, whatever is built otherwise;
- any other confirms only what the announcement named that was current, and had been put, when it was made.
"""

import random
import sys
import time
from collections import Counter
from dataclasses import dataclass, field

from assistant.cable.splice_plan import JointNumber, Site
from assistant.dialogue.machine import decide
from assistant.dialogue.messages import (
    NOT_YET,
    AnnouncementNumber,
    Answered,
    Asked,
    Attendance,
    Check,
    DeviceFailed,
    DidYouSay,
    EarlierWork,
    Ends,
    Heard,
    Input,
    JoinProtected,
    JointsCarried,
    KeysPressed,
    KeysRefused,
    KeyTrouble,
    MicrophoneTrouble,
    NoteRecorded,
    PairConfirmed,
    PairState,
    PairTested,
    Quit,
    ResumeAsked,
    SessionSettings,
    SoundLost,
    Speak,
    StartAsked,
    StartTimer,
    Step,
    StopAsked,
    TimedOut,
    Trouble,
    Typed,
)
from assistant.dialogue.scope import scope_of
from assistant.dialogue.state import State, fold, initial
from assistant.words.grammar import sample
from assistant.words.intents import Fault
from assistant.words.vocabulary import voice_sentences

RING = ("blue", "orange", "green", "brown", "slate")
TIP = ("white", "red", "black", "yellow", "violet")
DIGIT = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
WHOLE = (*DIGIT, "ten", "eleven", "twelve")
FOLLOWED = 400
"""Events of one session at most."""


def colours(pair: int) -> tuple[str, str]:
    """Give ring and tip of a pair."""
    return RING[(pair - 1) % 5], TIP[(pair - 1) // 5 % 5]


def number_words(number: int) -> str:
    """Say a number as the session does."""
    return WHOLE[number] if number <= 12 else " ".join(DIGIT[int(figure)] for figure in str(number))


def name(pair: int) -> str:
    """Name a pair as the session does."""
    return f"{number_words(pair)}, {' '.join(colours(pair))}"


@dataclass(frozen=True, slots=True)
class Made:
    """An input with what it names, when it was made."""

    came: Input
    number: int | None = None
    colours: tuple[str, str] | None = None
    group: int | None = None
    """The group that it names itself."""
    far: tuple[str, str] | None = None
    """Colours that it names behind those of the pair."""
    after: AnnouncementNumber = NOT_YET

    def names(self, pair: int, run: "Run") -> bool:
        """Tell whether it names this pair of a cable, and no other far side than that of its joint.

        Colours alone do so in a group that was told of when it was made, or where the cable has them once.
        """
        told, pairs = run.groups, run.settings.cable_pairs
        if self.number is None and self.colours is None:
            return False
        if self.far is not None and self.far != colours(pair + run.shift):
            return False
        if self.colours is not None and self.colours != colours(pair):
            return False
        if self.number is not None:
            return self.number == pair
        if [other for other in range(1, pairs + 1) if colours(other) == self.colours] == [pair]:
            return True
        return (self.group or told.get(self.after)) == (pair - 1) // 25 + 1


@dataclass(slots=True)
class Run:
    """One session driven at random."""

    chance: random.Random
    settings: SessionSettings
    state: State = field(default_factory=initial)
    put: AnnouncementNumber = NOT_YET
    spoken: list[Speak] = field(default_factory=list)
    """Said, and not yet put."""
    texts: dict[AnnouncementNumber, str] = field(default_factory=dict)
    """What was put with each number."""
    groups: dict[AnnouncementNumber, int | None] = field(default_factory=dict)
    """The group told of, by the number that was current."""
    called: set[str] = field(default_factory=set)
    """All that was put."""
    doubted: Made | None = None
    protected: bool = False
    timers: list[StartTimer] = field(default_factory=list)
    shift: int = 0
    """How many pairs further on the far side of each joint lies; 0 in a straight sequence."""
    counts: Counter[str] = field(default_factory=Counter)
    over: bool = False

    def deliver(self, made: Made) -> None:
        """Let an input come in, and hold what it confirms against the rule."""
        before = self.state
        step = decide(before, made.came)
        self.state = fold(step.facts, before)
        assert step.facts or isinstance(made.came, TimedOut), f"no answer to {made.came}"
        self._hold(made, before, step)
        for effect in step.effects:
            match effect:
                case Speak():
                    self.spoken.append(effect)
                case StartTimer():
                    self.timers.append(effect)
                case Quit():
                    self.over = True
        self.groups[self.state.announcement] = self.group_told()
        if self.settings.cable_pairs <= 25:
            self.groups[NOT_YET] = 1
        self.counts[type(made.came).__name__] += 1

    def group_told(self) -> int | None:
        """Give the group of the pair in turn, by arithmetic; in any order the one taken."""
        if self.settings.cable_pairs <= 25:
            return 1
        if self.settings.any_order and self.state.verifying is None:
            return None if self.state.taken_group is None else int(self.state.taken_group)
        turn = self.state.joint_in_turn
        return None if turn is None else (int(turn.number) - 1) // 25 + 1

    def _hold(self, made: Made, before: State, step: Step) -> None:
        confirmed = [fact for fact in step.facts if isinstance(fact, PairConfirmed)]
        cause = made
        called = made
        if any(isinstance(fact, Answered) and fact.yes for fact in step.facts) and self.doubted is not None:
            cause = self.doubted if isinstance(before.question, DidYouSay) else made
            called = self.doubted
        for fact in confirmed:
            self.counts["confirmed"] += 1
            assert self._allowed(cause, made, before, int(fact.pair)), (
                f"{fact} by {made} (doubted {self.doubted}); put {self.put}: {self.texts.get(made.after)!r}; "
                f"current {before.announcement}"
            )
            self._hold_ends(called, fact)
        for fact in step.facts:
            if isinstance(fact, PairTested) and fact.passed:
                self.counts["tested"] += 1
                assert self._may_pass(cause, made, before, int(fact.pair)), f"{fact} by {made} put {self.put}"
        places = [place for joint in self.state.plan.joints for place in joint.places]
        assert len(places) == len(set(places)), f"a pair in two joints after {made}"
        for fact in step.facts:
            if isinstance(fact, Asked) and isinstance(fact.question, DidYouSay | JoinProtected):
                self.doubted = cause

    def _hold_ends(self, cause: Made, fact: PairConfirmed) -> None:
        """What is kept as checked must have been called, by an answer's question or by the input itself."""
        far = colours(int(fact.pair) + self.shift)
        self.counts[f"ends {fact.ends.value}"] += 1
        match fact.ends:
            case Ends.BOTH:
                assert cause.far == far, f"{fact} by {cause}"
            case Ends.FAR:
                assert cause.far is None, f"{fact} by {cause}"
                assert self._names_from_far(cause, int(fact.pair)), f"{fact} by {cause}"
            case Ends.NEAR:
                assert cause.far is None, f"{fact} by {cause}"

    def _names_from_far(self, cause: Made, pair: int) -> bool:
        """Tell whether colours alone are those of a joint's far side, in the group told of, and of no pair here."""
        own = {colours(other) for other in range(1, self.settings.cable_pairs + 1)}
        alone = cause.number is None and cause.group is None and cause.far is None
        return alone and cause.colours == colours(pair + self.shift) and cause.colours not in own

    def _allowed(self, cause: Made, made: Made, before: State, pair: int) -> bool:
        if cause.names(pair, self) or (self.shift and self._names_from_far(cause, pair)):
            return True
        if made is not cause and cause.number is None and cause.colours is None:
            return name(pair) in self.texts.get(cause.after, "")  # asked back: it was current when it was asked
        current = made.after == before.announcement
        text = self.texts.get(made.after, "")
        if before.called_out:
            return current and any(name(pair) in told for told in self.called)
        return current and name(pair) in text

    def _may_pass(self, cause: Made, made: Made, before: State, pair: int) -> bool:
        """Tell whether what was put when it was made names the pair, or for "group good" its group."""
        text = self.texts.get(cause.after, "")
        current = made.after == before.announcement  # of an answer: the question
        said = getattr(cause.came, "words", getattr(cause.came, "text", getattr(cause.came, "keys", "")))
        if said in ("group good", "..0"):
            alone = self.settings.cable_pairs <= 25
            return current and (alone or f"group {number_words((pair - 1) // 25 + 1)}, " in text)
        return current and name(pair) in text

    def speak(self, *, dropped: bool) -> None:
        """Put the next sentence, or drop it as an interruption does."""
        said = self.spoken.pop(0)
        if dropped:
            return
        self.called.add(said.text.lower())
        if said.announcement is not None:
            self.put = said.announcement
            self.texts[said.announcement] = f"{self.texts.get(said.announcement, '')} {said.text.lower()}"


def make(run: Run) -> Made:
    """Make something that comes in, after what has been put."""
    chance, after = run.chance, run.put
    last = run.settings.cable_pairs
    turn = run.state.joint_in_turn
    near = int(turn.number) if turn is not None else chance.randint(1, last)
    pair = min(last, max(1, near + chance.choice((0, 0, 0, 0, 1, -1, 25, -25, chance.randint(-60, 60)))))
    ring, tip = colours(pair)
    match chance.randrange(24):
        case 21 | 22 | 23:
            far = colours(pair + run.shift + chance.choice((0, 0, 0, 1, -1, 25)))
            if chance.random() < 0.3:
                return Made(_said(chance, " ".join(far), after), colours=far, after=after)
            number = pair if chance.random() < 0.3 else None
            lead = "" if number is None else f"pair {number_words(pair)} "
            words = f"{lead}{ring} {tip} to {' '.join(far)}"
            return Made(_said(chance, words, after), number=number, colours=(ring, tip), far=far, after=after)
        case 20 if run.shift:
            return Made(
                KeysPressed(f".{_keyed(ring, tip)}.{_keyed(ring, tip)}\n", after),
                colours=(ring, tip),
                far=(ring, tip),
                after=after,
            )
        case 20:
            other = chance.randint(1, last)
            words = f"use spare pair {number_words(other)} instead of pair {number_words(pair)}"
            return Made(
                _said(chance, chance.choice((words, f"add a joint pair {number_words(other)}")), after), after=after
            )
        case 0 | 1 | 2:
            return Made(_said(chance, f"{ring} {tip}", after), colours=(ring, tip), after=after)
        case 3:
            return Made(_said(chance, f"pair {number_words(pair)}", after), number=pair, after=after)
        case 4:
            words = f"pair {number_words(pair)} {ring} {tip}"
            return Made(_said(chance, words, after), number=pair, colours=(ring, tip), after=after)
        case 5:
            keys = f"{pair}\n"
            return Made(KeysPressed(keys, after), number=pair, after=after)
        case 6 if last > 25:
            group = (pair - 1) // 25 + 1
            words = f"group {number_words(group)} {ring} {tip}"
            return Made(_said(chance, words, after), colours=(ring, tip), group=group, after=after)
        case 7 | 8 | 9:
            return Made(
                KeysPressed(
                    chance.choice(("+", "+", "+", "-", "\n", "/1", "/6", "..2", "..5", "..6", "..0", "../-", "..//")),
                    after,
                ),
                after=after,
            )
        case 10 | 11:
            words = chance.choice(
                ("confirm pair", "yes", "no", "undo that", "confirm module", "group good", "test good", "yes")
            )
            return Made(_said(chance, words, after), after=after)
        case 12 | 13 | 14:
            words = " ".join(sample(voice_sentences(scope_of(run.state)).node, chance))
            return _sampled(run, words, after)
        case 15:
            return Made(
                Typed(chance.choice(("next", "note damp", "hello", "finish", "go to group two", "go to pair 9")), after)
            )
        case 16 if run.timers:
            return Made(TimedOut(run.timers.pop(chance.randrange(len(run.timers))).joint))
        case 17:
            return Made(chance.choice(_TROUBLE))
        case 18:
            return Made(ResumeAsked(0, Attendance()))
        case _:
            return Made(KeysRefused("4", chance.choice(list(KeyTrouble))))


def _keyed(ring: str, tip: str) -> str:
    return f"{RING.index(ring) + 1}{TIP.index(tip) + 1}"


_TROUBLE: tuple[Input, ...] = (
    DeviceFailed("speaker", "gone"),
    MicrophoneTrouble(Trouble.LOST),
    SoundLost(512),
    NoteRecorded(file="", seconds=0.0, sha256=""),
    StopAsked("SIGTERM"),
)


def _said(chance: random.Random, words: str, after: AnnouncementNumber) -> Input:
    if chance.random() < 0.4:
        return Typed(words, after)
    judgement = chance.choice(("accepted", "accepted", "ask back"))
    return Heard(judgement=judgement, words=words, readings=(), after=after)


def _sampled(run: Run, words: str, after: AnnouncementNumber) -> Made:
    """Tell what a sentence of the grammar names, by reading its words here."""
    spoken = words.split()
    far = None
    if "to" in spoken and spoken[0] != "go":
        ends, spoken = spoken[spoken.index("to") + 1 :], spoken[: spoken.index("to")]
        far = _colours_of(ends)
    if run.shift and spoken[0] in ("use", "add"):  # joints would get other numbers than their pairs
        return Made(KeysPressed("\n", after), after=after)
    found = (
        [word for word in spoken if word in (*RING, "grey", "gray")],
        [w for w in spoken if w in (*TIP, "purple", "mauve")],
    )
    pair_colours = None
    if "binder" not in spoken and "super" not in spoken and len(found[0]) == len(found[1]) == 1:
        pair_colours = _colours_of(spoken)
    if spoken[0] in ("what", "go", "redo", "mark", "clear", "reading", "use", "add", "put"):
        return Made(_said(run.chance, words, after), after=after)
    number, group = _numbers(spoken)
    if "binder" in spoken or "super" in spoken:  # a group by colours: not read here, so never delivered
        return Made(KeysPressed("\n", after), after=after)
    return Made(_said(run.chance, words, after), number=number, colours=pair_colours, group=group, far=far, after=after)


_OTHER_WORDS = {"grey": "slate", "gray": "slate", "purple": "violet", "mauve": "violet"}


def _colours_of(spoken: list[str]) -> tuple[str, str]:
    """Give ring and tip that some words name."""
    named = [_OTHER_WORDS.get(word, word) for word in spoken]
    (ring,), (tip,) = ([w for w in named if w in RING], [w for w in named if w in TIP])
    return ring, tip


_TENS = {
    word: 20 + 10 * place
    for place, word in enumerate(("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"))
}
_TEENS = {
    word: 13 + place
    for place, word in enumerate(("thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"))
}
_VALUES = {word: value for value, word in enumerate(WHOLE)} | _TEENS | _TENS


def _numbers(spoken: list[str]) -> tuple[int | None, int | None]:
    """Give the number of the pair and that of the group in a sentence; figures are read one by one or as said."""
    numbers: list[tuple[str, list[str]]] = [("", [])]
    for word in spoken:
        if word in _VALUES or word == "hundred" or (word == "and" and numbers[-1][1]):
            numbers[-1][1].append(word)
        else:
            numbers.append((word, []))
    pair = group = None
    for lead, words in numbers:
        if words:
            value = _value([word for word in words if word != "and"])
            pair, group = (pair, value) if lead == "group" else (value, group)
    return pair, group


def _value(words: list[str]) -> int:
    if "hundred" in words:
        at = words.index("hundred")
        return 100 * _value(words[:at]) + (_value(words[at + 1 :]) if words[at + 1 :] else 0)
    values = [_VALUES[word] for word in words]
    if len(values) == 2 and values[0] in _TENS.values() and 0 < values[1] < 10:
        return sum(values)
    if len(values) > 1 and values[0] < 10 and words[1] not in DIGIT:
        return 100 * values[0] + _value(words[1:])
    return int("".join(str(value) for value in values))


_SHIFTED = """
[[end]]
name = "near"
pairs = {pairs}
[[end]]
name = "far"
pairs = {far}
[[join]]
kind = "transfer"
from = "near pairs 1-{pairs}"
to = "far pairs {first}-{far}"
[[protect]]
pairs = "near pairs 3"
reason = "alarm line"
"""


def begin(chance: random.Random) -> Run:
    """Begin a session of a kind drawn at random."""
    pairs = chance.choice((25, 30, 60, 100))
    shift = chance.choice((0, 0, 4, 31))
    if shift and chance.random() < 0.4:  # a small cable, whose far side has none of its colours
        pairs = shift = chance.choice((6, 10, 12))
    settings = SessionSettings(
        cable_pairs=pairs,
        first=1,
        last=pairs - chance.choice((0, 5)),
        any_order=chance.random() < 0.3,
        site=chance.choice((None, None, Site.MANHOLE)),
        short_checks=True,
        plan_text=_SHIFTED.format(pairs=pairs, far=pairs + shift, first=shift + 1) if shift else "",
    )
    run = Run(chance, settings, shift=shift)
    run.deliver(Made(StartAsked(settings, Attendance(), _earlier(chance, settings.last))))
    return run


def _earlier(chance: random.Random, most: int) -> EarlierWork | None:
    """Give, now and then, what an earlier log came to: some pairs done, one of them marked."""
    if chance.random() < 0.7 or most < 3:
        return None
    last = chance.randrange(1, min(20, most - 1))
    done = JointsCarried(first=JointNumber(1), last=JointNumber(last), known=PairState(Check.COLOURS))
    following = JointNumber(last + 1)
    marked = JointsCarried(first=following, last=following, known=PairState(faults=(Fault.OPEN,)))
    return EarlierWork(
        logs=(),
        joints=(done, marked),
        expected=JointNumber(chance.randrange(1, min(24, most + 1))),
        finished=chance.random() < 0.2,
    )


def drive(events: int, chance: random.Random) -> Counter[str]:
    """Drive sessions until so many inputs have come in, and count what came of them.

    Raises:
        AssertionError: a confirmation breaks the rule, or an input was not answered.

    """
    counts: Counter[str] = Counter()
    while events > 0:
        run = begin(chance)
        waiting: list[Made] = []
        for _ in range(min(events, FOLLOWED)):
            while run.spoken and chance.random() < 0.7:
                run.speak(dropped=chance.random() < 0.1)
            made = make(run)
            waiting += [made] * chance.choice((1, 1, 1, 1, 2, 3))
            while waiting and chance.random() < 0.6:
                run.deliver(waiting.pop(chance.randrange(len(waiting)) if chance.random() < 0.2 else 0))
                events -= 1
            if run.state.ended:
                break
        counts += run.counts
        counts["sessions"] += 1
    return counts


def main() -> None:
    """Drive, and print what came of it."""
    events = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    began = time.monotonic()
    counts = drive(events, random.Random(seed))
    came = sum(count for kind, count in counts.items() if kind not in ("confirmed", "sessions"))
    seconds = time.monotonic() - began
    print(f"inputs {came}, sessions {counts['sessions']}, confirmed {counts['confirmed']}, breaking the rule 0")
    print(f"{seconds:.0f} s, seed {seed}; " + ", ".join(f"{kind} {n}" for kind, n in counts.most_common()))


if __name__ == "__main__":
    main()
