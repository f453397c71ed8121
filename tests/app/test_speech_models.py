"""Models fetched from a server on this machine, broken off, resumed, spoilt, imported and verified."""

import hashlib
import io
import os
import socket
import struct
import threading
import zipfile
from collections.abc import Callable, Iterator, Mapping
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from assistant.app import speech_models
from assistant.app.cli import main
from assistant.app.speech_models import RemoteFile, SpeechModel
from assistant.errors import AssistantError

WEIGHTS = bytes(number * 7 % 251 for number in range(50_000))
WORDS = b"blue\nwhite\n"


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Make an archive of these files, whatever their names."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name), data)
    return out.getvalue()


ARCHIVE = zipped({"tiny/am/final.mdl": WEIGHTS, "tiny/conf/model.conf": b"--x=1\n", "tiny/README": b"a model\n"})


# --- a server ------------------------------------------------------------------------------------------


class Server:
    """Serves files on 127.0.0.1 as it is told to, and keeps what was asked of it."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.ranges = True
        """Whether a part can be asked for (RFC 9110, section 14)."""
        self.tells_length = True
        self.breaks_after: int | None = None
        """Bytes after which the next answer breaks off; only once."""
        self.resets = False
        """Whether it breaks off with a reset instead of a plain end."""
        self.asked: list[tuple[str, str | None]] = []
        """(path, Range header)."""
        server = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                server.answer(self)

            def log_message(self, *_: object) -> None:  # quiet
                pass

        self._http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=lambda: self._http.serve_forever(poll_interval=0.01))
        self._thread.start()
        self.url = f"http://127.0.0.1:{self._http.server_port}/"

    def close(self) -> None:
        if self._thread.is_alive():
            self._http.shutdown()
            self._thread.join()
            self._http.server_close()

    def answer(self, request: BaseHTTPRequestHandler) -> None:
        wanted = request.headers.get("Range")
        self.asked.append((request.path, wanted))
        data = self.files.get(request.path)
        if data is None:
            request.send_error(404)
            return
        start = int(wanted.removeprefix("bytes=").removesuffix("-")) if wanted and self.ranges else 0
        if start and start >= len(data):
            request.send_error(416)
            return
        request.send_response(206 if start else 200)
        if start:
            request.send_header("Content-Range", f"bytes {start}-{len(data) - 1}/{len(data)}")
        if self.tells_length:
            request.send_header("Content-Length", str(len(data) - start))
        request.end_headers()
        part, self.breaks_after = data[start:][: self.breaks_after], None
        request.wfile.write(part)
        if self.resets:
            self.resets = False
            _reset(request.connection)


def _reset(connection: socket.socket) -> None:
    """Close so that the other side finds the connection reset, as lingering for no time does (socket(7))."""
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    os.close(connection.detach())


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    running = Server()
    yield running
    running.close()


@pytest.fixture
def models(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the folder of models, named by the environment variable."""
    folder = tmp_path / "models"
    monkeypatch.setenv("SPLICE_ASSISTANT_MODELS", str(folder))
    return folder


def plain(server: Server, *, weights: bytes = WEIGHTS, size: int = 0) -> SpeechModel:
    """Give a model of two files that the server has."""
    server.files |= {"/weights.bin": weights, "/words.txt": WORDS}
    return SpeechModel(
        name="tiny",
        ear="whisper",
        about="made up",
        files=(
            RemoteFile(name="weights.bin", url=f"{server.url}weights.bin", sha256=sha256(WEIGHTS), size=size),
            RemoteFile(name="words.txt", url=f"{server.url}words.txt", sha256=sha256(WORDS), size=0),
        ),
    )


def packed(archive: bytes = ARCHIVE, url: str = "http://127.0.0.1:9/") -> SpeechModel:
    """Give a model that comes as an archive."""
    file = RemoteFile(name="tiny.zip", url=f"{url}tiny.zip", sha256=sha256(archive), size=len(archive))
    return SpeechModel(name="tiny", ear="vosk", about="made up", files=(file,), zipped=True)


