"""Measures the whole chain of hearing, from sound to understood entry, on recordings in noise.

    python -m tests.bench.hearing --of human --snr 10 5 --json result.json
    python -m tests.bench.hearing --snr 10 --through wide narrow far low hot --effort
    python -m tests.bench.hearing --of human --snr 10 5 --limit 0 --talk-s 3600

Every trial is seeded: the same options give the same sound, but for the breath of two of the synthetic
voices (espeak's f2 and f5), which no seed governs.
Human and synthetic voices are reported apart. Human numbers and colour pairs are joined from single-word
recordings of one speaker.

--snr DB...        conditions: noise so many dB under the speech; quiet comes first unless --no-quiet
--through NAME...  each of these conditions once more through a simulated room or headset: wide, narrow, far,
                   low, hot (what each one is stands in `headset.CHANNELS` and in the heading of the report)
--effort           each of these conditions once more with a simulated raised voice
--noise-s N        N seconds of each noise alone, in each condition that is not quiet; entries per hour
--talk-s N         N seconds of talk without any call, by one talker and by two at once, in quiet and at each
                   SNR, always plain sound; entries and questions per hour. It is always human talk.
--limit N          trials of each kind; 0 leaves calls and chatter out

The same scenes are drawn for every channel and effort, so that conditions can be compared trial by trial.
"""

import argparse
import json
import resource
import sys
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.app import ears as all_ears
from assistant.app.ears import Ears
from tests.bench import headset, report
from tests.bench.measure import SceneResult, run
from tests.bench.scenes import QUIET, Condition, Noise, Scene, load_noises, noise_scenes, scenes_of
from tests.bench.synthetic import synthetic_trials
from tests.bench.talk import TALKERS, talk_clips, talk_scenes
from tests.bench.trials import FOLDER_VARIABLE, Clip, Recordings, Trial, human_trials, recordings_folder

QUICK_LIMIT = 6
NOISE_ALONE = "noise alone"


@dataclass(frozen=True, slots=True)
class Material:
    """Everything that is to be heard."""

    sources: dict[str, list[Trial]]
    """Calls and chatter: human or synthetic -> trials."""
    conditions: list[Condition]
    noises: list[Noise]
    talk: list[Clip]


