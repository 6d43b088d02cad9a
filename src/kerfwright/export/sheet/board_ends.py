"""Where a board's joints end and its plain middle begins."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.slab import Slab

Array = NDArray[np.float64]


def end_x_mm(slab: Slab, end: str) -> float:
    """x of the ``"left"`` or ``"right"`` end's outermost point."""
    x0, _, x1, _ = slab.bounds_mm()
    return x0 if end == "left" else x1


def end_points_mm(slab: Slab, end: str) -> Array:
    """Show-face corners of the edges that belong to one end, (n, 2); the edges' names begin with the end's."""
    points = slab.show_ring.points_mm
    own = [i for i, edge in enumerate(slab.edges) if edge.name.startswith(f"{end}.")]
    return np.concatenate([points[own], points[[(i + 1) % len(points) for i in own]]]) if own else np.zeros((0, 2))


def baseline_mm(slab: Slab, end: str) -> float:
    """x of the line that an end's sockets reach; the end itself where it has none."""
    points, outer = end_points_mm(slab, end), end_x_mm(slab, end)
    if not len(points):
        return outer
    return outer + (1.0 if end == "left" else -1.0) * float(np.max(np.abs(points[:, 0] - outer)))
