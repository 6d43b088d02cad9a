"""A socket cut out of a full burn: its waste falls when it is free all round, and stays where it is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Slab, straight_slab
from kerfwright.simulate.fallen import ROUND_MM, socket_depths
from kerfwright.simulate.opened import HeightField

THICK_MM, STEP_MM = 6.0, 0.05


def board() -> Slab:
    """40 x 20 mm, a socket 8 mm wide and 6 mm deep in the middle of its right end, from y = 6 to y = 14."""
    points = np.array([(0, 0), (40, 0), (40, 6), (34, 6), (34, 14), (40, 14), (40, 20), (0, 20)], dtype=float)
    places = (Place.LONG, Place.TIP, Place.FLANK, Place.FLOOR, Place.FLANK, Place.TIP, Place.LONG, Place.TIP)
    names = ("bottom", "right.tip1", "right.flank1", "right.floor2", "right.flank2", "right.tip3", "top", "left.tip1")
    edges = tuple(Edge(Role.FREE, place, name) for place, name in zip(places, names, strict=True))
    return straight_slab(Ring(points, edges), THICK_MM)


def burnt(bridge: bool = False, from_show: bool = True) -> HeightField:
    """Slits 0.2 mm wide along the outline of the right end. bridge: a millimetre of the floor was not cut through."""
    x, y = np.arange(32.0, 41.2, STEP_MM) + STEP_MM / 2, np.arange(-1.2, 21.2, STEP_MM) + STEP_MM / 2
    gx, gy = np.meshgrid(x, y, indexing="ij")
    flank = (np.minimum(np.abs(gy - 6.1), np.abs(gy - 13.9)) < 0.1) & (gx > 34)
    floor = (np.abs(gx - 34.1) < 0.1) & (gy > 6) & (gy < 14)
    if bridge:
        floor &= np.abs(gy - 9) > 0.5
    ends = (np.abs(gx - 40.1) < 0.1) | (np.minimum(np.abs(gy), np.abs(gy - 20)) < 0.1)
    depth = np.where(flank | floor | ends, THICK_MM, 0.0).astype(np.float32)
    return HeightField(1, from_show, x, y, depth, THICK_MM)


def open_mm2(height: HeightField) -> float:
    found = socket_depths([height], board(), "right")
    assert found is not None
    assert (found.cell_mm, found.thickness_mm) == (pytest.approx(STEP_MM), THICK_MM)
    assert found.depth_mm.shape[0] * found.cell_mm == pytest.approx(8 + 2 * ROUND_MM, abs=2 * STEP_MM)
    return float((found.depth_mm >= THICK_MM).sum()) * STEP_MM**2


def test_a_free_piece_falls() -> None:
    """What is open is the socket, 8 x 6 mm."""
    assert open_mm2(burnt()) == pytest.approx(48, rel=0.01)
    assert open_mm2(burnt(from_show=False)) == pytest.approx(48, rel=0.01)


def test_a_bridge_holds_it() -> None:
    """Only the slits are open: 2 flanks 6 mm long and 7.6 - 1 mm of floor between them, 0.2 mm wide; the bridge keeps the rest."""
    assert open_mm2(burnt(bridge=True)) == pytest.approx(0.2 * (2 * 6 + 7.6 - 1), rel=0.05)


def test_setups_of_one_face_are_taken_together_and_other_ends_left_out() -> None:
    one = burnt()
    half = replace(one, depth_mm=one.depth_mm * 0.5)
    found = socket_depths([half, one], board(), "right")
    assert found is not None
    assert (found.depth_mm >= THICK_MM).sum() * STEP_MM**2 == pytest.approx(48, rel=0.01)
    assert socket_depths([one], board(), "left") is None
    assert socket_depths([], board(), "right") is None
