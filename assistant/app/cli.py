"""The commands. Every failure that a person can mend is one line on stderr and an exit code."""

import argparse
import contextlib
import difflib
import gc
import io
import json
import os
import re
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Sequence
from enum import Enum
from functools import partial
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn

from assistant import __version__
from assistant.app import cli_record, cli_setup, settings, telling
from assistant.app.telling import tell
from assistant.cable.makeup import LARGEST_CABLE, Cable, CableError
from assistant.cable.splice_plan import Site
from assistant.errors import AssistantError
from assistant.mending import install_command

PROGRAM = "splice-assistant"
EXIT_FAILED = 1
EXIT_BAD_INPUT = 2
EXIT_FAULT = 70
"""A fault of the program itself, as sysexits.h has it."""
EXIT_INTERRUPTED = 130
"""As shells tell a program that Ctrl-C ended: 128 and the number of the signal."""
EXIT_CODES = (
    "Exit codes: 0 done; 1 a check found something, or what was printed could not be written; 2 bad input, told in one "
    "line; 70 a fault of the program; 130 ended by Ctrl-C."
)
TRACE_VARIABLE = "SPLICE_ASSISTANT_TRACE"
"""Environment variable that lets faults of the program show in full."""
USUAL_HEARING_CABLE = 600
"""Size of cable that `hear` assumes: one super-unit, numbers of up to three digits."""


COLLECT_SELDOM = (1_000_000, 20, 20)
"""Objects after which Python looks for those that refer to one another in a circle: records never do, and a long log
has millions of them; with the usual 700 that search takes a third of the time."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and give its exit code."""
    gc.set_threshold(*COLLECT_SELDOM)
    _prepare_streams()
    try:
        with _Interruptible() as interruptible:
            code = _run(arguments, interruptible)
    except SystemExit as left:  # of argparse, or of a signal to stop
        if _is_written():
            raise
        code = left.code if isinstance(left.code, int) and left.code else EXIT_FAILED
    written = _is_written(told=bool(code))
    return code if code or written else EXIT_FAILED


def _run(arguments: Sequence[str] | None, interruptible: "_Interruptible") -> int:
    try:
        options = command_parser().parse_args(arguments)
        run: Callable[[argparse.Namespace], int] = options.run
        if sys.stdout is None:
            raise AssistantError("standard output is closed; give it a terminal, a file or /dev/null")
        if run not in _WITH_SIGNALS_OF_THEIR_OWN:
            interruptible.begin()
        return run(options)
    except BrokenPipeError:
        _is_written()
        return EXIT_FAILED
    except KeyboardInterrupt:
        return EXIT_INTERRUPTED
    except (AssistantError, CableError) as error:
        _tell(str(error))
        return EXIT_BAD_INPUT
    except Exception as error:
        if interruptible.interrupted:  # what it broke is no fault
            return EXIT_INTERRUPTED
        if isinstance(error, OSError) and _where(error).filename in _PRINTING:
            _tell_lost(error)
            return EXIT_FAILED
        return _fault(error)


_PRINTING = (__file__, cli_record.__file__, cli_setup.__file__, telling.__file__)
"""These open no file: an error of the system in them is one of printing."""


def _where(error: Exception) -> traceback.FrameSummary:
    return traceback.extract_tb(error.__traceback__)[-1]


def _tell_lost(error: Exception) -> None:
    why = error.strerror if isinstance(error, OSError) else error
    _tell(f"standard output cannot be written ({why}); free some space, or give it another file")


def _fault(error: Exception) -> int:
    if TRACE_VARIABLE in os.environ:
        raise error
    where = _where(error)
    _tell(
        f"this is a fault of the program ({type(error).__name__}: {error}, {where.name} at "
        f"{Path(where.filename).name}:{where.lineno}); what was logged is safe, go on with work --resume"
    )
    return EXIT_FAULT


def _tell(line: str) -> None:
    if sys.stderr is not None:
        with contextlib.suppress(OSError):
            tell(f"splice-assistant: {line}", error=True, flush=True)


