"""Small readers of PNG and DXF for the tests, written from the standards and sharing no code with the package."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Png:
    """grey: (rows, columns), the top row first. pixels_per_unit: (x, y); unit 1 is the metre."""

    grey: np.ndarray
    bits: int
    pixels_per_unit: tuple[int, int]
    unit: int
    texts: dict[str, str]


def read_png(data: bytes) -> Png:
    """A grey PNG by hand, after ISO/IEC 15948: signature, chunks with CRC, pHYs, tEXt, IDAT with the five filters."""
    assert data[:8] == bytes([137, 80, 78, 71, 13, 10, 26, 10])
    at, order, body, texts = 8, [], b"", {}
    header, size = (0, 0, 0, 0, 0, 0, 0), (0, 0, 0)
    while at < len(data):
        length, = struct.unpack(">I", data[at:at + 4])
        kind, chunk = data[at + 4:at + 8].decode("ascii"), data[at + 8:at + 8 + length]
        crc, = struct.unpack(">I", data[at + 8 + length:at + 12 + length])
        assert crc == zlib.crc32(data[at + 4:at + 8 + length])
        order.append(kind)
        if kind == "IHDR":
            header = struct.unpack(">IIBBBBB", chunk)
        elif kind == "pHYs":
            size = struct.unpack(">IIB", chunk)
        elif kind == "tEXt":
            keyword, _, text = chunk.partition(b"\0")
            assert 1 <= len(keyword) <= 79
            texts[keyword.decode("latin-1")] = text.decode("latin-1")
        elif kind == "IDAT":
            body += chunk
        at += 12 + length
    assert order[0] == "IHDR"
    assert order[-1] == "IEND"
    assert order.index("pHYs") < order.index("IDAT")
    width, height, bits, colour, compression, filtering, interlace = header
    assert (colour, compression, filtering, interlace) == (0, 0, 0, 0)
    rows = _unfiltered(zlib.decompress(body), height, width * bits // 8, bits // 8)
    grey = rows.astype(np.uint16) if bits == 8 else rows[:, 0::2].astype(np.uint16) * 256 + rows[:, 1::2]
    return Png(grey, bits, (size[0], size[1]), size[2], texts)


def _unfiltered(raw: bytes, n_rows: int, n_bytes: int, step: int) -> np.ndarray:
    assert len(raw) == n_rows * (n_bytes + 1)
    out = np.zeros((n_rows, n_bytes), np.uint8)
    above = bytearray(n_bytes)
    for row in range(n_rows):
        kind, line = raw[row * (n_bytes + 1)], bytearray(raw[row * (n_bytes + 1) + 1:(row + 1) * (n_bytes + 1)])
        if kind == 2:
            line = bytearray((np.frombuffer(bytes(line), np.uint8) + np.frombuffer(bytes(above), np.uint8)).tobytes())
        elif kind:
            for i in range(n_bytes):
                left = line[i - step] if i >= step else 0
                corner = above[i - step] if i >= step else 0
                line[i] = (line[i] + _guess(kind, left, above[i], corner)) & 255
        out[row], above = line, line
    return out


def _guess(kind: int, left: int, above: int, corner: int) -> int:
    if kind == 1:
        return left
    if kind == 3:
        return (left + above) // 2
    assert kind == 4
    nearest = left + above - corner
    return min((left, above, corner), key=lambda each: abs(nearest - each))  # ties go left, above, corner


@dataclass
class DxfLine:
    """One LWPOLYLINE. points: (n, 2)."""

    layer: str = ""
    closed: bool = False
    n_points: int = 0
    points: list[list[float]] = field(default_factory=list)
    percent: float = -1.0


@dataclass
class Dxf:
    version: str
    insert_units: int
    lines: list[DxfLine]
    kinds: set[str]


def read_dxf(data: bytes) -> Dxf:
    """Group codes and values by hand, after the DXF reference: header variables and the ENTITIES section."""
    rows = data.decode("utf-8").splitlines()
    pairs = [(int(code), value) for code, value in zip(rows[0::2], rows[1::2], strict=True)]
    header = {value: pairs[i + 1][1] for i, (code, value) in enumerate(pairs) if code == 9}
    start = next(i for i in range(len(pairs)) if pairs[i] == (2, "ENTITIES") and pairs[i - 1] == (0, "SECTION"))
    lines: list[DxfLine] = []
    kinds: set[str] = set()
    for code, value in pairs[start + 1:]:
        if code == 0 and value == "ENDSEC":
            break
        if code == 0:
            kinds.add(value)
            lines.append(DxfLine())
        elif code == 8:
            lines[-1].layer = value
        elif code == 70:
            lines[-1].closed = bool(int(value) & 1)
        elif code == 90:
            lines[-1].n_points = int(value)
        elif code == 10:
            lines[-1].points.append([float(value)])
        elif code == 20:
            lines[-1].points[-1].append(float(value))
        elif code == 1040:
            lines[-1].percent = float(value)
    return Dxf(header["$ACADVER"], int(header["$INSUNITS"]), lines, kinds)
