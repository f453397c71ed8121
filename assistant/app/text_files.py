"""Text files that people write: read whole, with one clear line for what cannot be read."""

from pathlib import Path

from assistant.errors import AssistantError

MOST_BYTES = 10_000_000
"""More than any plan or settings file; a device or a wrong file could give without end."""


def read_text_file(path: Path) -> str:
    """Read a text file in UTF-8; ends of lines of every system become those of ours.

    Raises:
        AssistantError: it cannot be read, is too long, or is no such text.

    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise AssistantError(f"{path}: cannot be read ({error.strerror}); check the path") from error
    if len(data) > MOST_BYTES:
        raise AssistantError(f"{path}: has more than {MOST_BYTES // 1_000_000} MB; give the file that was meant")
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        raise AssistantError(f"{path}: is no text in UTF-8; save it as UTF-8") from error
