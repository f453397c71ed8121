"""The one place for everything that can be said or keyed: phrases, keys and help of each intent.

Recogniser sentences, parser, spoken help, the table in the README and the keypad card all come from
the table `ENTRIES` below. Must not know which recogniser listens, nor what an intent does.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

from assistant.cable.colour_code import RINGS, SERVICE_COLOURS, TIPS, Colours, Ring, Tip
from assistant.words import intents as say
from assistant.words.grammar import GrammarRule, Make, Maybe, Node, OneOf, Sentences, Seq, Value, Words, one_of, seq
from assistant.words.intents import CallGroup, CallPair, Fault, Intent, Reason, TalkWish, Tried, Unit
from assistant.words.numbers import DIGITS, MOST_DIGITS, ONE_WORD_NUMBER, long_number, number

COLOUR_WORDS: dict[Tip | Ring, tuple[str, ...]] = {
    **{colour: (colour.value,) for colour in TIPS},
    **{colour: (colour.value,) for colour in RINGS},
    Ring.SLATE: ("slate", "grey", "gray"),
    Tip.VIOLET: ("violet", "purple", "mauve"),
}
"""The word we say first, then every other word that is understood."""

FAULT_WORDS: dict[Fault, tuple[str, ...]] = {
    **{fault: (fault.value,) for fault in Fault},
    Fault.REVERSAL: ("reversal", "reversed"),
    Fault.TRANSPOSITION: ("transposed",),
    Fault.VOLTAGE: ("voltage",),
    Fault.RE_SPLIT: ("second split",),
}
UNIT_WORDS: dict[Unit, str] = {
    Unit.OHM: "ohms",
    Unit.MEGOHM: "mega ohms",
    Unit.VOLT: "volts",
    Unit.DECIBEL: "decibels",
}


@dataclass(frozen=True, slots=True)
class Scope:
    """How much of the vocabulary is open: for which intents, and for how large a cable."""

    intents: frozenset[type[Intent]]
    digits: int = MOST_DIGITS
    """Longest number that may be said."""
    groups: bool = True
    """Whether the cable has more than one group."""
    super_units: bool = True
    """Whether the cable has more than one super-unit."""
    service: bool = True
    """Whether the cable has service pairs."""
    both_ends: bool = True
    """Whether the colours of the far side may be called behind those of the pair."""
    offsets: frozenset[int] = frozenset({0})
    """Number less position, modulo 25, of every count in hand: what a number says of the colours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VocabularyRow:
    """One thing that can be asked for."""

    name: str
    """What the intent is called in JSON."""
    intent: type[Intent]
    voice: Callable[[Scope], Node]
    """Sentences open to the recognisers; their value is the intent."""
    typed: Callable[[Scope], Node] | None = None
    """Further sentences that are understood when typed, but too short or too like others to be heard."""
    keys: Node | None = None
    """Key presses, one key a word; their value is the intent."""
    key_text: str = ""
    """How the keys are written for people."""
    examples: tuple[str, ...] = ()
    help: str = ""
    """What it does, to be read or heard."""


# --- colours and numbers -------------------------------------------------------------------------


def _colour(name: str, colours: tuple[Tip, ...] | tuple[Ring, ...]) -> Node:
    return GrammarRule(name, OneOf(tuple(Words(word, ((name, c),)) for c in colours for word in COLOUR_WORDS[c])))


_TIP, _RING = _colour("tip", TIPS), _colour("ring", RINGS)


def _colours(values: tuple[Value, ...]) -> Colours:
    found = dict(values)
    tip, ring = found["tip"], found["ring"]
    assert isinstance(tip, Tip)
    assert isinstance(ring, Ring)
    return Colours(tip, ring)


COLOUR_PAIR: Node = GrammarRule("colours", Make("colours", one_of(seq(_RING, _TIP), seq(_TIP, _RING)), _colours))
_BINDER: Node = Make("binder", COLOUR_PAIR, lambda values: dict(values)["colours"])
_SERVICE_PAIR: Node = OneOf(
    tuple(
        Words(f"{first} {second}", (("service", place),))
        for place, pair in enumerate(SERVICE_COLOURS, 1)
        for first in COLOUR_WORDS[pair.tip]
        for second in COLOUR_WORDS[pair.ring]
    )
)
_SUPER_UNIT: Node = seq(
    "super unit",
    Make("super_unit", one_of(_TIP, _RING), lambda values: values[0][1]),
)


def _named(name: str, node: Node) -> Make:
    return Make(name, node, lambda values: values[0][1])


