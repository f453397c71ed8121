"""Settings that hold from session to session: command line, environment, a TOML file, or the usual, in this order.

One table says which there are; options, environment variables, the file and its documentation follow from it. What
decides how a pair is confirmed in one job (any order, asking, keys from a file) has no setting: it is asked for each
time. Whatever differs from the usual is told where a session begins.
"""

import difflib
import os
from argparse import ArgumentParser, ArgumentTypeError, Namespace
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from functools import partial
from pathlib import Path

import platformdirs

from assistant.adapters.assigned_keys import CAN_BE_ASSIGNED, PAD_KEYS
from assistant.app.text_files import read_text_file
from assistant.cable.colour_code import Order
from assistant.cable.toml_text import PlacedError, TomlSource, read_toml, shown
from assistant.dialogue.messages import USUAL_LOUDNESS, USUAL_RATE, Talk
from assistant.dialogue.rules.talking import FASTEST, LOUDEST, SLOWEST, SOFTEST
from assistant.errors import AssistantError
from assistant.texts import well_formed

FILE_VARIABLE = "SPLICE_ASSISTANT_SETTINGS"
"""Environment variable that names the file, if it is not the one in the user's folder of configuration."""
PREFIX = "SPLICE_ASSISTANT_"
LONGEST_NUMBER = 20
"""Figures that are read as a number: Python itself refuses thousands of them."""
LONGEST_NAME = 200
"""Characters of a person's name or of a place."""
KEYS_TABLE = "keys"
COMMAND_LINE, USUAL = "command line", "usual"


class SettingError(ValueError):
    """A value that a setting cannot have; the text says what it may be."""


Read = Callable[[str | int], object]
"""Makes of what stands in a file, or is given as text, what the program takes. Raises SettingError."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One setting, under one name in the file, as an option and as an environment variable."""

    name: str
    metavar: str
    about: str
    read: Read
    usual: object = None
    """What holds where nobody sets it; None is told by `usually`."""
    usually: str
    example: str
    """A value as it may stand in the file."""
    dest: str = ""
    numeric: bool = False
    in_the_log: bool = False
    """Whether a session that goes on has it from its log."""

    @property
    def option(self) -> str:
        """Its option on the command line."""
        return f"--{self.name.replace('_', '-')}"

    @property
    def variable(self) -> str:
        """Its environment variable."""
        return PREFIX + self.name.upper()

    @property
    def attribute(self) -> str:
        """Where the parsed command line has it."""
        return self.dest or self.name

    def of_text(self, text: str) -> object:
        """Read it from the command line or the environment.

        Raises:
            SettingError: it cannot be.

        """
        whole = self.numeric and len(text) <= LONGEST_NUMBER and text.removeprefix("-").isdecimal()
        return self.read(int(text) if whole else text)

    def of_file(self, value: object) -> object:
        """Read it from a value of the file.

        Raises:
            SettingError: it cannot be.

        """
        kind, name = (int, "a whole number") if self.numeric else (str, "a text in quotation marks")
        if not isinstance(value, kind) or isinstance(value, bool):
            raise SettingError(f"is {name}, not {shown(value)}")
        return self.read(value)


def _choice(kind: type[Enum], value: str | int) -> object:
    try:
        return kind(value)
    except ValueError:
        choices = " or ".join(str(member.value) for member in kind)
        raise SettingError(f"{shown(value)} cannot be; give {choices}") from None


def _within(least: int, most: int, value: str | int) -> object:
    if isinstance(value, str) or not least <= value <= most:
        raise SettingError(f"{shown(value)} cannot be; give {least} to {most}" if value != "" else "is empty")
    return value


def short_text(value: str | int) -> str:
    """Give a text for the record, well-formed.

    Raises:
        SettingError: it is too long for a line of a report.

    """
    text = str(value)
    if len(text) > LONGEST_NAME:
        raise SettingError(f"has {len(text)} characters; give at most {LONGEST_NAME}, and notes as notes")
    return well_formed(text)


def _name(value: str | int) -> object:
    if not str(value).strip():
        raise SettingError("is empty; give a name, or leave it out")
    return short_text(value)


