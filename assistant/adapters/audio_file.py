"""Sound files: read, mixed down and resampled to what the ears take; fed as if live."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from assistant.errors import AssistantError
from assistant.ports import BLOCK_FRAMES, SAMPLE_RATE_HZ, Samples

SILENCE_AFTER_S = 1.5
"""Silence behind the sound, so that a last utterance comes to its end."""

MOST_SAMPLES = 300_000_000
"""Of all channels together: 1.2 GB of memory, nearly two hours of mono at 44.1 kHz. A broken header claims more."""


def read_sound(path: Path) -> Samples:
    """Read a WAV or FLAC file of any rate and number of channels.

    Raises:
        AssistantError: it is missing, no sound file, broken, empty or too long.

    """
    import soundfile
    import soxr

    if not path.is_file():
        raise AssistantError(f"{path}: there is no such file; check the path")
    try:
        with soundfile.SoundFile(str(path)) as file:
            if file.frames * file.channels > MOST_SAMPLES:
                raise AssistantError(f"{path}: {_too_long(file.frames / file.samplerate)}")
            sound, rate_hz = file.read(dtype="float32", always_2d=True), file.samplerate
    except (soundfile.LibsndfileError, RuntimeError, ValueError) as error:
        raise AssistantError(f"{path}: cannot be read as sound ({error}); give a WAV or FLAC file") from error
    if not len(sound):
        raise AssistantError(f"{path}: holds no sound; record it again")
    mono = np.nan_to_num(sound.mean(axis=1))
    if rate_hz != SAMPLE_RATE_HZ:
        mono = soxr.resample(mono, rate_hz, SAMPLE_RATE_HZ)
    return np.asarray(np.clip(np.round(mono * 32768), -32768, 32767), dtype=np.int16)


def _too_long(seconds: float) -> str:
    return f"says that it holds {seconds / 3600:.0f} hours of sound, more than is read at once; cut it, or record again"


def in_blocks(sound: Samples) -> Iterator[Samples]:
    """Cut sound into blocks, with silence behind it."""
    filled = np.concatenate([sound, np.zeros(int(SILENCE_AFTER_S * SAMPLE_RATE_HZ), np.int16)])
    for start in range(0, len(filled) - BLOCK_FRAMES + 1, BLOCK_FRAMES):
        yield filled[start : start + BLOCK_FRAMES]


class AudioFile:
    """A file in place of the microphone. It waits while the assistant speaks, as a splicer does."""

    waits = True
    lost_frames = 0

    def __init__(self, path: Path) -> None:
        """Read the file.

        Raises:
            AssistantError: it cannot be read.

        """
        self.name = path.name
        self._sound = read_sound(path)
        self._closed = False

    def blocks(self) -> Iterator[Samples]:
        """Give blocks until the file ends."""
        for block in in_blocks(self._sound):
            if self._closed:
                return
            yield block

    def pass_over(self) -> None:
        """Do nothing: this sound waits."""

    def close(self) -> None:
        """End the blocks."""
        self._closed = True