def _prepare_streams() -> None:
    """Let nothing that is printed fail for its letters, and no file of ours take the number of a closed stream."""
    for number, stream in enumerate((sys.stdin, sys.stdout, sys.stderr)):
        if stream is None:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free
        elif number and isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _is_written(*, told: bool = False) -> bool:
    """Write what waits to be printed; where that fails, tell it, unless it is told or nobody reads; print no more."""
    if sys.stdout is None:
        return True
    try:
        sys.stdout.flush()
    except (OSError, ValueError) as error:
        if not (told or isinstance(error, BrokenPipeError)):
            _tell_lost(error)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return False
    return True


class _Interruptible:
    """Keeps in mind that Ctrl-C came: some libraries make an error of their own of it, above all while imported."""

    def __init__(self) -> None:
        self.interrupted = False
        self._before: signal.Handlers | Callable[[int, FrameType | None], object] | int | None = None

    def __enter__(self) -> "_Interruptible":
        return self

    def begin(self) -> None:
        """Let Ctrl-C unwind the command from now on, unless it is to be ignored."""
        if threading.current_thread() is threading.main_thread() and callable(signal.getsignal(signal.SIGINT)):
            self._before = signal.signal(signal.SIGINT, self._interrupt)

    def __exit__(self, *_: object) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)

    def _interrupt(self, _: int, __: FrameType | None) -> None:
        self.interrupted = True
        raise KeyboardInterrupt