def _folder(value: str | int) -> object:
    """Give a folder."""
    if not str(value).strip() or "\0" in str(value):
        raise SettingError("names no folder; give its path")
    try:
        return Path(value if isinstance(value, str) else str(value)).expanduser()
    except RuntimeError as error:
        raise SettingError(f"{shown(value)} names no folder ({error}); give its path") from None


def default_log() -> Path:
    """Give the usual folder of logs."""
    return Path(platformdirs.user_data_dir("splice-assistant")) / "sessions"


def _ears(value: str | int) -> object:
    from assistant.app.ears import checked_name

    try:
        return checked_name(str(value))
    except AssistantError as error:
        raise SettingError(str(error)) from None


SETTINGS: tuple[Setting, ...] = (
    Setting(
        name="talk",
        metavar="TALK",
        about="full or brief: read every pair back, or say a tone and the next pair",
        read=partial(_choice, Talk),
        usual=Talk.FULL,
        usually=Talk.FULL.value,
        example='"brief"',
        in_the_log=True,
    ),
    Setting(
        name="rate",
        metavar="N",
        about=f"words a minute of the voice, {SLOWEST} to {FASTEST}",
        read=partial(_within, SLOWEST, FASTEST),
        usual=USUAL_RATE,
        usually=str(USUAL_RATE),
        example="180",
        dest="words_a_minute",
        numeric=True,
        in_the_log=True,
    ),
    Setting(
        name="loudness",
        metavar="P",
        about=f"of the voice in percent, {SOFTEST} to {LOUDEST}",
        read=partial(_within, SOFTEST, LOUDEST),
        usual=USUAL_LOUDNESS,
        usually=str(USUAL_LOUDNESS),
        example="140",
        numeric=True,
        in_the_log=True,
    ),
    Setting(
        name="order",
        metavar="ORDER",
        about="colour of a pair said first, ring-first or tip-first; both are always understood",
        read=partial(_choice, Order),
        usual=Order.RING_FIRST,
        usually=Order.RING_FIRST.value,
        example='"tip-first"',
        in_the_log=True,
    ),
    Setting(
        name="binder_order",
        metavar="ORDER",
        about="the same for binders",
        read=partial(_choice, Order),
        usually="as order",
        example='"tip-first"',
        in_the_log=True,
    ),
    Setting(
        name="microphone",
        metavar="NAME",
        about="input device, by a part of its name or its number; splice-assistant devices lists them",
        read=_name,
        usually="the system's",
        example='"USB headset"',
    ),
    Setting(
        name="speaker",
        metavar="NAME",
        about="output device, in the same way",
        read=_name,
        usually="the system's",
        example='"USB headset"',
    ),
    Setting(
        name="ears",
        metavar="SET",
        about="recognisers, as in fitted+sphinx; splice-assistant check tells the best that is here",
        read=_ears,
        usually="the best installed",
        example='"fitted+sphinx"',
    ),
    Setting(
        name="person",
        metavar="NAME",
        about="who works, for the record",
        read=_name,
        usual="",
        usually="no name",
        example='"crew two"',
    ),
    Setting(
        name="log",
        metavar="DIR",
        about="folder of logs",
        read=_folder,
        usual=default_log(),
        usually=str(default_log()),
        example='"~/splices"',
    ),
    Setting(
        name="copy",
        metavar="DIR",
        about="keep a second, equal log with each step, in this folder on another disk or card",
        read=_folder,
        usually="no copy",
        example='"/media/card/splices"',
    ),
)
BY_NAME = {setting.name: setting for setting in SETTINGS}


@dataclass(frozen=True, slots=True)
class Effective:
    """The value that holds, and where it comes from."""

    setting: Setting
    value: object
    source: str

    @property
    def text(self) -> str:
        """The value for people."""
        if self.value is None or self.value == "":
            return self.setting.usually
        return str(self.value.value if isinstance(self.value, Enum) else self.value)


