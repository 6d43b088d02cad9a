"""Each edge moves by its own distance and keeps its name. Expected corners are worked out by hand or by another road."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry.outlines import CORPUS, WAYS, ring_of
from kerfwright.geometry.edge_offset import meet, offset_ring
from kerfwright.geometry.ring import signed_area_mm2

# outline, one offset an edge, corners by hand
BY_HAND = {
    "square, all sides": ("square", [1, 1, 1, 1], [(-1, -1), (11, -1), (11, 11), (-1, 11)]),
    "square, inward": ("square", [-2, -2, -2, -2], [(2, 2), (8, 2), (8, 8), (2, 8)]),
    "square, one side": ("square", [0, 0.5, 0, 0], [(0, 0), (10.5, 0), (10.5, 10), (0, 10)]),
    "square, four distances": ("square", [1, 2, 3, 4], [(-4, -1), (12, -1), (12, 13), (-4, 13)]),
    # flank slope 3:12; moving only the far side up by 4 follows the flanks inward by 1
    "trapezoid, far side": ("trapezoid", [0, 0, 4, 0], [(0, 0), (20, 0), (16, 16), (4, 16)]),
    # a flank moved out by d meets the base d / cos(slope) further out: 1:4 -> sqrt(1 + 1/16)
    "trapezoid, right flank": ("trapezoid", [0, 1, 0, 0], [(0, 0), (20 + np.sqrt(17) / 4, 0), (17 + np.sqrt(17) / 4, 12), (3, 12)]),
    "L, all sides": ("L", [1] * 6, [(-1, -1), (31, -1), (31, 11), (11, 11), (11, 26), (-1, 26)]),
    "L, the inner corner": ("L", [0, 0, -2, 3, 0, 0], [(0, 0), (30, 0), (30, 8), (13, 8), (13, 25), (0, 25)]),
    "one line, one distance": ("split side", [1, 1, 0, 0, 0], [(0, -1), (6, -1), (14, -1), (14, 7), (0, 7)]),
    # one line with two distances steps at the shared corner, halfway between them
    "one line, two distances": ("split side", [1, 2, 0, 0, 0], [(0, -1), (6, -1.5), (14, -2), (14, 7), (0, 7)]),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("case", BY_HAND)
def test_corners_by_hand(case: str, way: str):
    name, offsets, expected = BY_HAND[case]
    move, follow = WAYS[way]
    ring = ring_of(move(np.array(CORPUS[name], dtype=float)))
    moved = offset_ring(ring, follow(np.array(offsets, dtype=float)))
    np.testing.assert_allclose(moved.points_mm, move(np.array(expected, dtype=float)), atol=1e-12)
    assert moved.edges == ring.edges


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", CORPUS)
@pytest.mark.parametrize("distance_mm", [0.11, -0.11])
def test_one_distance_agrees_with_a_mitred_buffer(name: str, way: str, distance_mm: float):
    """shapely's buffer with mitred corners is exact while no corner passes its limit: another library, another method."""
    ring = ring_of(WAYS[way][0](np.array(CORPUS[name], dtype=float)))
    ours = offset_ring(ring, np.full(len(ring.edges), distance_mm))
    theirs = shapely.Polygon(ring.points_mm).buffer(distance_mm, join_style="mitre", mitre_limit=20)
    assert theirs.symmetric_difference(shapely.Polygon(ours.points_mm)).area < 1e-9
    assert ours.area_mm2() == pytest.approx(theirs.area, abs=1e-9)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", CORPUS)
def test_every_edge_ends_up_at_its_own_distance(name: str, way: str):
    ring = ring_of(WAYS[way][0](np.array(CORPUS[name], dtype=float)))
    n = len(ring.edges)
    offsets = np.random.default_rng(7).uniform(-0.3, 0.3, n)
    if name == "split side":
        offsets[1] = offsets[0] if way != "mirrored" else offsets[1]
        if way == "mirrored":
            offsets[n - 2] = offsets[n - 3]
    moved = offset_ring(ring, offsets)
    for i in range(n):
        here, there = ring.points_mm[i], ring.points_mm[(i + 1) % n]
        along = (there - here) / np.linalg.norm(there - here)
        outward = np.array([along[1], -along[0]])
        for corner in (moved.points_mm[i], moved.points_mm[(i + 1) % n]):
            assert outward @ (corner - here) == pytest.approx(offsets[i], abs=1e-9)


@pytest.mark.parametrize("name", CORPUS)
def test_no_offset_changes_nothing(name: str):
    ring = ring_of(CORPUS[name])
    np.testing.assert_array_equal(offset_ring(ring, np.zeros(len(ring.edges))).points_mm, ring.points_mm)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(
    ("name", "offsets", "lost"),
    [("square", [0, -5, 0, -5], None), ("square", [0, -6, 0, -6], None), ("trapezoid", [0, 0, 56, 0], "e2"),
     ("L", [0, 0, 0, 0, -15, 0], "e3"), ("L", [0, 0, 0, 0, -20, 0], "e3"), ("tail", [0, 0, 0, 0, 0, 0, 0, -10], None),
     ("triangle", [-3, -3, -3], None)],
)
def test_an_edge_that_would_vanish_is_refused_by_name(name: str, offsets: list[float], lost: str | None, way: str):
    move, follow = WAYS[way]
    ring = ring_of(move(np.array(CORPUS[name], dtype=float)))
    with pytest.raises(ValueError, match=r"the edge e\d is shorter than the offset needs") as caught:
        offset_ring(ring, follow(np.array(offsets, dtype=float)))
    if lost is not None and way != "mirrored":
        assert f"the edge {lost} " in str(caught.value)


@pytest.mark.parametrize("way", WAYS)
def test_an_opening_that_would_close_is_refused(way: str):
    """A socket 0.2 mm wide at its mouth and 4 mm at its floor: every edge survives a wide slit, but the mouth does not."""
    socket = np.array([(0, 0), (30, 0), (30, 20), (15.1, 20), (17, 10), (13, 10), (14.9, 20), (0, 20)], dtype=float)
    ring = ring_of(WAYS[way][0](socket))
    assert offset_ring(ring, np.full(8, 0.08)).area_mm2() > ring.area_mm2()
    with pytest.raises(ValueError, match="an opening is narrower than the offset needs"):
        offset_ring(ring, np.full(8, 0.15))


def test_lines_meet_or_are_parallel():
    crossing = meet(np.array([0.0, 0.0]), np.array([1.0, 1.0]), np.array([4.0, 0.0]), np.array([0.0, 2.0]))
    assert crossing is not None
    np.testing.assert_allclose(crossing, [4.0, 4.0])
    assert meet(np.array([0.0, 0.0]), np.array([1.0, 1.0]), np.array([4.0, 0.0]), np.array([-2.0, -2.0])) is None


def test_the_corpus_runs_counter_clockwise_in_every_way():
    assert len(CORPUS) >= 6
    for points in CORPUS.values():
        for move, _ in WAYS.values():
            assert signed_area_mm2(move(np.array(points, dtype=float))) > 0
