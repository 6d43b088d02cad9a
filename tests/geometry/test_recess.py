"""Grooves, housings and windows in a slab: volumes by hand, closed surfaces, faces with holes."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest

from geometry.outlines import WAYS, ring_of
from kerfwright.geometry.mesh import face_normal, flat_faces, off_plane_mm, slab_mesh, slab_volume_mm3
from kerfwright.geometry.slab import Face, Recess, Slab, straight_slab

BOARD = straight_slab(ring_of([(0, 0), (100, 0), (100, 40), (0, 40)]), 6.0)
# A tail's sloped sides: the groove runs out through the square end between them.
SLOPED = Slab(
    tuple(ring_of([(0, 0), (60, 0), (60, low), (66, low), (66, 40 - low), (60, 40 - low), (60, 40), (0, 40)]) for low in (8, 10)),
    (0.0, 6.0),
)


def groove(x0: float, y0: float, x1: float, y1: float, depth_mm: float, face: Face = Face.INNER, name: str = "groove") -> Recess:
    return Recess(name, face, ring_of([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]), depth_mm)


# name: (slab, recesses, volume taken off by hand)
CASES: dict[str, tuple[Slab, list[Recess], float]] = {
    "groove from end to end": (BOARD, [groove(-1, 5, 101, 8, 2.5)], 100 * 3 * 2.5),
    "groove stopped at both ends": (BOARD, [groove(10, 5, 90, 8, 2.5)], 80 * 3 * 2.5),
    "two grooves that cross": (BOARD, [groove(-1, 5, 101, 8, 2.5), groove(50, -1, 54, 41, 2.0)], 100 * 3 * 2.5 + 4 * 40 * 2 - 4 * 3 * 2.0),
    "rabbet along the edge": (BOARD, [groove(-1, -1, 101, 4, 3.0, Face.SHOW)], 100 * 4 * 3.0),
    "window": (BOARD, [groove(20, 10, 30, 20, 6.0)], 10 * 10 * 6.0),
    "one in each face": (BOARD, [groove(20, 10, 30, 20, 2.0), groove(20, 10, 30, 20, 3.0, Face.SHOW, "other")], 100 * 5.0),
    "groove out through a sloped tail's end": (SLOPED, [groove(-1, 18, 67, 21, 2.5)], 66 * 3 * 2.5),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", CASES)
def test_wood_is_taken_off_and_the_surface_closes(name: str, way: str):
    plain, recesses, off_mm3 = CASES[name]
    move = WAYS[way][0]
    slab = Slab(
        tuple(ring_of(move(ring.points_mm)) for ring in plain.rings),
        plain.depths_mm,
        tuple(Recess(each.name, each.face, ring_of(move(each.ring.points_mm)), each.depth_mm) for each in recesses),
    )
    assert slab_volume_mm3(slab) == pytest.approx(slab.outline_volume_mm3() - off_mm3, rel=1e-10)
    mesh = slab_mesh(slab)
    uses = Counter((int(a), int(b)) for face in mesh.faces for a, b in [*pairwise(face), (face[2], face[0])])
    assert set(uses.values()) == {1}
    assert all((end, start) in uses for start, end in uses)
    faces = flat_faces(slab)
    loops = [loop for face in faces for loop in (face.outer_mm, *face.holes_mm)]
    sides = Counter((a.tobytes(), b.tobytes()) for loop in loops for a, b in zip(loop, np.roll(loop, -1, axis=0), strict=True))
    assert set(sides.values()) == {1}
    assert all((end, start) in sides for start, end in sides)
    assert max(off_plane_mm(face.outer_mm) for face in faces) < 1e-7
    # The divergence theorem over flat faces, holes counted with their own turn.
    volume_mm3 = 0.0
    for face in faces:
        normal = face_normal(face.outer_mm)
        volume_mm3 += float(face.outer_mm[0] @ normal) * sum(_area(loop, normal) for loop in (face.outer_mm, *face.holes_mm)) / 3
    assert volume_mm3 == pytest.approx(mesh.volume_mm3(), rel=1e-9)


def _area(loop_mm: np.ndarray, normal: np.ndarray) -> float:
    near = loop_mm - loop_mm[0]
    return float(0.5 * np.cross(near, np.roll(near, -1, axis=0)).sum(axis=0) @ normal)


def test_faces_of_a_stopped_groove_by_hand():
    """A board's 6 faces, one with a hole, and the groove's floor and 4 walls."""
    slab = Slab(BOARD.rings, BOARD.depths_mm, (groove(10, 5, 90, 8, 2.5),))
    faces = flat_faces(slab)
    assert len(faces) == 11
    (holed,) = (face for face in faces if face.holes_mm)
    assert face_normal(holed.outer_mm).tolist() == [0, 0, -1]
    assert sorted(map(tuple, holed.holes_mm[0].tolist())) == [(10, 5, -6), (10, 8, -6), (90, 5, -6), (90, 8, -6)]
    floors = [face for face in faces if np.allclose(face.outer_mm[:, 2], -3.5)]
    assert len(floors) == 1


def test_recesses_move_with_their_board():
    slab = Slab(BOARD.rings, BOARD.depths_mm, (groove(10, 5, 90, 8, 2.5),)).moved(3, 4)
    assert slab.recesses[0].ring.bounds_mm() == (13, 9, 93, 12)


@pytest.mark.parametrize("depth_mm", [0.0, -1.0, 6.1])
def test_a_recess_no_board_can_have_is_refused(depth_mm: float):
    with pytest.raises(ValueError, match="deeper than 0"):
        Slab(BOARD.rings, BOARD.depths_mm, (groove(10, 5, 90, 8, depth_mm),))


def test_a_recess_that_leaves_no_wood_is_refused():
    with pytest.raises(ValueError, match="leave no wood"):
        slab_mesh(Slab(BOARD.rings, BOARD.depths_mm, (groove(-1, -1, 101, 41, 6.0, name="all of it"),)))
