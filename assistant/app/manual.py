"""The manual page of the command, made of its parser (man-pages(7), groff_man(7))."""

import argparse
from collections.abc import Iterator

from assistant import __version__


def manual(parser: argparse.ArgumentParser, exit_codes: str, files: tuple[tuple[str, str], ...]) -> str:
    """Give the page as roff; `files` are paths with what they are for."""
    lines = [
        f'.TH "{parser.prog.upper()}" 1 "" "{parser.prog} {__version__}" "User commands"',
        ".SH NAME",
        f"{_plain(parser.prog)} \\- {_plain((parser.description or '').rstrip('.'))}",
        ".SH SYNOPSIS",
        f".B {_plain(parser.prog)}",
        ".I COMMAND",
        "[options]",
        ".SH DESCRIPTION",
        _plain((parser.epilog or "").replace(exit_codes, "").strip()),
        ".SH COMMANDS",
        *_commands(parser),
        ".SH EXIT STATUS",
        _plain(exit_codes),
        ".SH FILES",
    ]
    for path, about in files:
        lines += [".TP", f".I {_plain(path)}", _plain(about)]
    return "\n".join(lines) + "\n"


def _commands(parser: argparse.ArgumentParser) -> Iterator[str]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                yield f".SS {_plain(command.prog.partition(' ')[2])}"
                yield _plain(" ".join((command.description or "").split()))
                yield from _options(command)
                yield from _commands(command)


def _options(parser: argparse.ArgumentParser) -> Iterator[str]:
    formatter = parser._get_formatter()
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction | argparse._HelpAction):
            continue
        names = ", ".join(action.option_strings)
        value = "" if action.nargs == 0 else formatter._format_args(action, str(action.metavar or action.dest.upper()))
        yield ".TP"
        yield f".B {_plain(' '.join(part for part in (names, value) if part))}"
        yield _plain(formatter._expand_help(action) if action.help else "")


def _plain(text: str) -> str:
    """Give text in which roff reads no request and no escape."""
    quoted = text.replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{quoted}" if quoted.startswith((".", "'")) else quoted
