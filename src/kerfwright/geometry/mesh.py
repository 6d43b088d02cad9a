"""A slab as exact closed faces: flat faces for STEP, triangles for everything else.

Part frame: the show face lies at z = 0 and the other rings below it, at z = -depth. Rings share corners, so
neighbouring faces share their edges point for point and nothing needs to be sewn.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.region import triangles
from kerfwright.geometry.slab import Slab

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

FLAT_MM = 1e-6  # corners of one face may leave its plane by a nanometre
SAME_WALL_MM = 1e-9  # a ring this near the straight wall of its neighbours adds nothing


@dataclass(frozen=True, eq=False)
class Mesh:
    """A closed surface. vertices_mm: (n, 3); faces: (m, 3) indices, counter-clockwise seen from outside the wood."""

    vertices_mm: Array
    faces: Indices

    def normals(self) -> Array:
        """Outward unit normal of every triangle, (m, 3)."""
        a, b, c = (self.vertices_mm[self.faces[:, i]] for i in range(3))
        across = np.cross(b - a, c - a)
        return across / np.linalg.norm(across, axis=1, keepdims=True)

    def volume_mm3(self) -> float:
        """Volume by the divergence theorem, from a corner of the bounds so that a far part keeps its digits."""
        near = self.vertices_mm - self.vertices_mm.min(axis=0)
        a, b, c = (near[self.faces[:, i]] for i in range(3))
        return float(np.sum(a * np.cross(b, c)) / 6)


@dataclass(frozen=True, eq=False)
class _Corners:
    """points_mm: (n, 3); levels[k]: (n_edges,) index of each ring corner, one index for neighbours that coincide."""

    points_mm: Array
    levels: list[Indices]

    def walls(self) -> list[Indices]:
        """Corner indices of every wall, outward: down, along, up. Walls without area are left out."""
        found: list[Indices] = []
        for upper, lower in pairwise(self.levels):
            quads = np.stack([upper, lower, np.roll(lower, -1), np.roll(upper, -1)], axis=1)
            found += [wall for quad in quads if len(wall := _distinct(quad)) > 2]
        return found


@dataclass(frozen=True, eq=False)
class FlatFace:
    """A flat piece of surface. outer_mm: (k, 3), counter-clockwise seen from outside the wood; holes_mm: loops clockwise;
    pieces_mm: loops without holes that cover it."""

    outer_mm: Array
    holes_mm: tuple[Array, ...]
    pieces_mm: tuple[Array, ...]


def slab_mesh(slab: Slab) -> Mesh:
    """The slab as one watertight mesh, exact when its walls are flat. Raises ValueError when a face touches itself."""
    if slab.recesses:
        from kerfwright.geometry.solid import hollowed

        return hollowed(outline_mesh(slab), slab)
    return outline_mesh(slab)


def slab_volume_mm3(slab: Slab) -> float:
    """Volume of wood, recesses taken off."""
    return slab_mesh(slab).volume_mm3() if slab.recesses else slab.outline_volume_mm3()


def outline_mesh(slab: Slab) -> Mesh:
    """The slab without its recesses."""
    corners = _corners(slab)
    show, inner = _distinct(corners.levels[0]), _distinct(corners.levels[-1])
    faces = [_cap(corners.points_mm, show), _cap(corners.points_mm, inner)[:, ::-1]]
    # A wall's first triangle is (0, 1, 2); one with four corners has (0, 2, 3) too.
    faces += [wall[[[0, i, i + 1] for i in range(1, len(wall) - 1)]] for wall in corners.walls()]
    return Mesh(corners.points_mm, np.concatenate(faces))


def flat_faces(slab: Slab) -> list[FlatFace]:
    """The slab's flat faces; without recesses: show face, inner face, then the walls.

    Raises ValueError when a wall is twisted (its upper and lower edges are not parallel).
    """
    corners = _corners(slab)
    walls = [corners.points_mm[wall] for wall in corners.walls()]
    for wall in walls:
        if (off_mm := off_plane_mm(wall)) > FLAT_MM:
            raise ValueError(f"the wall at {wall[0].round(3).tolist()} is twisted by {off_mm:.3g} mm: its edges are not parallel")
    if slab.recesses:
        from kerfwright.geometry.solid import coplanar_faces

        return coplanar_faces(slab_mesh(slab))
    show, inner = _distinct(corners.levels[0]), _distinct(corners.levels[-1])[::-1]
    return [FlatFace(loop, (), (loop,)) for loop in (corners.points_mm[show], corners.points_mm[inner], *walls)]


def face_normal(loop_mm: Array) -> Array:
    """Unit normal (3,) of a flat loop (k, 3), by Newell's sum: corners on one line do no harm."""
    near = loop_mm - loop_mm[0]
    sums = near.T @ np.roll(near, -1, axis=0)  # (3, 3) sums of products of each corner with the next
    total = np.array([sums[1, 2] - sums[2, 1], sums[2, 0] - sums[0, 2], sums[0, 1] - sums[1, 0]])
    return total / np.linalg.norm(total)


def off_plane_mm(loop_mm: Array) -> float:
    """How far the corners of a loop (k, 3) leave its mean plane."""
    return float(np.max(np.abs((loop_mm - loop_mm.mean(axis=0)) @ face_normal(loop_mm))))


def _corners(slab: Slab) -> _Corners:
    points: list[Array] = []
    levels: list[Indices] = []
    n_points = 0
    for ring in _needed_rings(slab):
        fresh = np.any(ring != np.roll(ring, 1, axis=0), axis=1)  # (n_edges,) this corner differs from the one before
        index = np.cumsum(fresh) - 1
        index[index < 0] = np.sum(fresh) - 1  # corners before the first fresh one are the last one again
        points.append(ring[fresh])
        levels.append(index + n_points)
        n_points += int(np.sum(fresh))
    return _Corners(np.concatenate(points), levels)


def _needed_rings(slab: Slab) -> list[Array]:
    """Rings in the part frame, each (n_edges, 3), without those that lie on the straight walls of their neighbours."""
    rings = [
        np.column_stack([ring.points_mm, np.full(len(ring.points_mm), -depth)])
        for ring, depth in zip(slab.rings, slab.depths_mm, strict=True)
    ]
    kept = rings[:1]
    for here, after in pairwise(rings[1:]):
        before = kept[-1]
        share = (here[0, 2] - before[0, 2]) / (after[0, 2] - before[0, 2])
        if np.max(np.abs(before + share * (after - before) - here)) > SAME_WALL_MM:
            kept.append(here)
    return [*kept, rings[-1]]


def _distinct(loop: Indices) -> Indices:
    """A loop of indices without neighbours that repeat, round the end too."""
    return loop[loop != np.roll(loop, 1)]


def _cap(points_mm: Array, loop: Indices) -> Indices:
    return loop[triangles(points_mm[loop][:, :2])]
