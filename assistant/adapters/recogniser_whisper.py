"""Whisper tiny.en by CTranslate2, searched only over the open sentences.

Shapes: the encoder takes log-mel features (1, 80, frames); the decoder is asked for the whole
distribution of the next token of each prefix, so that scores are true log probabilities.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.hearing.sentences import BEAM, Tokens, TokenTree, candidates_of, search
from assistant.ports import SAMPLE_RATE_HZ, Opinion, Samples, StillWanted, UnfittedHearing, always
from assistant.words.grammar import Sentences

MEL_BANDS = 80
CONTEXT_FRAMES = 1000
"""The most, and what the model as it came needs: 10 s of features at 10 ms. Whisper was trained on 30 s; 10 s measured
.787 right against .807, in a tenth of the time. The silence behind the sound must stay: searched over the utterance
and 2 s only, a decoding took 289 ms in place of 502, but words were heard twice ("six six"), and of 292 human calls in
quiet 92.1 % were right in place of 95.9."""
LEAST_CONTEXT, CONTEXT_STEP, FRAMES_BEHIND = 240, 80, 32
"""A fitted model was trained on contexts by need: the smallest multiple of so many frames, at least so many, that holds
the sound and these behind it. A decoding then takes .12 s of processor time in place of .32."""
FREE_TOKENS = 12
"""Of the unfitted model's free hearing: at short contexts it goes round without end, at a cost."""
FRAME_LEAD = 80
"""Samples before the first frame, so that frames stand where Whisper's own features have them."""
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
        from tokenizers import Tokenizer

        self.name = "whisper" if fitted is None else "fitted"
        self._unfitted = None if fitted is None else _loaded(model_folder)
        self._model = _loaded(model_folder) if fitted is None else _loaded(model_folder, fitted)
        self._storage = ctranslate2.StorageView
        self._tokenizer = Tokenizer.from_file(str(model_folder / "tokenizer.json"))
        special = self._tokenizer.token_to_id
        self._end = int(special("<|endoftext|>") or 0)
        self._prompt = [
            special("<|startofprev|>"),
            *self._tokens(PROMPT),
            special("<|startoftranscript|>"),
            special("<|notimestamps|>"),
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

    def decode(self, utterance: Samples, wanted: StillWanted = always) -> Opinion:
        """Search the open sentences; `set_sentences` must have been called."""
        if self._tree is None:
            raise RuntimeError("set_sentences comes before decode")
        if not wanted():
            return Opinion(ear=self.name)
        mel = features(utterance, CONTEXT_FRAMES if self._unfitted is None else context_for(utterance))
        encoded = np.array(self._model.encode(self._storage.from_array(mel)))
        found = search(self._tree, lambda prefixes: self._next_scores(encoded, prefixes), self._end, BEAM, wanted)
        if not wanted():
            return Opinion(ear=self.name)
        return Opinion(
            ear=self.name,
            candidates=candidates_of(found, self._words_of),
            free_words=self._text_of(found.free),
            free_score=found.free_score,
            unfitted=self._heard_unfitted(mel, found.candidates[0][0]) if found.candidates else None,
        )

    def _heard_unfitted(self, mel: NDArray[np.float32], best: Tokens) -> UnfittedHearing | None:
        """Ask the model as it came: what it hears freely, and how likely it finds the best candidate."""
        if self._unfitted is None:
            return None
        encoded = self._unfitted.encode(self._storage.from_array(mel))
        free = self._steps(self._unfitted, encoded, (), FREE_TOKENS)
        heard: list[int] = [int(row.argmax()) for row in free]
        heard = heard[: heard.index(self._end) + 1] if self._end in heard else heard
        wanted = self._steps(self._unfitted, encoded, best, len(best))
        return UnfittedHearing(
            free_words=self._text_of(tuple(token for token in heard if token != self._end)),
            free_score=float(sum(row[token] for row, token in zip(free, heard, strict=False))),
            best_score=float(sum(row[token] for row, token in zip(wanted, (*best, self._end), strict=True))),
        )

    def _steps(self, model: Any, encoded: Any, forced: Tokens, most: int) -> list[NDArray[np.float32]]:
        """Give log probabilities of each next token, behind the forced ones or, where there are none, the likeliest."""
        (result,) = model.generate(
            encoded,
            [self._prompt + list(forced)],
            beam_size=1,
            max_length=len(self._prompt) + most,
            return_logits_vocab=True,
            suppress_blank=False,
            suppress_tokens=[],
        )
        return [log_softmax(np.array(row, dtype=np.float32).reshape(1, -1))[0] for row in result.logits[0]]

    def _text_of(self, tokens: Tokens) -> str:
        return str(self._tokenizer.decode(list(tokens))).strip().lower()

    def _words_of(self, tokens: Tokens) -> str:
        return self._text_of(tokens).replace(",", "")

    def _tokens_in_sentence(self, word: str) -> Tokens:
        return self._tokens(" " + SPELT.get(word, word))

    def _tokens(self, text: str) -> Tokens:
        return tuple(self._tokenizer.encode(text, add_special_tokens=False).ids)

    def _next_scores(self, encoded: NDArray[np.float32], prefixes: Sequence[Tokens]) -> NDArray[np.float32]:
        """Give log probabilities of the next token, shape (prefixes, vocabulary).

        Tokens after the start sequence count as forced output, so that the wanted logits are those of
        step len(prefix).
        """
        batch = self._storage.from_array(np.ascontiguousarray(np.repeat(encoded, len(prefixes), 0)))
        step = len(prefixes[0])
        results: list[Any] = self._model.generate(
            batch,
            [self._prompt + list(prefix) for prefix in prefixes],
            beam_size=1,
            max_length=len(self._prompt) + step,
            return_logits_vocab=True,
            suppress_blank=False,
            suppress_tokens=[],
        )
        logits = np.stack([np.array(result.logits[0][step], dtype=np.float32).reshape(-1) for result in results])
        return log_softmax(logits)


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


def context_for(utterance: Samples) -> int:
    """Give the frames of context that a sound needs."""
    needed = len(utterance) * 100 // SAMPLE_RATE_HZ + 1 + FRAMES_BEHIND
    return min(CONTEXT_FRAMES, max(LEAST_CONTEXT, CONTEXT_STEP * math.ceil(needed / CONTEXT_STEP)))


def features(utterance: Samples, context: int = CONTEXT_FRAMES) -> NDArray[np.float32]:
    """Give Whisper's log-mel features of an utterance, shape (1, 80, context).

    Sound beyond the context is cut off; shorter sound is filled up with the floor.
    """
    import kaldi_native_fbank

    options = kaldi_native_fbank.WhisperFeatureOptions()
    options.dim = MEL_BANDS
    bank = kaldi_native_fbank.OnlineWhisperFbank(options)
    sound = np.pad(utterance.astype(np.float32) / 32768, (FRAME_LEAD, SAMPLE_RATE_HZ // 40))
    bank.accept_waveform(SAMPLE_RATE_HZ, sound)
    bank.input_finished()
    count = min(bank.num_frames_ready, context)
    mel = np.stack([bank.get_frame(index) for index in range(count)], axis=1)
    log_mel = np.log10(np.maximum(mel, 1e-10))
    log_mel = (np.maximum(log_mel, log_mel.max() - 8.0) + 4.0) / 4.0
    filled = np.pad(log_mel, ((0, 0), (0, context - count)), constant_values=log_mel.min())
    return np.ascontiguousarray(filled[None], dtype=np.float32)