def add_options(parser: ArgumentParser, *names: str) -> None:
    """Give a command the options of these settings; what is left out stays None until `filled`."""
    for name in names:
        setting = BY_NAME[name]
        parser.add_argument(
            setting.option,
            dest=setting.attribute,
            type=partial(typed, setting.of_text),
            metavar=setting.metavar,
            help=f"{setting.about} (usual: {setting.usually})".replace("%", "%%"),
        )


def typed(read: Callable[[str], object], text: str) -> object:
    """Read a value of the command line for argparse.

    Raises:
        ArgumentTypeError: it cannot be.

    """
    try:
        return read(text)
    except SettingError as error:
        raise ArgumentTypeError(str(error)) from error


def settings_file() -> Path:
    """Give the path of the settings file, which need not be there."""
    named = os.environ.get(FILE_VARIABLE)
    return Path(named) if named else Path(platformdirs.user_config_dir("splice-assistant")) / "settings.toml"


@dataclass(frozen=True, slots=True)
class AssignedKeys:
    """Keys that stand for keys of the pad, and what is told of them where a session begins."""

    keys: Mapping[str, str]
    text: str = ""


@dataclass(frozen=True, slots=True)
class _InFile:
    settings: Mapping[str, Effective]
    keys: AssignedKeys


def assigned_keys() -> AssignedKeys:
    """Give the keys of a foot switch or a presenter, as the file has them.

    Raises:
        AssistantError: the file cannot be read, or something in it cannot be.

    """
    return in_file().keys


def in_file() -> _InFile:
    """Read the settings file; no file holds nothing.

    Raises:
        AssistantError: it cannot be read, or something in it cannot be; the text names line and column.

    """
    path = settings_file()
    if not path.exists() and FILE_VARIABLE not in os.environ:
        return _InFile({}, AssignedKeys({}))
    text = read_text_file(path)
    try:
        values, source = read_toml(text), TomlSource(text)
        keys = _read_keys(values.pop(KEYS_TABLE, {}), source, path)
        return _InFile(_read_settings(values, source, path), keys)
    except PlacedError as error:
        raise AssistantError(f"{path}: {error}") from error


def _read_keys(table: object, source: TomlSource, path: Path) -> AssignedKeys:
    if not isinstance(table, dict):
        raise PlacedError(f"{KEYS_TABLE}: is a table; write [{KEYS_TABLE}]", *source.locate("", 0, KEYS_TABLE))
    for name, pad_key in table.items():
        if name not in CAN_BE_ASSIGNED:
            raise PlacedError(
                f"{shown(name)} cannot stand for a key of the pad; {CAN_BE_ASSIGNED[0]} to {CAN_BE_ASSIGNED[-2]} and "
                f"{CAN_BE_ASSIGNED[-1]} can",
                *source.locate_key(KEYS_TABLE, 0, name),
            )
        if pad_key not in PAD_KEYS:
            raise PlacedError(
                f"{shown(pad_key)} is no key of the pad; give one of {' '.join(PAD_KEYS)}",
                *source.locate(KEYS_TABLE, 0, name),
            )
    parts = ", ".join(f"{name} is {pad_key}" for name, pad_key in table.items())
    return AssignedKeys(table, f"Keys: {parts} ({path})" if parts else "")


def _read_settings(values: Mapping[str, object], source: TomlSource, path: Path) -> dict[str, Effective]:
    found = {}
    for name, value in values.items():
        setting = BY_NAME.get(name)
        if setting is None:
            meant = difflib.get_close_matches(name, BY_NAME, 1)
            hint = f"did you mean {meant[0]}?" if meant else f"there are {', '.join(BY_NAME)}"
            raise PlacedError(f"there is no setting {shown(name)}; {hint}", *source.locate_key("", 0, name))
        line, column = source.locate("", 0, name)
        try:
            read = _anywhere_the_same(setting.of_file(value))
        except SettingError as error:
            raise PlacedError(f"{name}: {error}", line, column) from None
        found[name] = Effective(setting, read, f"{path}, line {line}")
    return found


def _anywhere_the_same(value: object) -> object:
    """Refuse a folder that is named from the folder in work, where it is not typed at the same moment."""
    if isinstance(value, Path) and not value.is_absolute():
        raise SettingError(f"{shown(str(value))} would be another folder from each place; give its whole path, or ~")
    return value


