"""Sound files that are not what they say."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.adapters.audio_file import read_sound
from assistant.errors import AssistantError


def test_a_header_that_claims_more_than_memory_is_one_clear_line(tmp_path: Path) -> None:
    """FLAC, STREAMINFO: the 36 bits of "total samples" begin in the low half of byte 21 (RFC 9639, 8.2)."""
    path = tmp_path / "claims.flac"
    soundfile.write(path, np.zeros(16000, np.int16), 16000)
    data = bytearray(path.read_bytes())
    data[21] |= 0x0F
    data[22:26] = b"\xff\xff\xff\xff"
    path.write_bytes(data)
    with pytest.raises(AssistantError, match=r"claims.flac: says that it holds 1193 hours"):
        read_sound(path)


def test_a_file_of_some_minutes_is_read(tmp_path: Path) -> None:
    path = tmp_path / "long.flac"
    soundfile.write(path, np.zeros(16000 * 300, np.int16), 16000)
    assert len(read_sound(path)) == 16000 * 300
