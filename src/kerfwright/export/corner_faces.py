"""A corner after its ends are planed flush: which wood lies where on the two faces a person sees, and the lines between.

Coordinates of one face: u from the corner's arris along the board, v up the wall. The *owner* is the board whose show face it
is; the *other* board shows its end grain there, as far in as it is thick.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.assembly import Part
from kerfwright.geometry.ring import Place, Ring
from kerfwright.process.verdict import CornerVerdict, SeenLine

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class FaceLine:
    """A line between two woods on a face, from (u0, v0) to (u1, v1). share, gap_mm: (k,) the gap along it, share 0 to 1."""

    from_mm: Array
    to_mm: Array
    share: Array
    gap_mm: Array

    @property
    def widest_mm(self) -> Array:
        """(2,) where on the face the gap is widest."""
        return self.from_mm + float(self.share[int(np.argmax(self.gap_mm))]) * (self.to_mm - self.from_mm)


@dataclass(frozen=True, eq=False)
class End:
    """One board's end: its part, the x of the arris once planed and the way inward along x (+1 from the left end, -1 from the right)."""

    part: Part
    side: str
    flush_mm: float
    inward: int

    def uv(self, points_mm: Array) -> Array:
        """(n, 2) of the part's face -> (n, 2)."""
        return np.column_stack([self.inward * (points_mm[:, 0] - self.flush_mm), points_mm[:, 1]])

    def face_points(self, u_mm: Array, v_mm: Array, depth_mm: Array | float) -> Array:
        """Where a place of this board lies in its own frame. (n, 3)"""
        return np.column_stack([self.flush_mm + self.inward * u_mm, v_mm, np.broadcast_to(-np.asarray(depth_mm), np.shape(u_mm))])


@dataclass(frozen=True, eq=False)
class SeenFace:
    """One of the two faces. outline_mm: (n, 2) of the owner, in u, v; lines: by the owner's edge."""

    owner: End
    other: End
    outline_mm: Array
    lines: dict[str, FaceLine]
    height_mm: float

    @property
    def reach_mm(self) -> float:
        """How far in the other board's end reaches."""
        return self.other.part.slab.thickness_mm

    def owned(self, u_mm: Array, v_mm: Array) -> Bools:
        """Which places show the owner's face: (n,)."""
        inside = np.ones(len(u_mm), bool)
        near = u_mm < self.reach_mm
        inside[near] = _inside(self.outline_mm, u_mm[near], v_mm[near])
        return inside


def seen_faces(corner: CornerVerdict, parts: dict[str, Part]) -> tuple[SeenFace, SeenFace]:
    """The face of the tail board and that of the pin board. parts: by name, nominal."""
    tail, pin = parts[corner.tail_part], parts[corner.pin_part]
    flank = corner.maps[0]
    tail_side, pin_side = flank.tail_edge.partition(".")[0], flank.pin_edge.partition(".")[0]
    tail_end, pin_end = _end(tail, tail_side, pin), _end(pin, pin_side, tail)
    on_tail = {line.tail_edge: line for line in corner.lines if line.on == "tail board"}
    on_pin = {line.pin_edge: line for line in corner.lines if line.on == "pin board"}
    return _face(tail_end, pin_end, on_tail), _face(pin_end, tail_end, on_pin)


def _end(part: Part, side: str, other: Part) -> End:
    ring, inward = part.slab.show_ring, 1 if side == "left" else -1
    floors = [ring.points_mm[i, 0] for i in _edges_of(ring, side, Place.FLOOR)]
    return End(part, side, float(floors[0]) - inward * other.slab.thickness_mm, inward)


def _edges_of(ring: Ring, side: str, place: Place) -> list[int]:
    return [i for i, edge in enumerate(ring.edges) if edge.name.startswith(f"{side}.") and edge.place is place]


def _face(owner: End, other: End, seen: dict[str, SeenLine]) -> SeenFace:
    ring = owner.part.slab.show_ring
    uv = owner.uv(ring.points_mm)
    lines: dict[str, FaceLine] = {}
    for place in (Place.FLANK, Place.FLOOR):
        for i in _edges_of(ring, owner.side, place):
            name = ring.edges[i].name
            ends = uv[[i, (i + 1) % len(uv)]]
            if place is Place.FLANK:  # its line is told from the arris inward
                ends = ends[np.argsort(ends[:, 0])]
            lines[name] = _line(ends, seen.get(name), place)
    return SeenFace(owner, other, uv, lines, float(uv[:, 1].max()))


def _line(ends: Array, seen: SeenLine | None, place: Place) -> FaceLine:
    """A baseline's line is told in shares from its first corner to its second, a flank's in mm from the planed arris inward."""
    if seen is None:
        return FaceLine(ends[0], ends[1], np.array([0.0, 1.0]), np.zeros(2))
    share = seen.at_mm
    if place is Place.FLANK:
        share = (seen.at_mm - ends[0, 0]) / (ends[1, 0] - ends[0, 0])
    return FaceLine(ends[0], ends[1], share, np.nan_to_num(seen.gap_mm))


def _inside(outline_mm: Array, u_mm: Array, v_mm: Array) -> Bools:
    """Even-odd rule, each place by itself. (n,)"""
    inside = np.zeros(len(u_mm), bool)
    for (u0, v0), (u1, v1) in zip(outline_mm, np.roll(outline_mm, -1, axis=0), strict=True):
        if v0 != v1:
            crosses = ((v0 > v_mm) != (v1 > v_mm)) & (u_mm < u0 + (v_mm - v0) * ((u1 - u0) / (v1 - v0)))
            inside ^= crosses
    return inside
