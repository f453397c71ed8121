"""`demo`: the main job on real sound without a microphone.

A second synthetic voice plays the splicer: it calls pairs, makes one slip, answers when it is asked
back and says a call again when told to. What it says goes through the real hearing chain; it learns
what the assistant answered from the printed line, since it has no ears of its own.
"""

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assistant.adapters.audio_file import in_blocks
from assistant.adapters.console import TerminalScreen
from assistant.adapters.tones import Sound
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.app.aloud import Aloud
from assistant.app.telling import tell
from assistant.app.work import WorkOptions, work
from assistant.dialogue import sentences
from assistant.dialogue.messages import PairConfirmed
from assistant.ports import SAMPLE_RATE_HZ, Samples
from assistant.session.journal import DEMO_FOLDER, load

CABLE_PAIRS, FIRST, LAST = 50, 22, 28
CALLER_VOICE = "gmw/en-us"
CALLER_WORDS_PER_MINUTE = 130
MOST_TRIES = 4
ROOM_NOISE = 12
"""Standard deviation of the noise behind the caller, in steps of 16-bit sound: about -69 dB."""
LEAD_S = 0.5


@dataclass(frozen=True, slots=True)
class Call:
    """What the caller says, and the pair that it means to confirm with it."""

    words: str
    pair: int | None = None
    otherwise: str = ""
    """The same in other words, tried when the first are not understood twice."""


SCRIPT = (
    Call("orange violet", 22),
    Call("twenty three, green violet", 23),
    Call("brown violet", 24),
    Call("brown white"),  # the slip: pair 4 was picked up instead of pair 25
    Call("slate violet", 25),
    Call("blue white", 26),
    Call("how many left"),
    Call("twenty seven, orange white", 27),
    Call("where am i"),
    Call("twenty eight, green white", 28),
    Call("finish session"),
)


class WatchedScreen(TerminalScreen):
    """Prints, and lets the caller read the last answer."""

    def __init__(self) -> None:
        """Begin with nothing said."""
        super().__init__()
        self._lock = threading.Lock()
        self._answers: list[str] = []

    def show(self, line: str) -> None:
        """Print one line, and keep it if it is an answer."""
        with self._lock:
            if line.startswith("< "):
                self._answers.append(line[2:])
        super().show(line)

    def answers(self) -> tuple[str, ...]:
        """Give all answers so far."""
        with self._lock:
            return tuple(self._answers)


class Caller:
    """The second voice, as a source of sound that waits while the assistant speaks."""

    name = "second voice"
    waits = True
    lost_frames = 0

    def __init__(
        self, screen: WatchedScreen, script: tuple[Call, ...] = SCRIPT, play: Callable[[Sound], None] = lambda _: None
    ) -> None:
        """Take where the answers can be read, what to call, and what plays a call aloud."""
        self._play = play
        self._screen = screen
        self._script = script
        self._renderer = SpeechRenderer(CALLER_VOICE, CALLER_WORDS_PER_MINUTE)
        self._noise = np.random.default_rng(1)
        self.called: list[int] = []

    def blocks(self) -> Iterator[Samples]:
        """Give the sound of the calls, one after the other, as the answers ask for them."""
        for call in self._script:
            if call.pair is not None:
                self.called.append(call.pair)
            meant = words = call.words
            for tries in range(MOST_TRIES):
                if tries == 2 and words != "yes" and call.otherwise:
                    meant = words = call.otherwise
                heard_before = len(self._screen.answers())
                yield from self._called(words)
                answers = self._screen.answers()[heard_before:]
                words = self._reply(meant, answers)
                if not words:
                    break
            else:
                if call.pair is not None:
                    yield from self._called("skip this pair")

    def _called(self, words: str) -> Iterator[Samples]:
        """Give the blocks of a call; it is played when the first is taken: the assistant has spoken by then."""
        sound = self._sound(words)
        blocks = in_blocks(sound)
        yield next(blocks)
        self._play(Sound(sound, SAMPLE_RATE_HZ))
        yield from blocks

    def pass_over(self) -> None:
        """Do nothing: this sound waits."""

    def close(self) -> None:
        """Stop the voice."""
        self._renderer.close()

    def _reply(self, call: str, answers: tuple[str, ...]) -> str:
        """Give what to say next to the same end; empty when the call has been answered."""
        if not answers:
            return call
        last = answers[-1]
        if last.startswith("Did you say"):
            return "yes" if last == sentences.DID_YOU_SAY(call=call.replace(",", "")) else call
        return call if "Say " in last and not last.startswith("Not logged") else ""

    def _sound(self, words: str) -> Samples:
        import soxr

        sound = self._renderer.render(words)
        speech = soxr.resample(sound.samples.astype(np.float32), sound.rate_hz, SAMPLE_RATE_HZ)
        lead = np.zeros(int(LEAD_S * SAMPLE_RATE_HZ), np.float32)
        whole = np.concatenate([lead, speech])
        noisy = whole + self._noise.normal(0, ROOM_NOISE, len(whole))
        return np.asarray(np.clip(noisy, -32768, 32767), dtype=np.int16)


def demo(*, log: Path, voice: str, speaker: str | None, ears: str | None, vosk_model: Path | None) -> int:
    """Run the demonstration and give its exit code: 1 when a pair was confirmed that was not called.

    Raises:
        AssistantError: something needed cannot be had.

    """
    began = time.monotonic()
    tell("Demonstration. Both voices are synthetic; no person speaks here, and it proves nothing about yours.")
    tell(f"A {CABLE_PAIRS}-pair cable, pairs {FIRST} to {LAST}. The caller makes one slip on purpose.")
    screen = WatchedScreen()
    aloud = Aloud(speaker) if voice == "speaker" else None
    caller = Caller(screen, play=aloud.play) if aloud else Caller(screen)
    options = WorkOptions(
        cable=CABLE_PAIRS,
        first=FIRST,
        last=LAST,
        log=log / DEMO_FOLDER,
        voice=voice,
        speaker=speaker,
        ears=ears,
        vosk_model=vosk_model,
    )
    try:
        state, path = work(options, source=caller, screen=screen)
    finally:
        if aloud:
            aloud.close()
    facts = [fact for record in load(path).records for fact in record.facts]
    confirmed = [fact for fact in facts if isinstance(fact, PairConfirmed)]
    wrong = [fact.pair for fact in confirmed if fact.pair not in caller.called]
    tell()
    tell(
        f"Called {len(caller.called)} pairs; confirmed {len(confirmed)}; wrong {len(wrong)}; left {len(state.left())}."
    )
    for fact in confirmed:
        tell(f"  pair {fact.pair}: {fact.how.value}{', asked back' if fact.asked_back else ''}")
    if voice == "print":
        tell("Nothing sounded. To hear both voices: splice-assistant demo --voice speaker")
    tell(f"It took {time.monotonic() - began:.0f} s. The log: {path}")
    return 1 if wrong or not confirmed else 0
