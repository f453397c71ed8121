"""The commands that set the assistant up on a machine: settings, devices, check, keys, completion, manual."""

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TypeAlias

from assistant.app import settings
from assistant.app.telling import tell, tell_meanwhile
from assistant.errors import AssistantError

USUAL_TASKS = 25
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
    parser = commands.add_parser(
        "check",
        help="what works here",
        description="Tell what works on this machine. Exit code 0: work by voice would run; 1: it would not.",
    )
    settings.add_options(parser, "log", "microphone", "speaker", "ears")
    parser.set_defaults(run=_check)


def _check(options: argparse.Namespace) -> int:
    from assistant.app import check

    settings.filled(options)
    found = check.findings(options.log, options.microphone, options.speaker, options.ears)
    for finding in found:
        tell(finding.line)
    tell(check.verdict(found))
    return 0 if all(finding.works or not finding.needed for finding in found) else EXIT_FOUND


def _add_devices(commands: _Commands) -> None:
    parser = commands.add_parser(
        "devices",
        help="microphones and loudspeakers, and how they do",
        description="List microphones and loudspeakers; with --try, speak a sentence, record two seconds, play them "
        "back and say what is wrong.",
    )
    parser.add_argument("--try", dest="tries", action="store_true", help="try those in use, or those named")
    settings.add_options(parser, "microphone", "speaker")
    parser.set_defaults(run=_devices)


def _devices(options: argparse.Namespace) -> int:
    from assistant.app import devices

    settings.filled(options)
    if not options.tries:
        tell("\n".join(devices.listed()))
        return 0
    line = ""
    for line in devices.tried(options.microphone, options.speaker, tell_meanwhile):
        tell(line, flush=True)
    return 0 if line == devices.WELL else EXIT_FOUND


def _add_keys(commands: _Commands) -> None:
    parser = commands.add_parser("keys", help="learn the keypad", description="The keypad: its card, and practice.")
    does = parser.add_subparsers(metavar="DOES", required=True)
    card = does.add_parser("card", help="write the card", description="Write the keypad card on one page.")
    card.add_argument("output", type=Path, metavar="FILE", help="ends in .svg, .pdf or .txt")
    card.set_defaults(run=_card)
    practice = does.add_parser(
        "practice",
        help="practise on the pad",
        description="Tasks are called aloud; what is keyed is told right or wrong. Nothing is logged.",
    )
    practice.add_argument("--tasks", type=int, default=USUAL_TASKS, metavar="N", help="how many (usual: %(default)s)")
    practice.add_argument("--quiet", action="store_true", help="print the tasks, do not speak")
    settings.add_options(practice, "speaker")
    practice.set_defaults(run=_practice)


def _card(options: argparse.Namespace) -> int:
    from assistant.app.card import write_card

    write_card(options.output)
    tell(str(options.output))
    return 0


def _practice(options: argparse.Namespace) -> int:
    from assistant.app.practice import practise

    settings.filled(options)
    assigned = settings.assigned_keys()
    if options.tasks < 1:
        raise AssistantError(f"keys practice: --tasks {options.tasks} cannot be; give 1 or more")
    if assigned.text:
        tell(assigned.text)
    return EXIT_FOUND if practise(options.tasks, options.speaker, assigned.keys, aloud=not options.quiet) else 0


def commands(whole: Callable[[], argparse.ArgumentParser], exit_codes: str) -> tuple[_Add, ...]:
    """List the commands; two of them print what is made of the parser of all."""

    def complete(options: argparse.Namespace) -> int:
        import shtab

        tell(shtab.complete(whole(), shell=options.shell))
        return 0

    def page(_: argparse.Namespace) -> int:
        from assistant.app.manual import manual

        tell(manual(whole(), exit_codes, _files()), end="")
        return 0

    def add_completion(commands: _Commands) -> None:
        parser = commands.add_parser(
            "completion",
            help="for the shell to complete commands",
            description="Print what lets a shell complete commands and options.",
        )
        parser.add_argument("shell", choices=("bash", "zsh", "tcsh"), help="the shell")
        parser.set_defaults(run=complete)

    def add_manual(commands: _Commands) -> None:
        parser = commands.add_parser("manual", help="the manual page", description="Print the manual page, for man.")
        parser.set_defaults(run=page)

    return (_add_settings, _add_devices, _add_check, _add_keys, add_completion, add_manual)


def _files() -> tuple[tuple[str, str], ...]:
    from assistant.app.speech_models import models_folder
    from assistant.app.tune import tuning_file

    return (
        (str(settings.settings_file()), "settings; splice-assistant settings --write makes it"),
        (str(tuning_file()), "what was learnt of a voice"),
        (str(settings.default_log()), "logs"),
        (str(models_folder()), "speech models that were fetched"),
    )
