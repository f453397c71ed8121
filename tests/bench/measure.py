"""Scenes through the chain of the live session, and what became of each trial."""

import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum

from assistant.adapters.audio_file import in_blocks
from assistant.app.ears import Ears, new_chain
from assistant.hearing.chain import BLOCK_S, HearingChain, Utterance
from assistant.hearing.evidence import Opinion
from assistant.hearing.verdict import COSTLY, COSTLY_INTENTS, USUAL, Judgement, Verdict
from assistant.ports import Recogniser, Samples
from assistant.words.grammar import Sentences
from assistant.words.intents import Intent
from tests.bench.scenes import Placed, Scene
from tests.bench.trials import BARE, CHATTER


class Outcome(Enum):
    """What became of one trial."""

    RIGHT = "right"
    ASKED = "asked back"
    IGNORED = "ignored"
    WRONG = "wrong"
    """Accepted with another meaning; for chatter and bare numbers, accepted at all."""
    MISSED = "missed"
    """No utterance was found at all."""


@dataclass(frozen=True, slots=True)
class Heard:
    """One utterance that the chain gave, times in seconds of the scene."""

    utterance: Utterance
    opinions: tuple[Opinion, ...]
    decided_s: float
    """End of the block that brought the verdict."""
    ready_s: float
    """When the verdict was there, had the sound come live."""

    @property
    def verdict(self) -> Verdict:
        """Its verdict."""
        return self.utterance.verdict

    @property
    def accepted(self) -> Intent | None:
        """What was accepted, if anything."""
        return self.verdict.intent if self.verdict.judgement is Judgement.ACCEPTED else None


@dataclass(frozen=True, slots=True)
class Result:
    """One trial with all that was heard of it."""

    scene: Scene
    placed: Placed
    heard: tuple[Heard, ...]
    outcome: Outcome

    @property
    def delay_s(self) -> float | None:
        """From the end of speech to the verdict, where one utterance came of one trial."""
        return self.heard[0].ready_s - self.placed.end_s if len(self.heard) == 1 else None


@dataclass(frozen=True, slots=True)
class SceneResult:
    """All that came of one scene."""

    scene: Scene
    results: tuple[Result, ...]
    strays: tuple[Heard, ...]
    """Utterances where nobody spoke."""
    compute_s: float


class Listening:
    """An ear that remembers its last opinion."""

    def __init__(self, ear: Recogniser) -> None:
        self.name = ear.name
        self._ear = ear
        self.last = Opinion(ear=ear.name)

    def set_sentences(self, sentences: Sentences) -> None:
        """Pass the sentences on."""
        self._ear.set_sentences(sentences)

    def decode(self, utterance: Samples) -> Opinion:
        """Decode and remember."""
        self.last = self._ear.decode(utterance)
        return self.last


def run(scenes: Iterable[Scene], ears: Ears) -> Iterator[SceneResult]:
    """Hear all scenes, each with a fresh chain."""
    listening = tuple(Listening(ear) for ear in ears.recognisers)
    for scene in scenes:
        chain = new_chain(Ears(ears.name, listening))
        heard, compute_s = _hear(scene, chain, listening)
        yield _matched(scene, heard, compute_s)


def _hear(scene: Scene, chain: HearingChain, ears: tuple[Listening, ...]) -> tuple[list[Heard], float]:
    """Feed a scene as if live: work on a block begins when it is there and the one before it is done."""
    chain.open(scene.scope)
    heard: list[Heard] = []
    compute_s = ready_s = 0.0
    for index, block in enumerate(in_blocks(scene.sound), 1):
        began = time.perf_counter()
        utterance = chain.push(block)
        took_s = time.perf_counter() - began
        compute_s += took_s
        ready_s = max(ready_s, index * BLOCK_S) + took_s
        if utterance is not None:
            heard.append(Heard(utterance, tuple(ear.last for ear in ears), index * BLOCK_S, ready_s))
    return heard, compute_s


def _matched(scene: Scene, heard: list[Heard], compute_s: float) -> SceneResult:
    of_trial: dict[int, list[Heard]] = {}
    strays = []
    for one in heard:
        index = _trial_of(one, scene.placed)
        if index is None:
            strays.append(one)
        else:
            of_trial.setdefault(index, []).append(one)
    results = tuple(
        Result(scene, placed, tuple(of_trial.get(index, ())), outcome_of(placed, of_trial.get(index, [])))
        for index, placed in enumerate(scene.placed)
    )
    return SceneResult(scene, results, tuple(strays), compute_s)


def _trial_of(heard: Heard, placed: tuple[Placed, ...]) -> int | None:
    """Give the trial that an utterance covers; of several, the one whose meaning was accepted, or the longest."""
    start, end = heard.utterance.start_s, heard.utterance.end_s
    shares = {i: min(end, p.end_s) - max(start, p.start_s) for i, p in enumerate(placed)}
    covered = [i for i, share in shares.items() if share > 0]
    if not covered:
        return None
    right = [i for i in covered if heard.accepted is not None and placed[i].trial.intent == heard.accepted]
    return max(right or covered, key=lambda i: shares[i])


def outcome_of(placed: Placed, heard: list[Heard]) -> Outcome:
    """Tell what became of a trial; one wrong entry outweighs everything else."""
    accepted = [one.accepted for one in heard if one.accepted is not None]
    trial = placed.trial
    if any(intent != trial.intent for intent in accepted) or (accepted and trial.kind in (CHATTER, BARE)):
        return Outcome.WRONG
    if accepted:
        return Outcome.RIGHT
    if any(one.verdict.judgement is Judgement.ASK_BACK for one in heard):
        return Outcome.ASKED
    return Outcome.IGNORED if heard else Outcome.MISSED


def reason_of(result: Result) -> str:
    """Tell why a call that was heard was not accepted, by the evidence of the leading ear."""
    if len(result.heard) != 1:
        return "cut in several" if result.heard else "not detected"
    reading = result.heard[0].verdict.readings[0]
    if reading.intent is None:
        return "no sentence"
    if reading.intent != result.placed.trial.intent:
        return "another meaning leads"
    limits = COSTLY if type(reading.intent) in COSTLY_INTENTS else USUAL
    agreed = any(other.intent == reading.intent for other in result.heard[0].verdict.readings[1:])
    short_margin = reading.margin < (limits.margin_agreed if agreed else limits.margin_alone)
    low_ratio = reading.likelihood_ratio < limits.likelihood_ratio
    if short_margin and low_ratio:
        return "margin and likelihood ratio"
    if short_margin:
        return "margin"
    return "likelihood ratio" if low_ratio else "other"
