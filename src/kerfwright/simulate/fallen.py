"""One socket as it looks when its waste has fallen out: cut from a full burn's depths, for a picture in space."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.ring import Place
from kerfwright.geometry.slab import Slab
from kerfwright.simulate.opened import HeightField

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ROUND_MM = 1.6  # of wood shown on either side of a socket
THROUGH_MM = 1e-3


@dataclass(frozen=True, eq=False)
class SocketDepths:
    """depth_mm: (y, x) below the face that the light entered, the thickness where it is through; the board's end lies at high x.

    cell_mm: side of a cell.
    """

    depth_mm: Array
    cell_mm: float
    thickness_mm: float


def socket_depths(heights: Sequence[HeightField], slab: Slab, side: str) -> SocketDepths | None:
    """The middle socket of a part's end ("left" or "right"), all setups that burnt it from one face taken together: the show face,
    or the inner one when nothing was burnt from the show face. None when the end has no socket or nothing was burnt there.
    """
    floors = [i for i, edge in enumerate(slab.edges) if edge.place is Place.FLOOR and edge.name.startswith(f"{side}.")]
    at_end = [each for each in heights if (each.x_mm.mean() < _middle_mm(slab)) == (side == "left")]
    from_show = any(each.from_show for each in at_end)
    here = [each for each in at_end if each.from_show == from_show]
    if not floors or not here:
        return None
    depth = np.maximum.reduce([each.depth_mm.astype(float) for each in here])  # (x, y): each setup's light took its own
    thickness_mm = max(each.thickness_mm for each in here)
    depth = np.where(_standing(depth < thickness_mm - THROUGH_MM, side), depth, thickness_mm)
    low_mm, high_mm = _span_mm(slab, floors[len(floors) // 2])
    y_mm = here[0].y_mm
    kept = depth[:, (y_mm > low_mm - ROUND_MM) & (y_mm < high_mm + ROUND_MM)]
    kept = kept[_within(slab, side, here[0].x_mm)]
    if side == "left":
        kept = kept[::-1, ::-1]  # turned by half a turn, so that every socket opens the same way
    if not from_show:
        kept = kept[:, ::-1]  # seen from the inner face
    return SocketDepths(np.ascontiguousarray(kept.T), float(here[0].x_mm[1] - here[0].x_mm[0]), thickness_mm)


def _middle_mm(slab: Slab) -> float:
    x_mm = slab.show_ring.points_mm[:, 0]
    return float(x_mm.min() + x_mm.max()) / 2


def _span_mm(slab: Slab, floor: int) -> tuple[float, float]:
    """From where to where across the board a socket reaches at the show face, its flanks' far ends included."""
    points = slab.show_ring.points_mm
    y_mm = points[[(floor + k) % len(points) for k in (-1, 0, 1, 2)], 1]
    return float(y_mm.min()), float(y_mm.max())


def _within(slab: Slab, side: str, x_mm: Array) -> Flags:
    """Cells on the part's own side of its end: what lies beyond is waste already."""
    ends = slab.show_ring.points_mm[:, 0]
    return x_mm > ends.min() if side == "left" else x_mm < ends.max()


def _standing(wood: Flags, side: str) -> Flags:
    """Wood that hangs together with the board's inside; pieces cut free all round fall. wood: (x, y)."""
    from scipy import ndimage  # pyright: ignore[reportMissingTypeStubs]

    image: Any = ndimage  # scipy tells no types here
    pieces, _ = image.label(wood)
    inside = np.unique(pieces[-1 if side == "left" else 0])
    return np.isin(pieces, inside[inside > 0])
