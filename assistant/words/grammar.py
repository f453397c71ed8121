"""A handful of pattern nodes over words, and what can be done with them.

A grammar is a finite set of sentences, written as a tree. From the one tree come the match of a
sentence, a random sample, the list of words, a JSGF grammar and an automaton of next words.
The same nodes serve for keys, with one key as a "word". Must not know which words there are.
"""

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import assert_never

Value = tuple[str, object]
"""A named value found in a sentence; the name is empty for an unnamed one."""


@dataclass(frozen=True, slots=True)
class Words:
    """These words one after the other; they may stand for a value."""

    text: str
    values: tuple[Value, ...] = ()


@dataclass(frozen=True, slots=True)
class Seq:
    """All parts in this order."""

    parts: tuple["Node", ...]


@dataclass(frozen=True, slots=True)
class OneOf:
    """Exactly one of the options."""

    options: tuple["Node", ...]


@dataclass(frozen=True, slots=True)
class Maybe:
    """The part or nothing."""

    part: "Node"


@dataclass(frozen=True, slots=True)
class Make:
    """A part whose values, in the order said, are made into one value under a name."""

    name: str
    part: "Node"
    make: Callable[[tuple[Value, ...]], object]


@dataclass(frozen=True, slots=True)
class GrammarRule:
    """A part with a name of its own in grammar formats that share rules; no meaning of its own."""

    name: str
    part: "Node"


Node = Words | Seq | OneOf | Maybe | Make | GrammarRule


def seq(*parts: Node | str) -> Seq:
    """All of these in order; plain text stands for `Say`."""
    return Seq(tuple(Words(part) if isinstance(part, str) else part for part in parts))


def one_of(*options: Node | str) -> OneOf:
    """One of these; plain text stands for `Say`."""
    return OneOf(tuple(Words(option) if isinstance(option, str) else option for option in options))


def match(node: Node, words: Sequence[str], at: int = 0) -> Iterator[tuple[int, tuple[Value, ...]]]:
    """Give every way to match the node from a place in the words: where it ends, and its values."""
    match node:
        case Words(text, values):
            said = text.split()
            if list(words[at : at + len(said)]) == said:
                yield at + len(said), values
        case Seq(parts):
            if not parts:
                yield at, ()
                return
            for middle, values in match(parts[0], words, at):
                for end, more in match(Seq(parts[1:]), words, middle):
                    yield end, values + more
        case OneOf(options):
            for option in options:
                yield from match(option, words, at)
        case Maybe(part):
            yield at, ()
            yield from match(part, words, at)
        case Make(name, part, make):
            for end, values in match(part, words, at):
                yield end, ((name, make(values)),)
        case GrammarRule(_, part):
            yield from match(part, words, at)
        case never:
            assert_never(never)


def full_matches(node: Node, words: Sequence[str]) -> list[tuple[Value, ...]]:
    """Give the values of every way in which the node matches all the words."""
    return [values for end, values in match(node, words) if end == len(words)]


def sample(node: Node, rng: random.Random) -> tuple[str, ...]:
    """Give the words of one sentence, each choice equally likely."""
    match node:
        case Words(text):
            return tuple(text.split())
        case Seq(parts):
            return tuple(word for part in parts for word in sample(part, rng))
        case OneOf(options):
            return sample(rng.choice(options), rng)
        case Maybe(part):
            return sample(part, rng) if rng.random() < 0.5 else ()
        case Make(_, part) | GrammarRule(_, part):
            return sample(part, rng)
        case never:
            assert_never(never)


def words_of(node: Node) -> frozenset[str]:
    """Give every word that any sentence has."""
    match node:
        case Words(text):
            return frozenset(text.split())
        case Seq(parts):
            return frozenset().union(*map(words_of, parts))
        case OneOf(options):
            return frozenset().union(*map(words_of, options))
        case Maybe(part) | Make(_, part) | GrammarRule(_, part):
            return words_of(part)
        case never:
            assert_never(never)


