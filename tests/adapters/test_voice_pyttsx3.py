"""The synthetic voice as a process of its own finds it: whatever the environment says of espeak, it speaks."""

import ctypes
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from assistant.adapters.voice_pyttsx3 import SpeechRenderer

SPEAKS = """
import os, subprocess, sys
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
before = dict(os.environ)
renderer = SpeechRenderer()
sound = renderer.render("Seven, orange red, confirmed.")
renderer.close()
assert dict(os.environ) == before, "nothing is left in the environment"
if "again" in sys.argv:
    subprocess.run([sys.executable, "-c", sys.argv[1], sys.argv[1]], check=True)
print(f"{sound.seconds:.2f}")
"""


@pytest.mark.parametrize("path", [None, "", "/nowhere", "empty", "data", "data's parent"])
def test_it_speaks_whatever_path_of_espeaks_data_is_set(path: str | None, tmp_path: Path) -> None:
    espeakng_loader = pytest.importorskip("espeakng_loader")
    data = espeakng_loader.get_data_path()
    paths = {"empty": str(tmp_path), "data": data, "data's parent": str(Path(data).parent)}
    environment = {name: value for name, value in os.environ.items() if name != "ESPEAK_DATA_PATH"}
    if path is not None:
        environment["ESPEAK_DATA_PATH"] = paths.get(path, path)
    arguments = [sys.executable, "-c", SPEAKS, SPEAKS, "again"]
    done = subprocess.run(
        arguments,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    seconds = [float(line) for line in done.stdout.splitlines()]
    assert len(seconds) == 2, "the child of the process speaks as well"
    assert all(1.0 < length < 5.0 for length in seconds)


def test_a_sentence_is_waited_for_until_it_is_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library comes back while espeak still speaks: on a busy machine one sentence in six was cut off, and kept."""
    pytest.importorskip("espeakng_loader")
    copied = ctypes.string_at

    def copied_slowly(sound: int, length: int) -> bytes:
        time.sleep(0.05)
        return copied(sound, length)

    renderer = SpeechRenderer()
    whole = renderer.render("Seven, orange red, confirmed.").seconds
    monkeypatch.setattr(ctypes, "string_at", copied_slowly)
    slow = [renderer.render("Seven, orange red, confirmed." + " " * n).seconds for n in range(1, 5)]
    renderer.close()
    assert slow == [pytest.approx(whole, abs=0.05)] * 4
