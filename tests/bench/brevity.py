"""How many words, and how much speech, a pair costs in each talk, measured on the program's own rendered sentences.

python -m tests.bench.brevity [--cable 50]

Every pair is called by number and colours. What is said before the first call is not counted.
"""

import argparse

from assistant.adapters.tones import behind, logged, without_tail
from assistant.adapters.voice_pyttsx3 import SpeechRenderer
from assistant.dialogue.messages import Speak, Talk, Typed
from assistant.words.numbers import spoken
from tests.bench.report import machine
from tests.dialogue.conversation import Conversation


def cost(renderer: SpeechRenderer, pairs: int, talk: Talk) -> tuple[float, float]:
    """Give the mean words and seconds of speech an answer to a matching call takes."""
    session = Conversation(pairs, talk=talk)
    words, seconds = 0, 0.0
    for number in range(1, pairs + 1):
        colours = session.state.cable.address(number).colours
        assert colours is not None
        call = f"{spoken(number)} {colours.ring.value} {colours.tip.value}"
        for effect in session.put(Typed(call, session.state.announcement)).effects:
            if isinstance(effect, Speak):
                sound = without_tail(renderer.render(effect.text))
                sound = behind(logged(sound.rate_hz), sound) if effect.tone else sound
                words += len(effect.text.split())
                seconds += sound.seconds
    assert session.state.tally().confirmed == pairs
    return words / pairs, seconds / pairs


def main() -> None:
    """Print a line for each talk and rate."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--cable", type=int, default=25, help="pairs")
    options = parser.parse_args()
    renderer = SpeechRenderer()
    print(f"{options.cable} pairs, {machine()}")
    for rate in (150, 180):
        renderer.words_per_minute = rate
        for talk in Talk:
            words, seconds = cost(renderer, options.cable, talk)
            print(f"{talk.value:>6} talk at {rate} words a minute: {words:.1f} words, {seconds:.2f} s a pair")
    renderer.close()


if __name__ == "__main__":
    main()
