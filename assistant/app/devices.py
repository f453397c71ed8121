"""`devices`: which microphones and loudspeakers there are, and how one that is tried does."""

import threading
from collections.abc import Callable, Iterator

import numpy as np

from assistant.adapters.microphone import Microphone
from assistant.adapters.sound_devices import SoundDevice, sound_devices
from assistant.adapters.tones import Sound, tick
from assistant.app.aloud import Aloud
from assistant.errors import AssistantError
from assistant.hearing.level import Flaw, bar, level_of, peak_db
from assistant.ports import SAMPLE_RATE_HZ, Samples

RECORDED_S = 2.0
LOOKED_AT_S = 1.0
SHOWN_BLOCKS = 4
"""What the level is shown of: 0.13 s."""
SILENT_S = 5.0
"""A device that gives no sound at all for so long does not work."""
SENTENCE = "This is the loudspeaker. After the tick, say: seven, orange red."
Show = Callable[[str], None]
"""Shows the level meanwhile, in place of the one before."""


def listed() -> list[str]:
    """List all devices, a line each, with what the options take.

    Raises:
        AssistantError: there is no PortAudio.

    """
    lines = []
    for title, kind, option in (("Microphones", "input", "--microphone"), ("Loudspeakers", "output", "--speaker")):
        found = sound_devices(kind)
        lines.append(f"{title}: {option} takes the number, or a part of the name" if found else f"{title}: none")
        lines += [_line(device, narrow=kind == "input" and device.rate_hz < SAMPLE_RATE_HZ) for device in found]
    return lines


def _line(device: SoundDevice, *, narrow: bool) -> str:
    mark = "*" if device.is_usual else " "
    hint = f"; {Flaw.NARROW.value}" if narrow else ""
    return f"{mark} {device.number:3}  {device.name} ({device.rate_hz} Hz{hint})"


def tried(microphone: str | None, speaker: str | None, show: Show) -> Iterator[str]:
    """Speak a sentence, record two seconds with a live level, play them back, and say what is plainly wrong.

    The last line is the verdict.

    Raises:
        AssistantError: a device is missing or failed.

    """
    source = Microphone(microphone)
    try:
        aloud = Aloud(speaker)
        try:
            yield f"Microphone: {source.name}. Say after the tick: seven, orange red."
            aloud.say(SENTENCE)
            aloud.play(tick(SAMPLE_RATE_HZ))
            source.pass_over()
            sound = recorded(source, RECORDED_S, show)
            show("")
            yield f"Heard, at most: {peak_db(sound):.0f} dB. This is how it came in:"
            aloud.play(Sound(sound, SAMPLE_RATE_HZ))
        finally:
            aloud.close()
        yield verdict(sound, source.device_rate_hz)
    finally:
        source.close()


WELL = "The microphone does well."


def verdict(sound: Samples, device_rate_hz: int) -> str:
    """Say plainly what is wrong with speech from a device of this rate, or that nothing is."""
    flaws = list(level_of(sound).flaws)
    if device_rate_hz < SAMPLE_RATE_HZ and Flaw.NARROW not in flaws:
        flaws.append(Flaw.NARROW)
    return f"The microphone is {'; and '.join(flaw.value for flaw in flaws)}." if flaws else WELL


def recorded(source: Microphone, seconds: float, show: Show = lambda _: None) -> Samples:
    """Record for so long, with the level shown meanwhile.

    Raises:
        AssistantError: the device gives no sound.

    """
    blocks: list[Samples] = []
    give_up = threading.Timer(seconds + SILENT_S, source.close)  # a device that is gone is waited for without end
    give_up.start()
    try:
        for block in source.blocks():
            blocks.append(block)
            show(bar(peak_db(np.concatenate(blocks[-SHOWN_BLOCKS:]))))
            if len(blocks) * len(block) >= seconds * SAMPLE_RATE_HZ:
                return np.concatenate(blocks)
    finally:
        give_up.cancel()
    raise AssistantError(f"microphone: {source.name} gives no sound; plug it in again, or choose another")


def looked_at(microphone: str | None) -> str:
    """Tell of a microphone while nobody speaks: it opens, gives sound and is not muted.

    Raises:
        AssistantError: it does not.

    """
    source = Microphone(microphone)
    try:
        sound = recorded(source, LOOKED_AT_S)
    finally:
        source.close()
    if Flaw.MUTED in level_of(sound).flaws:
        raise AssistantError(f"{source.name} is {Flaw.MUTED.value}; or speak, and try again")
    rate_hz = source.device_rate_hz
    narrow = f"; {Flaw.NARROW.value}" if rate_hz < SAMPLE_RATE_HZ else ""
    return f"{source.name}, {rate_hz} Hz, {peak_db(sound):.0f} dB with nobody asked to speak{narrow}"
