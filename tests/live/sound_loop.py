"""A sound card made of two PulseAudio null sinks: one carries the splicer's voice to the microphone,
the other catches the assistant's answers. `.ci/run` starts the server; the tests make the sinks.
"""

import os
import shutil
import subprocess
import threading
import time
from pathlib import Path

import numpy as np

from assistant.ports import Samples

SWITCH = "SPLICE_ASSISTANT_LIVE"
"""Environment variable that asks for the live tests."""
RATE_HZ = 16_000
WITHOUT_PORTAUDIO = Path(__file__).parents[1] / "data" / "without_portaudio"
"""A folder of modules in which `import sounddevice` fails as it does on a system without PortAudio."""
CALLS, ANSWERS = "splicer_calls", "assistant_answers"
QUIET_RMS = 60.0
"""Below this, in steps of 16-bit sound, nothing is being said."""


def missing() -> str:
    """Tell what is not here for live sound; empty when all is."""
    if not all(shutil.which(tool) for tool in ("pactl", "paplay", "parec")):
        return "PulseAudio's tools are not installed"
    if subprocess.run(["pactl", "info"], capture_output=True, check=False).returncode:
        return "no PulseAudio server runs (.ci/run starts one)"
    return ""


class SoundLoop:
    """The two sinks, and a recorder on the answers."""

    def __init__(self, *, own_voice: bool = False) -> None:
        """With `own_voice` the answers are played into the microphone too."""
        answers = CALLS if own_voice else ANSWERS
        self._modules = [
            load_module("module-null-sink", f"sink_name={name}", f"rate={RATE_HZ}") for name in (CALLS, ANSWERS)
        ]
        self._recorder = subprocess.Popen(
            [
                "parec",
                f"--device={answers}.monitor",
                f"--rate={RATE_HZ}",
                "--channels=1",
                "--format=s16le",
                "--latency-msec=50",
            ],
            stdout=subprocess.PIPE,
        )
        self._data = bytearray()
        self._thread = threading.Thread(target=self._record, daemon=True)
        self._thread.start()
        self.environment = {**os.environ, "PULSE_SOURCE": f"{CALLS}.monitor", "PULSE_SINK": answers}

    def _record(self) -> None:
        assert self._recorder.stdout is not None
        while chunk := self._recorder.stdout.read(1600):
            self._data += chunk

    def play(self, path: Path) -> None:
        """Play a file into the microphone, to its end."""
        subprocess.run(["paplay", f"--device={CALLS}", str(path)], check=True)

    def recorded(self, since: int = 0) -> Samples:
        """Give the answers' sound so far, from a frame on."""
        return np.frombuffer(bytes(self._data[: len(self._data) // 2 * 2]), np.int16)[since:]

    def frames(self) -> int:
        """Give the number of frames recorded."""
        return len(self._data) // 2

    def wait_silent(self, seconds: float, within: float = 40) -> None:
        """Wait until nothing has been said for so long."""
        give_up = time.monotonic() + within
        while time.monotonic() < give_up:
            tail = self.recorded()[-int(seconds * RATE_HZ) :].astype(np.float64)
            if len(tail) >= seconds * RATE_HZ and np.sqrt(np.mean(tail**2)) < QUIET_RMS:
                return
            time.sleep(0.05)
        raise AssertionError(f"the assistant did not fall silent within {within} s")

    def close(self) -> None:
        """Take the sinks away."""
        take_away(self._recorder, self._thread, self._modules)


def load_module(*words: str) -> str:
    """Load a module of the sound server and give its number."""
    return subprocess.run(["pactl", "load-module", *words], capture_output=True, text=True, check=True).stdout.strip()


def take_away(recorder: "subprocess.Popen[bytes]", thread: threading.Thread, modules: list[str]) -> None:
    """End a recorder with the thread that reads it, and unload modules, the last first."""
    recorder.terminate()
    recorder.wait()
    thread.join(2)
    if recorder.stdout is not None:
        recorder.stdout.close()
    for module in reversed(modules):
        subprocess.run(["pactl", "unload-module", module], check=False)
