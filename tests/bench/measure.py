"""Scenes through the chain of the live session, and what became of each trial."""

import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from functools import partial

from assistant.adapters.audio_file import in_blocks
from assistant.app.ears import Ears, new_chain
from assistant.hearing.chain import BLOCK_S, HearingChain, Utterance
from assistant.hearing.verdict import IDEAL, Judgement, Verdict, judge
from assistant.ports import ChoosingHearing, Hearing, Opinion, Recogniser, Samples, StillWanted, always
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
    decided_s: float
    """End of the block that brought the verdict."""
    ready_s: float
    """When the verdict was there, had the sound come live."""

    @property
    def verdict(self) -> Verdict:
        """Its verdict."""
        return self.utterance.verdict

    @property
    def opinions(self) -> tuple[Opinion, ...]:
        """What the ears made of it."""
        return self.utterance.opinions

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


class TimedEar:
    """An ear that notes when it was last asked, and when the answer was there."""

    def __init__(self, ear: Recogniser) -> None:
        self.name = ear.name
        self._ear = ear
        self.done_s = 0.0
        """When the last opinion was there, by `time.perf_counter`."""

    def set_sentences(self, sentences: Sentences) -> None:
        """Pass the sentences on."""
        self._ear.set_sentences(sentences)

    def hear(self) -> Hearing:
        """Begin with an utterance."""
        hearing = self._ear.hear()
        return TimedChoosing(self, hearing) if isinstance(hearing, ChoosingHearing) else TimedHearing(self, hearing)

    def noted(self, opinion: Opinion) -> Opinion:
        """Note the time."""
        self.done_s = time.perf_counter()
        return opinion


class TimedHearing:
    """An utterance in such an ear."""

    def __init__(self, ear: TimedEar, hearing: Hearing) -> None:
        self._ear = ear
        self._hearing = hearing

    def accept(self, sound: Samples) -> None:
        """Pass sound on."""
        self._hearing.accept(sound)

    def partial(self, wanted: StillWanted = always) -> Opinion:
        """Ask, and note the time: this is what the verdict waits for."""
        return self._ear.noted(self._hearing.partial(wanted))

    def finish(self, wanted: StillWanted = always) -> Opinion:
        """Ask for the whole; where it was known, its time is that of `partial`."""
        return self._hearing.finish(wanted)


class TimedChoosing(TimedHearing):
    """One that may be asked to choose."""

    def __init__(self, ear: TimedEar, hearing: ChoosingHearing) -> None:
        super().__init__(ear, hearing)
        self._chooser = hearing
        self._known = False

    def choose(self, sentences: Sequence[str]) -> Opinion:
        """Choose, and note the time."""
        known, self._known = self._known, True
        chosen = self._chooser.choose(sentences)
        return chosen if known else self._ear.noted(chosen)

    def accept(self, sound: Samples) -> None:
        """Pass sound on."""
        self._known = False
        super().accept(sound)


def run(scenes: Iterable[Scene], ears: Ears) -> Iterator[SceneResult]:
    """Hear all scenes, each with a fresh chain."""
    timed = tuple(TimedEar(ear) for ear in ears.recognisers)
    for scene in scenes:
        pauses: list[float] = []
        chain = new_chain(Ears(ears.name, timed), paused=partial(_note_time, pauses))
        heard, compute_s = _hear(scene, chain, timed, pauses)
        yield _matched(scene, heard, compute_s)


def _note_time(times: list[float]) -> None:
    times.append(time.perf_counter())


def _hear(
    scene: Scene, chain: HearingChain, ears: tuple[TimedEar, ...], pauses: list[float]
) -> tuple[list[Heard], float]:
    """Feed a scene as fast as it goes, and reckon when each verdict had been there, had the sound come live.

    Decoding begins with the block that opens a pause; the verdict waits for it and for its own block.
    """
    chain.open(scene.scope)
    heard: list[Heard] = []
    began = time.perf_counter()
    pause_s, known = 0.0, 0
    for index, block in enumerate(in_blocks(scene.sound), 1):
        now_s, pushed = index * BLOCK_S, time.perf_counter()
        utterance = chain.push(block)
        if len(pauses) > known:
            pause_s, known = now_s, len(pauses)
        if utterance is not None:
            started = pauses[-1] if pauses and pause_s > utterance.start_s else pushed  # too long, without a pause
            decoded_s = (pause_s if started != pushed else now_s) + max(ear.done_s for ear in ears) - started
            heard.append(Heard(utterance, now_s, max(now_s, decoded_s)))
    return heard, time.perf_counter() - began


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
    """Tell why a call that was heard was not accepted: what would have had to be better."""
    if len(result.heard) != 1:
        return "cut in several" if result.heard else "not detected"
    heard = result.heard[0]
    reading = heard.verdict.readings[0]
    if reading.intent is None:
        return "no sentence"
    if reading.intent != result.placed.trial.intent:
        return "another meaning leads"
    reasons = {"likelihood ratio": (True, False), "margin": (False, True), "margin and likelihood ratio": (True, True)}
    scope, circumstances = result.placed.trial.scope, heard.utterance.circumstances
    for reason, better_ones in (
        ("longer speech than the words take", replace(circumstances, speech_s=0.0)),
        ("margin that would do in quiet", replace(circumstances, over_floor_db=IDEAL.over_floor_db)),
    ):
        if judge(heard.opinions, scope, circumstances=better_ones).judgement is Judgement.ACCEPTED:
            return reason
    for reason, (likely, clear) in reasons.items():
        better = _better(heard, likely=likely, clear=clear)
        if judge((better, *heard.opinions[1:]), scope, circumstances=circumstances).judgement is Judgement.ACCEPTED:
            return reason
    return "other"


def _better(heard: Heard, *, likely: bool, clear: bool) -> Opinion:
    """Give the leading opinion as if its sentence were as likely as free hearing, or had no rival."""
    opinion, reading = heard.opinions[0], heard.verdict.readings[0]
    best = [candidate for candidate in opinion.candidates if candidate.words == reading.words][:1]
    free = opinion.free_score
    if likely and free is not None and best:
        free = min(free, best[0].score)
    return replace(opinion, candidates=tuple(best) if clear else opinion.candidates, free_score=free)
