"""What an installation brings: licences, no network client, and a wheel and an sdist that are whole."""

import re
import subprocess
import sys
import tarfile
import zipfile
from importlib.metadata import PackageNotFoundError
from pathlib import Path

import pytest

from tests.licences import EXTRAS, closure, libraries, licence

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "models_readme" / "licences.md").read_text(encoding="utf-8")
MADE = PAGE.partition("<!-- made by")[2].partition("<!-- end -->")[0]
ROWS = {cells[0]: cells for line in MADE.splitlines() if len(cells := line.strip("| ").split(" | ")) >= 3}
FAMILIES = (
    "MIT",
    "BSD",
    "Apache",
    "MPL",
    "LGPL",
    "AGPL",
    "GPL",
    "PSF",
    "ISC",
    "Zlib",
    "CC0",
    "Unlicense",
    "EUPL",
    "OSL",
)
BESIDE = "logs-of-mine"
CLIENTS = {
    *("requests", "urllib3", "httpx", "httpx2", "httpcore", "aiohttp", "huggingface-hub", "hf-xet", "websockets"),
    *("tornado", "pycurl", "boto3", "grpcio", "websocket-client", "niquests"),
}
"""Packages whose purpose is to reach a network (by the first line of each on the Python Package Index)."""


def families(text: str) -> set[str]:
    return {family for family in FAMILIES if re.search(rf"(?<![A-Z]){family}", text)}


@pytest.mark.parametrize("extra", EXTRAS)
def test_no_package_and_no_kind_of_licence_slips_in(extra: str) -> None:
    """By the packages' own metadata."""
    try:
        brought = closure(extra)
    except PackageNotFoundError as error:
        pytest.skip(f"{error} is not installed")
    assert len(brought) > 10
    for name, package in brought.items():
        assert name in ROWS, f"{name} is new: run python -m tests.licences, read its licence, and say what it means"
        said = licence(package)
        told = ROWS[name][2]
        assert families(said) == families(told), f"{name}: {said!r}, and the page says {told!r}"
        assert said or told == "(says nothing)", name
        unknown = [library for library in libraries(package) if library not in ROWS[name][-1]]
        assert not unknown, f"{name} brings {unknown}: say in models_readme/licences.md what they are"


def test_a_new_package_would_be_noticed() -> None:
    assert "hypothesis" not in ROWS, "it is installed here, and comes with no extra of the program"
    assert families("GNU General Public License (GPL)") == {"GPL"}
    assert families("LGPL-2.1-or-later") == {"LGPL"}


@pytest.mark.parametrize("extra", ["", "english", "office"])
def test_what_splicer_and_supervisor_install_brings_no_network_client(extra: str) -> None:
    try:
        brought = closure(extra)
    except PackageNotFoundError as error:
        pytest.skip(f"{error} is not installed")
    assert not set(brought) & CLIENTS


def test_the_base_brings_what_only_some_need_in_extras_alone() -> None:
    assert not set(closure("")) & {"vosk", "cryptography", "duckdb", "typst", "ctranslate2", "kitoken"}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build both from what git has, as somebody else would."""
    folder = tmp_path_factory.mktemp("built")
    tree = folder / "tree"
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=False,
    ).stdout.split(b"\0")
    if len(listed) < 10:
        pytest.skip("not a git checkout")
    for name in filter(None, listed):
        source, target = ROOT / name.decode(), tree / name.decode()
        target.parent.mkdir(parents=True, exist_ok=True)
        if source.is_file():
            target.write_bytes(source.read_bytes())
    (tree / BESIDE).mkdir()
    (tree / BESIDE / "session.jsonl").write_text("a log that somebody keeps here\n")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(tree)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return folder


def test_the_sdist_holds_all_that_git_has(built: Path) -> None:
    (path,) = built.glob("*.tar.gz")
    with tarfile.open(path) as archive:
        held = {name.partition("/")[2] for name in archive.getnames()}
    tree = built / "tree"
    wanted = {str(file.relative_to(tree)) for file in tree.rglob("*") if file.is_file()}
    left_out = {name for name in wanted if name.startswith((".git", BESIDE))}
    assert len(wanted) > 400
    assert wanted - left_out <= held, sorted(wanted - left_out - held)[:20]
    assert not [name for name in held if name.startswith(BESIDE)], "what lies beside stays here"


def test_the_wheel_holds_every_file_of_the_program_and_nothing_else(built: Path) -> None:
    (path,) = built.glob("*.whl")
    with zipfile.ZipFile(path) as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
        metadata = next(name for name in archive.namelist() if name.endswith("METADATA"))
        assert "License-Expression: MIT" in archive.read(metadata).decode()
    tree = built / "tree"
    wanted = {str(file.relative_to(tree)) for file in (tree / "assistant").rglob("*") if file.is_file()}
    assert held == wanted
