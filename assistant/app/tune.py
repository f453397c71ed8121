"""`tune`: phrases are read once; what this voice and headset need is kept in a file of its own."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from assistant.adapters.audio_file import in_blocks, read_sound
from assistant.adapters.microphone import Microphone
from assistant.app import ears as ears_here
from assistant.app.hear import following_state
from assistant.app.settings import settings_file
from assistant.cable.makeup import Cable
from assistant.dialogue.scope import scope_of
from assistant.errors import AssistantError
from assistant.hearing.chain import BLOCK_S, HearingChain, Utterance
from assistant.hearing.level import peak_db
from assistant.hearing.tuning import READING, UNTUNED, Read, Tuning, advice, learn

LONGEST_WAIT_S = 8.0


def tuning_file() -> Path:
    """Give where a tuning is kept: beside the settings."""
    return settings_file().with_name("voice.json")


def load_tuning() -> Tuning:
    """Read the tuning that is kept, or give none.

    Raises:
        AssistantError: the file is broken.

    """
    path = tuning_file()
    if not path.is_file():
        return UNTUNED
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        return Tuning(likelihood_ratio=float(kept["likelihood_ratio"]), confused=frozenset(map(str, kept["confused"])))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise AssistantError(f"{path}: is no tuning ({error}); drop it with splice-assistant tune --drop") from error


def shown() -> str:
    """Tell what is kept."""
    tuning = load_tuning()
    if tuning == UNTUNED:
        return "Nothing is kept beside the usual limits."
    confused = ", ".join(sorted(tuning.confused)) or "none"
    return (
        f"Least likelihood ratio {tuning.likelihood_ratio} nats (usual {UNTUNED.likelihood_ratio}).\n"
        f"Words that need a clearer margin: {confused}.\nKept in {tuning_file()}"
    )


def dropped() -> str:
    """Forget what is kept."""
    tuning_file().unlink(missing_ok=True)
    return "The usual limits apply."


def tuned(audio: Path | None, microphone: str | None, ears: str | None, vosk_model: Path | None) -> Iterator[str]:
    """Let all phrases be read, learn, keep, and tell line by line.

    Raises:
        AssistantError: a device, model or file is missing, or too little was heard.

    """
    chain = ears_here.new_chain(ears_here.load(ears, vosk_model))
    chain.open(scope_of(following_state(Cable(600))))
    reader = _files(audio) if audio else _Live(Microphone(microphone)).next_utterance_of
    read = []
    for number, phrase in enumerate(READING, 1):
        yield f"{number:2}/{len(READING)}  Say: {phrase}"
        one = _read(phrase, reader(number, chain))
        read.append(one)
        yield f"       heard: {one.heard or 'nothing'}"
    yield from advice(read)
    try:
        tuning = learn(read)
    except ValueError as error:
        raise AssistantError(f"tune: {error}; nothing was kept") from error
    path = tuning_file()
    path.parent.mkdir(parents=True, exist_ok=True)
    kept = {
        "made": datetime.now().astimezone().isoformat(timespec="seconds"),
        "likelihood_ratio": tuning.likelihood_ratio,
        "confused": sorted(tuning.confused),
    }
    path.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    yield shown()


Reader = Callable[[int, HearingChain], Utterance | None]


def _files(folder: Path) -> Reader:
    def next_utterance(number: int, chain: HearingChain) -> Utterance | None:
        path = next((p for p in (folder / f"{number:02}.wav", folder / f"{number:02}.flac") if p.is_file()), None)
        if path is None:
            return None
        chain.forget()
        return next((u for block in in_blocks(read_sound(path)) if (u := chain.push(block)) is not None), None)

    return next_utterance


@dataclass(slots=True)
class _Live:
    """Phrases from the microphone."""

    microphone: Microphone

    def next_utterance_of(self, _number: int, chain: HearingChain) -> Utterance | None:
        chain.forget()
        for count, block in enumerate(self.microphone.blocks()):
            utterance = chain.push(block)
            if utterance is not None or count * BLOCK_S > LONGEST_WAIT_S:
                return utterance
        return None


def _read(phrase: str, utterance: Utterance | None) -> Read:
    if utterance is None:
        return Read(meant=phrase, heard="", likelihood_ratio=0.0, level_db=0.0)
    reading = utterance.verdict.readings[0]
    return Read(
        meant=phrase,
        heard=reading.words,
        likelihood_ratio=reading.likelihood_ratio,
        level_db=peak_db(utterance.sound),
    )
