"""A burnt socket in space: a field of depths as a binary glTF for a 3D viewer.

The field is what a burn leaves: depth below the face at the middle of each cell, the board's thickness or more where it
went through. Bare wood keeps its colour, burnt floors and walls darken with depth; where it is through there is nothing.
"""

from __future__ import annotations

import json
import math

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.gltf import (
    ELEMENT_ARRAY_BUFFER,
    FLOAT,
    M_PER_MM,
    UNSIGNED_BYTE,
    UNSIGNED_INT,
    Y_UP_FROM_Z_UP,
    Buffer,
    container,
    material,
)
from kerfwright.export.wood_colour import Colour

Array = NDArray[np.float64]

MOST_CELLS = 250_000  # a viewer on a shop laptop turns this many without a stutter (ours, not measured)
# Ours, chosen by eye.
CHAR_SHALLOW, CHAR_DEEP = np.array((0.50, 0.34, 0.21)), np.array((0.20, 0.13, 0.09))
BURNT_MM = 0.03  # shallower than this counts as bare


def coarser(depth_mm: Array, most_cells: int = MOST_CELLS) -> tuple[Array, int]:
    """The field in blocks of step x step cells, each its mean, so that it holds at most ``most_cells``; and the step."""
    step = max(1, math.ceil(math.sqrt(depth_mm.size / most_cells)))
    rows, columns = (n // step for n in depth_mm.shape)
    blocks = depth_mm[: rows * step, : columns * step].reshape(rows, step, columns, step)
    return blocks.mean(axis=(1, 3)), step


def height_glb(name: str, depth_mm: Array, cell_mm: float, thickness_mm: float, colour: Colour) -> bytes:
    """The field as a GLB file: x along the columns, y along the rows, z out of the face, metres, y up for the viewer.

    depth_mm: (r, c) at cell middles, the first at x = y = cell_mm / 2.
    """
    field, step = coarser(np.clip(depth_mm, 0.0, thickness_mm))
    size_mm = cell_mm * step
    rows, columns = field.shape
    x = np.broadcast_to((np.arange(columns, dtype=float) + 0.5) * size_mm, field.shape)
    y = np.broadcast_to((np.arange(rows, dtype=float)[:, None] + 0.5) * size_mm, field.shape)
    points = np.stack([x, y, -field], axis=-1).reshape(-1, 3)
    faces = _triangles(field < thickness_mm - 1e-6)
    buffer = Buffer()
    place = (points * M_PER_MM).astype("<f4")
    share = burnt_colour(field.ravel(), thickness_mm, np.array(colour)) / np.array(colour)  # of the material's own colour
    shade = np.column_stack([255 * share, np.full(field.size, 255.0)])
    attributes = {
        "POSITION": buffer.add(place, "VEC3", FLOAT, min=place.min(axis=0).tolist(), max=place.max(axis=0).tolist()),
        "NORMAL": buffer.add(field_normals(field, size_mm).reshape(-1, 3).astype("<f4"), "VEC3", FLOAT),
        "COLOR_0": buffer.add(np.clip(np.rint(shade), 0, 255).astype("u1"), "VEC4", UNSIGNED_BYTE, normalized=True),
    }
    corners = buffer.add(faces.astype("<u4").reshape(-1, 1), "SCALAR", UNSIGNED_INT, ELEMENT_ARRAY_BUFFER)
    looks = material(name, colour) | {"doubleSided": True}  # through a hole one sees a wall's back
    document = {
        "asset": {"version": "2.0", "generator": "kerfwright"},
        "scene": 0,
        "scenes": [{"name": name, "nodes": [0]}],
        "nodes": [{"name": name, "matrix": Y_UP_FROM_Z_UP, "mesh": 0}],
        "meshes": [{"name": name, "primitives": [{"attributes": attributes, "indices": corners, "material": 0}]}],
        "materials": [looks],
        "accessors": buffer.accessors,
        "bufferViews": buffer.views,
        "buffers": [{"byteLength": len(buffer.data)}],
    }
    text = json.dumps(document, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode("utf-8")
    return container(text, bytes(buffer.data))


def _triangles(wood: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Two triangles between four neighbouring middles, seen from above counter-clockwise, where any of the four is wood. (m, 3)"""
    number = np.arange(wood.size).reshape(wood.shape)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    kept = wood[:-1, :-1] | wood[:-1, 1:] | wood[1:, 1:] | wood[1:, :-1]
    return np.concatenate([np.stack([a[kept], b[kept], c[kept]], axis=1), np.stack([a[kept], c[kept], d[kept]], axis=1)])


def field_normals(depth_mm: Array, size_mm: float) -> Array:
    """(r, c, 3), out of the face."""
    rise_y, rise_x = np.gradient(-depth_mm, size_mm)
    up = np.stack([-rise_x, -rise_y, np.ones_like(depth_mm)], axis=-1)
    return up / np.linalg.norm(up, axis=-1, keepdims=True)


def burnt_colour(depth_mm: Array, thickness_mm: float, wood_colour: Array) -> Array:
    """Wood where it is bare, charred where it is burnt, darker the deeper. wood_colour: (3,) or (n, 3) -> (n, 3)"""
    deep = np.sqrt(np.clip(depth_mm / thickness_mm, 0, 1))[:, None]
    charred = CHAR_SHALLOW + deep * (CHAR_DEEP - CHAR_SHALLOW)
    return wood_colour + np.clip(depth_mm / BURNT_MM, 0, 1)[:, None] * (np.minimum(charred, wood_colour) - wood_colour)
