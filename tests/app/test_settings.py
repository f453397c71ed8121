"""Settings: which value holds, where it comes from, and one line with line and column for each that cannot be."""

import re
import tomllib
from pathlib import Path

import pytest

from assistant.app import settings
from assistant.app.cli import command_parser, main
from assistant.dialogue.messages import PairConfirmed, SessionOpened, Talk
from assistant.session.journal import load
from tests.app.test_cli import run

FILE = """\
# of this device
talk = "brief"
rate = 180
order = "tip-first"
person = "crew two"
"""


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "config" / "settings.toml"
    path.parent.mkdir()
    monkeypatch.setenv("SPLICE_ASSISTANT_SETTINGS", str(path))
    return path


def work_options(*arguments: str) -> dict[str, settings.Effective]:
    options = command_parser().parse_args(["work", "--cable", "5", *arguments])
    return {one.setting.name: one for one in settings.filled(options)}


def test_the_command_line_goes_before_the_environment_and_that_before_the_file(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The order that the XDG and POSIX utility conventions lead people to expect; common practice, no source."""
    file.write_text("rate = 130\n")
    assert (work_options()["rate"].value, work_options()["rate"].source) == (130, f"{file}, line 1")
    monkeypatch.setenv("SPLICE_ASSISTANT_RATE", "140")
    assert (work_options()["rate"].value, work_options()["rate"].source) == (140, "environment SPLICE_ASSISTANT_RATE")
    assert (work_options("--rate", "160")["rate"].value, work_options("--rate", "160")["rate"].source) == (
        160,
        "command line",
    )
    monkeypatch.delenv("SPLICE_ASSISTANT_RATE")
    file.write_text("")
    assert (work_options()["rate"].value, work_options()["rate"].source) == (150, "usual")


def test_the_command_shows_each_value_and_its_source(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file.write_text(FILE)
    assert main(["settings"]) == 0
    shown = [re.split(r"  +", line) for line in capsys.readouterr().out.splitlines()[1:]]
    assert [row[0] for row in shown] == [setting.name for setting in settings.SETTINGS]
    assert ["talk", "brief", f"{file}, line 2"] in shown
    assert ["order", "tip-first", f"{file}, line 4"] in shown
    assert ["loudness", "100", "usual"] in shown


WRONG = [
    ('talk = "brief', 1, 14, "this is no TOML"),
    ('talk = "short"', 1, 8, "'short' cannot be; give full or brief"),
    ("\ntalk = true", 2, 8, "is a text in quotation marks, not True"),
    ("rate = 300", 1, 8, "300 cannot be; give 120 to 250"),
    ('rate = "180"', 1, 8, "is a whole number, not '180'"),
    ("rate = true", 1, 8, "is a whole number, not True"),
    ("loudness = 0", 1, 12, "0 cannot be; give 25 to 400"),
    ("# so\n  tlak = 1", 2, 3, "there is no setting 'tlak'; did you mean talk?"),
    ('any_order = "yes"', 1, 1, "there is no setting 'any_order'"),
    ("[talk]\nhow = 1", 1, 1, "is a text in quotation marks"),
    ('log = "splices"', 1, 7, "would be another folder from each place"),
    ('log = ""', 1, 7, "names no folder"),
    ('copy = "~nobody-here/x"', 1, 8, "names no folder"),
    ('ears = "elephant"', 1, 8, "is no set of ears"),
    ('person = " "', 1, 10, "is empty"),
    ('keys = "F5"', 1, 8, "write [keys]"),
    ('[keys]\n"Page Down" = "+"', 2, 1, "'Page Down' cannot stand for a key of the pad; F5 to F24 and Tab can"),
    ('talk = "full"\n[keys]\nb = "+"', 3, 1, "'b' cannot stand for a key of the pad"),
    ('[keys]\nF4 = "+"', 2, 1, "'F4' cannot stand"),
    ('[keys]\nF5 = "yes"', 2, 6, "'yes' is no key of the pad; give one of 0 1"),
    ("[keys]\nF5 = 1", 2, 6, "1 is no key of the pad"),
    ("rate = " + "9" * 5000, 1, 8, "far too long"),
]


@pytest.mark.parametrize(("text", "line", "column", "what"), WRONG, ids=[text[:20] for text, *_ in WRONG])
def test_what_cannot_be_is_named_with_line_and_column(
    text: str, line: int, column: int, what: str, file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file.write_text(text + "\n")
    for command in (["settings"], ["work", "--cable", "5", "--typed", "--voice", "print"]):
        assert main(command) == 2
        (error,) = capsys.readouterr().err.splitlines()
        assert error.startswith(f"splice-assistant: {file}: line {line}, column {column}: ")
        assert what in error


def test_a_wrong_variable_is_named(
    file: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file.write_text("")
    for name, value, line in (
        ("TALK", "", "'' cannot be; give full or brief"),
        ("RATE", "9" * 5000, "cannot be; give 120 to 250"),
        ("RATE", "180.0", "'180.0' cannot be; give 120 to 250"),
        ("LOG", "splices", "would be another folder from each place"),
        ("PERSON", "x" * 201, "has 201 characters"),
    ):
        with monkeypatch.context() as variables:
            variables.setenv(f"SPLICE_ASSISTANT_{name}", value)
            assert main(["settings"]) == 2
            (error,) = capsys.readouterr().err.splitlines()
            assert error.startswith(f"splice-assistant: environment variable SPLICE_ASSISTANT_{name}: ")
            assert line in error


def test_a_named_file_that_is_not_there_is_an_error_and_the_usual_one_is_not(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["settings"]) == 2
    assert f"{file}: cannot be read" in capsys.readouterr().err
    monkeypatch.delenv("SPLICE_ASSISTANT_SETTINGS")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "xdg"))
    assert main(["settings"]) == 0
    assert f"File: {tmp_path}/xdg/splice-assistant/settings.toml (is not there" in capsys.readouterr().out


def test_the_written_file_sets_nothing_and_every_example_in_it_can_be_set(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["settings", "--write"]) == 0
    written = file.read_text()
    assert tomllib.loads(written) == {}
    assert all(one.source == "usual" for one in settings.effective())
    examples = [line.removeprefix("# ") for line in written.splitlines() if re.match(r"# \w+ = |# \[", line)]
    file.write_text("\n".join(examples))
    assert settings.assigned_keys().keys == {"F13": "+", "F14": "Enter"}
    assert {one.setting.name for one in settings.effective() if str(file) in one.source} == set(settings.BY_NAME)
    assert main(["settings", "--write"]) == 2
    assert "is there already and stays" in capsys.readouterr().err
    assert file.read_text() == "\n".join(examples)


def test_a_session_tells_what_is_set_and_a_resumed_one_talks_as_its_log_says(file: Path, tmp_path: Path) -> None:
    file.write_text(FILE)
    arguments = ["work", "--typed", "--voice", "print", "--log", str(tmp_path / "log")]
    begun = run(*arguments, "--cable", "25", "--order", "ring-first", stdin="blue white\n")
    told = next(line for line in begun.stdout.splitlines() if line.startswith("Settings: "))
    assert told == (
        f"Settings: talk brief ({file}, line 2); rate 180 ({file}, line 3); person crew two ({file}, line 5)"
    )
    file.write_text('talk = "full"\nrate = 120\norder = "tip-first"\n')
    again = run(*arguments, "--resume", stdin="orange white\n")
    assert again.returncode == 0, again.stderr
    assert "Settings: " not in again.stdout
    (log,) = (tmp_path / "log").glob("*.jsonl")
    facts = [fact for record in load(log).records for fact in record.facts]
    (opened,) = [fact for fact in facts if isinstance(fact, SessionOpened)]
    assert (opened.settings.talk, opened.settings.words_a_minute, opened.who.person) == (
        Talk.BRIEF,
        180,
        "crew two",
    )
    assert [fact.pair for fact in facts if isinstance(fact, PairConfirmed)] == [1, 2]


def test_nothing_that_decides_how_a_pair_is_confirmed_can_be_set() -> None:
    """What a file sets is not in sight at the splice: these are asked for each time."""
    forbidden = {"any_order", "asking", "short_checks", "typed", "keys", "audio", "cable", "first", "last", "untuned"}
    assert not forbidden & {setting.attribute for setting in settings.SETTINGS}