class _Parser(argparse.ArgumentParser):
    """Takes options by their whole names only, and tells what is wrong in one line."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**{"allow_abbrev": False, **settings})

    def error(self, message: str) -> NoReturn:
        """Tell what is wrong, what may be meant and where help is; end with the code for bad input."""
        command = self.prog.removeprefix(PROGRAM).strip()
        where = f"{command}: " if command else ""
        _tell(f"{where}{_with_hint(message, self)}; see {self.prog} --help")
        raise SystemExit(EXIT_BAD_INPUT)


_INVALID_CHOICE = re.compile(r"argument (?P<what>[^:]+): invalid choice: '(?P<given>.*)' \(choose from (?P<all>.*)\)")
_UNKNOWN = "unrecognized arguments: "


def _with_hint(message: str, parser: argparse.ArgumentParser) -> str:
    if found := _INVALID_CHOICE.fullmatch(message):
        choices = [choice.strip("' ") for choice in found["all"].split(",")]
        what = {"COMMAND": "command", "DOES": "command"}.get(found["what"], f"value of {found['what']}")
        return f"there is no {what} {found['given']!r}; {_meant(found['given'], choices)}"
    if message.startswith(_UNKNOWN):
        given = message.removeprefix(_UNKNOWN).split()[0]
        options = [name for action in _actions_of(parser) for name in action.option_strings]
        return f"{given!r} is not known here; {_meant(given.partition('=')[0], options)}"
    return message


def _meant(given: str, choices: list[str]) -> str:
    meant = difflib.get_close_matches(given, choices, 1)
    return f"did you mean {meant[0]}?" if meant else f"there are {', '.join(choices)}"


def _actions_of(parser: argparse.ArgumentParser) -> list[argparse.Action]:
    """List the options of a parser and of its commands; those of the commands are reported by the parser above them."""
    actions = []
    for action in parser._actions:
        actions.append(action)
        if isinstance(action, argparse._SubParsersAction):
            actions += [inner for command in action.choices.values() for inner in _actions_of(command)]
    return actions


def command_parser() -> argparse.ArgumentParser:
    """Give the parser of all commands; help, completion and manual page are made of it."""
    parser: argparse.ArgumentParser = _Parser(
        prog=PROGRAM,
        description="An offline, hands-busy voice and keypad assistant for the splicer of multi-pair cable.",
        epilog=f"{EXIT_CODES} It keeps count of pairs. It does not test for voltage, gas or traffic; your site rules "
        "come first.",
    )
    parser.add_argument("--version", action="version", version=f"{PROGRAM} {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for add in (*_OF_THE_WORK, *cli_record.COMMANDS, *_OF_THE_MACHINE, *cli_setup.commands(command_parser, EXIT_CODES)):
        add(commands)
    return parser


def _add_vosk_model(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--vosk-model", type=Path, metavar="DIR", help="folder of a Vosk model")


def _values(kind: type[Enum]) -> str:
    return " or ".join(str(one.value) for one in kind)


def _add_work(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("work", help="the live session", description="Follow the pairs of a cable by ear.")
    parser.add_argument("plan", nargs="?", type=Path, metavar="PLAN", help="a splice plan; without one, give --cable")
    parser.add_argument("--cable", type=int, metavar="N", help=f"pairs of the cable, 1 to {LARGEST_CABLE}")
    parser.add_argument("--from", dest="first", type=int, metavar="A", help="first pair of the work (usual: 1)")
    parser.add_argument("--to", dest="last", type=int, metavar="B", help="last pair of the work (usual: N)")
    parser.add_argument(
        "--site", type=Site, metavar="SITE", help=f"kind of place, {_values(Site)}: its checks are asked first"
    )
    parser.add_argument("--short-checks", action="store_true", help="ask all checks in one question")
    parser.add_argument("--any-order", action="store_true", help="pairs come in any order, as a far-end partner calls")
    parser.add_argument("--asking", action="store_true", help="only answer questions; confirm nothing")
    settings.add_options(parser, "order", "binder_order", "log")
    parser.add_argument(
        "--resume", nargs="?", const="", metavar="LOG", help="go on with a log, usually the newest unfinished one"
    )
    parser.add_argument(
        "--go-on", nargs="?", const="", metavar="LOG", help="go on with earlier logs of the splice, without being asked"
    )
    parser.add_argument("--new", action="store_true", help="begin anew, whatever earlier logs of the splice there are")
    parser.add_argument("--audio", type=Path, metavar="FILE", help="hear this file instead of the microphone")
    parser.add_argument("--keys", type=Path, metavar="FILE", help="keys from a file, one entry a line")
    parser.add_argument("--typed", action="store_true", help="read words from standard input instead of hearing")
    parser.add_argument("--voice", default="speaker", metavar="WAY", help="speaker, print or wav:FILE (%(default)s)")
    settings.add_options(parser, "talk", "rate", "loudness", "microphone", "speaker", "person", "copy", "ears")
    parser.add_argument(
        "--place",
        type=partial(settings.typed, settings.short_text),
        default="",
        metavar="TEXT",
        help="where the splice is, for the record",
    )
    parser.add_argument("--keep-sound", action="store_true", help="keep every utterance as sound beside the log")
    parser.add_argument("--untuned", action="store_true", help="do without what was learnt of a voice")
    _add_vosk_model(parser)
    parser.set_defaults(run=_work)


def _work(options: argparse.Namespace) -> int:
    from assistant.app.work import WorkOptions, work

    found = settings.filled(options)
    given = {name: value for name, value in vars(options).items() if name != "run" and value is not None}
    assigned = settings.assigned_keys()
    told = "\n".join(filter(None, (settings.told(found), assigned.text)))
    work(WorkOptions(**given, assigned_keys=assigned.keys, settings_told=told))
    return 0


def _add_plan(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("plan", help="check and print a splice plan", description="Check a splice plan.")
    parser.add_argument("plan", type=Path, metavar="PLAN", help="a splice plan (see demo_sessions/README.md)")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="for programs")
    form.add_argument("--csv", action="store_true", help="one row a pair")
    form.add_argument("--card", action="store_true", help="a page to read at the splice")
    settings.add_options(parser, "order")
    parser.set_defaults(run=_plan)


def _plan(options: argparse.Namespace) -> int:
    from assistant.app import plan as plans

    settings.filled(options)
    plan, _ = plans.load_plan(options.plan)
    order = options.order
    if options.json:
        tell(json.dumps(plans.as_object(plan, order), ensure_ascii=False))
    elif options.csv:
        tell(plans.as_csv(plan, order), end="")
    elif options.card:
        tell(plans.as_card(plan, order))
    else:
        tell(plans.as_table(plan, order))
    for line in plans.warnings(plan):
        tell(f"splice-assistant: warning: {options.plan}: {line}", error=True)
    return 0


def _add_ask(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("ask", help="one question, no sound", description="Answer one question in words.")
    parser.add_argument("text", help='as it would be said: "slate violet", "pair forty seven", "group three"')
    parser.add_argument("--cable", type=int, default=LARGEST_CABLE, metavar="N", help="pairs (usual: %(default)s)")
    parser.add_argument("--json", action="store_true", help="answer for programs")
    settings.add_options(parser, "order")
    parser.set_defaults(run=_ask)


def _ask(options: argparse.Namespace) -> int:
    from assistant.app.ask import answer

    settings.filled(options)
    result = answer(options.text, Cable(options.cable), options.order)
    if options.json:
        found: dict[str, object] = {"understood": result.understood, "answer": result.answer, "text": result.text}
        tell(json.dumps(found, ensure_ascii=False))
    elif not result.wrong:
        tell(result.text)
    if result.wrong:
        tell(f"splice-assistant: ask: {result.text}", error=True)
        return EXIT_BAD_INPUT
    return 0


def _add_hear(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser(
        "hear", help="sound files through the hearing chain", description="Tell what is heard in sound files."
    )
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="WAV or FLAC, any rate")
    parser.add_argument("--cable", type=int, default=USUAL_HEARING_CABLE, metavar="N", help="pairs (%(default)s)")
    parser.add_argument("--json", action="store_true", help="one JSON object for each file, a line each")
    settings.add_options(parser, "ears")
    _add_vosk_model(parser)
    parser.set_defaults(run=_hear)


def _hear(options: argparse.Namespace) -> int:
    from assistant.app import ears as ears_here
    from assistant.app.hear import file_object, following_state
    from assistant.app.tune import load_tuning

    settings.filled(options)
    state = following_state(Cable(options.cable))
    ears = ears_here.load(options.ears, options.vosk_model)
    tuning = load_tuning()
    tell("; ".join([f"Ears: {ears.name}", *([ears.about] if ears.about else [])]), error=True)
    failed = False
    for path in options.files:
        try:
            heard = file_object(path, ears_here.new_chain(ears, tuning=tuning), state)
        except AssistantError as error:
            tell(f"splice-assistant: {error}", error=True)
            failed = True
            continue
        tell(json.dumps(heard, ensure_ascii=False) if options.json else _heard_lines(heard), flush=True)
    return EXIT_BAD_INPUT if failed else 0


def _heard_lines(heard: dict[str, object]) -> str:
    lines = [f"{heard['file']}: {heard['audio_s']} s of sound, judged in {heard['compute_s']} s"]
    utterances = heard["utterances"]
    assert isinstance(utterances, list)
    for found in utterances:
        lines.append(f"  {found['start_s']:7.2f} s  {found['verdict']:<9} {found['words']}")
    return "\n".join(lines)


def _add_words(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("words", help="all one can say and key", description="Everything one can say and key.")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="for programs")
    form.add_argument("--card", action="store_true", help="the keypad card, to print")
    form.add_argument("--spoken", action="store_true", help="every sentence that a session speaks")
    form.add_argument("--modes", action="store_true", help="what every entry does in every mode, for developers")
    parser.set_defaults(run=_words)


def _words(options: argparse.Namespace) -> int:
    from assistant.words import render

    if options.json:
        tell(json.dumps(render.as_list(), ensure_ascii=False, indent=1))
    elif options.card:
        from assistant.dialogue import card

        tell(card.as_text(), end="")
    elif options.spoken:
        tell("\n".join(_spoken()))
    elif options.modes:
        from assistant.dialogue import drawing

        tell(f"{drawing.table()}\n```mermaid\n{drawing.transitions()}```")
    else:
        tell(f"{render.table()}\n{render.other_words()}")
    return 0


def _spoken() -> list[str]:
    from assistant.dialogue import sentences
    from assistant.dialogue.checks import CHECKS

    listed = [f"{name}: {sentence}" for name, sentence in sentences.all_sentences().items()]
    return listed + [f"check {check.name}: {check.asks}" for check in CHECKS]


def _add_models(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("models", help="speech models", description="Speech models: list, verify, fetch.")
    does = parser.add_subparsers(metavar="DOES")
    parser.set_defaults(run=_models_list)
    does.add_parser("list", help="which models there are, and where").set_defaults(run=_models_list)
    verify = does.add_parser("verify", help="check the models that are here by their SHA-256")
    verify.set_defaults(run=_models_verify)
    fetch = does.add_parser("fetch", help="fetch a model; goes on where an earlier try broke off")
    fetch.add_argument("name")
    fetch.set_defaults(run=_models_fetch)
    bring = does.add_parser("import", help="unpack a model's archive that lies here already")
    bring.add_argument("name")
    bring.add_argument("archive", type=Path)
    bring.set_defaults(run=_models_import)


def _models_list(_: argparse.Namespace) -> int:
    from assistant.app import fitted_ear, speech_models

    for model in speech_models.CATALOGUE:
        tell(f"{model.name}: {model.about}\n  {speech_models.find(model) or 'not here'}")
    tell(f"{fitted_ear.NAME}: {fitted_ear.ABOUT}\n  {fitted_ear.state()}")
    return 0


def _models_verify(_: argparse.Namespace) -> int:
    from assistant.app import fitted_ear, speech_models

    found = [(model, folder) for model in speech_models.CATALOGUE if (folder := speech_models.find(model))]
    if not found:
        raise AssistantError(f"models: none is here; {install_command('english')}")
    for model, folder in found:
        speech_models.verify(model, folder)
        tell(f"{model.name}: as it should be ({folder})")
    tell(f"{fitted_ear.NAME}: factors as they should be; {fitted_ear.state()}")
    return 0


def _models_fetch(options: argparse.Namespace) -> int:
    from tqdm import tqdm

    from assistant.app import speech_models

    model = speech_models.model_named(options.name)
    with tqdm(unit="B", unit_scale=True, desc=model.name) as bar:

        def progress(done: int, total: int) -> None:
            bar.total = total or None
            bar.update(done - bar.n)

        folder = speech_models.fetch(model, progress)
    tell(f"{model.name}: {folder}")
    return 0


def _models_import(options: argparse.Namespace) -> int:
    from assistant.app import speech_models

    tell(str(speech_models.import_zip(speech_models.model_named(options.name), options.archive)))
    return 0


def _add_tune(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser(
        "tune",
        help="learn a voice and its headset",
        description="Read some phrases once; what this voice and headset need is learnt and kept.",
    )
    does = parser.add_mutually_exclusive_group()
    does.add_argument("--show", action="store_true", help="show what was learnt")
    does.add_argument("--drop", action="store_true", help="forget what was learnt")
    does.add_argument("--audio", type=Path, metavar="DIR", help="sound files named 01.wav, 02.wav, ... for the phrases")
    settings.add_options(parser, "microphone", "ears")
    _add_vosk_model(parser)
    parser.set_defaults(run=_tune)


def _tune(options: argparse.Namespace) -> int:
    from assistant.app import tune

    if options.show:
        tell(tune.shown())
    elif options.drop:
        tell(tune.dropped())
    else:
        settings.filled(options)
        for line in tune.tuned(options.audio, options.microphone, options.ears, options.vosk_model):
            tell(line, flush=True)
    return 0


def _add_demo(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser(
        "demo",
        help="the main job on real sound, without a microphone",
        description="A second synthetic voice calls pairs; the real chain hears, answers and logs. With "
        "--voice speaker both are heard.",
    )
    parser.add_argument("--voice", default="print", metavar="WAY", help="speaker, print or wav:FILE (%(default)s)")
    settings.add_options(parser, "log", "speaker", "ears")
    _add_vosk_model(parser)
    parser.set_defaults(run=_demo)


def _demo(options: argparse.Namespace) -> int:
    from assistant.app.demo import demo

    settings.filled(options)
    return demo(
        log=options.log,
        voice=options.voice,
        speaker=options.speaker,
        ears=options.ears,
        vosk_model=options.vosk_model,
    )


_OF_THE_WORK = (_add_work, _add_plan, _add_ask)
_OF_THE_MACHINE = (_add_hear, _add_words, _add_models, _add_tune, _add_demo)
_WITH_SIGNALS_OF_THEIR_OWN = (_work, _demo)
"""Ctrl-C ends these at once until their session takes the signals."""