def _number(scope: Scope) -> Node:
    typed = (Words("zero", (("", 0),)),) if scope.digits == MOST_DIGITS else ()
    return _named("number", one_of(number(scope.digits), *typed))


def _made(node: Node, intent: Callable[..., object], name: str = "intent") -> Make:
    return Make(name, node, lambda values: intent(**dict(values)))


def _plain(intent: Callable[[], Intent], *phrases: str) -> Callable[[Scope], Node]:
    node = OneOf(tuple(Words(phrase, (("intent", intent()),)) for phrase in phrases))
    return lambda _: node


# --- calls ---------------------------------------------------------------------------------------


def _group_words(scope: Scope) -> Node:
    which = one_of(
        seq("group", _named("number", number(2))),
        seq("binder", Maybe(Words("group")), _BINDER),
    )
    if not scope.super_units:
        return which
    return one_of(which, _SUPER_UNIT, seq(_SUPER_UNIT, which))


@cache
def _group_call(scope: Scope) -> Node:
    return GrammarRule("groupcall", _made(_group_words(scope), CallGroup, "group"))


def _with_colours(scope: Scope) -> list[Node]:
    """Give every way to call a pair that ends with both its colours."""
    pair = Maybe(Words("pair"))
    forms: list[Node] = [seq(pair, COLOUR_PAIR), seq(pair, _number(scope), COLOUR_PAIR)]
    if scope.groups:
        forms.append(seq(_group_call(scope), pair, COLOUR_PAIR))
    return forms


@cache
def _pair_call(scope: Scope) -> Node:
    pair = Maybe(Words("pair"))
    forms = [seq("pair", _number(scope)), _named("number", long_number(scope.digits)), *_with_colours(scope)]
    if scope.service:
        forms.append(seq("service", pair, one_of(_named("service", number(2)), _SERVICE_PAIR)))
        forms.append(_SERVICE_PAIR)
    return GrammarRule("paircall", _made(OneOf(tuple(forms)), CallPair, "call"))


@cache
def _joint_call(scope: Scope) -> Node:
    """Name a pair, or a pair and the one that it is joined to."""
    if not scope.both_ends:
        return _pair_call(scope)
    both = seq(OneOf(tuple(_with_colours(scope))), "to", _named("far", COLOUR_PAIR))
    return one_of(_pair_call(scope), GrammarRule("bothends", _made(both, CallPair, "call")))


@cache
def _any_call(scope: Scope) -> Node:
    group = _named("call", _group_call(scope))
    return GrammarRule("call", one_of(_pair_call(scope), group) if scope.groups else _pair_call(scope))


def _calls(lead: str, intent: Callable[..., object]) -> Callable[[Scope], Node]:
    return lambda scope: _made(seq(lead, _any_call(scope)), intent)


def _as_intent(node: Node) -> Make:
    return _named("intent", node)


def _fault_words() -> Node:
    return OneOf(tuple(Words(word, (("fault", f),)) for f, words in FAULT_WORDS.items() for word in words))


def _of_pair(scope: Scope) -> Node:
    return Make("pair", _number(scope), lambda values: values[0][1])


def _faults(scope: Scope) -> Node:
    fault = _fault_words()
    other = Maybe(seq("and", "pair", Make("other", _number(scope), lambda values: values[0][1])))
    return _made(seq("mark", fault, Maybe(seq("pair", _of_pair(scope), other))), say.MarkFault)


def _joined_faulty(scope: Scope) -> Node:
    return _made(seq("joined but", _fault_words(), Maybe(seq("pair", _of_pair(scope)))), say.JoinedFaulty)


def _cleared(scope: Scope) -> Node:
    return _made(seq("clear", _fault_words(), Maybe(seq("pair", _of_pair(scope)))), say.ClearFault)


def _measured(scope: Scope) -> Node:
    units = OneOf(tuple(Words(word, (("unit", unit),)) for unit, word in UNIT_WORDS.items()))
    value = seq(_named("number", one_of(number(max(scope.digits, 3)), Words("zero", (("", 0),)))), Maybe(_DECIMALS))
    return _made(seq("reading", value, units, Maybe(_pair_of("pair", scope))), say.Measured)


def _figures(digits: Sequence[str], most: int) -> Node:
    """One figure after the other, each kept: behind a point a zero counts."""
    one = OneOf(tuple(Words(word, (("", str(figure)),)) for figure, word in enumerate(digits)))
    rest: Node = Seq(())
    for _ in range(most):
        rest = seq(one, Maybe(rest)) if rest != Seq(()) else one
    return Make("decimals", rest, lambda values: "".join(str(figure) for _, figure in values))


