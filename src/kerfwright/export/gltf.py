"""What every binary glTF file is made of: one buffer with its accessors, a material, the container of two chunks.

Written to the Khronos glTF 2.0 specification. An *accessor* is a typed view of the one binary buffer.
"""

from __future__ import annotations

import struct
from typing import Any

from numpy.typing import NDArray

from kerfwright.export.wood_colour import Colour

M_PER_MM = 0.001
ROUGHNESS = 0.85  # planed, unfinished wood (ours, chosen by eye)
Y_UP_FROM_Z_UP = [1, 0, 0, 0, 0, 0, -1, 0, 0, 1, 0, 0, 0, 0, 0, 1]  # column by column, as the format wants
# Numbers of the format.
FLOAT, UNSIGNED_BYTE, UNSIGNED_INT, ARRAY_BUFFER, ELEMENT_ARRAY_BUFFER = 5126, 5121, 5125, 34962, 34963


class Buffer:
    """The binary buffer and the accessors into it."""

    def __init__(self) -> None:
        self.data = bytearray()
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []

    def add(self, values: NDArray[Any], kind: str, component: int, target: int = ARRAY_BUFFER, **more: Any) -> int:
        """Append (n, k) values as one accessor; its number. Every row is a whole number of four bytes, so views stay aligned."""
        self.views.append({"buffer": 0, "byteOffset": len(self.data), "byteLength": values.nbytes, "target": target})
        self.accessors.append({"bufferView": len(self.views) - 1, "componentType": component, "count": len(values), "type": kind, **more})
        self.data += values.tobytes()
        return len(self.accessors) - 1


def material(name: str, colour: Colour) -> dict[str, Any]:
    """A dull surface of one sRGB colour."""
    look = {"baseColorFactor": [*(_linear(each) for each in colour), 1.0], "metallicFactor": 0.0, "roughnessFactor": ROUGHNESS}
    return {"name": name, "pbrMetallicRoughness": look}


def _linear(value: float) -> float:
    """Linear light of one sRGB share (IEC 61966-2-1)."""
    return round(value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4, 6)


def container(text: bytes, data: bytes) -> bytes:
    """Header and two chunks, each filled up to four bytes: text with spaces, data with zeros."""
    text += b" " * (-len(text) % 4)
    data += b"\0" * (-len(data) % 4)
    length = 12 + 8 + len(text) + 8 + len(data)
    return (
        struct.pack("<4sII", b"glTF", 2, length)
        + struct.pack("<I4s", len(text), b"JSON")
        + text
        + struct.pack("<I4s", len(data), b"BIN\0")
        + data
    )
