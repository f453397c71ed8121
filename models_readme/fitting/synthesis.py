"""Speak the jobs: processes side by side write shards of sound, in the order of the jobs, until they are done.

usage: python synthesis.py IN_FOLDER SHARDS_FOLDER PROCESSES [--from-end]
IN_FOLDER: jobs.json and voices.npy of `phonemes.py`, kokoro.onnx. A shard is an npz: sound (int16 at 16 kHz, all clips
one after the other) and index (job number, offset, length). About 2.6 clips a second and core with onnxruntime 1.32;
version 1.30 runs the int8 convolutions three times slower.
"""

import json
import os
import sys
from multiprocessing import Process
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

CLIPS_A_SHARD = 30
MODEL_RATE, RATE = 24_000, 16_000


def trimmed(sound: NDArray[np.float32]) -> NDArray[np.int16] | None:
    """Cut off the silence but 30 ms before and 50 ms after, at 0.7 of full scale; None where there is no speech."""
    loud = np.abs(sound) > 0.02 * np.abs(sound).max()
    begin, end = int(loud.argmax()), len(sound) - int(loud[::-1].argmax())
    sound = sound[max(0, begin - 480) : end + 800]
    sound = sound / max(1e-4, float(np.abs(sound).max())) * 0.7
    return (sound * 32767).astype(np.int16) if np.isfinite(sound).all() and len(sound) >= RATE // 10 else None


def write(folder: Path, name: str, clips: list[tuple[int, NDArray[np.int16]]]) -> None:
    """Write one shard, so that it appears whole."""
    lengths = [len(sound) for _, sound in clips]
    offsets = np.cumsum([0, *lengths[:-1]])
    index = np.array([(number, at, n) for (number, _), at, n in zip(clips, offsets, lengths, strict=True)])
    np.savez(folder / f"part-{name}.npz", sound=np.concatenate([sound for _, sound in clips]), index=index)
    os.rename(folder / f"part-{name}.npz", folder / f"{name}.npz")


def work(me: int, of: int, folder: Path, out: Path, from_end: bool) -> None:
    """Speak every `of`th job."""
    import onnxruntime
    import soxr

    plan = json.loads((folder / "jobs.json").read_text())
    table = np.load(folder / "voices.npy").astype("f4")
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    model = onnxruntime.InferenceSession(str(folder / "kokoro.onnx"), options, providers=["CPUExecutionProvider"])
    clips: list[tuple[int, NDArray[np.int16]]] = []
    numbers = [number for number in range(me, len(plan["jobs"]), of) if plan["jobs"][number][3]]
    numbers = numbers[::-1] if from_end else numbers
    for number in numbers:
        _, speaker, pace, symbols, _, _ = plan["jobs"][number]
        first, second, share = plan["speakers"][speaker]
        style = share * table[first, len(symbols) - 1] + (1 - share) * table[second, len(symbols) - 1]
        feed = {"tokens": np.array([[0, *symbols, 0]], np.int64), "style": style[None], "speed": np.array([pace], "f4")}
        sound = trimmed(soxr.resample(model.run(None, feed)[0].ravel(), MODEL_RATE, RATE))
        if sound is not None:
            clips.append((number, sound))
        if clips and (len(clips) == CLIPS_A_SHARD or number == numbers[-1]):
            write(out, f"{'e' if from_end else 's'}{me:02d}-{number:06d}", clips)
            clips = []


def main() -> None:
    """Start the processes and wait for them."""
    folder, out = Path(sys.argv[1]), Path(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
    of = int(sys.argv[3])
    processes = [Process(target=work, args=(me, of, folder, out, "--from-end" in sys.argv)) for me in range(of)]
    for process in processes:
        process.start()
    for process in processes:
        process.join()


if __name__ == "__main__":
    main()
