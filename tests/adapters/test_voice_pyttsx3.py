"""The synthetic voice as a process of its own finds it: whatever the environment says of espeak, it speaks."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

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


SLOWLY = """
import time
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
renderer = SpeechRenderer()
renderer._engine.connect("started-word", lambda **_: time.sleep(0.05))
for blanks in range(5):
    print(renderer.render("Seven, orange red, confirmed." + " " * blanks).seconds)
renderer.close()
"""


def test_a_sentence_is_waited_for_until_it_is_whole() -> None:
    """The library comes back while espeak still speaks, and a sentence that was asked for again was kept cut off."""
    pytest.importorskip("espeakng_loader")
    done = subprocess.run([sys.executable, "-c", SLOWLY], capture_output=True, text=True, timeout=60, check=True)
    assert [float(line) for line in done.stdout.split()] == [pytest.approx(2.7, abs=0.1)] * 5
