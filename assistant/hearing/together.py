"""One utterance in all ears: each takes the sound as it comes, in a place of its own, and tells what it makes of it.

Where an ear works (a thread, or here and now) comes in as a `Worker`. Must not know threads.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Protocol, TypeVar

from assistant.hearing.second_ear import second_opinion
from assistant.ports import Hearing, Opinion, Recogniser, Samples
from assistant.words.grammar import Sentences

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)


class Coming(Protocol[T_co]):
    """A result that is worked on."""

    def result(self) -> T_co:
        """Wait for it and give it."""

    def done(self) -> bool:
        """Tell whether it is there, without waiting."""


class Worker(Protocol):
    """Does one thing after the other, in the order in which they came."""

    def submit(self, work: Callable[[], T], /) -> Coming[T]:
        """Take a piece of work; may return before it is done."""


@dataclass(frozen=True, slots=True)
class Done(Coming[T]):
    """A result that is there."""

    value: T

    def result(self) -> T:
        """Give it."""
        return self.value

    def done(self) -> bool:
        """Tell that it is there."""
        return True


class Here:
    """Works on the spot."""

    def submit(self, work: Callable[[], T], /) -> Coming[T]:
        """Do it."""
        return Done(work())


@dataclass(slots=True)
class _Wish:
    wanted: bool = True

    def is_wanted(self) -> bool:
        return self.wanted


class _InOneEar:
    """The utterance in one ear; all of it but the making is called by the ear's worker."""

    def __init__(self, ear: Recogniser) -> None:
        self.ear = ear
        self._hearing: Hearing | None = None
        self._failure: Exception | None = None

    def accept(self, sound: Samples) -> None:
        """Take sound; what fails is told when the ear is asked."""
        try:
            self.hearing().accept(sound)
        except Exception as error:  # whatever a library raises
            self._failure = self._failure or error

    def hearing(self) -> Hearing:
        if self._failure is not None:
            raise self._failure
        if self._hearing is None:
            self._hearing = self.ear.hear()
        return self._hearing

    def opinion(self, wish: _Wish, *, whole: bool) -> Opinion:
        hearing = self.hearing()
        return hearing.finish(wish.is_wanted) if whole else hearing.partial(wish.is_wanted)


@dataclass(slots=True)
class InEars:
    """One utterance; made by `Ears.begin`."""

    _of: "AllEars"
    _each: tuple[_InOneEar, ...]
    _wish: _Wish = field(default_factory=_Wish)
    _asked: tuple[Coming[Opinion], ...] = ()

    def accept(self, sound: Samples) -> None:
        """Take what sounds next; what was asked before is not wanted any more."""
        self.drop()
        for one, worker in zip(self._each, self._of.workers, strict=True):
            worker.submit(partial(one.accept, sound))

    def ask(self) -> None:
        """Begin to make out what the sound so far would be if it were all; returns at once where the workers do."""
        self._asked, self._wish = self._opinions(whole=False)

    def is_ready(self) -> bool:
        """Tell whether what was asked for is there."""
        return all(coming.done() for coming in self._asked)

    def partial(self) -> tuple[Opinion, ...]:
        """Give what was asked for, and wait for it; ask now if nothing was."""
        if not self._asked:
            self.ask()
        return tuple(coming.result() for coming in self._asked)

    def finish(self) -> tuple[Opinion, ...]:
        """Give what the whole of it may be, and wait for it."""
        coming, _ = self._opinions(whole=True)
        return tuple(one.result() for one in coming)

    def drop(self) -> None:
        """Tell that what was asked is not wanted."""
        self._wish.wanted = False
        self._asked = ()

    def _opinions(self, *, whole: bool) -> tuple[tuple[Coming[Opinion], ...], _Wish]:
        wish, (first, *others) = _Wish(), self._each
        workers = self._of.workers
        leading = workers[0].submit(partial(first.opinion, wish, whole=whole))

        def second(one: _InOneEar) -> Opinion:
            alone = partial(one.opinion, wish, whole=whole)
            return second_opinion(one.ear.name, one.hearing(), alone, first.ear.name, leading.result)

        asked = [worker.submit(partial(second, one)) for one, worker in zip(others, workers[1:], strict=True)]
        return (leading, *asked), wish


class AllEars:
    """The ears, the leading one first, and where each of them works."""

    def __init__(self, ears: Sequence[Recogniser], workers: Sequence[Worker] | None = None) -> None:
        """Take the ears, and a worker for each; without any they work on the spot."""
        self._ears = tuple(ears)
        self.workers = tuple(workers) if workers is not None else tuple(Here() for _ in ears)

    def set_sentences(self, sentences: Sentences) -> None:
        """Have all ears take sentences, behind all that they still work on.

        Raises:
            AssistantError: one of them lacks some of the words.

        """
        for ear, worker in zip(self._ears, self.workers, strict=True):
            worker.submit(partial(ear.set_sentences, sentences)).result()

    def begin(self) -> InEars:
        """Begin with a new utterance."""
        return InEars(self, tuple(_InOneEar(ear) for ear in self._ears))
