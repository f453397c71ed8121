"""How long a splicer waits for the answer, on real sound devices, and how long the start takes.

    pulseaudio -D --exit-idle-time=-1
    python -m tests.bench.answer_time --calls 20 --starts 5 --json times.json

A synthetic voice is played into the microphone of the live session. The left channel of one sink carries
the voice, the right one the answers, so that both are recorded on one clock. Measured from the true end of
the speech in that recording, which is its last 10 ms within 30 dB of its loudest, to the first sample of
the tick and of the spoken answer over the noise floor. In it are the pause that ends a call, the judging,
the log, and the buffers of the sound system. Both voices are synthetic. Times are of the null devices of a
sound server: a real sound card adds its own. Run it on an idle machine: with two other benchmarks on two
cores a session once took more than a minute to start; the load at the beginning is printed.

After the session the same calls, as they were recorded, go through the chain once more without a session: what the
pause that ended each was, and how long its decoding took, by the clock and in processor time. An answer is heard after
the longer of the pause and the decoding (which begins in the pause), and the delays of the sound system; under load the
decoding shows how much of a figure is the machine's.
"""

import argparse
import json
import os
import queue
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from assistant.adapters.audio_file import in_blocks
from assistant.adapters.tones import TICK_HZ, TICK_S
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.app import ears as all_ears
from assistant.app.demo import CALLER_VOICE, CALLER_WORDS_PER_MINUTE, ROOM_NOISE
from assistant.app.ears import Ears
from assistant.app.hear import following_state
from assistant.cable.colour_code import colours_of
from assistant.cable.makeup import Cable
from assistant.dialogue import sentences
from assistant.dialogue.scope import scope_of
from assistant.hearing.chain import BLOCK_S
from assistant.ports import SAMPLE_RATE_HZ, Samples
from assistant.words.numbers import spoken_digits
from tests.bench import sound
from tests.bench.measure import TimedEar
from tests.bench.report import machine, p95
from tests.live.sound_loop import load_module, missing, take_away

LINE, SPEAKER, MICROPHONE = "bench_line", "bench_speaker", "bench_microphone"
CABLE_PAIRS = 100
LEAD_S, TRAIL_S = 0.5, 1.5
"""Room noise before and after the words of a call."""
ANSWER_WITHIN_S = 12.0
START_WITHIN_S = 180.0
SILENT_S = 0.8
"""Longer than the pauses inside an answer."""
LOWEST_THRESHOLD = 64
"""In steps of 16-bit sound: 54 dB under full scale."""
TICK_SHARE = 0.9
"""Share of a tick's energy near its frequency; speech has less."""
BURST_GAP_S = 0.02
"""Longest silence within one sound."""
CLICK_S = 0.02
"""A sound shorter than this is what is left of a tick: no speech is so short."""
MOST_TRIES = 3

Step = NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Answer:
    """One call with its answer; times in seconds after the end of the speech, None where there was none."""

    said: str
    answer: str
    tick_s: float | None
    tick_lasts_s: float | None
    speech_s: float | None


@dataclass(frozen=True, slots=True)
class Start:
    """One start of the live session; seconds after the command."""

    log_line_s: float
    sentence_s: float
    """Its first sentence is printed."""
    sound_s: float
    """Its first sentence is heard."""


@dataclass(frozen=True, slots=True)
class Decoding:
    """One call heard once more; seconds."""

    said: str
    pause_s: float
    """From the last speech, as the detector sees it, to the end of the pause that ended the call."""
    decoding_s: float
    """From the pause in which the ears were asked to the last opinion."""
    processor_s: float
    """Processor time of all that, ears and detector."""


# --- sound -----------------------------------------------------------------------------------------


def first_loud(track: Samples, threshold: float) -> int | None:
    """Give the first sample over a threshold."""
    loud = np.flatnonzero(np.abs(track.astype(np.int32)) > threshold)
    return int(loud[0]) if loud.size else None


def first_burst(track: Samples, threshold: float) -> tuple[int, int] | None:
    """Give first and last+1 sample of the first sound without a longer silence in it."""
    loud = np.flatnonzero(np.abs(track.astype(np.int32)) > threshold)
    if not loud.size:
        return None
    gaps = np.flatnonzero(np.diff(loud) > BURST_GAP_S * SAMPLE_RATE_HZ)
    return int(loud[0]), int(loud[gaps[0] if gaps.size else -1]) + 1


