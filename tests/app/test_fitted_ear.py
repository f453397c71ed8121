"""The fitted ear's weights: made once, checked, made anew, and made in memory where nothing can be written."""

import io
from pathlib import Path

import numpy as np
import pytest

from assistant.adapters.whisper_weights import Weights, merged, read, written
from assistant.app import fitted_ear
from assistant.errors import AssistantError

BASE = Weights(
    6,
    "WhisperSpec",
    3,
    {
        "a/weight": np.arange(6, dtype=np.float16).reshape(2, 3),
        "a/bias": np.zeros(2, np.float16),
        "table": np.arange(4, dtype=np.int8),
    },
    (("b/weight", "a/weight"),),
)
FACTORS = {
    "a__weight__A": np.ones((1, 3), np.float16),
    "a__weight__B": np.array([[1], [2]], np.float16),
    "a__bias": np.array([0.5, -0.5], np.float16),
}


def npz(factors: dict[str, "np.ndarray[tuple[int, ...], np.dtype[np.float16]]"]) -> bytes:
    out = io.BytesIO()
    np.savez(out, **factors)  # type: ignore[arg-type]
    return out.getvalue()


@pytest.fixture
def model(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small model, and factors that fit it in place of those of the program."""
    folder = tmp_path / "model"
    folder.mkdir()
    (folder / "model.bin").write_bytes(written(BASE))
    for name in fitted_ear.BESIDE:
        (folder / name).write_text(name)
    give(tmp_path, monkeypatch, npz(FACTORS))
    return folder


def give(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, data: bytes) -> None:
    (tmp_path / "factors.npz").write_bytes(data)
    monkeypatch.setattr(fitted_ear, "FACTORS", tmp_path / "factors.npz")
    monkeypatch.setattr(fitted_ear, "FACTORS_SHA256", fitted_ear.hashlib.sha256(data).hexdigest())


def test_the_factors_that_come_with_the_program_are_those_of_this_version() -> None:
    assert len(fitted_ear.checked_factors()) < 4_000_000


def test_weights_are_read_and_written_back_byte_for_byte_and_the_factors_are_added() -> None:
    data = written(BASE)
    assert written(read(data)) == data
    found = merged(read(data), FACTORS)
    assert found.variables["a/weight"].tolist() == [[1, 2, 3], [5, 6, 7]]
    assert found.variables["a/weight"].dtype == np.float16
    assert found.variables["a/bias"].tolist() == [0.5, -0.5]
    assert found.variables["table"].tolist() == [0, 1, 2, 3]
    assert found.aliases == BASE.aliases


@pytest.mark.parametrize("broken", [written(BASE)[:-3], written(BASE) + b"x", b"", b"not a model at all"])
def test_what_is_no_model_is_refused(broken: bytes) -> None:
    with pytest.raises(AssistantError, match="fetch the model again"):
        read(broken)


@pytest.mark.parametrize(
    "factors", [{}, {**FACTORS, "other": np.ones(2, np.float16)}, {**FACTORS, "a__bias": np.ones(3, np.float16)}]
)
def test_factors_of_another_model_are_refused(
    factors: dict[str, "np.ndarray[tuple[int, ...], np.dtype[np.float16]]"],
) -> None:
    with pytest.raises(AssistantError, match=r"do(es)? not fit the model"):
        merged(BASE, factors)


def test_it_is_made_once(model: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    assert not fitted_ear.is_made(model, cache)
    assert fitted_ear.prepared(model, cache).place == cache
    made = (cache / "model.bin").stat().st_mtime_ns
    assert fitted_ear.prepared(model, cache).place == cache
    assert (cache / "model.bin").stat().st_mtime_ns == made
    assert read((cache / "model.bin").read_bytes()).variables["a/bias"].tolist() == [0.5, -0.5]
    assert sorted(path.name for path in cache.iterdir()) == ["config.json", "made.json", "model.bin", "vocabulary.txt"]


@pytest.mark.parametrize("file", ["model.bin", "made.json", "config.json"])
def test_what_is_harmed_is_made_anew(file: str, model: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    fitted_ear.prepared(model, cache)
    whole = (cache / "model.bin").read_bytes()
    (cache / file).write_bytes(b"harmed") if file != "config.json" else (cache / file).unlink()
    assert not fitted_ear.is_made(model, cache)
    fitted_ear.prepared(model, cache)
    assert fitted_ear.is_made(model, cache)
    assert (cache / "model.bin").read_bytes() == whole


def test_other_factors_or_another_model_make_it_anew(
    model: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cache = tmp_path / "cache"
    fitted_ear.prepared(model, cache)
    give(tmp_path, monkeypatch, npz({"a__bias": np.array([2, 2], np.float16)}))
    assert not fitted_ear.is_made(model, cache)
    fitted_ear.prepared(model, cache)
    assert read((cache / "model.bin").read_bytes()).variables["a/bias"].tolist() == [2, 2]


def test_where_nothing_can_be_written_it_is_merged_in_memory_and_said(model: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    found = fitted_ear.prepared(model, tmp_path / "file" / "cache")
    assert isinstance(found.place, bytes)
    assert read(found.place).variables["a/bias"].tolist() == [0.5, -0.5]
    assert "merged in memory" in found.about


def test_factors_that_are_not_whole_are_refused(model: Path, tmp_path: Path) -> None:
    (tmp_path / "factors.npz").write_bytes(b"torn")
    with pytest.raises(AssistantError, match="install the program again"):
        fitted_ear.prepared(model, tmp_path / "cache")


def test_where_the_weights_lie_is_told(model: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fitted_ear.speech_models, "find", lambda _: model)
    monkeypatch.setattr(fitted_ear, "cache_folder", lambda: tmp_path / "cache")
    assert "not merged yet" in fitted_ear.state()
    fitted_ear.prepared(model)
    assert fitted_ear.state() == str(tmp_path / "cache")
    monkeypatch.setattr(fitted_ear.speech_models, "find", lambda _: None)
    assert "whisper-tiny-en is not here" in fitted_ear.state()
