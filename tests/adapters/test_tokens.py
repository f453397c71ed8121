"""Text to tokens and back, against what another library makes of the same model."""

from pathlib import Path
from typing import Any

import pytest

from assistant.app import speech_models
from assistant.words.vocabulary import ALL_INTENTS, Scope, voice_sentences

kitoken = pytest.importorskip("kitoken", reason="the extra 'english' is not installed")
pytestmark = pytest.mark.english
REFERENCE = Path(__file__).parents[1] / "data" / "reference" / "whisper_tokens.tsv"


@pytest.fixture(scope="module")
def tokenizer() -> Any:
    folder = speech_models.find(speech_models.model_named("whisper-tiny-en"))
    assert folder is not None
    return kitoken.Kitoken.from_tokenizers_file(str(folder / "tokenizer.json"))


def test_tokens_are_those_that_another_library_gives(tokenizer: Any) -> None:
    """The library `tokenizers`, whose form of file it is; its first line names the version."""
    lines = REFERENCE.read_text(encoding="utf-8").splitlines()[1:]
    assert len(lines) > 100
    for line in lines:
        text, _, numbers = line.partition("\t")
        tokens = [int(number) for number in numbers.split()]
        assert tokenizer.encode(text, text.startswith("<|")) == tokens, text
        assert tokenizer.decode(tokens).decode() == ("" if text.startswith("<|") else text)


def test_every_word_that_can_be_said_comes_back_from_its_tokens(tokenizer: Any) -> None:
    for word in voice_sentences(Scope(ALL_INTENTS)).words:
        tokens = tokenizer.encode(f" {word}")
        assert tokenizer.decode(tokens).decode() == f" {word}"


def test_what_a_special_token_is_called_is_plain_text_when_somebody_says_it(tokenizer: Any) -> None:
    assert len(tokenizer.encode("<|endoftext|>")) > 1