def _in_environment(setting: Setting) -> Effective | None:
    text = os.environ.get(setting.variable)
    if text is None:
        return None
    try:
        return Effective(setting, _anywhere_the_same(setting.of_text(text)), f"environment {setting.variable}")
    except SettingError as error:
        raise AssistantError(f"environment variable {setting.variable}: {error}") from error


def effective(options: Namespace | None = None, settings: Iterable[Setting] = SETTINGS) -> list[Effective]:
    """Tell what holds for each setting, and where it comes from.

    Raises:
        AssistantError: the file or a variable holds what cannot be.

    """
    filed, found = in_file().settings, []
    for setting in settings:
        given = getattr(options, setting.attribute, None) if options is not None else None
        if given is not None:
            found.append(Effective(setting, given, COMMAND_LINE))
            continue
        from_environment = _in_environment(setting)
        found.append(from_environment or filed.get(setting.name) or Effective(setting, setting.usual, USUAL))
    return found


def filled(options: Namespace) -> list[Effective]:
    """Put what holds into the parsed command line, for every setting that the command has.

    A session that goes on talks as its log says: there only the command line, which is refused, could say otherwise.

    Raises:
        AssistantError: the file or a variable holds what cannot be.

    """
    goes_on = getattr(options, "resume", None) is not None
    wanted = [one for one in SETTINGS if hasattr(options, one.attribute) and not (goes_on and one.in_the_log)]
    found = effective(options, wanted)
    for one in found:
        setattr(options, one.setting.attribute, one.value)
    return found


def told(found: Iterable[Effective]) -> str:
    """Tell in a line what is set neither by the command line nor as usual; empty where nothing is."""
    parts = [
        f"{one.setting.name} {one.text} ({one.source})" for one in found if one.source not in (COMMAND_LINE, USUAL)
    ]
    return f"Settings: {'; '.join(parts)}" if parts else ""


def listed() -> str:
    """Give all settings with their values and where each comes from, a line each.

    Raises:
        AssistantError: the file or a variable holds what cannot be.

    """
    path = settings_file()
    there = "" if path.exists() else " (is not there; splice-assistant settings --write makes it)"
    rows = [(one.setting.name, one.text, one.source) for one in effective()]
    widths = [max(len(row[column]) for row in rows) for column in (0, 1)]
    lines = [f"{name:{widths[0]}}  {value:{widths[1]}}  {source}" for name, value, source in rows]
    assigned = assigned_keys()
    return "\n".join([f"File: {path}{there}", *lines, *filter(None, [assigned.text])])


def default_text() -> str:
    """Give the text of a settings file in which everything is as usual."""
    lines = [
        "# Settings of splice-assistant, in TOML. What stands behind # is not set: take the # away to set it.",
        "# The command line goes before the environment, the environment before this file. What is set here is",
        "# told where a session begins; a session that goes on (work --resume) talks as its log says.",
    ]
    for setting in SETTINGS:
        lines += [
            "",
            f"# {setting.about[0].upper()}{setting.about[1:]}. Usual: {setting.usually}.",
            f"# Option {setting.option}, environment {setting.variable}.",
            f"# {setting.name} = {setting.example}",
        ]
    lines += [
        "",
        "# Keys of a foot switch or a presenter that stand for keys of the pad. F5 to F24 and Tab can be given away;",
        "# what a pad sends without Num Lock, letters and the space bar cannot: they would confirm what nobody meant.",
        f"# [{KEYS_TABLE}]",
        '# F13 = "+"',
        '# F14 = "Enter"',
    ]
    return "\n".join(lines) + "\n"


def write_default() -> Path:
    """Write the documented file and give its path; one that is there stays.

    Raises:
        AssistantError: there is one already, or it cannot be written.

    """
    path = settings_file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(default_text())
    except FileExistsError as error:
        raise AssistantError(f"{path}: is there already and stays as it is; edit it, or move it away first") from error
    except OSError as error:
        raise AssistantError(
            f"{path}: cannot be written ({error.strerror}); name another by {FILE_VARIABLE}"
        ) from error
    return path
