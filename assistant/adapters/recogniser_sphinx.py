"""PocketSphinx with a JSGF grammar: cheap, strict, and unable to tell right from wrong by its scores.

It always finds some open sentence, so that it serves as a second opinion only. As such it is best asked
which of the leading ear's sentences it hears: how many words there were is what it hears better.
"""

import os
from collections.abc import Sequence

import numpy as np

from assistant.errors import AssistantError
from assistant.ports import Candidate, Opinion, Samples, StillWanted, always
from assistant.words.grammar import Sentences

CHOICE = "choice"


class SphinxRecogniser:
    """An ear that gives one sentence and no usable confidence."""

    name = "sphinx"

    def __init__(self) -> None:
        """Load the English model that the package carries."""
        import pocketsphinx

        folder = os.path.join(pocketsphinx.get_model_path(), "en-us")
        # bestpath=False and lw=1 were measured best for commands; the rest are the defaults
        self._decoder = pocketsphinx.Decoder(
            pocketsphinx.Config(
                hmm=os.path.join(folder, "en-us"),
                dict=os.path.join(folder, "cmudict-en-us.dict"),
                lm=None,
                bestpath=False,
                lw=1.0,
                loglevel="FATAL",
            )
        )
        self._searches: dict[Sentences, str] = {}
        self._sentences: Sentences | None = None

    def set_sentences(self, sentences: Sentences) -> None:
        """Take the sentences of the next utterances.

        Raises:
            AssistantError: the dictionary lacks a word; PocketSphinx itself would not name it.

        """
        missing = sorted(word for word in sentences.words if self._decoder.lookup_word(word) is None)
        if missing:
            raise AssistantError(f"PocketSphinx's dictionary lacks these words: {', '.join(missing)}")
        self._sentences = sentences

    def hear(self) -> "SphinxHearing":
        """Begin with an utterance; `set_sentences` must have been called."""
        if self._sentences is None:
            raise RuntimeError("set_sentences comes before hear")
        return SphinxHearing(self)

    def search(self, utterance: Samples) -> Opinion:
        """Search all open sentences."""
        assert self._sentences is not None
        if self._sentences not in self._searches:
            name = f"open{len(self._searches)}"
            self._decoder.add_jsgf_string(name, self._sentences.jsgf)
            self._searches[self._sentences] = name
        self._decoder.activate_search(self._searches[self._sentences])
        return self._heard(utterance)

    def choose(self, utterance: Samples, sentences: Sequence[str]) -> Opinion:
        """Tell which of a few sentences it is; takes a tenth of the time of a search."""
        self._decoder.add_jsgf_string(CHOICE, f"#JSGF V1.0; grammar {CHOICE}; public <one> = {' | '.join(sentences)};")
        self._decoder.activate_search(CHOICE)
        return self._heard(utterance)

    def _heard(self, utterance: Samples) -> Opinion:
        if utterance.size == 0:
            return Opinion(ear=self.name)
        self._decoder.start_utt()
        self._decoder.process_raw(utterance.tobytes(), full_utt=True)
        self._decoder.end_utt()
        heard = self._decoder.hyp()
        words = heard.hypstr if heard else ""
        return Opinion(ear=self.name, candidates=(Candidate(words, 0.0),) if words else ())


class SphinxHearing:
    """One utterance: kept until it is asked for.

    It is searched in one piece: the features are freed of the mean of the whole utterance, which is known at its end
    only. In pieces, with the mean so far, 44 % of commands were right at 15 dB in place of 55, and the search of the
    whole takes 46 ms, a choice a tenth of it.
    """

    def __init__(self, ear: SphinxRecogniser) -> None:
        """Take the ear that searches."""
        self._ear = ear
        self._sound: list[Samples] = []
        self._known: dict[tuple[str, ...], Opinion] = {}
        """By the sentences to choose from; none for all."""

    def accept(self, sound: Samples) -> None:
        """Keep sound."""
        self._sound.append(sound)
        self._known.clear()

    def partial(self, wanted: StillWanted = always) -> Opinion:
        """Search the sound so far; asked again it is known."""
        if () not in self._known and wanted():
            self._known[()] = self._ear.search(self._whole())
        return self._known.get((), Opinion(ear=self._ear.name))

    def finish(self, wanted: StillWanted = always) -> Opinion:
        """Search the whole."""
        return self.partial(wanted)

    def choose(self, sentences: Sequence[str]) -> Opinion:
        """Tell which of these it is."""
        of = tuple(sentences)
        if of not in self._known:
            self._known[of] = self._ear.choose(self._whole(), of)
        return self._known[of]

    def _whole(self) -> Samples:
        return np.concatenate(self._sound) if self._sound else np.zeros(0, np.int16)