MOST_DECIMALS = 3
_DECIMALS = seq("point", _figures(DIGITS, MOST_DECIMALS))


def _pair_of(name: str, scope: Scope) -> Node:
    return seq("pair", _named(name, _number(scope)))


def _cable_number(name: str) -> Node:
    return seq("cable", _named(name, number(2)))


def _use_spare(between: str) -> Callable[[Scope], Node]:
    def voice(scope: Scope) -> Node:
        pairs = seq("use spare", _pair_of("spare", scope), between, _pair_of("pair", scope))
        return _made(seq(pairs, Maybe(_cable_number("cable"))), say.UseSpare)

    return voice


def _add_joint(scope: Scope) -> Node:
    other = seq(_cable_number("cable"), "with", _pair_of("other", scope), _cable_number("other_cable"))
    return _made(seq("add a joint", _pair_of("pair", scope), Maybe(other)), say.AddJoint)


def _put_off(scope: Scope) -> Node:
    reason = OneOf(tuple(Words(reason.value, (("reason", reason),)) for reason in Reason))
    tried = OneOf(tuple(Words(f"after {tried.value}", (("tried", tried),)) for tried in Tried))
    defective = seq(Words(Reason.DEFECTIVE.value, (("reason", Reason.DEFECTIVE),)), tried)
    return _made(seq("put off", one_of(reason, defective), _pair_of("pair", scope)), say.PutOff)


# --- keys ----------------------------------------------------------------------------------------

ENTER, PLUS, MINUS, TIMES, SLASH, POINT = "enter", "plus", "minus", "times", "slash", "point"
KEYS: dict[str, str] = {
    **{digit: digit for digit in "0123456789"},
    "\r": ENTER,
    "\n": ENTER,
    "+": PLUS,
    "-": MINUS,
    "*": TIMES,
    "/": SLASH,
    ".": POINT,
    ",": POINT,
}
"""Character that the terminal sends -> name of the key."""
KEY_SIGNS = {ENTER: "Enter", PLUS: "+", MINUS: "-", TIMES: "*", SLASH: "/", POINT: "."}


_ANY_DIGIT = OneOf(tuple(Words(d, (("", d),)) for d in "0123456789"))


def _digits_after(most: int) -> Node:
    rest: Node = Seq(())
    for _ in range(most):
        rest = Maybe(seq(_ANY_DIGIT, rest))
    return seq(_ANY_DIGIT, rest)


_KEYED_NUMBER = Make("", _digits_after(MOST_DIGITS - 1), lambda values: int("".join(str(v) for _, v in values)))
_KEYED_COLOURS = Make(
    "colours",
    seq(
        OneOf(tuple(Words(str(place), (("ring", ring),)) for place, ring in enumerate(RINGS, 1))),
        OneOf(tuple(Words(str(place), (("tip", tip),)) for place, tip in enumerate(TIPS, 1))),
    ),
    _colours,
)
_KEYED_PAIR = _made(
    seq(
        one_of(
            _named("number", _KEYED_NUMBER),
            seq(POINT, _KEYED_COLOURS),
            seq(_named("number", _KEYED_NUMBER), POINT, _KEYED_COLOURS),
            seq(POINT, TIMES, _named("service", _KEYED_NUMBER)),
        ),
        ENTER,
    ),
    CallPair,
    "call",
)
_KEYED_BOTH_ENDS = _made(
    seq(Maybe(_named("number", _KEYED_NUMBER)), POINT, _KEYED_COLOURS, POINT, _named("far", _KEYED_COLOURS), ENTER),
    CallPair,
    "call",
)
_KEYED_UNIT = Make(
    "super_unit", _KEYED_NUMBER, lambda values: dict(enumerate((*TIPS, *RINGS), 1)).get(int(str(values[0][1])))
)
_KEYED_GROUP = _made(
    seq(
        TIMES,
        one_of(
            _named("number", _KEYED_NUMBER),
            seq(POINT, Make("binder", _KEYED_COLOURS, lambda values: values[0][1])),
            seq(_KEYED_UNIT, TIMES, Maybe(_named("number", _KEYED_NUMBER))),
        ),
        ENTER,
    ),
    CallGroup,
    "call",
)
_KEYED_CALL = one_of(_KEYED_PAIR, _KEYED_GROUP)


def _key(intent: Callable[[], Intent], *keys: str) -> Node:
    return Words(" ".join(keys), (("intent", intent()),))


