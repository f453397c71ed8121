"""The command that is told for what is missing: it must be one that works here."""

import importlib
import json
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from assistant import mending

ROOT = Path(__file__).parent.parent


def test_an_extra_is_installed_from_the_folder_that_the_program_came_from() -> None:
    """Where it came from is noted as PEP 610 has it; nothing of this name is registered anywhere."""
    assert mending.install_command("office") == f"{sys.executable} -m pip install '{ROOT}[office]'"


@pytest.mark.parametrize(
    ("note", "command"),
    [("uv-receipt.toml", "uv tool install --force"), ("pipx_metadata.json", "pipx install --force")],
)
def test_what_such_a_tool_installs_anew_keeps_the_extras_that_are_here(
    note: str, command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The notes are those found in environments that these tools made; the first has no pip in it."""
    (tmp_path / note).touch()
    monkeypatch.setattr(sys, "prefix", str(tmp_path))
    monkeypatch.setattr(mending, "find_spec", lambda name: name == "ctranslate2" or None)
    assert mending.install_command("office") == f"{command} '{ROOT}[english,office]'"
    assert mending.install_command("english") == f"{command} '{ROOT}[english]'"


def test_where_the_folder_is_gone_it_says_where_to_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    noted = json.dumps({"url": (tmp_path / "gone").as_uri(), "dir_info": {}})
    monkeypatch.setattr(mending, "distribution", lambda _: SimpleNamespace(read_text=lambda _: noted))
    assert mending.install_command("vosk").endswith(" -m pip install '.[vosk]' in the folder of splice-assistant")


@pytest.mark.parametrize(("manager", "command"), mending.PORTAUDIO.items())
def test_portaudio_is_installed_by_the_package_manager_that_is_here(
    manager: str, command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mending.shutil, "which", lambda name: f"/usr/bin/{name}" if name == manager else None)
    assert mending.portaudio_command().removeprefix("sudo ") == command


def test_the_modules_that_tell_which_extras_are_here_exist() -> None:
    pytest.importorskip("ctranslate2", reason="the extra 'english' is not installed")
    for module in mending.EXTRAS.values():
        importlib.import_module(module)
