"""The keypad: keys of a terminal, or a file of keys, as whole entries."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from assistant.adapters.assigned_keys import translated, what_is_sent
from assistant.adapters.terminal import MOST_SHOWN, Key
from assistant.dialogue.messages import Announced, AnnouncementNumber, Input, KeysPressed, KeysRefused, KeyTrouble
from assistant.errors import AssistantError
from assistant.words.keypad import HALF_TYPED_S, Rhythm, Stroke, follow, press


class Keypad:
    """Composes entries key by key and puts each into the inbox; what it refuses is put in as well, to be answered."""

    def __init__(
        self,
        put: Callable[[Input], None],
        echo: Callable[[str], None] = lambda _: None,
        assigned: Mapping[str, str] | None = None,
    ) -> None:
        """Take the inbox, where to echo keys, and names of keys that stand for keys of the pad."""
        self._put = put
        self._assigned = what_is_sent(assigned or {})
        self._echo = echo
        self._pending = ""
        self._begun_after = Announced()
        """What had been put before the first key of the pending ones was made."""
        self._rhythm = Rhythm()

    def take(self, keys: Sequence[Key], after: Announced, at_s: float) -> None:
        """Take the keys of one read; behind one that is refused, nothing of the read counts."""
        if self._forgotten(at_s):
            return
        for key in translated(keys, self._assigned):
            if not self._taken(key, after, at_s):
                return

    def wait(self, at_s: float) -> None:
        """Clear what was half typed and is not gone on with."""
        self._forgotten(at_s)

    def _forgotten(self, at_s: float) -> bool:
        if not self._pending or at_s - self._rhythm.at_s < HALF_TYPED_S:
            return False
        self._refuse(self._pending, KeyTrouble.TOO_LONG)
        return True

    def _taken(self, key: Key, after: Announced, at_s: float) -> bool:
        self._rhythm, stroke = follow(self._rhythm, key.sent, at_s, alone=key.trouble is not None)
        if stroke is Stroke.SAME:
            return key.trouble is None
        if key.trouble is not None:
            self._refuse(key.sent, key.trouble)
            return False
        if stroke is Stroke.HOLD:
            self._refuse(self._pending + key.sent, KeyTrouble.HELD)
            return False
        if not self._pending:
            self._begun_after = after
        before, keyed = self._pending, press(self._pending, key.sent)
        if keyed.refused:
            self._refuse(before + key.sent, KeyTrouble.UNKNOWN)
            return False
        self._pending = keyed.pending
        self._echo(f"\r\x1b[Kkeys: {self._pending}" if self._pending else "\r\x1b[K")
        if keyed.entry is not None:
            self._put(KeysPressed(keyed.entry, self._begun_after.told, self._begun_after.begun))
        return True

    def _refuse(self, keys: str, trouble: KeyTrouble) -> None:
        self._pending = ""
        self._echo("\r\x1b[K\a")
        self._put(KeysRefused(keys[:MOST_SHOWN], trouble))


class KeysFile:
    """Puts the entries of a file into the inbox, each when all that the one before led to is done."""

    def __init__(self, path: Path, put: Callable[[Input], None], turn: Callable[[], AnnouncementNumber | None]) -> None:
        """Read the file; `turn` waits for the turn to enter and gives what was put last, None when it is over.

        Raises:
            AssistantError: the file cannot be read, or a line is no entry.

        """
        self._entries = read_keys(path)
        self._put = put
        self._turn = turn

    def run(self) -> None:
        """Put all entries in."""
        for entry in self._entries:
            after = self._turn()
            if after is None:
                return
            self._put(KeysPressed(entry, after))


def read_keys(path: Path) -> tuple[str, ...]:
    """Read a file of keys and give its entries: every character is a key.

    A line that starts with # is a remark. The line end itself is the Enter key, unless the line is
    already a whole entry without it.

    Raises:
        AssistantError: the file cannot be read, or a line is no entry.

    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise AssistantError(f"{path}: cannot be read ({error}); give a text file of keys") from error
    return tuple(
        entry
        for number, line in enumerate(lines, 1)
        if not line.startswith("#")
        for entry in _entries_of_line(path, number, line.strip())
    )


def _entries_of_line(path: Path, number: int, line: str) -> list[str]:
    pending, entries = "", []
    for key in line:
        keyed = press(pending, key)
        if keyed.refused:
            raise AssistantError(
                f"{path}: line {number}: key {key!r} cannot stand here; see splice-assistant words --card"
            )
        pending = keyed.pending
        if keyed.entry is not None:
            entries.append(keyed.entry)
    if line and not pending:
        return entries
    last = press(pending, "\n").entry
    if last is None:
        raise AssistantError(f"{path}: line {number}: {line!r} is no whole entry; see splice-assistant words --card")
    return [*entries, last]