FAULT_KEYS: dict[Fault, str] = {
    fault: str(place) if place < 10 else "0" if place == 10 else f"{TIMES} {place - 10}"
    for place, fault in enumerate(Fault, 1)
}
"""Keys behind the times key; the last faults have it twice."""
_FAULT_BY_KEY = OneOf(tuple(Words(keys, (("fault", fault),)) for fault, keys in FAULT_KEYS.items()))
_MAYBE_PAIR = Maybe(_named("pair", _KEYED_NUMBER))
_KEYED_FAULT = _made(seq(_MAYBE_PAIR, TIMES, _FAULT_BY_KEY, ENTER), say.MarkFault)
_KEYED_JOINED_FAULTY = _made(seq(_MAYBE_PAIR, TIMES, PLUS, _FAULT_BY_KEY, ENTER), say.JoinedFaulty)
_KEYED_CLEARING = _made(seq(_MAYBE_PAIR, POINT, POINT, TIMES, _FAULT_BY_KEY, ENTER), say.ClearFault)
_KEYED_READING = _made(
    seq(
        _MAYBE_PAIR,
        POINT,
        POINT,
        MINUS,
        OneOf(tuple(Words(str(place), (("unit", unit),)) for place, unit in enumerate(Unit, 1))),
        _named("number", _KEYED_NUMBER),
        Maybe(seq(POINT, _figures("0123456789", MOST_DECIMALS))),
        ENTER,
    ),
    say.Measured,
)

_AS_BUILT = (POINT, POINT, SLASH)
"""Keys with which all begins that was done otherwise than planned."""


def _keyed(name: str) -> Node:
    return _named(name, _KEYED_NUMBER)


_KEYED_SPARE = _made(
    seq(*_AS_BUILT, _keyed("spare"), TIMES, _keyed("pair"), Maybe(seq(TIMES, _keyed("cable"))), ENTER), say.UseSpare
)
_KEYED_JOINT = _made(
    seq(
        *(*_AS_BUILT, PLUS, _keyed("pair")),
        Maybe(seq(TIMES, _keyed("cable"), TIMES, _keyed("other"), TIMES, _keyed("other_cable"))),
        ENTER,
    ),
    say.AddJoint,
)
_KEYED_PUT_OFF = _made(
    seq(
        *(*_AS_BUILT, TIMES),
        OneOf(tuple(Words(str(place), (("reason", reason),)) for place, reason in enumerate(Reason, 1))),
        Maybe(seq(POINT, OneOf(tuple(Words(str(place), (("tried", tried),)) for place, tried in enumerate(Tried, 1))))),
        TIMES,
        _keyed("pair"),
        ENTER,
    ),
    say.PutOff,
)


# --- the table -----------------------------------------------------------------------------------

