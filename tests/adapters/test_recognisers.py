"""The English ears on a synthetic voice: the contract of the port, and the features against their definition."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soxr
from numpy.typing import NDArray

from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.app import fitted_ear, speech_models
from assistant.app.hear import following_state
from assistant.cable.makeup import Cable
from assistant.dialogue.machine import scope_of
from assistant.errors import AssistantError
from assistant.hearing.evidence import Meanings, reading_of
from assistant.hearing.verdict import Judgement, judge
from assistant.ports import SAMPLE_RATE_HZ, ChoosingHearing, Recogniser, Samples
from assistant.words.grammar import Sentences, Words
from assistant.words.parser import Understood, parse
from assistant.words.vocabulary import voice_sentences
from tests.hearing.ears import begun, opinion_of

pytest.importorskip("ctranslate2", reason="the extra 'english' is not installed")
pytest.importorskip("kaldi_native_fbank", reason="the extra 'english' is not installed")
pytestmark = pytest.mark.english

SCOPE = scope_of(following_state(Cable(100)))


def whisper() -> Recogniser:
    from assistant.adapters.recogniser_whisper import WhisperRecogniser

    folder = speech_models.find(speech_models.model_named("whisper-tiny-en"))
    if folder is None:
        pytest.skip("the model whisper-tiny-en is not here")
    return WhisperRecogniser(folder)


def fitted(cache: Path) -> Recogniser:
    from assistant.adapters.recogniser_whisper import WhisperRecogniser

    folder = speech_models.find(speech_models.model_named("whisper-tiny-en"))
    if folder is None:
        pytest.skip("the model whisper-tiny-en is not here")
    return WhisperRecogniser(folder, fitted_ear.prepared(folder, cache).place)


def sphinx() -> Recogniser:
    from assistant.adapters.recogniser_sphinx import SphinxRecogniser

    return SphinxRecogniser()


@pytest.fixture(scope="module")
def ears(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Recogniser]:
    found = {"whisper": whisper(), "fitted": fitted(tmp_path_factory.mktemp("cache")), "sphinx": sphinx()}
    for ear in found.values():
        ear.set_sentences(voice_sentences(SCOPE))
    return found


@pytest.fixture(scope="module")
def voice() -> Iterator[SpeechRenderer]:
    renderer = SpeechRenderer("gmw/en-us", 130)
    yield renderer
    renderer.close()


def said(voice: SpeechRenderer, words: str) -> Samples:
    sound = voice.render(words)
    speech = soxr.resample(sound.samples.astype(np.float32), sound.rate_hz, SAMPLE_RATE_HZ)
    padded = np.pad(speech, (4800, 4800)) + np.random.default_rng(0).normal(0, 12, len(speech) + 9600)
    return np.asarray(np.clip(padded, -32768, 32767), dtype=np.int16)


@pytest.mark.parametrize("words", ["orange violet", "undo that", "how many left"])
@pytest.mark.parametrize("name", ["whisper", "fitted", "sphinx"])
def test_a_clear_call_is_the_best_reading(
    name: str, words: str, ears: dict[str, Recogniser], voice: SpeechRenderer
) -> None:
    reading = reading_of(opinion_of(ears[name], said(voice, words)), Meanings(SCOPE))
    assert parse(words, SCOPE) == Understood(reading.intent)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["whisper", "fitted"])
def test_scores_are_log_probabilities_best_first(name: str, ears: dict[str, Recogniser], voice: SpeechRenderer) -> None:
    opinion = opinion_of(ears[name], said(voice, "green red"))
    scores = [candidate.score for candidate in opinion.candidates]
    assert scores == sorted(scores, reverse=True)
    assert scores[0] < 0
    assert opinion.free_score is not None
    assert opinion.free_score < 0
    assert all("," not in candidate.words for candidate in opinion.candidates)


@pytest.mark.parametrize("name", ["whisper", "fitted", "sphinx"])
def test_silence_noise_and_nothing_never_lead_to_an_entry(name: str, ears: dict[str, Recogniser]) -> None:
    noise = np.random.default_rng(1).normal(0, 500, SAMPLE_RATE_HZ).astype(np.int16)
    for sound in (np.zeros(SAMPLE_RATE_HZ, np.int16), noise, np.zeros(0, np.int16)):
        verdict = judge((opinion_of(ears[name], sound),), SCOPE)
        assert verdict.judgement is not Judgement.ACCEPTED


@pytest.mark.parametrize("name", ["whisper", "fitted"])
def test_talk_that_is_no_call_is_not_accepted(name: str, ears: dict[str, Recogniser], voice: SpeechRenderer) -> None:
    for words in (
        "hand me the cutters please",
        "the weather is bad today",
        "what time is lunch",
        "vicar",
        "nets",
    ):
        sound = said(voice, words)
        verdict = judge((opinion_of(ears[name], sound), opinion_of(ears["sphinx"], sound)), SCOPE)
        assert verdict.judgement is not Judgement.ACCEPTED, words


def test_sphinx_names_the_words_that_its_dictionary_lacks() -> None:
    with pytest.raises(AssistantError, match="blumber, zorpel"):
        sphinx().set_sentences(Sentences(Words("zorpel blumber white")))


def test_sentences_must_come_before_decoding() -> None:
    with pytest.raises(RuntimeError, match="set_sentences"):
        opinion_of(whisper(), np.zeros(16000, np.int16))


def log_mel(samples: Samples) -> NDArray[np.float64]:
    """Whisper's log-mel spectrogram by its definition: 25 ms Hann windows every 10 ms, centred, 80 Slaney mel bands.

    Source: "Robust Speech Recognition via Large-Scale Weak Supervision" (2022), section 2.2, and the Slaney mel
    scale (Auditory Toolbox, 1998): linear below 1 kHz, then 27 steps for a factor of 6.4.
    """
    window = np.hanning(401)[:-1]
    padded = np.pad(samples / 32768, 200, mode="reflect")
    frames = np.lib.stride_tricks.sliding_window_view(padded, 400)[::160][: len(samples) // 160]
    power = np.abs(np.fft.rfft(frames * window, axis=1)) ** 2

    def hertz(mel: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(mel < 15, mel * 200 / 3, 1000 * np.exp((mel - 15) * np.log(6.4) / 27))

    top_mel = 15 + 27 * np.log(8) / np.log(6.4)
    edges = hertz(np.linspace(0, top_mel, 82))
    bins = np.fft.rfftfreq(400, 1 / SAMPLE_RATE_HZ)
    up = (bins - edges[:-2, None]) / (edges[1:-1] - edges[:-2])[:, None]
    down = (edges[2:, None] - bins) / (edges[2:] - edges[1:-1])[:, None]
    bank = np.maximum(0, np.minimum(up, down)) * (2 / (edges[2:] - edges[:-2]))[:, None]
    logs = np.log10(np.maximum(bank @ power.T, 1e-10))
    return np.asarray((np.maximum(logs, logs.max() - 8) + 4) / 4)


def test_features_are_whispers_by_their_definition() -> None:
    from assistant.adapters.log_mel import LogMel

    rng = np.random.default_rng(2)
    sound = (rng.normal(0, 3000, 32000) * np.linspace(0.1, 1, 32000)).astype(np.int16)
    wanted = log_mel(sound)
    mel = LogMel()
    for start in range(0, len(sound), 500):  # pieces that are no whole frames
        mel.accept(sound[start : start + 500])
    found = mel.features(1000)[0, :, : wanted.shape[1]]
    inner = slice(2, wanted.shape[1] - 4)  # the edges are filled in other ways
    assert np.abs(found[:, inner] - wanted[:, inner]).max() < 1e-3


def test_the_whole_chain_answers_a_recorded_call(tmp_path: Path, voice: SpeechRenderer) -> None:
    """As `hear` does it, live chain and all, from a file at another rate."""
    import json

    import soundfile

    from assistant.app.cli import main

    sound = voice.render("orange violet")
    path = tmp_path / "call.flac"
    soundfile.write(path, np.pad(sound.samples, (11025, 0)), sound.rate_hz)
    import contextlib
    import io

    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(["hear", str(path), "--json", "--cable", "100"]) == 0
    (heard,) = json.loads(out.getvalue())["utterances"]
    assert heard["verdict"] == "accepted"
    assert heard["understood"] == {"intent": "pair", "tip": "violet", "ring": "orange"}
    assert heard["start_s"] < 0.6 < heard["end_s"]


def test_sphinx_chooses_among_a_few_sentences(ears: dict[str, Recogniser], voice: SpeechRenderer) -> None:
    sound = said(voice, "four seven")
    hearing = begun(ears["sphinx"], sound)
    assert isinstance(hearing, ChoosingHearing)
    choice = hearing.choose(("four seven", "four", "four seven seven"))
    assert [candidate.words for candidate in choice.candidates] == ["four seven"]
    assert opinion_of(ears["sphinx"], sound).candidates, "all sentences can be searched again afterwards"
    assert hearing.choose(("four seven", "four", "four seven seven")) is choice, "the same is not asked twice"
    nothing = begun(ears["sphinx"], np.zeros(0, np.int16))
    assert isinstance(nothing, ChoosingHearing)
    assert nothing.choose(("four",)).candidates == ()


def test_whisper_stops_when_its_result_is_not_wanted(ears: dict[str, Recogniser], voice: SpeechRenderer) -> None:
    sound = said(voice, "green red")
    hearing = begun(ears["whisper"], sound)
    assert hearing.partial(lambda: False).candidates == ()
    asked = iter([True, True] + [False] * 20)
    assert hearing.partial(lambda: next(asked)).candidates == ()
    assert hearing.partial().candidates, "what was not wanted is not taken for the result"


@pytest.mark.parametrize("name", ["whisper", "fitted", "sphinx"])
def test_what_is_heard_in_a_pause_is_what_the_end_gives_and_more_sound_makes_it_anew(
    name: str, ears: dict[str, Recogniser], voice: SpeechRenderer
) -> None:
    first, rest = said(voice, "orange violet"), said(voice, "undo that")
    hearing = begun(ears[name], first)
    so_far = hearing.partial()
    assert hearing.finish() is so_far, "nothing came since"
    hearing.accept(rest)
    whole = hearing.finish()
    assert whole is not so_far
    if name != "sphinx":  # which goes on learning the mean of the sound, so that no two searches are the same
        assert whole == opinion_of(ears[name], np.concatenate([first, rest])), "as if it had come in one piece"


def test_the_fitted_ear_tells_what_the_model_as_it_came_hears(
    ears: dict[str, Recogniser], voice: SpeechRenderer
) -> None:
    """Its scores are those that the model itself gives, whichever way they are asked for."""
    sound = said(voice, "orange violet")
    opinion = opinion_of(ears["fitted"], sound)
    assert opinion.unfitted is not None
    assert opinion.candidates[0].words == "orange violet"
    assert opinion.unfitted.best_score < 0
    assert opinion.unfitted.free_score < 0
    assert opinion_of(ears["whisper"], sound).unfitted is None


@pytest.mark.parametrize(
    ("seconds", "frames"), [(0.1, 240), (2.0, 240), (2.1, 320), (3.0, 400), (9.5, 1000), (30, 1000)]
)
def test_the_context_is_the_least_that_holds_the_sound_and_32_frames(seconds: float, frames: int) -> None:
    """As it was trained: multiples of 80 frames from 240 to 1000; see models_readme/fitting."""
    from assistant.adapters.log_mel import LogMel
    from assistant.adapters.recogniser_whisper import context_for

    mel = LogMel()
    mel.accept(np.zeros(int(seconds * SAMPLE_RATE_HZ), np.int16))
    assert context_for(mel.samples) == frames
    assert mel.features(frames).shape == (1, 80, frames)


def test_the_features_of_no_sound_are_those_of_silence() -> None:
    from assistant.adapters.log_mel import LogMel

    silent = LogMel()
    silent.accept(np.zeros(SAMPLE_RATE_HZ, np.int16))
    assert (silent.features(240) == LogMel().features(240)).all()
