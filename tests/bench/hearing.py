"""Measures the whole chain of hearing, from sound to understood entry, on recordings in noise.

    python -m tests.bench.hearing --of human --snr 10 5 --json result.json

Every trial is seeded: the same options give the same sound. Human and synthetic voices are
reported apart. Human numbers and colour pairs are joined from single-word recordings of one speaker.
"""

import argparse
import json
import resource
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.app import ears as all_ears
from assistant.app.ears import Ears
from tests.bench import report
from tests.bench.measure import SceneResult, run
from tests.bench.scenes import QUIET, Condition, Noise, Scene, load_noises, noise_scenes, scenes_of
from tests.bench.synthetic import synthetic_trials
from tests.bench.trials import FOLDER_VARIABLE, Recordings, Trial, human_trials, recordings_folder

QUICK_LIMIT = 6


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark."""
    options = _options(arguments)
    if not (options.recordings / "manifest.csv").is_file():
        print(f"{options.recordings}: holds no manifest.csv; set {FOLDER_VARIABLE} or give --recordings")
        return 2
    recordings = Recordings(options.recordings)
    conditions = [*([] if options.no_quiet else [QUIET]), *[Condition(snr) for snr in options.snr]]
    noises = load_noises(recordings.noises())
    makers: dict[str, Callable[[], list[Trial]]] = {
        "human": lambda: human_trials(recordings, options.limit, options.seed),
        "synthetic": lambda: synthetic_trials(options.limit, options.seed),
    }
    sources = {source: makers[source]() for source in options.of}
    lines = _heading(options, sources, noises)
    print("\n".join(lines))
    raw: dict[str, object] = {"machine": report.machine(), "options": {k: str(v) for k, v in vars(options).items()}}
    for choice in options.ears or [None]:
        ears = all_ears.load(choice)
        print(f"\n##### ears: {ears.name}")
        raw[ears.name] = _measured(ears, sources, conditions, noises, options)
    if options.json:
        options.json.write_text(json.dumps(raw, indent=1), encoding="utf-8")
    return 0


def _options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--recordings", type=Path, default=recordings_folder(), help="folder with manifest.csv (%(default)s)"
    )
    parser.add_argument("--of", nargs="+", choices=("human", "synthetic"), default=["human", "synthetic"])
    parser.add_argument("--ears", nargs="+", metavar="SET", help=f"sets of ears: {', '.join(all_ears.CHOICES)}")
    parser.add_argument("--snr", type=float, nargs="*", default=[10.0], metavar="DB", help="noise under the speech")
    parser.add_argument("--no-quiet", action="store_true", help="leave the quiet condition out")
    parser.add_argument("--limit", type=int, default=60, help="trials of each kind (%(default)s)")
    parser.add_argument("--noise-s", type=float, default=60.0, help="seconds of each noise alone (%(default)s)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="a few trials of each kind, no noise alone")
    parser.add_argument("--json", type=Path, help="file for all raw results")
    options = parser.parse_args(arguments)
    if options.quick:
        options.limit, options.noise_s = min(options.limit, QUICK_LIMIT), 0.0
    return options


def _heading(options: argparse.Namespace, sources: dict[str, list[Trial]], noises: list[Noise]) -> list[str]:
    about = report.machine()
    sound_s = sum(len(trial.sound) for trials in sources.values() for trial in trials) / 16000
    return [
        *[f"{name}: {value}" for name, value in about.items()],
        f"seed {options.seed}; "
        + "; ".join(f"{source}: {len(trials)} trials" for source, trials in sources.items())
        + f"; {sound_s:.0f} s of speech; {len(noises)} noise recordings",
        "human numbers and colours: joined from single words of one speaker; noise: SNR = active level of the speech "
        "over the whole recording; quiet: white noise 50 dB below the speech; gain of each scene within 5 dB",
    ]


def _measured(
    ears: Ears,
    sources: dict[str, list[Trial]],
    conditions: list[Condition],
    noises: list[Noise],
    options: argparse.Namespace,
) -> dict[str, object]:
    trials: list[dict[str, object]] = []
    strays: list[dict[str, object]] = []
    texts: list[str] = []

    def told(lines: list[str]) -> None:
        print("\n".join(lines), flush=True)
        texts.extend(lines)

    for condition in conditions:
        for source, some in sources.items():
            found = _all(scenes_of(some, condition, noises, options.seed), ears)
            trials += [report.result_object(source, result) for one in found for result in one.results]
            strays += report.stray_objects(source, found)
            told(report.section(f"{source}, {condition.name}, {ears.name}", found))
        if not condition.quiet and options.noise_s:
            found = _all(noise_scenes(condition, noises, options.noise_s, options.seed), ears)
            strays += report.stray_objects("noise alone", found)
            told(report.noise_section(f"noise alone, as at {condition.name}, {ears.name}", found))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    told([f"peak memory of this program, all trials and noises in it: {peak_mb:.0f} MB"])
    return {"trials": trials, "strays": strays, "report": texts, "peak_mb": round(peak_mb)}


def _all(scenes: Iterable[Scene], ears: Ears) -> list[SceneResult]:
    found = []
    for number, one in enumerate(run(scenes, ears), 1):
        found.append(one)
        print(f"\r{number} scenes", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return found


if __name__ == "__main__":
    sys.exit(main())
