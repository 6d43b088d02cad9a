"""Sloped walls cut with the board tilted."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.core.units import slope_deg
from kerfwright.geometry.ring import Place
from kerfwright.geometry.slab import Face
from kerfwright.plan.bench import Bench
from kerfwright.plan.cradle import TiltedCutting, narrow_fault, slope_of, tilted_operations, wall_strokes
from kerfwright.plan.pose import Lie
from kerfwright.process.moves import needs_steady_focus
from plan.plan_samples import BOX, DOVETAIL, bench, machine


def _tilted(one: Bench, face: Face, turned: bool) -> tuple[TiltedCutting, Lie]:
    depth_mm = one.thickness_mm * float(np.hypot(1, 0.125))
    lie = Lie(face, slope_deg(0.125), turned)
    cutting = one.cutting(lie, depth_mm, one.through(depth_mm))
    return TiltedCutting(cutting, cutting.bed_from_board.inverse().turned(np.array([0.0, 0.0, -1.0]))), lie


@pytest.mark.parametrize("face", list(Face))
def test_the_beam_is_parallel_to_every_wall_it_cuts_and_two_lies_cut_all(face: Face):
    one = bench(thickness=(10.0, 9.0))
    slab = one.blank.slab
    names = [edge.name for edge in slab.edges]
    cut: list[str] = []
    for turned in (False, True):
        tilted, _ = _tilted(one, face, turned)
        for stroke in wall_strokes(tilted, one.blank.ends):
            i = names.index(stroke.edges[0])
            show, inner = slab.show_ring.points_mm[i], slab.inner_ring.points_mm[i]
            down = np.array([inner[0] - show[0], inner[1] - show[1], -slab.thickness_mm])
            np.testing.assert_allclose(np.cross(down / np.linalg.norm(down), tilted.beam), 0, atol=1e-9)
            assert stroke.depth_mm == pytest.approx(np.linalg.norm(down))
            cut.append(stroke.edges[0])
    assert sorted(cut) == sorted(edge.name for edge in slab.edges if edge.place is Place.FLANK)


def test_one_slope_a_board():
    assert slope_of(bench().blank) == pytest.approx(0.125)
    assert slope_of(bench("front").blank) == 0
    assert slope_of(bench(joint=BOX).blank) == 0


def test_a_socket_too_narrow_for_two_half_floors_is_refused():
    assert narrow_fault(bench(thickness=(9.0, 9.0)).blank) == ""
    slim = bench(joint=DOVETAIL | {"tails": 4, "pin": "2.6 mm", "half_pin": "3 mm"}, thickness=(6.0, 14.0), size=(160.0, 160.0))
    assert "too narrow for a tilted floor cut" in narrow_fault(slim.blank)


def test_by_hand_no_stretch_leaves_the_focus_window_and_the_stretches_join_up():
    one = bench(thickness=(9.0, 9.0), height=70.0, machine=machine(z="by hand"))
    tilted, lie = _tilted(one, Face.SHOW, False)
    pose = tilted.cutting.bed_from_board
    gauge = one.gauge_mm(pose, lie)
    by_hand = tilted_operations(tilted, one.blank.ends, (), machine(z="by hand"), gauge)
    (motorised,) = tilted_operations(tilted, one.blank.ends, (), machine(), gauge)
    window_mm = tilted.cutting.cut.focus_window_mm
    gauge_z = pose.apply(gauge[None, :])[0, 2]
    for op in by_hand:
        assert op.level_mm is not None
        for path in op.paths:
            assert np.abs(pose.apply(path.points_mm)[:, 2] - gauge_z - op.level_mm).max() <= window_mm + 1e-9
        setup = one.setup("x", "x", lie, by_hand, ())
        assert needs_steady_focus(op, setup)
    assert len(by_hand) > 2
    for whole in motorised.paths:
        parts = [path for op in by_hand for path in op.paths if path.edges == whole.edges]
        length = sum(float(np.sum(np.linalg.norm(np.diff(path.points_mm, axis=0), axis=1))) for path in parts)
        assert length == pytest.approx(float(np.sum(np.linalg.norm(np.diff(whole.points_mm, axis=0), axis=1))))
        joints = [tuple(np.round(path.points_mm[k], 9)) for path in parts for k in (0, -1)]
        assert len(set(joints)) == len(parts) + 1  # each inner end is shared by two stretches
    assert max(len([path for op in by_hand for path in op.paths if path.edges == whole.edges]) for whole in motorised.paths) > 1
