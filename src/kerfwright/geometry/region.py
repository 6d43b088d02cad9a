"""The only importer of shapely: judge outlines (valid, overlap, distance) and triangulate faces."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

Array = NDArray[np.float64]


def is_simple(points_mm: Array) -> bool:
    """True when a ring of (n, 2) points neither crosses nor touches itself."""
    polygon = shapely.Polygon(points_mm)
    return bool(polygon.is_valid)


def common_area_mm2(ring_a_mm: Array, ring_b_mm: Array) -> float:
    """Area shared by two rings."""
    return float(shapely.Polygon(ring_a_mm).intersection(shapely.Polygon(ring_b_mm)).area)


def contains(outer_mm: Array, points_mm: Array, slack_mm: float = 1e-6) -> bool:
    """True when every point lies in the outer ring, allowing ``slack_mm``."""
    return bool(np.all(shapely.intersects_xy(shapely.Polygon(outer_mm).buffer(slack_mm), points_mm)))


def triangles(points_mm: Array) -> NDArray[np.int64]:
    """Triangulate a counter-clockwise ring: every corner is used, none added. (n, 2) -> (n - 2, 3) indices.

    Raises ValueError when the ring crosses or touches itself.
    """
    polygon = shapely.Polygon(points_mm)
    if not polygon.is_valid:
        raise ValueError("a ring touches or crosses itself, so its face cannot be closed")
    index = {(float(x), float(y)): i for i, (x, y) in enumerate(points_mm)}
    found: list[tuple[int, int, int]] = []
    for piece in shapely.get_parts(shapely.constrained_delaunay_triangles(polygon)):
        corners = [index[float(x), float(y)] for x, y in piece.exterior.coords[:3]]
        a, b, c = points_mm[corners]
        if (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) < 0:
            corners.reverse()
        found.append((corners[0], corners[1], corners[2]))
    return np.array(found, dtype=np.int64)
