"""The commands that set the assistant up on a machine: settings, check."""

import argparse
from collections.abc import Callable
from typing import TypeAlias

from assistant.app import settings
from assistant.app.telling import tell

EXIT_FOUND = 1
"""Something that is needed does not work."""
_Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"
_Add: TypeAlias = Callable[[_Commands], None]


def _add_settings(commands: _Commands) -> None:
    parser = commands.add_parser(
        "settings",
        help="what is set, and where",
        description="Show the value of each setting and where it comes from.",
    )
    parser.add_argument("--write", action="store_true", help="write a documented file; one that is there stays")
    parser.set_defaults(run=_settings)


def _settings(options: argparse.Namespace) -> int:
    tell(f"{settings.write_default()}: written" if options.write else settings.listed())
    return 0


def _add_check(commands: _Commands) -> None:
    parser = commands.add_parser("check", help="what works here", description="Tell what works on this machine.")
    settings.add_options(parser, "log")
    parser.set_defaults(run=_check)


def _check(options: argparse.Namespace) -> int:
    from assistant.app.check import findings

    settings.filled(options)
    found = findings(options.log)
    for finding in found:
        tell(f"{'works ' if finding.works else 'FAILS '} {finding.what}: {finding.about}")
    return 0 if all(finding.works or not finding.needed for finding in found) else EXIT_FOUND


def commands(_whole: Callable[[], argparse.ArgumentParser]) -> tuple[_Add, ...]:
    """List the commands."""
    return (_add_settings, _add_check)
