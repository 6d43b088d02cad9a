"""Rings and slabs: areas and volumes against hand arithmetic, refusals of what is no outline or no part."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.outlines import CORPUS, WAYS, ring_of
from kerfwright.geometry.region import common_area_mm2, contains, is_simple, triangles
from kerfwright.geometry.ring import Edge, Place, Ring, Role, signed_area_mm2
from kerfwright.geometry.slab import Slab, straight_slab

AREAS_MM2 = {"square": 100, "trapezoid": 12 * (20 + 14) / 2, "L": 30 * 10 + 10 * 15, "triangle": 30, "tail": 40 * 8 + 12 * (20 + 23) / 2,
             "split side": 14 * 7}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", CORPUS)
def test_areas_by_hand(name: str, way: str):
    points = WAYS[way][0](np.array(CORPUS[name], dtype=float))
    assert ring_of(points).area_mm2() == pytest.approx(AREAS_MM2[name], rel=1e-12)
    assert signed_area_mm2(points[::-1]) == pytest.approx(-AREAS_MM2[name], rel=1e-12)
    assert is_simple(points)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", CORPUS)
def test_triangles_fill_the_outline_and_keep_its_turning(name: str, way: str):
    points = WAYS[way][0](np.array(CORPUS[name], dtype=float))
    faces = triangles(points)
    each = [signed_area_mm2(points[face]) for face in faces]
    assert min(each) > 0
    assert sum(each) == pytest.approx(AREAS_MM2[name], rel=1e-12)
    assert len(faces) == len(points) - 2


def test_judging_outlines():
    square = np.array(CORPUS["square"], dtype=float)
    assert common_area_mm2(square, square + np.array([4.0, 7.0])) == pytest.approx(6 * 3)
    assert common_area_mm2(square, square + np.array([10.0, 0.0])) == 0
    assert contains(square, np.array([[0.0, 0.0], [5.0, 10.0]]))
    assert not contains(square, np.array([[5.0, 5.0], [10.001, 5.0]]))
    assert not is_simple(np.array([[0.0, 0], [4, 4], [4, 0], [0, 4]]))


@pytest.mark.parametrize("points", [[(0, 0), (1, 0)], [(0, 0), (1, 0), (np.nan, 1)], [(0, 0), (1, 0), (np.inf, 1)]])
def test_what_is_no_outline_is_refused(points: list[tuple[float, float]]):
    with pytest.raises(ValueError, match="a Ring"):
        ring_of(points)


def test_a_ring_needs_an_edge_for_every_point():
    edge = Edge(Role.MATE, Place.FLANK, "a", "front/b")
    with pytest.raises(ValueError, match="n edges"):
        Ring(np.zeros((4, 2)), (edge,) * 3)
    with pytest.raises(ValueError, match="points"):
        Ring(np.zeros((3, 3)), (edge,) * 3)


def test_a_ring_keeps_its_own_points():
    points = np.array(CORPUS["square"], dtype=float)
    ring = ring_of(points)
    points[0] = 99.0
    assert ring.bounds_mm() == (0, 0, 10, 10)
    assert ring.moved(1, -2).bounds_mm() == (1, -2, 11, 8)
    with pytest.raises(ValueError, match="read-only"):
        ring.points_mm[0, 0] = 1.0


def slab_between(top: list[tuple[float, float]], bottom: list[tuple[float, float]], thickness_mm: float) -> Slab:
    return Slab((ring_of(top), ring_of(bottom)), (0.0, thickness_mm))


def test_a_tail_of_the_handbook():
    """HANDBOOK F1 (own arithmetic): a tail 20 mm wide and 12 mm long at 1:8 has 222 mm2; 10 mm thick, 2220 mm3."""
    narrow = 12 / 8
    tail = ring_of([(0, 0), (12, narrow), (12, 20 - narrow), (0, 20)])
    assert tail.area_mm2() == pytest.approx(222, rel=1e-12)
    assert straight_slab(tail, 10.0).outline_volume_mm3() == pytest.approx(2220, rel=1e-12)


def test_the_wedge_left_of_a_sloped_wall():
    """HANDBOOK F1 (own arithmetic): T^2 L / (2 s) = 90 mm3 for T 12, L 10, 1:8: what a ramp must take away."""
    length_mm, reach = 10.0, 12.0 / 8
    square = [(0.0, 0.0), (20.0, 0.0), (20.0, length_mm), (0.0, length_mm)]
    sloped = [(0.0, 0.0), (20.0 - reach, 0.0), (20.0 - reach, length_mm), (0.0, length_mm)]
    wedge_mm3 = slab_between(square, square, 12.0).outline_volume_mm3() - slab_between(square, sloped, 12.0).outline_volume_mm3()
    assert wedge_mm3 == pytest.approx(90, rel=1e-12)


@given(st.floats(1, 50), st.floats(1, 50), st.floats(0, 50), st.floats(0, 50), st.floats(0.5, 30))
def test_a_frustum_has_its_textbook_volume(a: float, b: float, c: float, d: float, h: float):
    """Prismatoid with rectangles a x b and c x d at its ends: h/6 (2ab + ad + cb + 2cd) (from memory of any table of solids)."""
    slab = slab_between([(0, 0), (a, 0), (a, b), (0, b)], [(0, 0), (c, 0), (c, d), (0, d)], h)
    assert slab.outline_volume_mm3() == pytest.approx(h / 6 * (2 * a * b + a * d + c * b + 2 * c * d), rel=1e-9)


def test_a_slab_of_many_rings_adds_up_and_is_cut_where_asked():
    wide, narrow = CORPUS["square"], [(1.0, 0.0), (9.0, 0.0), (9.0, 10.0), (1.0, 10.0)]
    slab = Slab((ring_of(wide), ring_of(wide), ring_of(narrow)), (0.0, 2.0, 6.0))
    assert slab.thickness_mm == 6.0
    assert slab.outline_volume_mm3() == pytest.approx(2 * 100 + 4 * 90, rel=1e-12)
    np.testing.assert_allclose(slab.ring_at(3.0).points_mm[:, 0], [0.25, 9.75, 9.75, 0.25])
    for depth_mm, ring in zip(slab.depths_mm, slab.rings, strict=True):
        np.testing.assert_array_equal(slab.ring_at(depth_mm).points_mm, ring.points_mm)
    assert slab.show_ring is slab.rings[0]
    assert slab.inner_ring is slab.rings[2]
    assert slab.moved(5, 6).bounds_mm() == (5, 6, 15, 16)
    for outside_mm in (-0.001, 6.001, float("nan")):
        with pytest.raises(ValueError, match="outside the slab"):
            slab.ring_at(outside_mm)


def test_bounds_look_at_every_ring():
    slab = slab_between(CORPUS["square"], [(-2, 0), (10, 0), (12, 10), (0, 11)], 5.0)
    assert slab.bounds_mm() == (-2, 0, 12, 11)


def test_what_is_no_part_is_refused():
    ring, other = ring_of(CORPUS["square"]), ring_of(CORPUS["triangle"])
    refused = [
        ((ring,), (0.0,), "two rings"), ((ring, ring, ring), (0.0, 6.0), "two rings"), ((ring, ring), (0.1, 6.0), "at depth 0"),
        ((ring, ring), (0.0, 0.0), "must rise"), ((ring, ring), (0.0, -6.0), "must rise"), ((ring, ring), (0.0, float("nan")), "must rise"),
        ((ring, other), (0.0, 6.0), "share their edges"),
    ]
    for rings, depths_mm, reason in refused:
        with pytest.raises(ValueError, match=reason):
            Slab(rings, depths_mm)
