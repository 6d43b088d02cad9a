"""Offset a ring edge by edge: each edge its own distance, corners re-intersected.

A general polygon buffer has one distance and forgets which edge is which; here every edge keeps its name
and its role, and a corner is where the two moved edges meet.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.region import is_simple
from kerfwright.geometry.ring import Ring

Array = NDArray[np.float64]

PARALLEL_SINE = 1e-9  # below this two edges count as one line
VANISHED_MM = 1e-6  # an edge shorter than a nanometre is rounding, not wood


def meet(point_a_mm: Array, along_a: Array, point_b_mm: Array, along_b: Array) -> Array | None:
    """Where two lines cross, or None when they are parallel. All (2,)."""
    cross = along_a[0] * along_b[1] - along_a[1] * along_b[0]
    if abs(cross) <= PARALLEL_SINE * float(np.hypot(*along_a) * np.hypot(*along_b)):
        return None
    apart = point_b_mm - point_a_mm
    step = (apart[0] * along_b[1] - apart[1] * along_b[0]) / cross
    return point_a_mm + step * along_a


def offset_ring(ring: Ring, offsets_mm: Array) -> Ring:
    """The ring with edge i moved ``offsets_mm[i]`` outward (positive adds wood).

    ring: counter-clockwise; offsets_mm: (n,). Raises ValueError when an edge would vanish or turn round, or
    when an opening would close: the offset is then larger than the feature.
    """
    points = ring.points_mm
    along = np.roll(points, -1, axis=0) - points  # (n, 2)
    length_mm = np.hypot(along[:, 0], along[:, 1])
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1) / length_mm[:, None]
    moved = points + outward * offsets_mm[:, None]
    corners = np.empty_like(points)
    for i in range(len(points)):
        before = i - 1
        crossing = meet(moved[before], along[before], moved[i], along[i])
        if crossing is None:
            # One straight line with two offsets: step at the shared corner, halfway.
            crossing = points[i] + 0.5 * (outward[before] * offsets_mm[before] + outward[i] * offsets_mm[i])
        corners[i] = crossing
    kept_mm = np.sum((np.roll(corners, -1, axis=0) - corners) * along, axis=1) / length_mm
    if np.any(kept_mm <= VANISHED_MM):
        lost = ring.edges[int(np.argmin(kept_mm))].name
        raise ValueError(f"the edge {lost} is shorter than the offset needs")
    if not is_simple(corners):
        raise ValueError("the outline would cross itself, since an opening is narrower than the offset needs")
    return Ring(corners, ring.edges)
