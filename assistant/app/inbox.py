"""The one way into the loop, and whose turn it is."""

import queue
import threading
from collections import deque
from dataclasses import replace

from assistant.app.log_watch import LogLook
from assistant.dialogue.messages import Announced, AnnouncementNumber, Input

INBOX_SIZE = 1000
"""Inputs from outside that may wait; whoever brings more waits."""


class Floor:
    """Which announcement was put last, and whether the assistant rests; shared by all threads.

    An announcement is put when its sentence has been spoken to the end, or is shown where nothing speaks. Who
    enters without a person's hand, as a pipe does, asks for a turn and gets it when the assistant rests.
    """

    def __init__(self) -> None:
        """Begin at work, with nothing put."""
        self._changed = threading.Condition()
        self._put = Announced()
        self._rests = False
        self._over = False

    def begin(self, announcement: AnnouncementNumber) -> None:
        """Learn that an announcement begins to be told."""
        with self._changed:
            self._put = replace(self._put, begun=announcement)

    def put(self, announcement: AnnouncementNumber) -> None:
        """Learn that an announcement has just been told to its end."""
        with self._changed:
            self._put = Announced(announcement, announcement)

    def last_put(self) -> Announced:
        """Give what was told last, and what begins to be."""
        with self._changed:
            return self._put

    def rest(self) -> None:
        """Learn that all that came in is done, and all of it said."""
        with self._changed:
            self._rests = True
            self._changed.notify_all()

    def work(self) -> None:
        """Learn that something came in."""
        with self._changed:
            self._rests = False

    def turn(self) -> AnnouncementNumber | None:
        """Wait until the assistant rests, and take the turn to enter; None when the session is over."""
        with self._changed:
            self._changed.wait_for(lambda: self._rests or self._over)
            if self._over:
                return None
            self._rests = False
            return self._put.told

    def end(self) -> None:
        """Release whoever waits; the session is over."""
        with self._changed:
            self._over = True
            self._changed.notify_all()


class Inbox:
    """Inputs for the loop, from all threads: those from outside in their order, before them what the loop waits for.

    Nothing of the loop's own ever waits for a free place, or the loop could wait for itself. `put_own` takes no
    lock, so that a signal handler may call it whatever the thread that it interrupts holds.
    """

    def __init__(self, size: int = INBOX_SIZE) -> None:
        """Begin empty."""
        self._own: deque[Input | LogLook] = deque()
        self._outside: deque[Input] = deque()
        self._places = threading.Semaphore(size)
        self._there: queue.SimpleQueue[None] = queue.SimpleQueue()
        """One for each input: its `put` may be interrupted by another one in the same thread."""
        self.floor = Floor()

    def put(self, came: Input) -> None:
        """Bring something from outside; waits while the inbox is full. Never called from the loop's thread."""
        self._places.acquire()
        self._outside.append(came)
        self._there.put(None)

    def put_own(self, came: Input | LogLook) -> None:
        """Bring what the loop waits for: the end of speech, of a pause, of a note; a failure; a stop. Never waits."""
        self._own.append(came)
        self._there.put(None)

    def get(self, timeout_s: float | None = None) -> Input | LogLook | None:
        """Give the next input, waiting for it; None where none comes in this time. Called from the loop's thread."""
        try:
            self._there.get(timeout=timeout_s)
        except queue.Empty:
            return None
        if self._own:
            return self._own.popleft()
        came = self._outside.popleft()
        self._places.release()
        return came

    @property
    def is_empty(self) -> bool:
        """Whether nothing waits."""
        return self._there.empty()
