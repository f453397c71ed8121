"""The beam search over the open sentences, with a scorer that reads letters."""

from collections.abc import Sequence

import numpy as np
import pytest

from assistant.hearing.sentences import Tokens, TokenTree, search
from assistant.words.grammar import Automaton, Maybe, one_of, seq

END = 0


def tokens_of(word: str) -> Tokens:
    """Two letters a token, so that words share beginnings and one can be the beginning of another."""
    return tuple(
        sum(ord(letter) * 128**i for i, letter in enumerate(word[at : at + 2])) for at in range(0, len(word), 2)
    )


class Hears:
    """A scorer that is nearly sure of one string of tokens."""

    def __init__(self, *words: str) -> None:
        self.truth = (*[token for word in words for token in tokens_of(word)], END)
        self.prefixes_asked: list[Tokens] = []

    def __call__(self, prefixes: Sequence[Tokens]) -> "dict[Tokens, np.ndarray[tuple[int], np.dtype[np.float32]]]":
        self.prefixes_asked += list(prefixes)
        assert len({len(prefix) for prefix in prefixes}) == 1, "prefixes of one step have one length"
        return {prefix: self.scores(prefix) for prefix in prefixes}

    def scores(self, prefix: Tokens) -> "np.ndarray[tuple[int], np.dtype[np.float32]]":
        scores = np.full(128 * 128, np.log(1e-6), np.float32)
        if len(prefix) < len(self.truth):
            scores[self.truth[len(prefix)]] = np.log(0.9)
        return scores


class GoesOn(Hears):
    """One that tells of the likeliest way on as well, as far as it goes."""

    def __call__(self, prefixes: Sequence[Tokens]) -> "dict[Tokens, np.ndarray[tuple[int], np.dtype[np.float32]]]":
        found = super().__call__(prefixes)
        for prefix in prefixes:
            way = prefix
            while (token := int(self.scores(way).argmax())) != END and len(way) < len(self.truth):
                way = (*way, token)
                found[way] = self.scores(way)
        return found


SENTENCES = Automaton(
    one_of(
        seq(one_of("four", "forty", "fort"), Maybe(one_of("seven", "nine")), "blue"),
        seq("undo", "that"),
    )
)


@pytest.mark.parametrize(
    "words", [("four", "blue"), ("forty", "seven", "blue"), ("fort", "nine", "blue"), ("undo", "that")]
)
def test_the_sentence_that_is_there_is_found_first(words: tuple[str, ...]) -> None:
    found = search(TokenTree(SENTENCES, tokens_of), Hears(*words), END)
    expected = tuple(token for word in words for token in tokens_of(word))
    assert found.candidates[0][0] == expected
    assert found.free == expected
    assert found.candidates[0][1] == pytest.approx(np.log(0.9) * (len(expected) + 1), abs=1e-3)


def test_what_is_no_sentence_scores_far_below_free_hearing() -> None:
    found = search(TokenTree(SENTENCES, tokens_of), Hears("four", "green"), END)
    assert found.free == tuple(token for word in ("four", "green") for token in tokens_of(word))
    assert found.free_score - found.candidates[0][1] > 10


def test_every_candidate_is_a_whole_sentence() -> None:
    whole = {
        (*tokens_of(a), *b, *tokens_of("blue"))
        for a in ("four", "forty", "fort")
        for b in ((), tokens_of("seven"), tokens_of("nine"))
    }
    whole.add((*tokens_of("undo"), *tokens_of("that")))
    found = search(TokenTree(SENTENCES, tokens_of), Hears("forty", "blue"), END)
    assert found.candidates
    assert {tokens for tokens, _ in found.candidates} <= whole


COMMA = 7


def test_a_mark_between_words_is_the_same_sentence_and_never_ends_one() -> None:
    """People pause in digit strings, and the recogniser writes the pause as a comma."""
    tree = TokenTree(SENTENCES, tokens_of, mark=COMMA)
    heard = Hears("forty", "seven", "blue")
    heard.truth = (*tokens_of("forty"), COMMA, *tokens_of("seven"), COMMA, *tokens_of("blue"), END)
    found = search(tree, heard, END)
    assert found.candidates[0][0] == heard.truth[:-1]
    assert all(tokens[-1] != COMMA and tokens[0] != COMMA for tokens, _ in found.candidates)
    assert not any(
        tokens[i] == tokens[i + 1] == COMMA for tokens, _ in found.candidates for i in range(len(tokens) - 1)
    )


def test_without_a_mark_none_is_looked_for() -> None:
    heard = Hears("forty", "blue")
    heard.truth = (*tokens_of("forty"), COMMA, *tokens_of("blue"), END)
    found = search(TokenTree(SENTENCES, tokens_of), heard, END)
    assert all(COMMA not in tokens for tokens, _ in found.candidates)


def test_a_search_that_is_not_wanted_any_more_ends_at_the_next_step() -> None:
    hears = Hears("four", "seven", "blue")
    search(TokenTree(SENTENCES, tokens_of), hears, END, wanted=lambda: len(hears.prefixes_asked) < 2)
    assert 0 < max(map(len, hears.prefixes_asked)) < len(hears.truth) - 1


@pytest.mark.parametrize("words", [("forty", "seven", "blue"), ("undo", "that"), ("four", "green"), ("hello", "there")])
def test_what_a_scorer_came_by_is_not_asked_again_and_changes_nothing(words: tuple[str, ...]) -> None:
    tree = TokenTree(SENTENCES, tokens_of)
    plain, goes_on = Hears(*words), GoesOn(*words)
    assert search(tree, goes_on, END) == search(tree, plain, END)
    assert len(goes_on.prefixes_asked) < len(plain.prefixes_asked)
    assert len(set(goes_on.prefixes_asked)) == len(goes_on.prefixes_asked)


def test_what_is_far_below_a_whole_sentence_is_not_looked_into() -> None:
    """A number of full length can go on with its colours; where it was all, none of them is asked about."""
    hears = Hears("four", "seven")
    tree = TokenTree(Automaton(seq("four", "seven", Maybe(one_of("blue", "green")))), tokens_of)
    found = search(tree, hears, END)
    assert [tokens for tokens, _ in found.candidates] == [hears.truth[:-1]]
    assert max(map(len, hears.prefixes_asked)) == len(hears.truth) - 1
