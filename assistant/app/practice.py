"""`keys practice`: tasks are called aloud, and each entry is told right or wrong. Nothing is logged."""

import queue
import random
import sys
import threading
from collections import deque
from collections.abc import Callable, Mapping

from assistant.adapters.keypad import Keypad
from assistant.adapters.terminal import echo, raw_terminal, watch_terminal
from assistant.app.aloud import Aloud
from assistant.app.telling import tell
from assistant.dialogue.messages import Announced, Input, KeysPressed
from assistant.dialogue.practice import Task, judged, lesson
from assistant.errors import AssistantError

BEGIN = "Key what is called. Nothing is logged. /9 ends."


def practise(tasks: int, speaker: str | None, assigned: Mapping[str, str], *, aloud: bool) -> int:
    """Ask for so many entries on the terminal, each again until it was right once, and give the number of wrong ones.

    Raises:
        AssistantError: there is no terminal.

    """
    if sys.stdin is None or not sys.stdin.isatty():
        raise AssistantError("keys practice: standard input is no terminal; start it in one, with the pad plugged in")
    voice = _voice(speaker) if aloud else None
    inbox: queue.Queue[Input] = queue.Queue()
    stop = threading.Event()
    keypad = Keypad(inbox.put, echo, assigned)
    reader = threading.Thread(target=lambda: watch_terminal(keypad, Announced, stop), name="practice", daemon=True)

    def say(text: str) -> None:
        tell(text, flush=True)
        if voice is not None:
            voice.say(text)

    try:
        with raw_terminal(lambda _: None):
            reader.start()
            return _asked(lesson(random.Random(), tasks), inbox, say)  # noqa: S311, nothing random here is a secret
    finally:
        stop.set()
        if voice is not None:
            voice.close()


def _voice(speaker: str | None) -> Aloud | None:
    try:
        return Aloud(speaker)
    except AssistantError as error:
        tell(f"{error}. Tasks are printed.")
        return None


def _asked(tasks: tuple[Task, ...], inbox: "queue.Queue[Input]", say: Callable[[str], None]) -> int:
    """Ask each task until it is right; one that was wrong comes again at the end."""
    say(BEGIN)
    waiting, right, wrong = deque(tasks), 0, 0
    while waiting:
        task = waiting.popleft()
        say(f"{task.words}.")
        came = inbox.get()
        outcome = judged(task, came.keys) if isinstance(came, KeysPressed) else None
        if outcome is not None and outcome.leaves:
            break
        if outcome is not None and outcome.right:
            right += 1
            say(outcome.told)
            continue
        wrong += 1
        waiting.append(task)
        say(outcome.told if outcome else f"That is no key of an entry. It is {task.keys}")
    say(f"{right} right, {wrong} wrong.")
    return wrong
