"""Which flat face is seen at each pixel: a depth buffer over flat polygons, in numpy.

Pixel coordinates: x right, y down, pixel (row, column) has its centre at (column + 0.5, row + 0.5). Depth grows
toward the viewer. A pixel belongs to a polygon when its centre lies inside, so faces that share an edge neither
overlap nor leave a crack.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class DepthBuffer:
    """face: (h, w) number of the nearest face, 0 where there is none; depth_mm: (h, w), -inf where there is none."""

    def __init__(self, width_px: int, height_px: int) -> None:
        self.face: NDArray[np.int16] = np.zeros((height_px, width_px), np.int16)
        self.depth_mm: NDArray[np.float32] = np.full((height_px, width_px), -np.inf, np.float32)

    def draw(self, outline_px: Array, plane_mm: Array, face: int) -> None:
        """Draw one polygon. outline_px: (k, 2); plane_mm: (3,), depth = plane_mm @ (x, y, 1)."""
        window, inside = polygon_mask(outline_px, self.face.shape)
        if not inside.size:
            return
        rows, columns = window
        x_px = np.arange(columns.start, columns.stop, dtype=np.float64) + 0.5
        y_px = np.arange(rows.start, rows.stop, dtype=np.float64) + 0.5
        depth_mm = (plane_mm[0] * x_px).astype(np.float32)[None, :] + (plane_mm[1] * y_px + plane_mm[2]).astype(np.float32)[:, None]
        nearer = inside & (depth_mm > self.depth_mm[window])
        np.copyto(self.depth_mm[window], depth_mm, where=nearer)
        np.copyto(self.face[window], np.int16(face), where=nearer)


def polygon_mask(outline_px: Array, shape: tuple[int, int]) -> tuple[tuple[slice, slice], NDArray[np.bool_]]:
    """The window of the picture a polygon touches, and which of its pixels lie inside (even-odd). outline_px: (k, 2)."""
    low = np.maximum(np.floor(outline_px.min(axis=0)), 0).astype(int)
    high = np.minimum(np.ceil(outline_px.max(axis=0)), [shape[1], shape[0]]).astype(int)
    window = (slice(low[1], max(high[1], low[1])), slice(low[0], max(high[0], low[0])))
    n_rows, n_columns = window[0].stop - window[0].start, window[1].stop - window[1].start
    # Each edge flips every pixel to its right, row by row: a pixel flipped an odd number of times is inside.
    flips = np.zeros((n_rows, n_columns + 1), np.uint8)
    for (x_0, y_0), (x_1, y_1) in zip(outline_px - low, np.roll(outline_px, -1, axis=0) - low, strict=True):
        first, last = sorted((int(np.ceil(y_0 - 0.5)), int(np.ceil(y_1 - 0.5))))
        rows = np.arange(max(first, 0), min(last, n_rows))
        if len(rows):
            crossing_px = x_0 + (rows + 0.5 - y_0) * ((x_1 - x_0) / (y_1 - y_0))
            columns = np.clip(np.ceil(crossing_px - 0.5).astype(int), 0, n_columns)
            flips[rows, columns] ^= 1
    return window, np.bitwise_xor.accumulate(flips, axis=1)[:, :n_columns].view(np.bool_)
