"""Whisper tiny.en by CTranslate2, searched only over the open sentences.

Shapes: the encoder takes log-mel features (1, 80, frames); the decoder is asked for the whole
distribution of the next token of each prefix, so that scores are true log probabilities.
"""

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.adapters.log_mel import LogMel
from assistant.hearing.sentences import BEAM, MOST_TOKENS, Tokens, TokenTree, candidates_of, search
from assistant.ports import SAMPLE_RATE_HZ, Opinion, Samples, StillWanted, UnfittedHearing, always
from assistant.words.grammar import Sentences

CONTEXT_FRAMES = 1000
"""The most, and what the model as it came needs: 10 s of features at 10 ms. Whisper was trained on 30 s; 10 s measured
.787 right against .807, in a tenth of the time. The silence behind the sound must stay: searched over the utterance
and 2 s only, a decoding took 289 ms in place of 502, but words were heard twice ("six six"), and of 292 human calls in
quiet 92.1 % were right in place of 95.9."""
LEAST_CONTEXT, CONTEXT_STEP, FRAMES_BEHIND = 240, 80, 32
"""A fitted model was trained on contexts by need: the smallest multiple of so many frames, at least so many, that holds
the sound and these behind it. A decoding then takes .12 s of processor time in place of .32."""
MORE_TOKENS = 3
"""How far the model goes on by itself behind a prefix that it was asked about: a step costs a third of a question."""
FREE_TOKENS = 12
"""Of free hearing at first: the unfitted model goes round without end at short contexts, at a cost."""
PROMPT = " pair forty seven, blue white, four seven, binder orange white, mark open, next pair"
"""Earlier text that leads the model to write words, not figures. It is the same in every state."""


SPELT = {"i": "I"}
"""Words that the model writes otherwise than the vocabulary does."""


class WhisperRecogniser:
    """An ear that compares all open sentences with free hearing by true log probabilities."""

    def __init__(self, model_folder: Path, fitted: Path | bytes | None = None) -> None:
        """Load the model; the folder must have been checked before.

        `fitted` names the folder of the fitted model, or is the content of its weights.
        """
        import ctranslate2
        from kitoken import Kitoken

        self.name = "whisper" if fitted is None else "fitted"
        self._unfitted = None if fitted is None else _loaded(model_folder)
        self._beside = None if fitted is None else ThreadPoolExecutor(1, "unfitted")
        """Where the model as it came hears the same sound meanwhile."""
        self._model = _loaded(model_folder) if fitted is None else _loaded(model_folder, fitted)
        self._storage = ctranslate2.StorageView
        self._tokenizer = Kitoken.from_tokenizers_file(str(model_folder / "tokenizer.json"))
        self._end = self._special("<|endoftext|>")
        self._prompt = [
            self._special("<|startofprev|>"),
            *self._tokens(PROMPT),
            self._special("<|startoftranscript|>"),
            self._special("<|notimestamps|>"),
        ]
        self._tokens_of_word = lru_cache(maxsize=None)(self._tokens_in_sentence)
        self._tree: TokenTree | None = None
        self._trees: dict[Sentences, TokenTree] = {}

    def set_sentences(self, sentences: Sentences) -> None:
        """Take the sentences of the next utterances; any English word can be searched for."""
        self._tree = self._trees.get(sentences) or TokenTree(
            sentences.automaton, self._tokens_of_word, mark=self._tokens(",")[0]
        )
        self._trees[sentences] = self._tree

    def hear(self) -> "WhisperHearing":
        """Begin with an utterance; `set_sentences` must have been called."""
        if self._tree is None:
            raise RuntimeError("set_sentences comes before hear")
        return WhisperHearing(self._made_of, self._tree)

    def _made_of(self, mel: LogMel, tree: TokenTree, wanted: StillWanted) -> Opinion:
        """Search the open sentences."""
        heard = mel.features(CONTEXT_FRAMES if self._unfitted is None else context_for(mel.samples))
        free = self._beside.submit(self._heard_freely, heard) if self._beside else None
        encoded = np.array(self._model.encode(self._storage.from_array(heard)))
        found = search(tree, lambda prefixes: self._next_scores(encoded, prefixes), self._end, BEAM, wanted)
        if not wanted():
            return Opinion(ear=self.name)
        return Opinion(
            ear=self.name,
            candidates=candidates_of(found, self._words_of),
            free_words=self._text_of(found.free),
            free_score=found.free_score,
            unfitted=self._unfitted_hearing(*free.result(), found.candidates[0][0])
            if free and found.candidates
            else None,
        )

    def _heard_freely(self, mel: NDArray[np.float32]) -> tuple[NDArray[np.float32], Tokens, float]:
        """Ask the model as it came what it hears: the encoded sound, the tokens up to the end, their score."""
        assert self._unfitted is not None
        encoded = np.array(self._unfitted.encode(self._storage.from_array(mel)))
        (rows,) = self._steps(self._unfitted, encoded, ((),), FREE_TOKENS)
        heard: list[int] = [int(row.argmax()) for row in rows]
        heard = heard[: heard.index(self._end) + 1] if self._end in heard else heard
        return encoded, tuple(heard), float(sum(row[token] for row, token in zip(rows, heard, strict=False)))

    def _unfitted_hearing(
        self, encoded: NDArray[np.float32], free: Tokens, free_score: float, best: Tokens
    ) -> UnfittedHearing:
        """Ask it how likely it finds the best candidate, where that is not what it heard itself."""
        best_score = free_score
        if free != (*best, self._end):
            (rows,) = self._steps(self._unfitted, encoded, (best,), len(best))
            best_score = float(sum(row[token] for row, token in zip(rows, (*best, self._end), strict=True)))
        text = self._text_of(tuple(token for token in free if token != self._end))
        return UnfittedHearing(free_words=text, free_score=free_score, best_score=best_score)

    def _next_scores(
        self, encoded: NDArray[np.float32], prefixes: Sequence[Tokens]
    ) -> dict[Tokens, NDArray[np.float32]]:
        """Give log probabilities of the next token behind each prefix, and on the likeliest way on from it."""
        most = min(MOST_TOKENS, len(prefixes[0]) + MORE_TOKENS) if prefixes[0] else FREE_TOKENS
        found: dict[Tokens, NDArray[np.float32]] = {}
        for prefix, rows in zip(prefixes, self._steps(self._model, encoded, prefixes, most), strict=True):
            way = prefix
            for row in rows[len(prefix) :]:
                found.setdefault(way, row)
                way = (*way, int(row.argmax()))
        return found

    def _steps(
        self, model: Any, encoded: NDArray[np.float32], forced: Sequence[Tokens], most: int
    ) -> list[list[NDArray[np.float32]]]:
        """Give log probabilities of each next token, behind the forced ones and then behind the likeliest.

        Tokens after the start sequence count as forced output, so that all rows are true probabilities of the next
        token; the last is that behind the end, or behind so many tokens.
        """
        batch = self._storage.from_array(np.ascontiguousarray(np.repeat(encoded, len(forced), 0)))
        results: list[Any] = model.generate(
            batch,
            [self._prompt + list(tokens) for tokens in forced],
            beam_size=1,
            max_length=len(self._prompt) + most,
            return_logits_vocab=True,
            suppress_blank=False,
            suppress_tokens=[],
        )
        return [
            list(log_softmax(np.stack([np.array(row, dtype=np.float32).reshape(-1) for row in result.logits[0]])))
            for result in results
        ]

    def _text_of(self, tokens: Tokens) -> str:
        return str(self._tokenizer.decode(list(tokens)).decode("utf-8", "replace")).strip().lower()

    def _words_of(self, tokens: Tokens) -> str:
        return self._text_of(tokens).replace(",", "")

    def _tokens_in_sentence(self, word: str) -> Tokens:
        return self._tokens(" " + SPELT.get(word, word))

    def _tokens(self, text: str) -> Tokens:
        return tuple(self._tokenizer.encode(text))

    def _special(self, name: str) -> int:
        (token,) = self._tokenizer.encode(name, True)
        return int(token)


