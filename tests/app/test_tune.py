"""The tuning file: kept, shown, dropped, and refused when broken."""

import json
from pathlib import Path

import pytest

from assistant.app import tune
from assistant.app.cli import main
from assistant.errors import AssistantError
from assistant.hearing.tuning import UNTUNED


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SPLICE_ASSISTANT_SETTINGS", str(tmp_path / "settings.toml"))
    (tmp_path / "settings.toml").touch()
    return tmp_path


def test_without_a_file_the_usual_limits_apply(capsys: pytest.CaptureFixture[str]) -> None:
    assert tune.load_tuning() == UNTUNED
    assert main(["tune", "--show"]) == 0
    assert capsys.readouterr().out == "Nothing is kept beside the usual limits.\n"


def test_what_is_kept_is_shown_and_can_be_dropped(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "voice.json").write_text(json.dumps({"likelihood_ratio": -3.1, "confused": ["green", "brown"]}))
    assert tune.load_tuning().confused == {"green", "brown"}
    assert main(["tune", "--show"]) == 0
    assert "-3.1 nats" in capsys.readouterr().out
    assert main(["tune", "--drop"]) == 0
    assert tune.load_tuning() == UNTUNED


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"likelihood_ratio": "low", "confused": []}'])
def test_a_broken_file_is_one_clear_line(text: str, folder: Path) -> None:
    (folder / "voice.json").write_text(text)
    with pytest.raises(AssistantError, match="is no tuning"):
        tune.load_tuning()


def test_a_folder_without_recordings_teaches_nothing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tune", "--audio", str(folder), "--ears", "sphinx"]) == 2
    captured = capsys.readouterr()
    assert "nothing was kept" in captured.err
    assert "Say: blue white" in captured.out
    assert not (folder / "voice.json").exists()
