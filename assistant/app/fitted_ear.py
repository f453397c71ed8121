"""Our fit of the recogniser: the factors that come with the program, merged with upstream's weights on first use.

The merged weights lie in the user's cache, beside a note of what they were made of; when the model, the factors or the
file itself is not what the note says, they are made anew. Where nothing can be written they are merged in memory.
"""

import hashlib
import io
import json
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from assistant.app import speech_models
from assistant.app.speech_models import sha256_of
from assistant.errors import AssistantError

FACTORS = Path(__file__).parent / "fitted_ear.npz"
NAME, VERSION = "fitted-ear", "1"
ABOUT = f"our fit of whisper-tiny-en, version {VERSION}, 4 MB of factors; merged on first use"
FACTORS_SHA256 = "9af138e8bd437884dd6e760a9fa9e23def7cb8f6fd2599238b07516ab8c729d8"
WEIGHTS, NOTE = "model.bin", "made.json"
BESIDE = ("config.json", "vocabulary.txt")
"""Files of the model that the merged weights need beside them."""


@dataclass(frozen=True, slots=True)
class FittedWeights:
    """Where the merged weights are: in a folder, or, where none could be written, here."""

    place: Path | bytes
    about: str = ""
    """Why they are not in the cache; empty if they are."""


def cache_folder() -> Path:
    """Give the folder of the merged weights."""
    import platformdirs

    return Path(platformdirs.user_cache_dir("splice-assistant")) / "fitted-ear"


def is_here() -> bool:
    """Tell whether the factors came with the program."""
    return FACTORS.is_file()


def prepared(model: Path, folder: Path | None = None) -> FittedWeights:
    """Give the merged weights, made now if they are not there; `model` must have been checked before.

    Raises:
        AssistantError: the factors are not those of this version, or do not fit the model.

    """
    folder = folder or cache_folder()
    if is_made(model, folder):
        return FittedWeights(folder)
    data = _merged(model)
    try:
        _keep(data, model, folder)
    except OSError as error:
        return FittedWeights(
            data, f"{folder}: cannot be written ({error.strerror}); the fitted ear is merged in memory each time"
        )
    return FittedWeights(folder)


def is_made(model: Path, folder: Path) -> bool:
    """Tell whether the cache holds the weights of this model and these factors, unharmed."""
    try:
        note = json.loads((folder / NOTE).read_text(encoding="utf-8"))
        wanted = {"model": sha256_of(model / WEIGHTS), "factors": FACTORS_SHA256, "merged": sha256_of(folder / WEIGHTS)}
    except (OSError, ValueError):
        return False
    return bool(note == wanted) and all((folder / name).is_file() for name in BESIDE)


def checked_factors() -> bytes:
    """Give the factors' file.

    Raises:
        AssistantError: it is missing or not what it should be.

    """
    data = FACTORS.read_bytes() if is_here() else b""
    if hashlib.sha256(data).hexdigest() != FACTORS_SHA256:
        raise AssistantError(f"{FACTORS}: is not the file it should be (SHA-256 differs); install the program again")
    return data


def state() -> str:
    """Tell where the merged weights lie and whether they are whole; checks factors and weights.

    Raises:
        AssistantError: the factors are not those of this version.

    """
    checked_factors()
    here = (speech_models.find(model) for model in speech_models.CATALOGUE if model.name == "whisper-tiny-en")
    model = next(here, None)
    if model is None:
        return "not merged: whisper-tiny-en is not here"
    return str(cache_folder()) if is_made(model, cache_folder()) else "not merged yet; the next use does it"


def _merged(model: Path) -> bytes:
    import numpy as np

    from assistant.adapters.whisper_weights import merged, read, written

    with np.load(io.BytesIO(checked_factors())) as factors:
        return written(merged(read((model / WEIGHTS).read_bytes()), dict(factors)))


def _keep(data: bytes, model: Path, folder: Path) -> None:
    """Write the files, each so that it appears whole, the note last."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / NOTE).unlink(missing_ok=True)
    note = {
        "model": sha256_of(model / WEIGHTS),
        "factors": FACTORS_SHA256,
        "merged": hashlib.sha256(data).hexdigest(),
    }
    contents = {WEIGHTS: data, **{name: (model / name).read_bytes() for name in BESIDE}}
    for name, content in {**contents, NOTE: json.dumps(note).encode()}.items():
        handle, part = tempfile.mkstemp(dir=folder)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            os.replace(part, folder / name)
        except OSError:
            Path(part).unlink(missing_ok=True)
            raise
