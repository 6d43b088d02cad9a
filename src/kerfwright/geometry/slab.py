"""A flat part as a stack of rings: the outline at the show face and at each deeper level, straight walls between.

Corner i of one ring is joined to corner i of the next, so a wall may slope but the part stays one exact
polyhedron. A *recess* is a flat-floored hollow in one face - a groove, a housing, a mortise - with square walls; it may run
out over the part's edge, and one as deep as the part is a window. Nothing here knows about a laser.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.ring import Edge, Ring, signed_area_mm2

Array = NDArray[np.float64]


class Face(StrEnum):
    """A face of a board: the show face (out of the finished piece) or the inner face."""

    SHOW = "show face"
    INNER = "inner face"


@dataclass(frozen=True, eq=False)
class Recess:
    """A hollow of one depth in one face. ring: its outline, counter-clockwise round the hollow, in the part's x and y seen
    from the show face; where it runs out over the part's edge there is no wall."""

    name: str
    face: Face
    ring: Ring
    depth_mm: float

    def moved(self, x_mm: float, y_mm: float) -> Recess:
        """The same recess shifted along the board."""
        return replace(self, ring=self.ring.moved(x_mm, y_mm))


@dataclass(frozen=True, eq=False)
class Slab:
    """Rings at depths below the show face. depths_mm: rising from 0 to the thickness; all rings share their edges."""

    rings: tuple[Ring, ...]
    depths_mm: tuple[float, ...]
    recesses: tuple[Recess, ...] = ()

    def __post_init__(self) -> None:
        if len(self.rings) < 2 or len(self.rings) != len(self.depths_mm) or self.depths_mm[0] != 0:
            raise ValueError("a Slab needs at least two rings, the first at depth 0")
        if any(not later > earlier for earlier, later in zip(self.depths_mm, self.depths_mm[1:], strict=False)):
            raise ValueError("a Slab's depths must rise")
        if any(ring.edges != self.rings[0].edges for ring in self.rings):
            raise ValueError("a Slab's rings must share their edges")
        if any(not 0 < recess.depth_mm <= self.thickness_mm for recess in self.recesses):
            raise ValueError("a recess is deeper than 0 and no deeper than its Slab")

    @property
    def thickness_mm(self) -> float:
        """Depth of the last ring."""
        return self.depths_mm[-1]

    @property
    def edges(self) -> tuple[Edge, ...]:
        """The edges, the same in every ring."""
        return self.rings[0].edges

    @property
    def show_ring(self) -> Ring:
        """The outline at the show face."""
        return self.rings[0]

    @property
    def inner_ring(self) -> Ring:
        """The outline at the inner face."""
        return self.rings[-1]

    def ring_at(self, depth_mm: float) -> Ring:
        """The outline at a depth below the show face, 0 to the thickness."""
        if not 0 <= depth_mm <= self.thickness_mm:
            raise ValueError(f"depth {depth_mm} mm lies outside the slab")
        below = int(np.searchsorted(self.depths_mm, depth_mm))
        if below == 0:
            return self.rings[0]
        top, bottom = self.depths_mm[below - 1], self.depths_mm[below]
        share = (depth_mm - top) / (bottom - top)
        points = (1 - share) * self.rings[below - 1].points_mm + share * self.rings[below].points_mm
        return Ring(points, self.edges)

    def outline_volume_mm3(self) -> float:
        """Exact volume without recesses: the area is quadratic in depth between rings, so Simpson's rule has no error."""
        total = 0.0
        for (upper, lower), (top, bottom) in zip(
            zip(self.rings, self.rings[1:], strict=False), zip(self.depths_mm, self.depths_mm[1:], strict=False), strict=True
        ):
            middle = 0.5 * (upper.points_mm + lower.points_mm)
            total += (bottom - top) / 6 * (upper.area_mm2() + 4 * signed_area_mm2(middle) + lower.area_mm2())
        return total

    def moved(self, x_mm: float, y_mm: float) -> Slab:
        """The same slab shifted along the board."""
        recesses = tuple(recess.moved(x_mm, y_mm) for recess in self.recesses)
        return Slab(tuple(ring.moved(x_mm, y_mm) for ring in self.rings), self.depths_mm, recesses)

    def bounds_mm(self) -> tuple[float, float, float, float]:
        """(x_min, y_min, x_max, y_max) over all rings."""
        each = np.array([ring.bounds_mm() for ring in self.rings])
        low, high = each.min(axis=0), each.max(axis=0)
        return float(low[0]), float(low[1]), float(high[2]), float(high[3])


def straight_slab(ring: Ring, thickness_mm: float) -> Slab:
    """A part with square walls."""
    return Slab((ring, ring), (0.0, thickness_mm))
