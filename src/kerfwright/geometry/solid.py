"""Recesses taken out of a slab, and flat faces found again: the only importer of the solid-geometry library.

It works in double precision; corners of the outline come back bit for bit, crossings to about a picometre.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import Pose
from kerfwright.geometry.assembly import Part
from kerfwright.geometry.mesh import FlatFace, Mesh, slab_mesh
from kerfwright.geometry.slab import Face, Recess, Slab

if TYPE_CHECKING:
    from manifold3d import Manifold

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

PROUD_MM = 1.0  # the tool that hollows a recess stands this far out of the face, so that no two faces coincide
SAME_PLANE = 1e-7  # normals of one flat face differ by less


def hollowed(outline: Mesh, slab: Slab) -> Mesh:
    """The slab's outline mesh with its recesses taken out."""
    from manifold3d import Error, Manifold, Mesh64, OpType

    whole = Manifold(Mesh64(outline.vertices_mm, outline.faces.astype(np.uint64)))
    tools = [_tool(recess, slab.thickness_mm) for recess in slab.recesses]
    left = Manifold.batch_boolean([whole, *tools], OpType.Subtract)
    if left.status() != Error.NoError or left.is_empty():
        raise ValueError(f"the recesses {', '.join(recess.name for recess in slab.recesses)} leave no wood")
    made: Any = left.to_mesh64()
    points_mm: Array = np.array(made.vert_properties, dtype=np.float64)[:, :3]
    return Mesh(points_mm, np.array(made.tri_verts, dtype=np.int64))


def _tool(recess: Recess, thickness_mm: float) -> Manifold:
    from manifold3d import CrossSection, Manifold

    height_mm = recess.depth_mm + PROUD_MM * (1 if recess.depth_mm < thickness_mm else 2)
    low_mm = -recess.depth_mm if recess.face is Face.SHOW else -thickness_mm - PROUD_MM
    if recess.depth_mm >= thickness_mm:
        low_mm = -thickness_mm - PROUD_MM
    return Manifold.extrude(CrossSection([recess.ring.points_mm]), height_mm).translate((0.0, 0.0, low_mm))


def coplanar_faces(mesh: Mesh) -> list[FlatFace]:
    """Triangles that lie in one plane and hang together, as faces with their holes."""
    normals = mesh.normals()
    across: dict[tuple[int, int], int] = {}
    for i, face in enumerate(mesh.faces):
        for start, end in zip(face, np.roll(face, -1), strict=True):
            across[int(start), int(end)] = i
    group = _groups(mesh.faces, normals, across)
    found: list[FlatFace] = []
    for number in range(int(group.max()) + 1):
        triangles = np.flatnonzero(group == number)
        rim = [
            (start, end)
            for i in triangles
            for start, end in _sides(mesh.faces[i])
            if group[across[end, start]] != number
        ]
        loops = [mesh.vertices_mm[loop] for loop in _loops(rim)]
        # The outer loop turns the way the face does; holes turn the other way.
        turns = [float(_newell(loop) @ normals[triangles[0]]) for loop in loops]
        outer = int(np.argmax(turns))
        holes = tuple(loop for k, loop in enumerate(loops) if k != outer)
        pieces = tuple(mesh.vertices_mm[mesh.faces[i]] for i in triangles) if holes else (loops[outer],)
        found.append(FlatFace(loops[outer], holes, pieces))
    return found


def _sides(face: Indices) -> list[tuple[int, int]]:
    a, b, c = (int(each) for each in face)
    return [(a, b), (b, c), (c, a)]


def _groups(faces: Indices, normals: Array, across: dict[tuple[int, int], int]) -> Indices:
    """Number of the flat face of each triangle. (m,)"""
    group = np.full(len(faces), -1, dtype=np.int64)
    n_groups = 0
    for seed in range(len(faces)):
        if group[seed] >= 0:
            continue
        group[seed], waiting = n_groups, [seed]
        while waiting:
            here = waiting.pop()
            for start, end in _sides(faces[here]):
                there = across[end, start]
                if group[there] < 0 and np.max(np.abs(normals[there] - normals[seed])) < SAME_PLANE:
                    group[there] = n_groups
                    waiting.append(there)
        n_groups += 1
    return group


def _loops(rim: list[tuple[int, int]]) -> list[list[int]]:
    """Closed loops from directed sides; a corner where two loops touch goes on with the side not yet used."""
    after: dict[int, list[int]] = defaultdict(list)
    for start, end in rim:
        after[start].append(end)
    loops: list[list[int]] = []
    while after:
        first = next(iter(after))
        loop, here = [first], after[first].pop()
        if not after[first]:
            del after[first]
        while here != first:
            loop.append(here)
            onward = after[here].pop()
            if not after[here]:
                del after[here]
            here = onward
        loops.append(loop)
    return loops


def _newell(loop_mm: Array) -> Array:
    """Twice the area vector of a loop (k, 3). (3,)"""
    near = loop_mm - loop_mm[0]
    return np.cross(near, np.roll(near, -1, axis=0)).sum(axis=0)


@dataclass(frozen=True)
class Clash:
    """Wood in two places at once on a way: at which step, which parts, how much."""

    step: int
    moving: str
    standing: str
    shared_mm3: float


def first_clash(standing: Sequence[Part], moving: Sequence[Part], way: Sequence[Pose], least_mm3: float) -> Clash | None:
    """The first step of a way on which a moving part shares more than ``least_mm3`` with a standing one, or None.

    way: poses that carry the moving parts, as they stand in the assembly, to each step.
    """
    from manifold3d import Manifold

    solids = {part.name: _placed(part) for part in standing}
    all_standing = Manifold.compose(list(solids.values()))  # they only touch, so together they are one solid
    travelling = {part.name: _placed(part) for part in moving}
    for step, pose in enumerate(way):
        for name, solid in travelling.items():
            moved = solid.transform(pose.matrix[:3])
            if (moved ^ all_standing).volume() > least_mm3:
                shared = {other: float((moved ^ each).volume()) for other, each in solids.items()}
                worst = max(shared, key=lambda other: shared[other])
                return Clash(step, name, worst, shared[worst])
    return None


def _placed(part: Part) -> Manifold:
    from manifold3d import Manifold, Mesh64

    mesh = slab_mesh(part.slab)
    return Manifold(Mesh64(part.assembly_from_part.apply(mesh.vertices_mm), mesh.faces.astype(np.uint64)))