def quiet(done: int, total: int) -> None:
    assert 0 <= done <= total or total == 0


def part_of(models: Path, name: str = "weights.bin") -> Path:
    return models / "parts" / "tiny" / name


def refused(call: Callable[[], object]) -> str:
    """Give the text of the error, which is one line."""
    with pytest.raises(AssistantError) as error:
        call()
    text = str(error.value)
    assert "\n" not in text
    return text


# --- where models lie -----------------------------------------------------------------------------------


def test_the_variable_names_the_folder(models: Path) -> None:
    assert speech_models.models_folder() == models


def test_without_the_variable_it_is_the_data_folder_of_the_user(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import platformdirs

    monkeypatch.delenv("SPLICE_ASSISTANT_MODELS", raising=False)
    monkeypatch.setattr(platformdirs, "user_data_dir", lambda name: str(tmp_path / name))
    assert speech_models.models_folder() == tmp_path / "splice-assistant" / "models"


def test_a_model_that_is_not_known_is_refused_with_those_that_are() -> None:
    text = refused(lambda: speech_models.model_named("tinny"))
    assert text.startswith("tinny: no such model")
    assert all(model.name in text for model in speech_models.CATALOGUE)


@pytest.mark.parametrize("model", speech_models.CATALOGUE, ids=lambda model: model.name)
def test_every_model_of_the_catalogue_can_be_named_and_is_complete(model: SpeechModel) -> None:
    assert speech_models.model_named(model.name) is model
    assert model.files
    assert not model.zipped or len(model.files) == 1
    for file in model.files:
        assert file.url.startswith("https://")
        assert file.url.endswith(f"/{file.name}")
        assert len(bytes.fromhex(file.sha256)) == 32
        assert "/" not in file.name


def test_a_model_is_found_only_when_all_its_files_are_there(models: Path, server: Server) -> None:
    model = plain(server)
    assert speech_models.find(model) is None
    (models / "tiny").mkdir(parents=True)
    (models / "tiny" / "weights.bin").write_bytes(WEIGHTS)
    assert speech_models.find(model) is None
    (models / "tiny" / "words.txt").write_bytes(WORDS)
    assert speech_models.find(model) == models / "tiny"


def test_a_model_in_an_installed_package_is_found_behind_the_fetched_one(
    models: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "site" / "made_up_models"
    (package / "inside").mkdir(parents=True)
    (package / "__init__.py").write_text("")
    (package / "inside" / "words.txt").write_bytes(WORDS)
    monkeypatch.syspath_prepend(package.parent)
    file = RemoteFile(name="words.txt", url="", sha256=sha256(WORDS), size=0)
    model = SpeechModel(name="tiny", ear="whisper", about="", files=(file,), package=("made_up_models", "inside"))
    assert speech_models.find(model) == package / "inside"
    (models / "tiny").mkdir(parents=True)
    (models / "tiny" / "words.txt").write_bytes(WORDS)
    assert speech_models.find(model) == models / "tiny"


def test_a_package_that_is_not_installed_has_no_model(models: Path) -> None:
    file = RemoteFile(name="words.txt", url="", sha256=sha256(WORDS), size=0)
    model = SpeechModel(name="tiny", ear="whisper", about="", files=(file,), package=("no_such_package_here", "x"))
    assert speech_models.find(model) is None


# --- fetching ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tells_length", [True, False])
def test_a_model_is_fetched_and_verified(models: Path, server: Server, tells_length: bool) -> None:
    server.tells_length = tells_length
    model = plain(server)
    told: list[tuple[int, int]] = []
    folder = speech_models.fetch(model, lambda done, total: told.append((done, total)))
    assert folder == models / "tiny"
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == {"weights.bin": WEIGHTS, "words.txt": WORDS}
    assert server.asked == [("/weights.bin", None), ("/words.txt", None)]
    assert told[-1] == (len(WORDS), len(WORDS) if tells_length else 0)
    assert (len(WEIGHTS), len(WEIGHTS) if tells_length else 0) in told
    speech_models.verify(model, folder)
    assert speech_models.find(model) == folder


def test_progress_goes_up_to_the_whole(models: Path, server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(speech_models, "CHUNK_BYTES", 10_000)
    part_of(models).parent.mkdir(parents=True)
    part_of(models).write_bytes(WEIGHTS[:15_000])
    told: list[tuple[int, int]] = []
    speech_models.fetch(plain(server), lambda done, total: told.append((done, total)))
    assert told == [(done, 50_000) for done in (25_000, 35_000, 45_000, 50_000)] + [(len(WORDS), len(WORDS))]


def test_a_fetch_goes_on_where_it_broke_off(models: Path, server: Server) -> None:
    part_of(models).parent.mkdir(parents=True)
    part_of(models).write_bytes(WEIGHTS[:12_345])
    folder = speech_models.fetch(plain(server), quiet)
    assert server.asked[0] == ("/weights.bin", "bytes=12345-")
    assert (folder / "weights.bin").read_bytes() == WEIGHTS


def test_a_server_that_gives_no_parts_is_asked_for_the_whole(models: Path, server: Server) -> None:
    server.ranges = False
    part_of(models).parent.mkdir(parents=True)
    part_of(models).write_bytes(b"x" * 12_345)
    folder = speech_models.fetch(plain(server), quiet)
    assert (folder / "weights.bin").read_bytes() == WEIGHTS


def test_a_file_that_is_whole_already_is_not_fetched_again(models: Path, server: Server) -> None:
    part_of(models).parent.mkdir(parents=True)
    part_of(models).write_bytes(WEIGHTS)
    speech_models.fetch(plain(server), quiet)
    assert server.asked == [("/words.txt", None)]


@pytest.mark.parametrize("resets", [False, True], ids=["ends early", "reset"])
@pytest.mark.parametrize("ranges", [True, False], ids=["parts", "no parts"])
@pytest.mark.parametrize("size", [0, len(WEIGHTS)], ids=["size unknown", "size known"])
def test_a_connection_that_breaks_off_leaves_what_came(
    models: Path, server: Server, resets: bool, ranges: bool, size: int
) -> None:
    model = plain(server, size=size)
    server.ranges, server.resets, server.breaks_after = ranges, resets, 20_000
    text = refused(lambda: speech_models.fetch(model, quiet))
    assert text.startswith(f"{server.url}weights.bin")
    assert "run the same command again" in text
    assert not (models / "tiny").exists()
    came = part_of(models).read_bytes()
    assert came == WEIGHTS[: len(came)]
    assert resets or len(came) == 20_000

    folder = speech_models.fetch(model, quiet)
    assert server.asked[1] == ("/weights.bin", f"bytes={len(came)}-" if came else None)
    assert (folder / "weights.bin").read_bytes() == WEIGHTS


def test_without_a_length_the_size_in_the_catalogue_tells_that_it_broke_off(models: Path, server: Server) -> None:
    model = plain(server, size=len(WEIGHTS))
    server.tells_length, server.breaks_after = False, 20_000
    assert "run the same command again" in refused(lambda: speech_models.fetch(model, quiet))
    assert part_of(models).read_bytes() == WEIGHTS[:20_000]
    assert (speech_models.fetch(model, quiet) / "weights.bin").read_bytes() == WEIGHTS


def test_what_is_not_the_file_it_should_be_is_refused_and_removed(models: Path, server: Server) -> None:
    model = plain(server, weights=WEIGHTS[:-1] + b"!")
    text = refused(lambda: speech_models.fetch(model, quiet))
    assert "SHA-256 differs" in text
    assert not part_of(models).exists()
    assert speech_models.find(model) is None

    server.files["/weights.bin"] = WEIGHTS
    assert (speech_models.fetch(model, quiet) / "weights.bin").read_bytes() == WEIGHTS
    assert server.asked[1] == ("/weights.bin", None), "nothing of the wrong file was kept"


def test_a_part_of_another_file_is_refused_and_removed(models: Path, server: Server) -> None:
    part_of(models).parent.mkdir(parents=True)
    part_of(models).write_bytes(b"x" * 12_345)
    model = plain(server)
    assert "SHA-256 differs" in refused(lambda: speech_models.fetch(model, quiet))
    assert not part_of(models).exists()
    assert (speech_models.fetch(model, quiet) / "weights.bin").read_bytes() == WEIGHTS


@pytest.mark.parametrize("extra", [0, 100])
def test_a_wrong_file_of_full_length_is_removed_for_the_next_try(models: Path, server: Server, extra: int) -> None:
    # the server answers 416, range not satisfiable (RFC 9110, section 15.5.17)
    part_of(models).parent.mkdir(parents=True)
    part_of(models).write_bytes(b"x" * (len(WEIGHTS) + extra))
    model = plain(server)
    assert "416" in refused(lambda: speech_models.fetch(model, quiet))
    assert (speech_models.fetch(model, quiet) / "weights.bin").read_bytes() == WEIGHTS


def test_a_file_that_the_server_does_not_have_is_named(models: Path, server: Server) -> None:
    model = plain(server)
    del server.files["/words.txt"]
    text = refused(lambda: speech_models.fetch(model, quiet))
    assert text.startswith(f"{server.url}words.txt")
    assert "404" in text
    assert part_of(models).read_bytes() == WEIGHTS, "what came is kept for the next try"


def test_a_server_that_is_not_there_is_named(models: Path, server: Server) -> None:
    model = plain(server)
    server.close()
    text = refused(lambda: speech_models.fetch(model, quiet))
    assert text.startswith(f"{server.url}weights.bin")
    assert "cannot be reached" in text


def test_files_may_be_had_from_elsewhere(models: Path, server: Server) -> None:
    model = plain(server)
    server.files = {f"/mirror{path}": data for path, data in server.files.items()}
    folder = speech_models.fetch(model, quiet, url_of=lambda file: f"{server.url}mirror/{file.name}")
    assert (folder / "weights.bin").read_bytes() == WEIGHTS
    assert [path for path, _ in server.asked] == ["/mirror/weights.bin", "/mirror/words.txt"]


def test_an_older_model_gives_way_to_the_fetched_one(models: Path, server: Server) -> None:
    (models / "tiny").mkdir(parents=True)
    (models / "tiny" / "weights.bin").write_bytes(b"old")
    (models / "tiny" / "stale.bin").write_bytes(b"old")
    folder = speech_models.fetch(plain(server), quiet)
    assert sorted(path.name for path in folder.iterdir()) == ["weights.bin", "words.txt"]
    assert (folder / "weights.bin").read_bytes() == WEIGHTS


def test_an_archive_is_fetched_and_unpacked(models: Path, server: Server) -> None:
    server.files["/tiny.zip"] = ARCHIVE
    model = packed(url=server.url)
    server.breaks_after = 1000
    assert "run the same command again" in refused(lambda: speech_models.fetch(model, quiet))
    folder = speech_models.fetch(model, quiet)
    assert server.asked == [("/tiny.zip", None), ("/tiny.zip", "bytes=1000-")]
    assert folder == models / "tiny"
    assert (folder / "am" / "final.mdl").read_bytes() == WEIGHTS
    speech_models.verify(model, folder)
    assert list(models.rglob("*.zip")) == [], "the archive is not kept beside the model"


# --- archives --------------------------------------------------------------------------------------------


@pytest.fixture
def archive(tmp_path: Path) -> Callable[[bytes], Path]:
    def write(data: bytes) -> Path:
        path = tmp_path / "brought.zip"
        path.write_bytes(data)
        return path

    return write


def everything_under(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


def test_an_archive_that_lies_here_is_imported(models: Path, archive: Callable[[bytes], Path]) -> None:
    path = archive(ARCHIVE)
    folder = speech_models.import_zip(packed(), path)
    assert folder == models / "tiny"
    assert everything_under(models) == [
        "tiny",
        "tiny/.files.sha256",
        "tiny/README",
        "tiny/am",
        "tiny/am/final.mdl",
        "tiny/conf",
        "tiny/conf/model.conf",
    ]
    assert (folder / "am" / "final.mdl").read_bytes() == WEIGHTS
    assert speech_models.find(packed()) == folder
    speech_models.verify(packed(), folder)
    assert path.read_bytes() == ARCHIVE, "what the person brought stays"


def test_an_archive_can_be_imported_again(models: Path, archive: Callable[[bytes], Path]) -> None:
    speech_models.import_zip(packed(), archive(ARCHIVE))
    (models / "tiny" / "am" / "final.mdl").write_bytes(b"spoilt")
    folder = speech_models.import_zip(packed(), archive(ARCHIVE))
    speech_models.verify(packed(), folder)


@pytest.mark.parametrize(
    "name",
    [
        "../outside.txt",
        "tiny/../../outside.txt",
        "tiny/am/../../../outside.txt",
        "/outside.txt",
        "//outside.txt",
        "..\\outside.txt",
        "tiny\\..\\..\\outside.txt",
        "\\outside.txt",
        "..",
    ],
)
def test_an_archive_that_leads_outside_is_refused_whole(
    models: Path, tmp_path: Path, archive: Callable[[bytes], Path], name: str
) -> None:
    evil = zipped({"tiny/am/final.mdl": WEIGHTS, name: b"outside"})
    path = archive(evil)
    before = everything_under(tmp_path)
    text = refused(lambda: speech_models.import_zip(packed(evil), path))
    assert "leads outside" in text
    assert name in text
    assert [made for made in everything_under(tmp_path) if made not in [*before, "models"]] == []
    assert not Path("/outside.txt").exists()


def test_dots_inside_a_name_lead_nowhere(models: Path, archive: Callable[[bytes], Path]) -> None:
    fine = zipped({"tiny/am/final.mdl": WEIGHTS, "tiny/..graph/...": b"x", "tiny/./a..b": b"y"})
    folder = speech_models.import_zip(packed(fine), archive(fine))
    assert (folder / "..graph" / "...").read_bytes() == b"x"
    assert (folder / "a..b").read_bytes() == b"y"


def test_an_archive_that_is_another_one_is_refused(models: Path, archive: Callable[[bytes], Path]) -> None:
    text = refused(lambda: speech_models.import_zip(packed(), archive(ARCHIVE + b"!")))
    assert "SHA-256 differs" in text
    assert not models.exists()


@pytest.mark.parametrize("data", [b"", b"no archive at all", ARCHIVE[:400]], ids=["empty", "text", "cut off"])
def test_what_is_no_archive_is_refused(models: Path, archive: Callable[[bytes], Path], data: bytes) -> None:
    assert "cannot be unpacked" in refused(lambda: speech_models.import_zip(packed(data), archive(data)))
    assert everything_under(models) == []


@pytest.mark.parametrize("files", [{"final.mdl": b"x"}, {"a/x": b"x", "b/x": b"x"}], ids=["none", "two"])
def test_an_archive_without_exactly_one_folder_is_refused(
    models: Path, archive: Callable[[bytes], Path], files: dict[str, bytes]
) -> None:
    data = zipped(files)
    assert "should hold one folder" in refused(lambda: speech_models.import_zip(packed(data), archive(data)))
    assert everything_under(models) == []


def test_an_archive_that_is_not_there_is_named(models: Path, tmp_path: Path) -> None:
    text = refused(lambda: speech_models.import_zip(packed(), tmp_path / "nowhere.zip"))
    assert text.startswith(str(tmp_path / "nowhere.zip"))


def test_a_model_of_single_files_is_not_imported(
    models: Path, server: Server, archive: Callable[[bytes], Path]
) -> None:
    assert "does not come as an archive" in refused(lambda: speech_models.import_zip(plain(server), archive(ARCHIVE)))


# --- verifying -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["weights.bin", "words.txt"])
def test_a_changed_file_is_found(models: Path, server: Server, name: str) -> None:
    model = plain(server)
    folder = speech_models.fetch(model, quiet)
    data = bytearray((folder / name).read_bytes())
    data[len(data) // 2] ^= 1
    (folder / name).write_bytes(data)
    text = refused(lambda: speech_models.verify(model, folder))
    assert text.startswith(f"{folder / name}: is not the file it should be")
    assert "models fetch tiny" in text


@pytest.mark.parametrize("name", ["weights.bin", "words.txt"])
def test_a_missing_file_is_found(models: Path, server: Server, name: str) -> None:
    model = plain(server)
    folder = speech_models.fetch(model, quiet)
    (folder / name).unlink()
    assert refused(lambda: speech_models.verify(model, folder)).startswith(f"{folder / name}: is missing")


@pytest.mark.parametrize("name", ["am/final.mdl", "conf/model.conf", "README"])
def test_a_changed_file_of_an_unpacked_archive_is_found(
    models: Path, archive: Callable[[bytes], Path], name: str
) -> None:
    folder = speech_models.import_zip(packed(), archive(ARCHIVE))
    (folder / name).write_bytes((folder / name).read_bytes()[:-1])
    assert refused(lambda: speech_models.verify(packed(), folder)).startswith(f"{folder / name}: is not the file")
    (folder / name).unlink()
    assert refused(lambda: speech_models.verify(packed(), folder)).startswith(f"{folder / name}: is missing")


def test_a_folder_that_was_unpacked_by_hand_cannot_be_verified(models: Path) -> None:
    (models / "tiny" / "am").mkdir(parents=True)
    (models / "tiny" / "am" / "final.mdl").write_bytes(WEIGHTS)
    assert speech_models.find(packed()) == models / "tiny"
    assert "was not unpacked by this program" in refused(lambda: speech_models.verify(packed(), models / "tiny"))


# --- the commands ------------------------------------------------------------------------------------------


@pytest.fixture
def only(monkeypatch: pytest.MonkeyPatch) -> Callable[[SpeechModel], None]:
    """Put one model in place of the catalogue."""
    return lambda model: monkeypatch.setattr(speech_models, "CATALOGUE", (model,))


def test_the_commands_fetch_list_and_verify(
    models: Path, server: Server, only: Callable[[SpeechModel], None], capsys: pytest.CaptureFixture[str]
) -> None:
    only(plain(server))
    assert main(["models", "list"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[:2] == ["tiny: made up", "  not here"]
    assert told[2].startswith("fitted-ear: ")
    assert told[3] == "  not merged: whisper-tiny-en is not here"
    assert main(["models", "fetch", "tiny"]) == 0
    assert capsys.readouterr().out == f"tiny: {models / 'tiny'}\n"
    assert main(["models", "list"]) == 0
    assert capsys.readouterr().out.startswith(f"tiny: made up\n  {models / 'tiny'}\n")
    assert main(["models", "verify"]) == 0
    verified = capsys.readouterr().out
    assert "tiny: as it should be" in verified
    assert "fitted-ear: factors as they should be; not merged" in verified
    (models / "tiny" / "words.txt").write_bytes(b"red\n")
    assert main(["models", "verify"]) == 2
    errors = capsys.readouterr().err
    assert errors.startswith(f"splice-assistant: {models / 'tiny' / 'words.txt'}")
    assert errors.count("\n") == 1


def test_the_command_imports(
    models: Path,
    archive: Callable[[bytes], Path],
    only: Callable[[SpeechModel], None],
    capsys: pytest.CaptureFixture[str],
) -> None:
    only(packed())
    assert main(["models", "import", "tiny", str(archive(ARCHIVE))]) == 0
    assert capsys.readouterr().out == f"{models / 'tiny'}\n"
    assert main(["models", "import", "tinny", str(archive(ARCHIVE))]) == 2
    assert "no such model" in capsys.readouterr().err