class WhisperHearing:
    """One utterance: features as the sound comes, the search when it is asked for."""

    def __init__(self, made_of: Callable[[LogMel, TokenTree, StillWanted], Opinion], tree: TokenTree) -> None:
        """Take what searches the features, and the sentences."""
        self._made_of = made_of
        self._tree = tree
        self._mel = LogMel()
        self._opinion: Opinion | None = None

    def accept(self, sound: Samples) -> None:
        """Take sound."""
        self._mel.accept(sound)
        self._opinion = None

    def partial(self, wanted: StillWanted = always) -> Opinion:
        """Search the sound so far; asked again it is known."""
        if self._opinion is not None:
            return self._opinion
        opinion = self._made_of(self._mel, self._tree, wanted)
        if wanted():
            self._opinion = opinion
        return opinion

    def finish(self, wanted: StillWanted = always) -> Opinion:
        """Search the whole: the model knows no end, so that it is the same as of the sound so far."""
        return self.partial(wanted)


def _loaded(folder: Path, fitted: Path | bytes | None = None) -> Any:
    """Load weights: those of the folder, those of another, or those given with the rest of the folder's files.

    One thread: the matrices are small, and on two server cores two threads took a third longer than one.
    """
    import ctranslate2

    files = (
        {}
        if not isinstance(fitted, bytes)
        else {
            "model.bin": fitted,
            **{name: (folder / name).read_bytes() for name in ("config.json", "vocabulary.txt")},
        }
    )
    place = fitted if isinstance(fitted, Path) else folder
    return ctranslate2.models.Whisper(
        str(place), device="cpu", compute_type="int8", intra_threads=1, files=files or None
    )


def log_softmax(logits: NDArray[np.float32]) -> NDArray[np.float32]:
    """Give log probabilities, row by row."""
    top = logits.max(1, keepdims=True)
    return np.asarray(logits - top - np.log(np.exp(logits - top).sum(1, keepdims=True)), dtype=np.float32)


def context_for(samples: int) -> int:
    """Give the frames of context that so many samples of sound need."""
    needed = samples * 100 // SAMPLE_RATE_HZ + 1 + FRAMES_BEHIND
    return min(CONTEXT_FRAMES, max(LEAST_CONTEXT, CONTEXT_STEP * math.ceil(needed / CONTEXT_STEP)))