def is_tick(burst: Samples) -> bool:
    """Tell whether a burst is a tick: short, with its energy around one frequency, or torn off to a click."""
    seconds = len(burst) / SAMPLE_RATE_HZ
    if seconds < CLICK_S:
        return True
    power = np.abs(np.fft.rfft(burst.astype(np.float64) * np.hanning(len(burst)), SAMPLE_RATE_HZ)) ** 2
    beside = int(2 / seconds)  # half the main lobe of the window, in steps of 1 Hz
    near = power[max(0, int(TICK_HZ) - beside) : int(TICK_HZ) + beside]
    return seconds < 1.5 * TICK_S and bool(near.sum() > TICK_SHARE * power.sum())


@dataclass(frozen=True, slots=True)
class Sounded:
    """What the loudspeaker gave after a call; seconds, None where there was none."""

    tick_s: float | None = None
    tick_lasts_s: float | None = None
    speech_s: float | None = None


def sounded(track: Samples, threshold: float) -> Sounded:
    """Give the first tick, and where the first other sound begins."""
    first, at = Sounded(), 0
    while (burst := first_burst(track[at:], threshold)) is not None:
        start, end = at + burst[0], at + burst[1]
        if not is_tick(track[start:end]):
            return replace(first, speech_s=start / SAMPLE_RATE_HZ)
        if first.tick_s is None:
            first = Sounded(start / SAMPLE_RATE_HZ, (end - start) / SAMPLE_RATE_HZ)
        at = end
    return first


def end_of_speech(track: Samples) -> int:
    """Give the sample behind the last one of the speech in a recording of the call."""
    _, end = sound.speech_span(sound.as_wave(track))
    return end - int(sound.EDGE_S * SAMPLE_RATE_HZ)