def jsgf(node: Node, name: str) -> str:
    """Write the sentences as a grammar in the JSpeech Grammar Format, one public rule."""
    rules: dict[str, str] = {}

    def body(node: Node) -> str:
        match node:
            case Words(text):
                return text
            case Seq(parts):
                return " ".join(body(part) for part in parts)
            case OneOf(options):
                return "(" + " | ".join(body(option) for option in options) + ")"
            case Maybe(part):
                return f"[{body(part)}]"
            case Make(_, part):
                return body(part)
            case GrammarRule(rule, part):
                if rule not in rules:
                    rules[rule] = body(part)
                return f"<{rule}>"
            case never:
                assert_never(never)

    top = body(node)
    private = "".join(f"<{rule}> = {text};\n" for rule, text in rules.items())
    return f"#JSGF V1.0;\ngrammar {name};\npublic <sentence> = {top};\n{private}"


Reached = frozenset[int]
"""A place reached in the automaton: every node position that the words so far allow."""


class Automaton:
    """The sentences of a node as an automaton: which words can come next, and where one may stop.

    Deterministic from outside: a state and a word give one next state, empty where the word cannot come.
    """

    def __init__(self, node: Node) -> None:
        """Build the positions of all words of the node."""
        self._free: list[list[int]] = []
        self._edges: list[dict[str, list[int]]] = []
        self._next: dict[Reached, dict[str, Reached]] = {}
        start, self._end = self._position(), self._position()
        self._lay(node, start, self._end)
        self.start: Reached = self._closed([start])
        """The state before any word."""

    def may_end(self, state: Reached) -> bool:
        """Tell whether the words so far are a whole sentence."""
        return self._end in state

    def following(self, state: Reached) -> dict[str, Reached]:
        """Give each word that can come next with the state it leads to."""
        known = self._next.get(state)
        if known is None:
            targets: dict[str, list[int]] = {}
            for position in state:
                for word, ends in self._edges[position].items():
                    targets.setdefault(word, []).extend(ends)
            known = self._next[state] = {word: self._closed(ends) for word, ends in targets.items()}
        return known

    def after(self, words: Sequence[str]) -> Reached:
        """Give the state after these words; empty where no sentence begins with them."""
        state = self.start
        for word in words:
            state = self.following(state).get(word, frozenset())
        return state

    def _position(self) -> int:
        self._free.append([])
        self._edges.append({})
        return len(self._free) - 1

    def _lay(self, node: Node, start: int, end: int) -> None:
        match node:
            case Words(text):
                here = start
                for word in text.split():
                    there = self._position()
                    self._edges[here].setdefault(word, []).append(there)
                    here = there
                self._free[here].append(end)
            case Seq(parts):
                here = start
                for part in parts:
                    there = self._position()
                    self._lay(part, here, there)
                    here = there
                self._free[here].append(end)
            case OneOf(options):
                for option in options:
                    self._lay(option, start, end)
            case Maybe(part):
                self._free[start].append(end)
                self._lay(part, start, end)
            case Make(_, part) | GrammarRule(_, part):
                self._lay(part, start, end)
            case never:
                assert_never(never)

    def _closed(self, positions: Sequence[int]) -> Reached:
        reached, to_do = set(positions), list(positions)
        while to_do:
            for free in self._free[to_do.pop()]:
                if free not in reached:
                    reached.add(free)
                    to_do.append(free)
        return frozenset(reached)


@dataclass(frozen=True)
class Sentences:
    """A set of sentences, with the forms that recognisers want made once."""

    node: Node

    @cached_property
    def automaton(self) -> Automaton:
        """The automaton of next words."""
        return Automaton(self.node)

    @cached_property
    def words(self) -> frozenset[str]:
        """Every word in any of the sentences."""
        return words_of(self.node)

    @cached_property
    def jsgf(self) -> str:
        """The sentences in the JSpeech Grammar Format."""
        return jsgf(self.node, "open")