@dataclass(frozen=True, slots=True)
class Findings:
    """What one set of ears made of it, as it goes into the file of results."""

    trials: list[dict[str, object]] = field(default_factory=list)
    strays: list[dict[str, object]] = field(default_factory=list)
    talk: list[dict[str, object]] = field(default_factory=list)
    rates: list[dict[str, object]] = field(default_factory=list)
    report: list[str] = field(default_factory=list)

    def tell(self, lines: list[str]) -> None:
        """Print lines of the report and keep them."""
        print("\n".join(lines), flush=True)
        self.report.extend(lines)


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark."""
    options = _options(arguments)
    if not (options.recordings / "manifest.csv").is_file():
        print(f"{options.recordings}: holds no manifest.csv; set {FOLDER_VARIABLE} or give --recordings")
        return 2
    material = _material(options)
    print("\n".join(_heading(options, material)))
    raw: dict[str, object] = {
        "machine": report.machine(),
        "options": {k: str(v) for k, v in vars(options).items()},
        "simulated": {
            **{name: asdict(headset.CHANNELS[name]) for name in options.through},
            **({"raised voice": asdict(headset.RAISED)} if options.effort else {}),
        },
    }
    for choice in options.ears or [None]:
        ears = all_ears.load(choice)
        print(f"\n##### ears: {ears.name}")
        findings = _measured(ears, material, options)
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        findings.tell([f"peak memory of this program, all trials and noises in it: {peak_mb:.0f} MB"])
        raw[ears.name] = {**asdict(findings), "peak_mb": round(peak_mb)}
    if options.json:
        options.json.write_text(json.dumps(raw, indent=1), encoding="utf-8")
    return 0


def _material(options: argparse.Namespace) -> Material:
    recordings = Recordings(options.recordings)
    makers: dict[str, Callable[[], list[Trial]]] = {
        "human": lambda: human_trials(recordings, options.limit, options.seed),
        "synthetic": lambda: synthetic_trials(options.limit, options.seed),
    }
    plain = [*([] if options.no_quiet else [QUIET]), *[Condition(snr) for snr in options.snr]]
    conditions = [
        *plain,
        *[replace(one, channel=headset.CHANNELS[name]) for name in options.through for one in plain],
        *([replace(one, effort=True) for one in plain] if options.effort else []),
    ]
    return Material(
        sources={source: makers[source]() for source in options.of if options.limit},
        conditions=conditions,
        noises=load_noises(recordings.noises()),
        talk=talk_clips(recordings) if options.talk_s else [],
    )


def _options(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--recordings", type=Path, default=recordings_folder(), help="folder with manifest.csv (%(default)s)"
    )
    parser.add_argument("--of", nargs="+", choices=("human", "synthetic"), default=["human", "synthetic"])
    parser.add_argument("--ears", nargs="+", metavar="SET", help=f"sets of ears: {', '.join(all_ears.CHOICES)}")
    parser.add_argument("--snr", type=float, nargs="*", default=[10.0], metavar="DB", help="noise under the speech")
    parser.add_argument("--no-quiet", action="store_true", help="leave the quiet condition out")
    parser.add_argument(
        "--through",
        nargs="+",
        choices=tuple(headset.CHANNELS),
        default=[],
        help="simulated rooms and headsets, each beside the plain sound",
    )
    parser.add_argument("--effort", action="store_true", help="a simulated raised voice beside the usual one")
    parser.add_argument("--limit", type=int, default=60, help="trials of each kind (%(default)s)")
    parser.add_argument("--talk-s", type=float, default=0.0, help="seconds of talk without any call (%(default)s)")
    parser.add_argument("--noise-s", type=float, default=60.0, help="seconds of each noise alone (%(default)s)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="a few trials of each kind, no noise alone, no talk")
    parser.add_argument("--json", type=Path, help="file for all raw results")
    options = parser.parse_args(arguments)
    if options.quick:
        options.limit, options.noise_s, options.talk_s = min(options.limit, QUICK_LIMIT), 0.0, 0.0
    return options


def _heading(options: argparse.Namespace, material: Material) -> list[str]:
    about = report.machine()
    sound_s = sum(len(trial.sound) for trials in material.sources.values() for trial in trials) / 16000
    tilt_hz = headset.RAISED.tilt_hz
    lines = [
        *[f"{name}: {value}" for name, value in about.items()],
        f"seed {options.seed}; "
        + "; ".join(f"{source}: {len(trials)} trials" for source, trials in material.sources.items())
        + f"; {sound_s:.0f} s of speech; {len(material.noises)} noise recordings",
        "human numbers and colours: joined from single words of one speaker; noise: SNR = active level of the speech "
        "over the whole recording; quiet: white noise 50 dB below the speech; gain of each scene within 5 dB",
        *[f"{name} (simulated): {headset.CHANNELS[name].about}" for name in options.through],
    ]
    if options.effort:
        lines.append(
            f"raised voice (simulated): {headset.RAISED.louder_db:g} dB louder over the same noise, so that the ratio "
            f"is that much better than its name says; 6 dB an octave from {tilt_hz[0]:g} to {tilt_hz[1]:g} Hz"
        )
    if options.noise_s and any(not one.quiet for one in material.conditions):
        lines.append("noise alone: each recording goes round, so that hours of it are not independent")
    if material.talk:
        seconds = sum(clip.seconds for clip in material.talk)
        lines.append(
            f"talk: {len(material.talk)} human recordings, {seconds:.0f} s, going round; hours with their gaps; only "
            "what is open between calls is listened for, and nobody answers"
        )
    return lines


def _measured(ears: Ears, material: Material, options: argparse.Namespace) -> Findings:
    findings = Findings()
    for condition in material.conditions:
        for source, some in material.sources.items():
            found = _all(scenes_of(some, condition, material.noises, options.seed), ears)
            findings.trials.extend(report.result_object(source, result) for one in found for result in one.results)
            findings.strays.extend(report.stray_objects(source, found))
            findings.tell(report.section(f"{source}, {condition.name}, {ears.name}", found))
        plain = condition.channel is None and not condition.effort
        if options.noise_s and not condition.quiet and (plain or condition.changes_noise):
            found = _all(noise_scenes(condition, material.noises, options.noise_s, options.seed), ears)
            findings.strays.extend(report.stray_objects(NOISE_ALONE, found))
            findings.rates.append(report.rate_object(NOISE_ALONE, condition.name, found))
            findings.tell(report.hourly_section(f"noise alone, as at {condition.name}, {ears.name}", found))
        if material.talk and plain:
            _measure_talk(ears, material, condition, options, findings)
    return findings


def _measure_talk(
    ears: Ears, material: Material, condition: Condition, options: argparse.Namespace, findings: Findings
) -> None:
    for talkers in TALKERS:
        scenes = talk_scenes(material.talk, talkers, condition, material.noises, options.talk_s, options.seed)
        found = _all(scenes, ears)
        source = f"human talk, {talkers}"
        findings.talk.extend(report.talk_objects(source, found))
        findings.rates.append(report.rate_object(source, condition.name, found))
        findings.tell(report.hourly_section(f"{source}, {condition.name}, {ears.name}", found))


def _all(scenes: Iterable[Scene], ears: Ears) -> list[SceneResult]:
    found = []
    for number, one in enumerate(run(scenes, ears), 1):
        found.append(one)
        print(f"\r{number} scenes", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return found


if __name__ == "__main__":
    sys.exit(main())
