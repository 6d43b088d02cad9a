"""Solid geometry for tests, by manifold3d: do the parts of an assembly clash, leave voids, and slide home?

How far to believe it: the kernel works here in double precision. ``touching_mm3`` measures it on two boards whose 6 x 60 mm
ends overlap by a known film: it says 0.0 mm3 for boards that only touch, and 3.6e-7, 3.6e-4 and 0.36 mm3, right to seven
digits, for films of 1 pm, 1 nm and 1 um (test_exact_corners asserts this). So NOTHING_MM3, a film of 3 pm on such an end,
tells exact from nearly exact.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from manifold3d import Error, Manifold, Mesh64
from numpy.typing import NDArray

from kerfwright.geometry.assembly import Assembly, Part, Step
from kerfwright.geometry.mesh import slab_mesh

Array = NDArray[np.float64]

NOTHING_MM3 = 1e-6  # less than this counts as nothing: see above


def solid(part: Part, shift_mm: Array | None = None) -> Manifold:
    """The part as a solid in the assembly frame, moved by ``shift_mm`` (3,)."""
    mesh = slab_mesh(part.slab)
    points_mm = part.assembly_from_part.apply(mesh.vertices_mm) + (0.0 if shift_mm is None else shift_mm)
    made = Manifold(Mesh64(points_mm, mesh.faces.astype(np.uint64)))
    assert made.status() == Error.NoError, f"{part.name}: {made.status()}"
    return made


def block_solid(block_mm: Array) -> Manifold:
    """An upright block. block_mm: (2, 3) its lowest and highest corner."""
    return Manifold.cube(tuple(block_mm[1] - block_mm[0])).translate(tuple(block_mm[0]))


def union(assembly: Assembly) -> Manifold:
    """All parts as one solid."""
    whole = Manifold()
    for part in assembly.parts:
        whole += solid(part)
    return whole


def clash_mm3(assembly: Assembly) -> float:
    """Wood in two places at once: the volume that pairs of parts share, summed."""
    solids = [solid(part) for part in assembly.parts]
    return sum((a ^ b).volume() for a, b in combinations(solids, 2))


def void_mm3(assembly: Assembly, block_mm: Array) -> float:
    """Air inside a block (2, 3): the block less all parts."""
    return (block_solid(block_mm) - union(assembly)).volume()


def clash_along(assembly: Assembly, step: Step, n_positions: int) -> float:
    """The largest clash in mm3 while the moving parts come home from clear outside, close positions near home."""
    standing = [solid(assembly.part(name)) for name in step.standing]
    far_mm = _reach(assembly, step.moving, step.direction)[1] - _reach(assembly, step.standing, step.direction)[0]
    away_mm = (far_mm + 1.0) * np.linspace(1.0, 0.0, n_positions) ** 3
    worst_mm3 = 0.0
    for back_mm in away_mm:
        moving = [solid(assembly.part(name), -back_mm * step.direction) for name in step.moving]
        worst_mm3 = max(worst_mm3, sum((a ^ b).volume() for a in moving for b in standing))
    return worst_mm3


def _reach(assembly: Assembly, names: tuple[str, ...], direction: Array) -> tuple[float, float]:
    """Where the named parts begin and end along a direction, mm."""
    along = np.concatenate(
        [assembly.part(name).assembly_from_part.apply(slab_mesh(assembly.part(name).slab).vertices_mm) @ direction for name in names]
    )
    return float(along.min()), float(along.max())


def touching_mm3(overlap_mm: float) -> float:
    """What the kernel makes of two 6 x 60 x 80 mm boards whose ends overlap by ``overlap_mm``, far from the origin."""
    low_mm = np.array([310.7, 41.3, 7.9])
    first = block_solid(np.array([low_mm, low_mm + [80.0, 6.0, 60.0]]))
    second = block_solid(np.array([low_mm + [80.0 - overlap_mm, 0.0, 0.0], low_mm + [160.0, 6.0, 60.0]]))
    return (first ^ second).volume()
