"""Closed outlines whose edges remember what they are for.

Words: a *ring* is a closed polygon, wood on its left. An edge's *role* says how it is compensated:
MATE edges get clearance, FREE edges only kerf, DATUM edges are there already and are not cut.
Its *place* says which part of a joint it is: TIP (end of a tail or pin), FLANK (side of a tail or pin),
FLOOR (bottom of a socket, on the baseline), LONG (the board's own long edge), PANEL (side of a panel or a recess).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class Role(StrEnum):
    """How an edge is compensated."""

    MATE = "mate"
    FREE = "free"
    DATUM = "datum"


class Place(StrEnum):
    """Which part of the joint or board an edge is."""

    TIP = "tip"
    FLANK = "flank"
    FLOOR = "floor"
    LONG = "long"
    PANEL = "panel"


@dataclass(frozen=True)
class Edge:
    """One edge of a ring. ``name`` is unique on its part; ``mate`` is ``part/edge`` on the other board, or empty."""

    role: Role
    place: Place
    name: str
    mate: str = ""


@dataclass(frozen=True, eq=False)
class Ring:
    """points_mm: (n, 2), counter-clockwise; ``edges[i]`` runs from point i to point i + 1."""

    points_mm: Array
    edges: tuple[Edge, ...]

    def __post_init__(self) -> None:
        points = np.array(self.points_mm, dtype=float)
        if points.ndim != 2 or points.shape[1] != 2 or len(points) < 3 or len(points) != len(self.edges):
            raise ValueError("a Ring needs (n, 2) points, n >= 3, and n edges")
        if not np.all(np.isfinite(points)):
            raise ValueError("a Ring's points must be finite")
        points.flags.writeable = False
        object.__setattr__(self, "points_mm", points)

    def area_mm2(self) -> float:
        """Signed area, positive counter-clockwise."""
        return signed_area_mm2(self.points_mm)

    def moved(self, x_mm: float, y_mm: float) -> Ring:
        """The same ring shifted."""
        return Ring(self.points_mm + np.array([x_mm, y_mm]), self.edges)

    def bounds_mm(self) -> tuple[float, float, float, float]:
        """(x_min, y_min, x_max, y_max)."""
        low, high = self.points_mm.min(axis=0), self.points_mm.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def signed_area_mm2(points_mm: Array) -> float:
    """Shoelace area of (n, 2) points, positive counter-clockwise."""
    x, y = points_mm[:, 0], points_mm[:, 1]
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
