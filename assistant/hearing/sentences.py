"""The open sentences as a tree of tokens, and a beam search over it.

The search asks any scorer for the log probability of each next token, so that it knows no recogniser.
Every open sentence is searched with equal right: nothing here may favour the expected pair.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.ports import Candidate
from assistant.words.grammar import Automaton, Reached

Tokens = tuple[int, ...]
Scorer = Callable[[Sequence[Tokens]], Mapping[Tokens, NDArray[np.float32]]]
"""Prefixes, all of one length -> for each of them the log probabilities of the next token, shape (tokens,).

It may add those of longer prefixes that it came by: what it hears freely is most often a sentence of ours already, and
then less has to be asked. 36 human calls in quiet and in noise: 3.7 questions an utterance in place of 5.7."""

BEAM = 8
"""Prefixes kept at each step; 8 was measured against 4 and loses fewer right answers."""
BEAM_WIDTH_NATS = 6.0
"""Prefixes this much worse than the best are dropped: twice the margin that any verdict asks for. Each prefix
costs about 10 ms a step; 9 nats kept 5.4 prefixes on average, 6 keep 3.2."""
WHOLE_WIDTH_NATS = 8.0
"""Prefixes this much worse than the best whole sentence are dropped: more than any verdict, tuned or not, or any pause
looks at. Without it a number of full length went on to every colour, 14 nats below."""
MOST_CANDIDATES = 8
MOST_TOKENS = 20


@dataclass(frozen=True, slots=True)
class Prefix:
    """Where a prefix stands: after whole words, or some tokens into the words that begin so."""

    state: Reached
    part: Tokens = ()
    behind_mark: bool = False
    """Whether a mark stands behind the last word; another may not follow it."""


class TokenTree:
    """The automaton of words, unfolded to the tokens of a recogniser as the search comes along.

    Between words a mark may stand (a comma): people pause in digit strings, and the recogniser writes the
    pause. Without it 44 of 61 human digit strings in quiet were right, with it 51, and none wrong.
    """

    def __init__(self, automaton: Automaton, tokens_of: Callable[[str], Tokens], mark: int | None = None) -> None:
        """Take the words' automaton, the tokens of one word as it stands in a sentence, and that of the mark."""
        self._automaton = automaton
        self._tokens_of = tokens_of
        self._mark = mark
        self._following: dict[Prefix, dict[int, list[Prefix]]] = {}
        self.start = Prefix(automaton.start)

    def may_end(self, place: Prefix) -> bool:
        """Tell whether a sentence may end at this place."""
        return not place.part and not place.behind_mark and self._automaton.may_end(place.state)

    def following(self, place: Prefix) -> dict[int, list[Prefix]]:
        """Give each token that can come next and the places it leads to.

        One token can both end a word and begin a longer one.
        """
        known = self._following.get(place)
        if known is None:
            known = self._following[place] = {}
            depth = len(place.part)
            for word, state in self._automaton.following(place.state).items():
                tokens = self._tokens_of(word)
                if tokens[:depth] != place.part or len(tokens) <= depth:
                    continue
                ends = len(tokens) == depth + 1
                there = Prefix(state) if ends else Prefix(place.state, tokens[: depth + 1])
                places = known.setdefault(tokens[depth], [])
                if there not in places:
                    places.append(there)
            if self._mark is not None and self._is_between_words(place):
                known[self._mark] = [Prefix(place.state, behind_mark=True)]
        return known

    def _is_between_words(self, place: Prefix) -> bool:
        behind_word = not place.part and not place.behind_mark and place.state != self._automaton.start
        return behind_word and bool(self._automaton.following(place.state))


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found."""

    candidates: tuple[tuple[Tokens, float], ...]
    """Token strings of whole sentences with their log probabilities, best first."""
    free: Tokens
    """The tokens that free, greedy search gives."""
    free_score: float


@dataclass(frozen=True, slots=True)
class _Path:
    tokens: Tokens
    place: Prefix
    score: float


def search(
    tree: TokenTree, scorer: Scorer, end_token: int, beam: int = BEAM, wanted: Callable[[], bool] = lambda: True
) -> Found:
    """Find the likeliest sentences of the tree, and beside them what is likeliest of all token strings.

    It ends at the next step, with what it has, when it is not wanted any more.
    """
    paths = [_Path((), tree.start, 0.0)]
    known: dict[Tokens, NDArray[np.float32]] = {}
    done: dict[Tokens, float] = {}
    free: Tokens = ()
    free_score, free_open = 0.0, True
    for _ in range(MOST_TOKENS):
        if not paths or not wanted():
            break
        needed = dict.fromkeys((*(path.tokens for path in paths), *((free,) if free_open else ())))
        asked = [prefix for prefix in needed if prefix not in known]
        if asked:
            known.update(scorer(asked))
        if free_open:
            token = int(known[free].argmax())
            free_score += float(known[free][token])
            free_open = token != end_token and len(free) < MOST_TOKENS
            free = (*free, token) if free_open else free
        grown: list[_Path] = []
        for path in paths:
            scores = known[path.tokens]
            if tree.may_end(path.place):
                done[path.tokens] = max(done.get(path.tokens, -np.inf), path.score + float(scores[end_token]))
            for token, places in tree.following(path.place).items():
                score = path.score + float(scores[token])
                grown += [_Path((*path.tokens, token), place, score) for place in places]
        paths = _pruned(grown, done, beam)
    ranked = sorted(done.items(), key=lambda item: -item[1])[:MOST_CANDIDATES]
    return Found(tuple(ranked), free, free_score)


def _pruned(grown: list[_Path], done: dict[Tokens, float], beam: int) -> list[_Path]:
    if not grown:
        return []
    grown.sort(key=lambda path: -path.score)
    finished = sorted(done.values(), reverse=True)
    floor = max(grown[0].score - BEAM_WIDTH_NATS, finished[0] - WHOLE_WIDTH_NATS if finished else -np.inf)
    if len(finished) >= MOST_CANDIDATES:
        floor = max(floor, finished[MOST_CANDIDATES - 1])
    return [path for path in grown[:beam] if path.score > floor]


def candidates_of(found: Found, text_of: Callable[[Tokens], str]) -> tuple[Candidate, ...]:
    """Turn token strings into words, likeliest first."""
    return tuple(Candidate(text_of(tokens), score) for tokens, score in found.candidates)
