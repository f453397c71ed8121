"""The commands that work on finished records: replay, report, repair, crew, seal, key."""

import argparse
from pathlib import Path
from typing import TypeAlias

from assistant.account.topics import Topic
from assistant.app import settings
from assistant.app.telling import tell
from assistant.errors import AssistantError
from assistant.handover import PAPERS

EXIT_FOUND = 1
"""A check found something wrong, or a rerun a difference."""
_Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def _add_replay(commands: _Commands) -> None:
    parser = commands.add_parser("replay", help="a session as it went", description="Show a session as it went.")
    parser.add_argument("log", type=Path, metavar="LOG")
    topics = [topic.value for topic in Topic]
    parser.add_argument(
        "--from",
        dest="first",
        default="",
        metavar="EDGE",
        help="begin at a pair (47), a time (14:30), a day (2026-11-25) or both ('2026-11-25 14:30')",
    )
    parser.add_argument("--to", dest="last", default="", metavar="EDGE", help="end at a pair, time or day")
    parser.add_argument("--only", nargs="+", choices=topics, default=[], metavar="TOPIC", help=", ".join(topics))
    parser.add_argument(
        "--speed", type=float, default=0.0, metavar="X", help="times as fast as it went; usual: no wait"
    )
    parser.add_argument("--speak", action="store_true", help="speak the answers")
    parser.add_argument("--listen", action="store_true", help="play what was heard, where sound was kept")
    settings.add_options(parser, "speaker")
    instead = parser.add_mutually_exclusive_group()
    instead.add_argument("--check", action="store_true", help="check checksums, state, sounds and seals instead")
    instead.add_argument("--rerun", action="store_true", help="send the inputs through today's rules instead")
    instead.add_argument(
        "--forget-sound",
        nargs="?",
        const="utterances",
        choices=("utterances", "all"),
        help="remove the kept sound, or all with spoken notes; the log stays valid",
    )
    parser.add_argument("--key", type=Path, metavar="FILE", help="with --check: public key that must have sealed it")
    parser.set_defaults(run=_replay)


def _replay(options: argparse.Namespace) -> int:
    from assistant.app import replay

    if options.check:
        lines, good = replay.checked(options.log, options.key)
        tell("\n".join(lines))
        return 0 if good else EXIT_FOUND
    if options.key:
        raise AssistantError("replay: --key goes with --check; give both")
    if options.rerun:
        lines = list(replay.differences(options.log))
        tell("\n".join(lines) or "no difference: today's rules come to the same")
        return EXIT_FOUND if lines else 0
    if options.forget_sound:
        count = replay.forget_sound(options.log, notes=options.forget_sound == "all")
        tell(f"{options.log}: {count} sound files removed")
        return 0
    if options.speed < 0:
        raise AssistantError("replay: --speed must be more than 0, as in --speed 2; leave it out for no waiting")
    _play(options)
    return 0


def _play(options: argparse.Namespace) -> None:
    from assistant.app import replay

    wanted = replay.Selection(
        first=options.first,
        last=options.last,
        only=frozenset(Topic(name) for name in options.only),
        speed=options.speed,
    )
    player = None
    if options.speak or options.listen:
        settings.filled(options)
        player = replay.Player(options.log, speak=options.speak, listen=options.listen, device=options.speaker)
    try:
        for line in replay.replayed(options.log, wanted, player):
            tell(line, flush=player is not None or options.speed > 0)
    finally:
        if player is not None:
            player.close()


def _add_report(commands: _Commands) -> None:
    parser = commands.add_parser(
        "report",
        help="a page, table or paper to hand over",
        description="Account for the logs of one splice, of any number of days and people.",
    )
    parser.add_argument("logs", nargs="*", type=Path, metavar="LOG")
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="ends in .html .csv .json .pdf")
    instead = parser.add_mutually_exclusive_group()
    instead.add_argument("--schema", action="store_true", help="print the JSON Schema of the .json instead")
    instead.add_argument("--columns", action="store_true", help="print what the columns of the .csv hold instead")
    parser.add_argument(
        "--together", action="store_true", help="put logs of different splices together, if their cables are the same"
    )
    parser.add_argument("--paper", choices=PAPERS, default=PAPERS[0], help="size of PDF pages (usual: %(default)s)")
    parser.set_defaults(run=_report)


def _report(options: argparse.Namespace) -> int:
    from assistant.app.report import described, report

    if options.schema or options.columns:
        tell(described(schema=options.schema))
        return 0
    if not options.logs or options.output is None:
        raise AssistantError(
            "report: give the logs of one splice and -o FILE, as in report monday.jsonl -o splice.html"
        )
    tell("\n".join(report(options.logs, options.output, paper=options.paper, together=options.together)))
    return 0