ENTRIES: tuple[VocabularyRow, ...] = (
    VocabularyRow(
        name="pair",
        intent=CallPair,
        voice=lambda scope: _as_intent(_joint_call(scope)),
        keys=_as_intent(one_of(_KEYED_PAIR, _KEYED_BOTH_ENDS)),
        key_text="47 Enter · .25 Enter · 47.25 Enter · .*3 Enter · .22.51 Enter",
        examples=(
            "pair forty seven",
            "four seven",
            "one two six",
            "orange violet",
            "forty seven, orange violet",
            "service white yellow",
            "orange red to slate white",
        ),
        help="call a pair by number, by both colours, or by both: confirms it when it is the expected one; with the "
        "colours of the pair that it is joined to, both ends are checked",
    ),
    VocabularyRow(
        name="group",
        intent=CallGroup,
        voice=lambda scope: _as_intent(_group_call(scope)),
        keys=_as_intent(seq(SLASH, _KEYED_GROUP)),
        key_text="/*3 Enter · /*.23 Enter · /*2*3 Enter",
        examples=("group three", "binder orange white", "super unit red group three"),
        help="name a group or its binder: tells its binder and pairs",
    ),
    VocabularyRow(
        name="ask",
        intent=say.Ask,
        voice=_calls("what is", say.Ask),
        keys=_made(seq(SLASH, SLASH, _KEYED_CALL), say.Ask),
        key_text="//47 Enter · //.25 Enter",
        examples=("what is pair forty seven", "what is orange violet"),
        help="tells about a pair or group and changes nothing",
    ),
    VocabularyRow(
        name="go-to",
        intent=say.GoTo,
        voice=_calls("go to", say.GoTo),
        keys=_made(seq(SLASH, PLUS, _KEYED_CALL), say.GoTo),
        key_text="/+47 Enter · /+*3 Enter",
        examples=("go to pair forty seven", "go to group three"),
        help="carry on from that pair, or the first of that group that waits; in any order, colours count "
        "in that group",
    ),
    VocabularyRow(
        name="bare-number",
        intent=say.BareNumber,
        voice=lambda _: Make("intent", ONE_WORD_NUMBER, lambda values: say.BareNumber(int(str(values[0][1])))),
    ),
    VocabularyRow(
        name="confirm",
        intent=say.Confirm,
        voice=_plain(say.Confirm, "confirm pair", "confirm that"),
        typed=_plain(say.Confirm, "confirm"),
        keys=_key(say.Confirm, PLUS),
        key_text="+",
        examples=("confirm pair",),
        help="confirm the expected pair without naming it; logged as the weakest kind",
    ),
    VocabularyRow(
        name="undo",
        intent=say.UndoThat,
        voice=_plain(say.UndoThat, "undo that"),
        typed=_plain(say.UndoThat, "undo"),
        keys=_key(say.UndoThat, MINUS),
        key_text="-",
        examples=("undo that",),
        help="take the last entry back",
    ),
    VocabularyRow(
        name="say-again",
        intent=say.SayAgain,
        voice=_plain(say.SayAgain, "say again"),
        typed=_plain(say.SayAgain, "repeat"),
        keys=_key(say.SayAgain, ENTER),
        key_text="Enter",
        examples=("say again",),
        help="repeat the last answer",
    ),
    VocabularyRow(
        name="heard-that",
        intent=say.HeardThat,
        voice=_plain(say.HeardThat, "i heard that"),
        typed=_plain(say.HeardThat, "heard"),
        keys=_key(say.HeardThat, SLASH, POINT),
        key_text="/.",
        examples=("I heard that",),
        help="trouble with the log or a device that was told of need not be said again; confirms nothing",
    ),
    VocabularyRow(
        name="next",
        intent=say.NextPair,
        voice=_plain(say.NextPair, "next pair"),
        typed=_plain(say.NextPair, "next"),
        keys=_key(say.NextPair, SLASH, "4"),
        key_text="/4",
        examples=("next pair",),
        help="tells the next pair; confirms nothing",
    ),
    VocabularyRow(
        name="previous",
        intent=say.PreviousPair,
        voice=_plain(say.PreviousPair, "previous pair"),
        typed=_plain(say.PreviousPair, "previous"),
        keys=_key(say.PreviousPair, SLASH, "5"),
        key_text="/5",
        examples=("previous pair",),
        help="tells the pair before",
    ),
    VocabularyRow(
        name="which-group",
        intent=say.WhichGroup,
        voice=_plain(say.WhichGroup, "which group", "which binder"),
        keys=_key(say.WhichGroup, SLASH, "3"),
        key_text="/3",
        examples=("which group",),
        help="tells the group and binder in work",
    ),
    VocabularyRow(
        name="where-am-i",
        intent=say.WhereAmI,
        voice=_plain(say.WhereAmI, "where am i"),
        keys=_key(say.WhereAmI, SLASH, "1"),
        key_text="/1",
        examples=("where am I",),
        help="tells the last confirmed and the expected pair",
    ),
    VocabularyRow(
        name="how-many-left",
        intent=say.HowManyLeft,
        voice=_plain(say.HowManyLeft, "how many left"),
        keys=_key(say.HowManyLeft, SLASH, "2"),
        key_text="/2",
        examples=("how many left",),
        help="tells how many pairs are not done, skipped and faulty; in any order, which were not called",
    ),
    VocabularyRow(
        name="skip",
        intent=say.SkipPair,
        voice=_plain(say.SkipPair, "skip this pair"),
        typed=_plain(say.SkipPair, "skip", "skip pair"),
        keys=_key(say.SkipPair, SLASH, "6"),
        key_text="/6",
        examples=("skip this pair",),
        help="leave the expected pair for later",
    ),
    VocabularyRow(
        name="mark-fault",
        intent=say.MarkFault,
        voice=_faults,
        keys=_KEYED_FAULT,
        key_text="*1 open, *2 short, *3 cross, *4 ground, *5 split, *6 reversal, *7 wet, *8 noisy, "
        "*9 transposed, *0 voltage, **1 unbalance, **2 second split, then Enter; 47*1 Enter for pair 47",
        examples=("mark open", "mark ground pair forty seven", "mark split pair six and pair nine"),
        help="log a fault on the pair in turn, which is then passed over, or on the one named: open, short, cross, "
        "ground, split, reversal, wet, noisy, transposed, voltage, unbalance or second split (re-split)",
    ),
    VocabularyRow(
        name="joined-faulty",
        intent=say.JoinedFaulty,
        voice=_joined_faulty,
        keys=_KEYED_JOINED_FAULTY,
        key_text="*+1 Enter · 47*+1 Enter",
        examples=("joined but wet", "joined but noisy pair forty seven"),
        help="log that the pair is joined all the same, and its fault",
    ),
    VocabularyRow(
        name="clear-fault",
        intent=say.ClearFault,
        voice=_cleared,
        keys=_KEYED_CLEARING,
        key_text="..*1 Enter · 47..*1 Enter",
        examples=("clear open", "clear ground pair forty seven"),
        help="log that a fault is mended; a pair that is not joined comes next",
    ),
    VocabularyRow(
        name="which-faults",
        intent=say.WhichFaults,
        voice=_plain(say.WhichFaults, "which faults"),
        keys=_key(say.WhichFaults, POINT, POINT, "1"),
        key_text="..1",
        examples=("which faults",),
        help="lists the pairs with a fault",
    ),
    VocabularyRow(
        name="redo",
        intent=say.Redo,
        voice=_calls("redo", say.Redo),
        keys=_made(seq(POINT, POINT, PLUS, _KEYED_CALL), say.Redo),
        key_text="..+47 Enter",
        examples=("redo pair forty seven",),
        help="log that a joint was opened again; it comes next, to be called once more; its faults stay until cleared",
    ),
    VocabularyRow(
        name="use-spare",
        intent=say.UseSpare,
        voice=_use_spare("instead of"),
        typed=_use_spare("for"),
        keys=_KEYED_SPARE,
        key_text="../99*47 Enter · ../99*47*2 Enter",
        examples=(
            "use spare pair ninety nine instead of pair forty seven",
            "use spare pair 9 instead of pair 4 cable two",
        ),
        help="join a spare pair in place of a bad one, which is left; with several cables, say which; asked back once",
    ),
    VocabularyRow(
        name="add-joint",
        intent=say.AddJoint,
        voice=_add_joint,
        keys=_KEYED_JOINT,
        key_text="../+51 Enter · ../+51*1*52*2 Enter",
        examples=("add a joint pair fifty one", "add a joint pair 51 cable one with pair 52 cable two"),
        help="a joint that the plan does not have; it comes next; asked back once",
    ),
    VocabularyRow(
        name="put-off",
        intent=say.PutOff,
        voice=_put_off,
        keys=_KEYED_PUT_OFF,
        key_text="../*1*47 Enter another day, ../*2 no access, ../*3 found dead, ../*4 found working, ../*5 defective; "
        "../*5.1*47 after splicing again, .2 drying, .3 cutting anew, .4 clearing",
        examples=("put off another day pair forty seven", "put off defective after drying pair 47"),
        help="leave a pair for another day, with the reason: another day, no access, found dead, found working or "
        "defective (after splicing again, drying, cutting anew or clearing); asked back once",
    ),
    VocabularyRow(
        name="tag-reversal",
        intent=say.TagReversal,
        voice=lambda scope: _made(seq("tag reversal", _pair_of("pair", scope)), say.TagReversal),
        keys=_made(seq(*_AS_BUILT, POINT, POINT, _keyed("pair"), ENTER), say.TagReversal),
        key_text="../..47 Enter",
        examples=("tag reversal pair forty seven",),
        help="the pair is reversed on purpose and tagged: it is no fault, and to clear it is asked back",
    ),
    VocabularyRow(
        name="go-to-cable",
        intent=say.GoToCable,
        voice=lambda _: Make(
            "intent", seq("go to cable", number(2)), lambda values: say.GoToCable(int(str(values[0][1])))
        ),
        keys=Make(
            "intent", seq(SLASH, MINUS, _KEYED_NUMBER, ENTER), lambda values: say.GoToCable(int(str(values[0][1])))
        ),
        key_text="/-2 Enter",
        examples=("go to cable two",),
        help="carry on with the first pair of that cable of the plan that waits",
    ),
    VocabularyRow(
        name="call-out",
        intent=say.CallOut,
        voice=_plain(say.CallOut, "call them out"),
        keys=_key(say.CallOut, POINT, POINT, "2"),
        key_text="..2",
        examples=("call them out",),
        help="the assistant calls the pairs of the module, at a pace; hold on and carry on work",
    ),
    VocabularyRow(
        name="faster",
        intent=say.Faster,
        voice=_plain(say.Faster, "faster"),
        keys=_key(say.Faster, POINT, POINT, "3"),
        key_text="..3",
        examples=("faster",),
        help="call at a quicker pace",
    ),
    VocabularyRow(
        name="slower",
        intent=say.Slower,
        voice=_plain(say.Slower, "slower"),
        keys=_key(say.Slower, POINT, POINT, "4"),
        key_text="..4",
        examples=("slower",),
        help="call at a slower pace",
    ),
    VocabularyRow(
        name="talk",
        intent=say.ChangeTalk,
        voice=lambda _: OneOf(
            tuple(Words(f"{wish.value} talk", (("intent", say.ChangeTalk(wish)),)) for wish in TalkWish)
        ),
        keys=OneOf(
            tuple(
                Words(f"{POINT} {POINT} {POINT} {place}", (("intent", say.ChangeTalk(wish)),))
                for place, wish in enumerate(TalkWish, 1)
            )
        ),
        key_text="...1 brief, ...2 full, ...3 faster, ...4 slower, ...5 louder, ...6 softer",
        examples=("brief talk", "faster talk"),
        help="how much is said, how fast and how loud: brief, full, faster, slower, louder or softer talk; in brief "
        "talk a rising tone stands for confirmed, where the work goes on plainly",
    ),
    VocabularyRow(
        name="confirm-module",
        intent=say.ConfirmModule,
        voice=_plain(say.ConfirmModule, "confirm module"),
        keys=one_of(_key(say.ConfirmModule, POINT, POINT, "5"), _key(say.ConfirmModule, PLUS)),
        key_text="..5 · +, when all are called",
        examples=("confirm module",),
        help="confirm all pairs that were called out; logged as confirmed by the module",
    ),
    VocabularyRow(
        name="start-verifying",
        intent=say.StartVerifying,
        voice=lambda _: OneOf(
            (
                Words("start verification", (("intent", say.StartVerifying()),)),
                Words("start verification all tests", (("intent", say.StartVerifying(all_tests=True)),)),
            )
        ),
        keys=one_of(
            _key(say.StartVerifying, POINT, POINT, "6"),
            _key(lambda: say.StartVerifying(all_tests=True), POINT, POINT, SLASH, SLASH),
        ),
        key_text="..6 · ..//",
        examples=("start verification", "start verification all tests"),
        help="go through all joined pairs and log what the test set says: continuity, grounds, shorts, one after the "
        "other or all in one run",
    ),
    VocabularyRow(
        name="test-good",
        intent=say.PassedTest,
        voice=_plain(say.PassedTest, "test good"),
        keys=one_of(_key(say.PassedTest, POINT, POINT, "7"), _key(say.PassedTest, PLUS)),
        key_text="+ · ..7",
        examples=("test good",),
        help="the pair in turn passed; for one that failed, mark its fault",
    ),
    VocabularyRow(
        name="test-bad",
        intent=say.FailedTest,
        voice=_plain(say.FailedTest, "test bad"),
        keys=_key(say.FailedTest, POINT, POINT, SLASH, MINUS),
        key_text="../-",
        examples=("test bad",),
        help="the pair in turn failed the test in turn; its fault can be marked, with its number, or never",
    ),
    VocabularyRow(
        name="group-good",
        intent=say.GroupGood,
        voice=_plain(say.GroupGood, "group good"),
        keys=_key(say.GroupGood, POINT, POINT, "0"),
        key_text="..0",
        examples=("group good",),
        help="all pairs of the group in turn passed that have no result and no fault; tells which are left out",
    ),
    VocabularyRow(
        name="measured",
        intent=say.Measured,
        voice=_measured,
        keys=_KEYED_READING,
        key_text="..-1 ohms, ..-2 mega ohms, ..-3 volts, ..-4 decibels, then the number and Enter; "
        "47..-25.2 Enter for pair 47, 5.2 mega ohms",
        examples=("reading five hundred mega ohms", "reading five point two mega ohms pair forty seven"),
        help="log a measurement of the pair in turn, or of the one named",
    ),
    VocabularyRow(
        name="end-verifying",
        intent=say.EndVerifying,
        voice=_plain(say.EndVerifying, "end verification"),
        keys=_key(say.EndVerifying, POINT, POINT, "8"),
        key_text="..8",
        examples=("end verification",),
        help="leave the testing; the results stay",
    ),
    VocabularyRow(
        name="take-note",
        intent=say.TakeNote,
        voice=_plain(say.TakeNote, "record a note"),
        keys=_key(say.TakeNote, POINT, POINT, "9"),
        key_text="..9",
        examples=("record a note",),
        help="record up to 30 seconds of speech beside the log; when typing, write note and the text",
    ),
    VocabularyRow(
        name="hold",
        intent=say.HoldOn,
        voice=_plain(say.HoldOn, "hold on"),
        typed=_plain(say.HoldOn, "hold", "pause"),
        keys=_key(say.HoldOn, SLASH, "7"),
        key_text="/7",
        examples=("hold on",),
        help="take no entry until you say carry on",
    ),
    VocabularyRow(
        name="carry-on",
        intent=say.CarryOn,
        voice=_plain(say.CarryOn, "carry on"),
        keys=one_of(_key(say.CarryOn, SLASH, "8"), _key(say.CarryOn, PLUS)),
        key_text="+ · /8",
        examples=("carry on",),
        help="take entries again",
    ),
    VocabularyRow(
        name="help",
        intent=say.Help,
        voice=_plain(say.Help, "help", "what can i say"),
        keys=_key(say.Help, SLASH, "0"),
        key_text="/0",
        examples=("help",),
        help="tells what can be said now",
    ),
    VocabularyRow(
        name="stop-for-today",
        intent=say.StopForToday,
        voice=_plain(say.StopForToday, "stop for today"),
        keys=_key(say.StopForToday, POINT, POINT, POINT, "0"),
        key_text="...0",
        examples=("stop for today",),
        help="end the session, not the splice: work with the same plan goes on with it another day",
    ),
    VocabularyRow(
        name="finish",
        intent=say.Finish,
        voice=_plain(say.Finish, "finish session", "finish the splice"),
        typed=_plain(say.Finish, "finish"),
        keys=_key(say.Finish, SLASH, "9"),
        key_text="/9",
        examples=("finish session",),
        help="end session and splice for good; tells what is left, and asks first when pairs are not done, or done "
        "with a fault",
    ),
    VocabularyRow(
        name="yes",
        intent=say.Yes,
        voice=_plain(say.Yes, "yes", "affirm"),
        keys=_key(say.Yes, PLUS),
        key_text="+",
        examples=("yes",),
        help="answer to a question, only while one is open",
    ),
    VocabularyRow(
        name="no",
        intent=say.No,
        voice=_plain(say.No, "no", "negative"),
        keys=_key(say.No, MINUS),
        key_text="-",
        examples=("no",),
        help="answer to a question, only while one is open",
    ),
)

