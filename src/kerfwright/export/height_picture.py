"""A burnt socket as a plain picture: a field of depths seen from above at a slant, a block of wood with what the beam took.

Rows of the field run away from the eye. In one column of the page the height a row reaches only grows where a row is seen,
so each pixel shows the first row that reaches it: no row behind a nearer edge is drawn.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.height_view import burnt_colour, coarser, field_normals
from kerfwright.export.wood_colour import Colour
from kerfwright.export.wood_face import wood_face

Array = NDArray[np.float64]

# Ours, chosen by eye.
AZIMUTH_DEG, ELEVATION_DEG = 27.0, 40.0
LIGHT_FROM = (-0.35, -0.30, 0.88)
DIMMEST = 0.42
SIDE_LIGHT, END_LIGHT = 0.80, 0.92
FINER = 2
ROWS_PER_PIXEL = 1.25  # steep walls are not torn
MARGIN_FRAC = 0.04


@dataclass(frozen=True, eq=False)
class _Seen:
    """The block turned to the eye: n rows away, w columns across, one a pixel. height_mm, light: (n, w), NaN beyond the block;
    x_mm, y_mm: (n, w) where each lies on the block; px_mm: a pixel; thickness_mm: of the block."""

    height_mm: Array
    light: Array
    x_mm: Array
    y_mm: Array
    px_mm: float
    thickness_mm: float
    wide_mm: float


def height_png(depth_mm: Array, cell_mm: float, thickness_mm: float, colour: Colour, width_px: int = 1000) -> bytes:
    """The field, true to scale, as a PNG file. depth_mm: (r, c) at cell middles; colour: of the wood, sRGB 0-1."""
    from PIL import Image

    field, step = coarser(np.clip(depth_mm, 0.0, thickness_mm))
    picture = _picture(_turned(field, cell_mm * step, thickness_mm, FINER * width_px), colour)
    out = io.BytesIO()
    Image.fromarray(picture).reduce(FINER).save(out, "PNG", optimize=False)
    return out.getvalue()


def _turned(field: Array, size_mm: float, thickness_mm: float, width_px: int) -> _Seen:
    rows, columns = field.shape
    cos, sin = math.cos(math.radians(AZIMUTH_DEG)), math.sin(math.radians(AZIMUTH_DEG))
    wide_mm, deep_mm = columns * size_mm, rows * size_mm
    px_mm = (wide_mm * cos + deep_mm * sin) / ((1 - 2 * MARGIN_FRAC) * width_px)
    step_mm = px_mm / ROWS_PER_PIXEL
    n_deep = math.ceil((wide_mm * sin + deep_mm * cos) / step_mm) + 2
    away: Array = ((np.arange(n_deep, dtype=float) - n_deep / 2) * step_mm)[:, None]
    across: Array = ((np.arange(width_px, dtype=float) - width_px / 2) * px_mm)[None, :]
    x = across * cos - away * sin + wide_mm / 2
    y = across * sin + away * cos + deep_mm / 2
    outside = (x < 0) | (y < 0) | (x > wide_mm) | (y > deep_mm)
    height = -_between(field, x / size_mm - 0.5, y / size_mm - 0.5)
    height[outside] = np.nan
    key = np.array(LIGHT_FROM) / np.linalg.norm(LIGHT_FROM)
    lit = DIMMEST + (1 - DIMMEST) * np.clip(field_normals(field, size_mm) @ key, 0, 1)
    light = _between(lit, x / size_mm - 0.5, y / size_mm - 0.5) / (DIMMEST + (1 - DIMMEST) * key[2])
    return _Seen(height, light, x, y, px_mm, thickness_mm, wide_mm)


def _between(field: Array, x: Array, y: Array) -> Array:
    """Straight-line interpolation at column x, row y, kept inside. Same shape as x."""
    rows, columns = field.shape
    x0, y0 = np.clip(np.floor(x).astype(int), 0, columns - 2), np.clip(np.floor(y).astype(int), 0, rows - 2)
    u, v = np.clip(x - x0, 0, 1), np.clip(y - y0, 0, 1)
    low = field[y0, x0] * (1 - u) + field[y0, x0 + 1] * u
    high = field[y0 + 1, x0] * (1 - u) + field[y0 + 1, x0 + 1] * u
    return low * (1 - v) + high * v


def _picture(seen: _Seen, colour: Colour) -> NDArray[np.uint8]:
    """(h, w, 3), the block on white."""
    lean = math.radians(ELEVATION_DEG)
    rise_px = np.arange(len(seen.height_mm)) / ROWS_PER_PIXEL * math.sin(lean)  # of a row on the face, up the page
    per_mm = math.cos(lean) / seen.px_mm
    page_px = rise_px[:, None] + seen.height_mm * per_mm
    foot_px = -seen.thickness_mm * per_mm
    low, high = float(np.nanmin(rise_px[:, None] + 0 * page_px)) + foot_px, float(np.nanmax(page_px))
    edge_px = MARGIN_FRAC * seen.height_mm.shape[1]
    level = np.arange(math.floor(low - edge_px), math.ceil(high + edge_px), dtype=float)
    row, kind = _visible(page_px, rise_px, foot_px, level)
    picture = np.full((len(level), page_px.shape[1], 3), 255, np.uint8)
    for which, shade in ((1, _face_shade), (2, _side_shade)):
        at, column = np.nonzero(kind == which)
        r = row[at, column]
        height_mm = np.clip((level[at] - rise_px[r]) / per_mm, -seen.thickness_mm, 0.0)
        shown = shade(seen, r, column, height_mm, colour)
        picture[at, column] = np.rint(255 * np.clip(shown, 0, 1)).astype(np.uint8)
    return picture[::-1]


def _visible(page_px: Array, rise_px: Array, foot_px: float, level: Array) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """At each level (h,) of each column: the row seen, and 0 nothing, 1 the field, 2 the block's side. Both (h, w)."""
    row = np.zeros((len(level), page_px.shape[1]), int)
    kind = np.zeros_like(row)
    for column in range(page_px.shape[1]):
        there = np.nonzero(np.isfinite(page_px[:, column]))[0]
        if not len(there):
            continue
        first = there[0]
        found = np.searchsorted(np.maximum.accumulate(page_px[there, column]), level)
        inside = found < len(there)
        row[inside, column] = there[found[inside]]
        wood = page_px[row[:, column], column] - rise_px[row[:, column]] > foot_px + 1e-6  # else it is open to the bench
        kind[inside & wood & (level >= rise_px[first] + foot_px), column] = 1
        kind[(level < page_px[first, column]) & (level >= rise_px[first] + foot_px), column] = 2
    return row, kind


