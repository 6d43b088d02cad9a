"""Slabs as closed surfaces: watertight, outward, exact in volume, flat where STEP needs it."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from geometry.outlines import CORPUS, WAYS, ring_of
from kerfwright.geometry.mesh import Mesh, face_normal, flat_faces, off_plane_mm, slab_mesh
from kerfwright.geometry.region import triangles
from kerfwright.geometry.ring import signed_area_mm2
from kerfwright.geometry.slab import Slab, straight_slab

THICKNESS_MM = 6.0


def comb(half_mm: float, lean_mm: float = 0.0, n_extra: int = 3) -> np.ndarray:
    """A board with four sockets in its right end, ``half_mm`` half as wide; extra corners on its straight bottom edge."""
    points = [(float(x), 0.0) for x in np.linspace(0, 100, n_extra + 2)]
    for middle in (6.0, 15.0, 24.0, 33.0):
        points += [
            (100.0, middle - half_mm),
            (94.0, middle - half_mm - lean_mm),
            (94.0, middle + half_mm + lean_mm),
            (100.0, middle + half_mm),
        ]
    return np.array([*points, (100.0, 39.0), (0.0, 39.0)])


def shapes() -> dict[str, Slab]:
    """The corpus with square walls, and boards whose sockets narrow with depth; each plain, turned and mirrored."""
    found: dict[str, Slab] = {}
    for way, (move, _) in WAYS.items():
        for name, points in CORPUS.items():
            found[f"{name}, {way}"] = straight_slab(ring_of(move(np.array(points, dtype=float))), THICKNESS_MM)
        show, middle, inner = (ring_of(move(comb(half))) for half in (3.0, 2.625, 2.25))
        found[f"sockets, {way}"] = Slab((show, inner), (0.0, THICKNESS_MM))
        found[f"sockets straight in two, {way}"] = Slab((show, middle, inner), (0.0, THICKNESS_MM / 2, THICKNESS_MM))
        found[f"hourglass, {way}"] = Slab((show, inner, show), (0.0, 2.0, THICKNESS_MM))
    return found


SHAPES = shapes()


def edge_uses(mesh: Mesh) -> Counter[tuple[int, int]]:
    """How often each directed edge is used."""
    return Counter((int(face[i]), int(face[i - 2])) for face in mesh.faces for i in range(3))


@pytest.mark.parametrize("name", SHAPES)
def test_a_mesh_is_closed_outward_and_of_the_exact_volume(name: str):
    slab = SHAPES[name]
    mesh = slab_mesh(slab)
    uses = edge_uses(mesh)
    assert set(uses.values()) == {1}
    assert all((end, start) in uses for start, end in uses)
    n_vertices, n_edges, n_faces = len(mesh.vertices_mm), len(uses) // 2, len(mesh.faces)
    assert n_vertices - n_edges + n_faces == 2  # Euler: one closed surface without handles
    assert mesh.volume_mm3() == pytest.approx(slab.outline_volume_mm3(), rel=1e-12)
    a, b, c = (mesh.vertices_mm[mesh.faces[:, i]] for i in range(3))
    areas_mm2 = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    assert areas_mm2.min() > 1e-6
    assert np.linalg.norm((areas_mm2[:, None] * mesh.normals()).sum(axis=0)) < 1e-9  # a closed surface faces all ways alike
    show = np.all(np.isclose(mesh.vertices_mm[mesh.faces][..., 2], 0.0), axis=1)
    assert np.allclose(mesh.normals()[show], [0, 0, 1], atol=1e-12)
    assert areas_mm2[show].sum() == pytest.approx(slab.show_ring.area_mm2(), rel=1e-12)


@pytest.mark.parametrize("name", SHAPES)
def test_flat_faces_close_and_point_outward(name: str):
    slab = SHAPES[name]
    loops = [face.outer_mm for face in flat_faces(slab)]
    assert max(off_plane_mm(loop) for loop in loops) < 1e-9
    uses = Counter((tuple(start), tuple(end)) for loop in loops for start, end in zip(loop, np.roll(loop, -1, axis=0), strict=True))
    assert set(uses.values()) == {1}
    assert all((end, start) in uses for start, end in uses)
    # The divergence theorem over flat faces: each is a cone of height (a corner . normal) over its area.
    volume_mm3 = sum(float(loop[0] @ face_normal(loop)) * loop_area_mm2(loop) / 3 for loop in loops)
    assert volume_mm3 == pytest.approx(slab.outline_volume_mm3(), rel=1e-9)


def loop_area_mm2(loop_mm: np.ndarray) -> float:
    near = loop_mm - loop_mm[0]
    return float(0.5 * np.linalg.norm(np.cross(near, np.roll(near, -1, axis=0)).sum(axis=0)))


def test_a_square_board_by_hand():
    mesh = slab_mesh(straight_slab(ring_of([(0, 0), (20, 0), (20, 10), (0, 10)]), 5.0))
    assert len(mesh.vertices_mm) == 8
    assert len(mesh.faces) == 12
    assert mesh.volume_mm3() == pytest.approx(1000.0, rel=1e-14)
    assert mesh.vertices_mm.min(axis=0).tolist() == [0, 0, -5]
    assert mesh.vertices_mm.max(axis=0).tolist() == [20, 10, 0]
    faces = flat_faces(straight_slab(ring_of([(0, 0), (20, 0), (20, 10), (0, 10)]), 5.0))
    show, inner, *walls = (face.outer_mm for face in faces)
    assert face_normal(show).tolist() == [0, 0, 1]
    assert face_normal(inner).tolist() == [0, 0, -1]
    assert [face_normal(wall).tolist() for wall in walls] == [[0, -1, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0]]


def test_rings_on_the_straight_walls_of_their_neighbours_add_nothing():
    ring = ring_of(comb(3.0))
    once, often = straight_slab(ring, 6.0), Slab((ring,) * 5, (0.0, 0.5, 1.0, 4.0, 6.0))
    assert np.array_equal(slab_mesh(once).vertices_mm, slab_mesh(often).vertices_mm)
    assert len(flat_faces(SHAPES["sockets straight in two, plain"])) == len(flat_faces(SHAPES["sockets, plain"]))
    assert len(flat_faces(SHAPES["hourglass, plain"])) == 2 + 2 * len(ring.points_mm)


def test_an_edge_that_vanishes_with_depth_is_a_three_cornered_wall():
    """A frustum that runs out into a roof: 30 x 10 on top, a 20 mm ridge 6 mm below. V = h w (2 L + r) / 6 = 800."""
    show = ring_of([(0, 0), (30, 0), (30, 10), (0, 10)])
    # The short edges shrink to a point, so the inner ring is a line: give it a hair of area by stopping at 3/4 depth.
    part = [
        (0.75 * x + 0.25 * u, 0.75 * y + 0.25 * v)
        for (x, y), (u, v) in zip([(5, 5), (25, 5), (25, 5), (5, 5)], [(0, 0), (30, 0), (30, 10), (0, 10)], strict=True)
    ]
    assert slab_mesh(Slab((show, ring_of(part)), (0.0, 4.5))).volume_mm3() == pytest.approx(
        10 * 6 * (2 * 30 + 20) / 6 - 2.5 * 1.5 * (2 * 22.5 + 20) / 6, rel=1e-12
    )
    # One corner cut off on top and whole below: the cut has no length at the inner face.
    cut = ring_of([(0, 0), (20, 0), (20, 7), (17, 10), (0, 10)])
    whole = ring_of([(0, 0), (20, 0), (20, 10), (20, 10), (0, 10)])
    slab = Slab((cut, whole), (0.0, 6.0))
    loops = [face.outer_mm for face in flat_faces(slab)]
    assert sorted(len(loop) for loop in loops) == [3, 4, 4, 4, 4, 4, 5]
    mesh = slab_mesh(slab)
    assert set(edge_uses(mesh).values()) == {1}
    assert mesh.volume_mm3() == pytest.approx(20 * 10 * 6 - 0.5 * 3 * 3 * 6 / 3, rel=1e-12)  # a box less a pyramid


def test_a_twisted_wall_has_no_flat_face():
    twisted = ring_of([(0, 0), (20, 0), (20, 10), (1, 9)])
    with pytest.raises(ValueError, match="twisted by"):
        flat_faces(Slab((ring_of([(0, 0), (20, 0), (20, 10), (0, 10)]), twisted), (0.0, 6.0)))


def test_a_ring_that_touches_itself_cannot_be_closed():
    touching = ring_of([(0, 0), (10, 0), (10, 10), (5, 0), (0, 10)])
    with pytest.raises(ValueError, match="touches or crosses itself"):
        slab_mesh(straight_slab(touching, 6.0))


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("noise_mm", [0.0, 1e-13, 1e-10])
@pytest.mark.parametrize("n_extra", [0, 1, 7])
def test_triangles_use_every_corner_even_on_a_straight_edge(way: str, noise_mm: float, n_extra: int):
    """Else a wall's corner would hang in the middle of a triangle's side and the surface would leak."""
    points = WAYS[way][0](comb(3.0, 0.5, n_extra))
    points = points + noise_mm * np.random.default_rng(7).standard_normal(points.shape)
    found = triangles(points)
    assert len(found) == len(points) - 2
    uses = Counter((int(each[i]), int(each[i - 2])) for each in found for i in range(3))
    border = {edge for edge in uses if (edge[1], edge[0]) not in uses}
    assert border == {(i, (i + 1) % len(points)) for i in range(len(points))}
    a, b, c = (points[found[:, i]] for i in range(3))
    areas_mm2 = 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    assert areas_mm2.min() > 1e-6
    assert areas_mm2.sum() == pytest.approx(signed_area_mm2(points), rel=1e-12)