ALL_INTENTS: frozenset[type[Intent]] = frozenset(entry.intent for entry in ENTRIES)


def entries_in(scope: Scope) -> tuple[VocabularyRow, ...]:
    """Give the entries that the scope opens, in the order of the table."""
    return tuple(entry for entry in ENTRIES if entry.intent in scope.intents)


@cache
def voice_sentences(scope: Scope) -> Sentences:
    """Give all sentences that the recognisers are to look for."""
    return Sentences(OneOf(tuple(entry.voice(scope) for entry in entries_in(scope))))


@cache
def text_sentences(scope: Scope) -> Sentences:
    """Give all sentences that are understood when typed; whatever can be heard is among them."""
    voice = [entry.voice(scope) for entry in entries_in(scope)]
    typed = [entry.typed(scope) for entry in entries_in(scope) if entry.typed]
    return Sentences(OneOf((*voice, *typed)))


@cache
def key_sentences(scope: Scope) -> Sentences:
    """Give all key presses that are understood, one key a word."""
    return Sentences(OneOf(tuple(entry.keys for entry in entries_in(scope) if entry.keys)))


HEARD_FIRST: frozenset[type[Intent]] = frozenset(
    {
        *(say.Yes, say.No, CallPair, say.Confirm, say.UndoThat, say.SkipPair, say.MarkFault, say.WhereAmI),
        *(say.HowManyLeft, say.CarryOn, say.HoldOn, say.PassedTest, say.EndVerifying, say.ConfirmModule, say.Finish),
        say.StopForToday,
    }
)
"""What spoken help names: all of the vocabulary would take half a minute to hear."""


def spoken_help(scope: Scope) -> str:
    """Give examples of the chief things that can be said now."""
    examples = [entry.examples[0] for entry in entries_in(scope) if entry.intent in HEARD_FIRST]
    return f"You can say: {'; '.join(examples)}. The keypad card has all."