def _face_shade(seen: _Seen, row: NDArray[np.int_], column: NDArray[np.int_], height_mm: Array, colour: Colour) -> Array:
    """Bare face and burnt floors and walls. (n, 3)"""
    before_mm = np.fmin(seen.height_mm[np.maximum(row - 1, 0), column], seen.height_mm[row, column])  # a wall stands between two rows
    height_mm = np.clip(height_mm, before_mm, seen.height_mm[row, column])
    points = np.column_stack([seen.x_mm[row, column], seen.y_mm[row, column], height_mm])
    wood = wood_face("socket", points, colour, False).astype(float)
    return burnt_colour(-height_mm, seen.thickness_mm, wood) * seen.light[row, column][:, None]


def _side_shade(seen: _Seen, row: NDArray[np.int_], column: NDArray[np.int_], height_mm: Array, colour: Colour) -> Array:
    """The block's sides: its end across the grain, its long side along it. (n, 3)"""
    points = np.column_stack([seen.x_mm[row, column], seen.y_mm[row, column], height_mm])
    end = points[:, 0] > seen.wide_mm - 2 * seen.px_mm
    shown = np.empty((len(points), 3))
    shown[end] = END_LIGHT * wood_face("socket", points[end], colour, True)
    shown[~end] = SIDE_LIGHT * wood_face("socket", points[~end], colour, False)
    return shown