class Line:
    """A sink whose left channel is the microphone's and whose right channel the loudspeaker's, recorded."""

    def __init__(self) -> None:
        """Make the devices.

        Raises:
            RuntimeError: they are there already.

        """
        there = subprocess.run(["pactl", "list", "short", "sinks"], capture_output=True, text=True, check=True).stdout
        if LINE in there:
            raise RuntimeError(f"{LINE} is there already: another run goes on, or left it; restart the sound server")
        rate = f"rate={SAMPLE_RATE_HZ}"
        self._modules = [
            load_module(
                "module-null-sink", f"sink_name={LINE}", rate, "channels=2", "channel_map=front-left,front-right"
            ),
            load_module(
                *("module-remap-sink", f"sink_name={SPEAKER}", f"master={LINE}", "channels=1", "remix=no"),
                *("channel_map=front-right", "master_channel_map=front-right"),
            ),
            load_module(
                *("module-remap-source", f"source_name={MICROPHONE}", f"master={LINE}.monitor", "channels=1"),
                *("remix=no", "channel_map=front-left", "master_channel_map=front-left"),
            ),
        ]
        command = ["parec", f"--device={LINE}.monitor", f"--rate={SAMPLE_RATE_HZ}", "--channels=2", "--format=s16le"]
        self._recorder = subprocess.Popen([*command, "--latency-msec=20"], stdout=subprocess.PIPE)
        self._data = bytearray()
        self._thread = threading.Thread(target=self._record, daemon=True)
        self._thread.start()
        self.environment = {**os.environ, "PULSE_SOURCE": MICROPHONE, "PULSE_SINK": SPEAKER}
        give_up = time.monotonic() + START_WITHIN_S
        while self.frames() < SAMPLE_RATE_HZ // 2:  # times are counted in frames: none may be lost at the start
            if time.monotonic() > give_up:
                raise TimeoutError("nothing is recorded from the sound server")
            time.sleep(0.02)

    def _record(self) -> None:
        assert self._recorder.stdout is not None
        while chunk := self._recorder.stdout.read(1280):
            self._data += chunk

    def frames(self) -> int:
        """Give the number of frames recorded."""
        return len(self._data) // 4

    def tracks(self, since: int = 0) -> tuple[Step, Step]:
        """Give what came from the mouth and from the loudspeaker, from a frame on."""
        whole = bytes(self._data[4 * since : len(self._data) // 4 * 4])
        both = np.frombuffer(whole, np.int16).reshape(-1, 2)
        return both[:, 0], both[:, 1]

    def play(self, call: Samples) -> None:
        """Play into the microphone, to the end."""
        with tempfile.NamedTemporaryFile(suffix=".wav") as file:
            soundfile.write(file.name, np.column_stack([call, np.zeros_like(call)]), SAMPLE_RATE_HZ)
            subprocess.run(
                ["paplay", f"--device={LINE}", "--channel-map=front-left,front-right", file.name], check=True
            )

    def wait_silent(self, within: float = 40.0) -> None:
        """Wait until the loudspeaker has been silent for a while."""
        give_up = time.monotonic() + within
        wanted = int(SILENT_S * SAMPLE_RATE_HZ)
        while time.monotonic() < give_up:
            _, answers = self.tracks(max(0, self.frames() - wanted))
            if len(answers) >= wanted and first_loud(answers, LOWEST_THRESHOLD) is None:
                return
            time.sleep(0.05)
        raise TimeoutError(f"the loudspeaker did not fall silent within {within} s")

    def close(self) -> None:
        """Take the devices away."""
        take_away(self._recorder, self._thread, self._modules)


# --- the session -----------------------------------------------------------------------------------


class Session:
    """The live session as a process, and what it prints with the time of each line."""

    def __init__(self, line: Line, folder: str, ears: str | None) -> None:
        """Start it."""
        self.frame = line.frames()
        self.began = time.monotonic()
        command = [sys.executable, "-u", "-m", "assistant", "work", "--cable", str(CABLE_PAIRS), "--voice", "speaker"]
        devices = ["--microphone", "pulse", "--speaker", "pulse", "--untuned", "--log", folder]
        self._process = subprocess.Popen(
            [*command, *devices, *(["--ears", ears] if ears else [])],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL,
            text=True,
            env=line.environment,
        )
        self.said: list[str] = []
        """All that it printed."""
        self._lines: queue.Queue[tuple[float, str]] = queue.Queue()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for text in self._process.stdout:
            self.said.append(text.rstrip())
            self._lines.put((time.monotonic() - self.began, text.rstrip()))

    def next_line(self, beginning: str, within: float) -> tuple[float, str] | None:
        """Give the next line with this beginning, without it, and when it came; None when none comes in time."""
        give_up = time.monotonic() + within
        while (left := give_up - time.monotonic()) > 0:
            try:
                when, text = self._lines.get(timeout=left)
            except queue.Empty:
                return None
            if text.startswith(beginning):
                return when, text.removeprefix(beginning)
        return None

    def close(self) -> None:
        """End it in order."""
        self._process.terminate()
        try:
            self._process.wait(20)
        except subprocess.TimeoutExpired:
            print("a session did not end within 20 s and was killed", file=sys.stderr)
            self._process.kill()
            self._process.wait()
        self._thread.join(5)
        if self._process.stdout is not None:
            self._process.stdout.close()


@contextmanager
def session(line: Line, ears: str | None) -> Iterator[Session]:
    """Start the live session and end it, with its log in a folder that goes away."""
    with tempfile.TemporaryDirectory() as folder:
        running = Session(line, folder, ears)
        try:
            yield running
        finally:
            running.close()


def started(line: Line, running: Session) -> Start:
    """Wait for the start of a session and measure it."""
    log = running.next_line("Log: ", START_WITHIN_S)
    sentence = running.next_line("< ", START_WITHIN_S)
    if log is None or sentence is None:
        raise TimeoutError(f"the session did not start within {START_WITHIN_S} s; it said: {running.said[-5:]}")
    give_up = time.monotonic() + START_WITHIN_S
    while time.monotonic() < give_up:
        _, answers = line.tracks(running.frame)
        heard = first_loud(answers, LOWEST_THRESHOLD)
        if heard is not None:
            return Start(log[0], sentence[0], heard / SAMPLE_RATE_HZ)
        time.sleep(0.05)
    raise TimeoutError("the first sentence was never heard")


class Caller:
    """Says calls and measures the answers."""

    def __init__(self, line: Line, running: Session) -> None:
        """Take where to speak, and the session that listens."""
        self._line = line
        self._running = running
        self._voice = SpeechRenderer(CALLER_VOICE, CALLER_WORDS_PER_MINUTE)
        self._noise = np.random.default_rng(1)
        self.answers: list[Answer] = []
        self.sounds: list[Samples] = []
        """What was said, as it was recorded."""

    def close(self) -> None:
        """Stop the voice."""
        self._voice.close()

    def pair(self, number: int) -> None:
        """Call a pair until it is confirmed; skip it after some tries."""
        words = call_of(number)
        said = words
        for _ in range(MOST_TRIES):
            answer = self._say(said)
            if "confirmed" in answer:
                return
            said = "yes" if is_asked_back(words, answer) else words
        self._say("skip pair")

    def _say(self, words: str) -> str:
        self._line.wait_silent()
        since = self._line.frames()
        self._line.play(self._sound(words))
        line = self._running.next_line("< ", ANSWER_WITHIN_S)
        if line is not None:
            time.sleep(0.5)
            self._line.wait_silent()
        mouth, loudspeaker = self._line.tracks(since)
        self.sounds.append(mouth)
        self.answers.append(measured(words, "" if line is None else line[1], mouth, loudspeaker))
        return self.answers[-1].answer

    def _sound(self, words: str) -> Samples:
        rendered = self._voice.render(words)
        speech = soxr.resample(rendered.samples.astype(np.float32), rendered.rate_hz, SAMPLE_RATE_HZ)
        whole = np.pad(speech, (int(LEAD_S * SAMPLE_RATE_HZ), int(TRAIL_S * SAMPLE_RATE_HZ)))
        noisy = whole + self._noise.normal(0, ROOM_NOISE, len(whole))
        return np.asarray(np.clip(noisy, -32768, 32767), dtype=np.int16)


def is_asked_back(words: str, answer: str) -> bool:
    """Tell whether an answer asks whether just this was said."""
    return answer == sentences.DID_YOU_SAY(call=words.replace(",", ""))


def measured(words: str, answer: str, mouth: Samples, loudspeaker: Samples) -> Answer:
    """Find the end of the call in one track and the beginning of tick and answer in the other."""
    end = end_of_speech(mouth)
    floor = int(np.abs(loudspeaker[: int(LEAD_S * SAMPLE_RATE_HZ)].astype(np.int32)).max(initial=0))
    heard = sounded(loudspeaker[end:], max(LOWEST_THRESHOLD, 4 * floor))
    return Answer(words, answer, heard.tick_s, heard.tick_lasts_s, heard.speech_s)


def decoded(words: Sequence[str], sounds: Sequence[Samples], choice: str | None) -> list[Decoding]:
    """Hear the calls once more, one after the other."""
    ears = all_ears.load(choice)
    asked: list[tuple[float, float]] = []
    timed = tuple(TimedEar(ear) for ear in ears.recognisers)
    chain = all_ears.new_chain(
        Ears(ears.name, timed), paused=lambda: asked.append((time.perf_counter(), time.process_time()))
    )
    chain.open(scope_of(following_state(Cable(CABLE_PAIRS))))
    found, blocks = [], 0
    for said, sound_ in zip(words, sounds, strict=True):
        chain.forget()
        for block in in_blocks(np.ascontiguousarray(sound_)):
            blocks += 1
            utterance = chain.push(block)
            if utterance is not None:
                done_s = max(ear.done_s for ear in timed)
                pause_s = blocks * BLOCK_S - utterance.end_s
                found.append(Decoding(said, pause_s, done_s - asked[-1][0], time.process_time() - asked[-1][1]))
                break
    return found[1:]  # the first one had to set the sentences up


def call_of(number: int) -> str:
    """Give a call of a pair: by colours, by number and colours, or by number, in turns."""
    colours = colours_of((number - 1) % 25 + 1)
    named = f"{colours.ring.value} {colours.tip.value}"
    return (named, f"{spoken_digits(number)}, {named}", f"pair {spoken_digits(number)}")[number % 3]


# --- the report ------------------------------------------------------------------------------------


def spread(values: Sequence[float]) -> str:
    """Give median, 95th percentile and number."""
    if not values:
        return "none"
    return f"median {statistics.median(values):.2f} s, p95 {p95(sorted(values)):.2f} s, n {len(values)}"


def lines_of(answers: Sequence[Answer], starts: Sequence[Start], decodings: Sequence[Decoding]) -> list[str]:
    """Give the report."""
    groups = {
        "confirmed": [one for one in answers if "confirmed" in one.answer],
        "asked back": [one for one in answers if one.answer.startswith("Did you say")],
    }
    groups["other answers"] = [
        one for one in answers if one.answer and not any(one in some for some in groups.values())
    ]
    lines = [f"{len(answers)} things said, {sum(not one.answer for one in answers)} without an answer"]
    for name, some in groups.items():
        ticks = [one.tick_s for one in some if one.tick_s is not None]
        spoken = [one.speech_s for one in some if one.speech_s is not None]
        whole = sum((one.tick_lasts_s or 0.0) > TICK_S / 2 for one in some)
        lines.append(f"end of speech to tick, {name}: {spread(ticks)}; whole {whole}, of {len(some)} answers")
        lines.append(f"end of speech to spoken answer, {name}: {spread(spoken)}")
    for about, times_s in (
        ("pause that ended a call", [one.pause_s for one in decodings]),
        ("decoding, begun in the pause", [one.decoding_s for one in decodings]),
        ("processor time of the decoding", [one.processor_s for one in decodings]),
    ):
        lines.append(f"heard once more without a session, {about}: {spread(times_s)}")
    for about, some_s in (
        ("log line", [one.log_line_s for one in starts]),
        ("first sentence printed", [one.sentence_s for one in starts]),
        ("first sentence heard", [one.sound_s for one in starts]),
    ):
        lines.append(f"start of the command to {about}: {spread(some_s)}")
    return lines


def main(arguments: list[str] | None = None) -> int:
    """Run it and print the times."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--calls", type=int, default=20, help="pairs to call (%(default)s)")
    parser.add_argument("--starts", type=int, default=5, help="starts of the session to measure (%(default)s)")
    parser.add_argument("--ears", metavar="SET")
    parser.add_argument("--json", type=Path, metavar="FILE", help="file for every single time")
    options = parser.parse_args(arguments)
    if not 1 <= options.calls <= CABLE_PAIRS or options.starts < 1:
        parser.error(f"give 1 to {CABLE_PAIRS} calls and at least one start")
    if lacking := missing():
        print(f"{lacking}; start one with: pulseaudio -D --exit-idle-time=-1", file=sys.stderr)
        return 2
    about: dict[str, Any] = machine()
    print("\n".join(f"{name}: {value}" for name, value in about.items()), flush=True)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # the devices have to be taken away
    line = Line()
    starts: list[Start] = []
    answers: list[Answer] = []
    sounds: list[Samples] = []
    try:
        for number in range(options.starts):
            with session(line, options.ears) as running:
                starts.append(started(line, running))
                if number == options.starts - 1:
                    answers, sounds = _called(line, running, options.calls)
            line.wait_silent()
    finally:
        line.close()
    decodings = decoded([one.said for one in answers], sounds, options.ears)
    print("\n".join(lines_of(answers, starts, decodings)))
    print(f"load at the end: {os.getloadavg()[0]:.1f}")
    if options.json:
        results = {"starts": [asdict(one) for one in starts], "answers": [asdict(one) for one in answers]}
        results["decodings"] = [asdict(one) for one in decodings]
        options.json.write_text(json.dumps({"machine": about, **results}, indent=1), encoding="utf-8")
    return 0


def _called(line: Line, running: Session, calls: int) -> tuple[list[Answer], list[Samples]]:
    caller = Caller(line, running)
    try:
        for number in range(1, calls + 1):
            caller.pair(number)
            last = caller.answers[-1]
            print(f"  {last.said!r}: tick {last.tick_s}, answer {last.speech_s}: {last.answer}", flush=True)
    finally:
        caller.close()
    return caller.answers, caller.sounds


if __name__ == "__main__":
    sys.exit(main())
