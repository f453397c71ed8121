"""Vosk as an ear, wherever a model directory is given.

What the library does when it is used wrongly is worse than an exception, so each is kept from happening:
words the model lacks are only warned of on stderr (asked for beforehand and refused), a phrase list
that is empty or a model without its graphs ends the process (both refused), phrases changed in
mid-utterance abort it (a new recogniser is made only between utterances), and a model without a path
is looked for on the network (a path is always given).
"""

import json
from pathlib import Path
from typing import Any

from assistant.errors import AssistantError
from assistant.ports import SAMPLE_RATE_HZ, Candidate, Opinion, Samples, StillWanted, always
from assistant.words.grammar import Sentences

UNKNOWN = "[unk]"
NEEDED_FILES = ("am/final.mdl", "conf/model.conf", "graph/HCLr.fst", "graph/Gr.fst")
"""Without the last two a model takes no phrases, and where it has no other graph the process ends."""


class VoskRecogniser:
    """An ear that looks for phrases; its result is parsed strictly, since it may mix phrases."""

    name = "vosk"

    def __init__(self, model_folder: Path) -> None:
        """Load the model.

        Raises:
            AssistantError: the folder holds no Vosk model.

        """
        lacking = [name for name in NEEDED_FILES if not (model_folder / name).is_file()]
        if lacking:
            raise AssistantError(
                f"{model_folder}: is no Vosk model that takes phrases ({', '.join(lacking)} missing); "
                "give the folder that holds am, conf and graph"
            )
        import vosk

        vosk.SetLogLevel(-1)
        self._vosk = vosk
        try:
            self._model = vosk.Model(str(model_folder))
        except Exception as error:  # the library raises plain Exception
            raise AssistantError(f"{model_folder}: Vosk cannot load it ({error}); fetch the model again") from error
        self._knows_unknown = self._model.vosk_model_find_word(UNKNOWN) >= 0
        self._recogniser: Any = None
        self._phrases: tuple[str, ...] = ()

    def missing_words(self, words: frozenset[str]) -> list[str]:
        """Give the words that the model does not know, sorted."""
        return sorted(word for word in words if self._model.vosk_model_find_word(word) < 0)

    def set_sentences(self, sentences: Sentences) -> None:
        """Take the sentences of the next utterances.

        Vosk builds a model of word pairs from the phrases, so that the words of the sentences and
        their neighbourhoods are what counts; whole sentences by the thousand would add nothing.

        Raises:
            AssistantError: the model lacks words, or there are none at all.

        """
        missing = self.missing_words(sentences.words)
        if missing:
            raise AssistantError(f"the Vosk model lacks these words: {', '.join(missing)}; use another model")
        self.set_phrases(neighbours(sentences))

    def set_phrases(self, phrases: tuple[str, ...]) -> None:
        """Take a list of phrases; must not be empty.

        Raises:
            AssistantError: the list is empty, or the model has lost a part.

        """
        if not phrases:
            raise AssistantError("Vosk needs at least one phrase; an empty list would end the process")
        if phrases == self._phrases:
            return
        listed = [*phrases, UNKNOWN] if self._knows_unknown else list(phrases)
        try:
            recogniser = self._vosk.KaldiRecognizer(self._model, SAMPLE_RATE_HZ, json.dumps(listed, ensure_ascii=False))
        except Exception as error:  # the library raises plain Exception
            raise AssistantError(f"the Vosk model cannot be used ({error}); fetch the model again") from error
        recogniser.SetWords(True)
        self._recogniser, self._phrases = recogniser, phrases

    def hear(self) -> "VoskHearing":
        """Begin with an utterance; `set_sentences` must have been called."""
        if self._recogniser is None:
            raise RuntimeError("set_sentences comes before hear")
        self._recogniser.Reset()
        return VoskHearing(self._recogniser)


class VoskHearing:
    """One utterance, searched as its sound comes; only what is left at the end is done there."""

    def __init__(self, recogniser: Any) -> None:
        """Take the library's recogniser, which must know of no sound."""
        self._recogniser = recogniser
        self._results: list[dict[str, Any]] = []
        """Of the parts that the library ended of its own accord, at a pause."""

    def accept(self, sound: Samples) -> None:
        """Search on."""
        if sound.size and self._recogniser.AcceptWaveform(sound.tobytes()):
            self._results.append(json.loads(self._recogniser.Result()))

    def partial(self, wanted: StillWanted = always) -> Opinion:
        """Tell what is likeliest so far, without a confidence: the library gives one at the end only."""
        last = json.loads(self._recogniser.PartialResult())["partial"]
        heard = " ".join(text for text in (*(result["text"] for result in self._results), last) if text)
        candidates = (Candidate(heard, 0.0),) if heard and UNKNOWN not in heard.split() else ()
        return Opinion(ear=VoskRecogniser.name, candidates=candidates, free_words=heard)

    def finish(self, wanted: StillWanted = always) -> Opinion:
        """Tell what the whole is; unknown words in it leave no candidate."""
        self._results.append(json.loads(self._recogniser.FinalResult()))
        words = [word for result in self._results for word in result.get("result", ())]
        text = " ".join(result["text"] for result in self._results if result.get("text"))
        if not text or UNKNOWN in text.split():
            return Opinion(ear=VoskRecogniser.name, free_words=text)
        confidence = min(float(word["conf"]) for word in words) if words else 0.0
        return Opinion(
            ear=VoskRecogniser.name, candidates=(Candidate(text, 0.0),), free_words=text, confidence=confidence
        )


def neighbours(sentences: Sentences) -> tuple[str, ...]:
    """Give the sentences' words and every two that may stand side by side, sorted."""
    automaton = sentences.automaton
    seen, to_do = {automaton.start}, [automaton.start]
    pairs: set[str] = set(sentences.words)
    while to_do:
        for word, state in automaton.following(to_do.pop()).items():
            pairs.update(f"{word} {after}" for after in automaton.following(state))
            if state not in seen:
                seen.add(state)
                to_do.append(state)
    return tuple(sorted(pairs))
