"""Spoken numbers: as grammar nodes, and back from a number to the words it is said in.

Must not know what the numbers count.
"""

from functools import cache

from assistant.words.grammar import GrammarRule, Make, Maybe, Node, OneOf, Seq, Value, Words, one_of, seq

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEENS = (
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
)
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
NUMBER_WORDS = frozenset({*DIGITS, *TEENS, *TENS, "hundred", "thousand", "and"})
MOST_DIGITS = 6
"""Longest number that can be typed; speech is opened for the digits of the cable in hand."""
LARGEST_SAID_WHOLE = 12
"""Above this, teens and tens sound alike, so that a number is said digit by digit."""


def _word(word: str, value: int) -> Words:
    return Words(word, (("", value),))


def _total(values: tuple[Value, ...]) -> int:
    return sum(int(str(value)) for _, value in values)


def _joined(values: tuple[Value, ...]) -> int:
    return int("".join(str(value) for _, value in values))


def _scaled(scale: int, node: Node) -> Make:
    return Make("", node, lambda values: scale * _total(values))


_UNIT = GrammarRule("unit", OneOf(tuple(_word(word, value) for value, word in enumerate(DIGITS) if value)))
_DIGIT = GrammarRule("digit", OneOf(tuple(_word(word, value) for value, word in enumerate(DIGITS))))
_TEEN = GrammarRule("teen", OneOf(tuple(_word(word, 10 + value) for value, word in enumerate(TEENS))))
_TEN = GrammarRule("ten", OneOf(tuple(_word(word, 20 + 10 * value) for value, word in enumerate(TENS))))
_TWO_FIGURES = GrammarRule("figures", Make("", one_of(_TEEN, seq(_TEN, Maybe(_UNIT))), _total))
"""10 to 99 as one number."""
_BELOW_HUNDRED = GrammarRule("below", one_of(_UNIT, _TWO_FIGURES))
_SMALL_TAIL = Maybe(seq(Maybe(Words("and")), _BELOW_HUNDRED))
_HUNDREDS = seq(_scaled(100, _UNIT), "hundred", _SMALL_TAIL)


def _digit_string(length: int) -> Node:
    return Make("", Seq((_UNIT, *[_DIGIT] * (length - 1))), _joined)


ONE_WORD_NUMBER: Node = GrammarRule("bare", one_of(_UNIT, _TEEN, _TEN))


@cache
def long_number(digits: int) -> Node:
    """Give every way to say, in more than one word, a number of at most so many digits, 1 to 6.

    The number is an unnamed value. From five digits on it is said digit by digit only.
    """
    forms: list[Node] = [seq(_TEN, _UNIT)]
    forms += [_digit_string(length) for length in range(2, digits + 1)]
    if digits >= 3:
        forms += [_HUNDREDS, seq(_scaled(100, _UNIT), _TWO_FIGURES)]
    if digits >= 4:
        forms += [
            seq(_scaled(1000, _UNIT), "thousand", one_of(_SMALL_TAIL, _HUNDREDS)),
            seq(_scaled(100, _TWO_FIGURES), _TWO_FIGURES),
            seq(_scaled(100, _TWO_FIGURES), "hundred", _SMALL_TAIL),
        ]
    return GrammarRule(f"long{digits}", Make("", OneOf(tuple(forms)), _total))


@cache
def number(digits: int) -> Node:
    """Give every way to say a number from 1 upward of at most so many digits, as an unnamed value."""
    return GrammarRule(f"number{digits}", one_of(ONE_WORD_NUMBER, long_number(digits)))


def spoken_digits(number: int) -> str:
    """Say a number digit by digit: 126 is "one two six"."""
    return " ".join(DIGITS[int(digit)] for digit in str(number))


def spoken(number: int) -> str:
    """Say a number so that it cannot be taken for another: whole up to twelve, then digit by digit.

    Reading teens and tens digit by digit follows the published medication-safety advice on
    -teen/-ty slips and ICAO's digit-by-digit rule.
    """
    if number <= LARGEST_SAID_WHOLE:
        return (*DIGITS, *TEENS)[number]
    return spoken_digits(number)