def _add_repair(commands: _Commands) -> None:
    parser = commands.add_parser(
        "repair",
        help="a new log of what holds in a damaged one",
        description="Make a new log of all records of a damaged one that can be proven. The damaged one is kept.",
    )
    parser.add_argument("log", type=Path, metavar="LOG")
    parser.add_argument("-o", "--output", type=Path, metavar="NEW", help="the new log (usual: LOG.repaired.jsonl)")
    parser.set_defaults(run=_repair)


def _repair(options: argparse.Namespace) -> int:
    from assistant.app.repair import repair

    tell("\n".join(repair(options.log, options.output)))
    return 0


def _add_seal(commands: _Commands) -> None:
    parser = commands.add_parser(
        "seal",
        help="sign a log with this device's key",
        description="Sign a log as it is now. replay --check --key finds out whether it was changed since.",
    )
    parser.add_argument("logs", nargs="+", type=Path, metavar="LOG")
    parser.set_defaults(run=_seal)


def _seal(options: argparse.Namespace) -> int:
    from assistant.app import seals

    for log in options.logs:
        made = seals.seal(log, seals.default_key())
        tell(f"{log}: records 1 to {made.records} sealed by key {made.public_key[:16]}")
    return 0


def _add_key(commands: _Commands) -> None:
    parser = commands.add_parser("key", help="this device's key", description="The key that seals logs.")
    does = parser.add_subparsers(metavar="DOES", required=True)
    new = does.add_parser("new", help="make it; from then on each session is sealed when it ends")
    new.set_defaults(run=_new_key)
    does.add_parser("show", help="show the file of the public half, to be given away").set_defaults(run=_show_key)
    trust = does.add_parser("trust", help="trust the seals of another device")
    trust.add_argument("file", type=Path, metavar="FILE", help="its public half")
    trust.set_defaults(run=_trust_key)
    does.add_parser("list", help="list the keys that are trusted").set_defaults(run=_list_keys)
    distrust = does.add_parser("distrust", help="trust a key no longer")
    distrust.add_argument("key", metavar="KEY", help="its first digits")
    distrust.set_defaults(run=_distrust_key)


def _new_key(_: argparse.Namespace) -> int:
    from assistant.app.seals import default_key, make_key

    tell(str(make_key(default_key())))
    return 0


def _trust_key(options: argparse.Namespace) -> int:
    from assistant.app import seals

    tell(f"{seals.trust(options.file)}: its seals hold from now on")
    return 0


def _distrust_key(options: argparse.Namespace) -> int:
    from assistant.app import seals

    tell(f"{seals.distrust(options.key)}: its seals no longer hold")
    return 0


def _list_keys(_: argparse.Namespace) -> int:
    from assistant.app import seals

    tell("\n".join(f"{key} {name}" for key, name in seals.trusted().items()) or "no key is trusted")
    return 0


def _show_key(_: argparse.Namespace) -> int:
    from assistant.adapters.device_key import PUBLIC_SUFFIX, load_public_key
    from assistant.app.seals import default_key

    path = default_key().with_suffix(PUBLIC_SUFFIX)
    tell(f"{path}\n{load_public_key(path)}")
    return 0


def _add_crew(commands: _Commands) -> None:
    parser = commands.add_parser(
        "crew",
        help="figures over many logs",
        description="Figures over all logs below a folder; needs the extra 'office'. Logs are only read.",
    )
    parser.add_argument("folder", type=Path, metavar="DIR", help="folder of logs, or of Parquet with --from-parquet")
    parser.add_argument(
        "--sql",
        type=Path,
        metavar="FILE",
        help="run this query in place of the usual ones: one SELECT "
        "on sessions, records, facts and joints; it can reach no file, no network and no setting",
    )
    source = parser.add_mutually_exclusive_group()
    source.add_argument(
        "--parquet", type=Path, metavar="OUTDIR", help="also write the tables as Parquet, into this folder"
    )
    source.add_argument("--from-parquet", action="store_true", help="take the tables from Parquet written before")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="for a spreadsheet")
    form.add_argument("--json", action="store_true", help="for programs")
    parser.set_defaults(run=_crew)


def _crew(options: argparse.Namespace) -> int:
    from assistant.app.crew import roll_up
    from assistant.crew import tables

    answers = roll_up(options.folder, sql=options.sql, parquet=options.parquet, from_parquet=options.from_parquet)
    if options.json:
        tell(tables.as_json(answers))
    elif options.csv:
        tell(tables.as_csv(answers), end="")
    else:
        tell(tables.as_tables(answers))
    return 0


COMMANDS = (_add_replay, _add_report, _add_repair, _add_crew, _add_seal, _add_key)
