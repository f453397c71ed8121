"""The documents say what the program does."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from assistant import __version__
from assistant.app import speech_models
from assistant.dialogue import drawing, sentences
from assistant.words import render

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


PAGES = [*ROOT.glob("*.md"), *ROOT.glob("demo_sessions/*.md"), *ROOT.glob("models_readme/**/*.md")]
MOST_WORDS = 1500


def test_the_page_of_words_has_todays_table() -> None:
    page = (ROOT / "demo_sessions" / "words.md").read_text(encoding="utf-8")
    assert f"{render.table()}\n{render.other_words()}" in page


def test_the_readme_is_short_and_warns_before_the_first_command() -> None:
    assert len(README.split()) <= MOST_WORDS
    first_command = README.index("\n    ")
    assert README.index("Working pairs are live") < README.index("never cover both ears") < first_command


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_link_leads_somewhere(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        path, _, heading = target.partition("#")
        there = page.parent / path if path else page
        assert there.exists(), f"{page.name}: {target}"
        if heading:
            headings = re.findall(r"^#+ (.*)$", there.read_text(encoding="utf-8"), re.MULTILINE)
            assert heading in {re.sub(r"[^a-z0-9 -]", "", one.lower()).replace(" ", "-") for one in headings}, target


def test_the_readme_has_the_standing_caution() -> None:
    assert sentences.CAUTION() in README


def test_the_first_shift_in_the_readme_is_what_happens(tmp_path: Path) -> None:
    shift = re.findall(r"^\| (?:\"(.*)\")? ?\| (.*) \|$", README, re.MULTILINE)
    said = [words for words, _ in shift if words and words[0] != "`"]
    assert len(said) >= 6
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "assistant",
            "work",
            "--cable",
            "50",
            "--typed",
            "--voice",
            "print",
            "--log",
            str(tmp_path),
        ],
        input="\n".join(said),
        capture_output=True,
        text=True,
        check=True,
    )
    answers = [line[2:] for line in done.stdout.splitlines() if line.startswith("< ")]
    assert answers == [answer for words, answer in shift if answer in answers or words]
    assert len(answers) == len(said) + 1


def test_the_developers_page_has_todays_table_of_modes() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert drawing.table() in page
    assert drawing.transitions() in page


def test_the_two_commands_are_one_line_each() -> None:
    commands = [line for line in README.splitlines() if line.startswith("    python3 -m venv")]
    assert len(commands) == 2
    assert commands[0].endswith("splice-assistant demo")
    assert commands[1].endswith("pytest -n auto")
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert commands[1].strip().removeprefix("python3 -m venv .venv && ") in ci


@pytest.mark.parametrize("model", speech_models.CATALOGUE, ids=lambda model: model.name)
def test_every_model_is_told_of_with_its_checksums(model: speech_models.SpeechModel) -> None:
    page = (ROOT / "models_readme" / "README.md").read_text(encoding="utf-8")
    assert model.name in page
    assert all(f"{file.sha256}  {file.name}" in page for file in model.files)


def test_the_changelog_knows_this_version() -> None:
    assert f"## {__version__}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_the_top_level_is_as_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "assistant", "models_readme", "tests", "demo_sessions"}
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout.split()
    if not tracked:
        pytest.skip("not a git checkout")
    top = {name.split("/")[0] for name in tracked}
    assert {name for name in top if not name.startswith(".")} == agreed | {"LICENSE", "CHANGELOG.md"}
