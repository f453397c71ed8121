"""The weights of CTranslate2's Whisper file, and our factors added to them.

The file: header, variables (name, shape, type, values), aliases; little-endian. Read and written back it is the same,
byte for byte. The factors (an npz of float16): for a matrix named `a/b`, `a__b__A` (rank, columns) and `a__b__B`
(rows, rank), whose product is added; for a vector, `a__b`, the difference itself. numpy only.
"""

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.errors import AssistantError

Array = NDArray[Any]
TYPES: dict[int, type[np.generic]] = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
NUMBER_OF_TYPE = {np.dtype(kind): number for number, kind in TYPES.items()}


@dataclass(frozen=True, slots=True)
class Weights:
    """All that the file holds."""

    version: int
    specification: str
    revision: int
    variables: dict[str, Array]
    aliases: tuple[tuple[str, str], ...]


class _Reader:
    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def number(self, form: str) -> int:
        value: int = struct.unpack_from("<" + form, self.data, self.at)[0]
        self.at += struct.calcsize(form)
        return value

    def text(self) -> str:
        length = self.number("H")
        self.at += length
        return self.data[self.at - length : self.at - 1].decode()

    def array(self) -> Array:
        shape = [self.number("I") for _ in range(self.number("B"))]
        kind, size = np.dtype(TYPES[self.number("B")]), self.number("I")
        self.at += size
        return np.frombuffer(self.data, kind, size // kind.itemsize, self.at - size).reshape(shape)


def read(data: bytes) -> Weights:
    """Read the content of a `model.bin`.

    Raises:
        AssistantError: it is not such a file.

    """
    reader = _Reader(data)
    try:
        version, specification, revision = reader.number("I"), reader.text(), reader.number("I")
        variables = {reader.text(): reader.array() for _ in range(reader.number("I"))}
        aliases = tuple((reader.text(), reader.text()) for _ in range(reader.number("I")))
    except (struct.error, KeyError, ValueError, UnicodeDecodeError) as error:
        raise AssistantError(f"the model's weights cannot be read ({error}); fetch the model again") from error
    if reader.at != len(data):
        raise AssistantError("the model's weights do not end where they should; fetch the model again")
    return Weights(version, specification, revision, variables, aliases)


def _text(text: str) -> bytes:
    return struct.pack("<H", len(text.encode()) + 1) + text.encode() + b"\0"


def written(weights: Weights) -> bytes:
    """Give the content of the file."""
    parts = [struct.pack("<I", weights.version), _text(weights.specification)]
    parts.append(struct.pack("<II", weights.revision, len(weights.variables)))
    for name, values in weights.variables.items():
        parts += [_text(name), struct.pack(f"<B{values.ndim}I", values.ndim, *values.shape)]
        parts += [struct.pack("<BI", NUMBER_OF_TYPE[values.dtype], values.nbytes), values.tobytes()]
    parts.append(struct.pack("<I", len(weights.aliases)))
    parts += [_text(name) + _text(of) for name, of in weights.aliases]
    return b"".join(parts)


def merged(weights: Weights, factors: Mapping[str, Array]) -> Weights:
    """Add the factors to the weights, in float32, and give them in the types that they had.

    Raises:
        AssistantError: the factors belong to other weights.

    """
    used: set[str] = set()
    variables = dict(weights.variables)
    for name, values in weights.variables.items():
        key = name.replace("/", "__")
        if key + "__A" in factors and key + "__B" in factors:
            used |= {key + "__A", key + "__B"}
            added = factors[key + "__B"].astype(np.float32) @ factors[key + "__A"].astype(np.float32)
        elif key in factors:
            used.add(key)
            added = factors[key].astype(np.float32)
        else:
            continue
        if added.size != values.size:
            raise AssistantError(f"the fitted ear's part {key} does not fit the model; fetch the model again")
        variables[name] = (values.astype(np.float32) + added.reshape(values.shape)).astype(values.dtype)
    if used != set(factors) or not used:
        raise AssistantError("the fitted ear's parts do not fit the model; fetch the model again")
    return Weights(weights.version, weights.specification, weights.revision, variables, weights.aliases)
