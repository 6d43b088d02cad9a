"""Ramps: the depth each line is sent to, and the lines themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kerfwright.core.errors import RecipeRangeError
from kerfwright.core.estimate import Estimate
from kerfwright.geometry.slab import Face
from kerfwright.plan.pose import Lie
from kerfwright.plan.ramp import RampWishes, line_powers, ramp_fault, ramp_operations, wall_depths
from kerfwright.process.operation import OperationKind
from kerfwright.process.recipe import RampSettings
from plan.plan_samples import bench, recipe


def own_ramp(spacing_mm: float, shift_mm: float, lean_frac: float) -> RampSettings:
    ramp = recipe().ramp
    assert ramp is not None
    moved = {"wall_shift_mm": Estimate(shift_mm, 0.01, 0, "test"), "wall_lean_frac": Estimate(lean_frac, 0.001, 0, "test")}
    return ramp.model_copy(update={"spacing_mm": spacing_mm} | moved)


@given(
    across=st.floats(0.3, 2.0),
    share=st.floats(-0.025, 0.07),
    hollow=st.floats(0, 0.15),
    shift=st.floats(-0.1, 0.1),
    lean=st.floats(-0.02, 0.02),
    spacing=st.floats(0.02, 0.12),
)
def test_each_line_is_sent_to_the_depth_the_wall_has_under_it(
    across: float, share: float, hollow: float, shift: float, lean: float, spacing: float
):
    hollow = min(hollow, 0.2 * across)
    t, depth = wall_depths(own_ramp(spacing, shift, lean), across, 6.0, share, hollow)
    across += 6.0 * lean
    z = depth / 6.0
    # t(z) = (d + T l) z - g - 4 h z (1 - z) + m
    inside = z < 0.999
    np.testing.assert_allclose((across * z - share - 4 * hollow * z * (1 - z) + shift)[inside], t[inside], atol=1e-9)
    assert np.all(t[~inside] > across * 0.999 - share - 4 * hollow * 0.000999 + shift - 1e-9)
    assert np.all((z > 0) & (z < 1))
    assert np.all(np.diff(depth)[inside[1:]] < 0)  # deepest first
    np.testing.assert_allclose(np.diff(t), -spacing, atol=1e-12)
    # The last strip ends where the wall meets the show face; the second covers the wall's foot.
    assert t[-1] - spacing / 2 == pytest.approx(-share + shift, abs=1e-9)
    foot = across - share + shift
    # One more than that stands in the core's void: FOOT_LINES.
    assert t[1] - spacing / 2 - 1e-9 < foot <= t[1] + spacing / 2 + 1e-9
    assert depth[0] == pytest.approx(0.999 * 6.0)


def test_a_plain_wall_is_a_straight_line():
    t, depth = wall_depths(own_ramp(0.05, 0.0, 0.0), 0.75, 6.0, 0.0, 0.0)
    np.testing.assert_allclose(depth[1:], 8 * t[1:], atol=1e-12)
    np.testing.assert_allclose(t[-1], 0.025)
    assert len(t) == 15 + 1


def test_faint_lines_are_left_out_and_shallow_ones_burn_at_the_shallowest_reading():
    ramp = recipe().ramp
    assert ramp is not None  # shallowest reading: 8 % for 0.2 mm
    powers, kept = line_powers(ramp, np.array([5.2, 0.2, 0.15, 0.1, 0.099]))
    assert kept.tolist() == [True, True, True, True, False]
    np.testing.assert_allclose(powers, [0.65, 0.08, 0.08, 0.08], atol=1e-12)
    with pytest.raises(RecipeRangeError, match=r"0\.20 to 6\.60 mm"):
        line_powers(ramp, np.array([6.7]))


def test_ramp_fault_says_what_was_burnt():
    ramp = recipe().ramp
    assert ramp_fault(ramp, 6.6) == ""
    assert "burnt to 6.60 mm deep, the wall needs 7.00 mm" in ramp_fault(ramp, 7.0)
    assert "staircase" in ramp_fault(None, 6.0)


def test_lines_run_parallel_to_the_wall_past_the_floor_in_layers_between_cores_and_tips():
    one = bench()
    lie = Lie(Face.SHOW)
    cutting = one.cutting(lie, one.thickness_mm, one.through(one.thickness_mm))
    assert one.recipe.ramp is not None
    operations = ramp_operations(cutting, one.recipe.ramp, RampWishes(0.02, 0.1), one.blank.ends)
    assert [op.name for op in operations] == ["cores", "ramps", "tips"]
    ramps = operations[1]
    assert ramps.kind is OperationKind.RAMP
    assert [one.focus_mm for one in ramps.passes] == [-0.3, -1.3, -2.3]
    # 8 walls, each 0.75 mm wide, with lines every 0.06 mm and one beyond the foot; the faintest may be missing.
    assert 8 * 13 <= len(ramps.paths) <= 8 * 14
    floor_x = {"left": one.blank.end_waste_mm + 6.2, "right": one.blank.size_mm[0] - one.blank.end_waste_mm - 6.2}
    for path in ramps.paths:
        (end,) = {name.split(".")[0] for name in path.edges}
        assert path.points_mm[0, 1] == path.points_mm[1, 1]
        into = math.copysign(1, path.points_mm[1, 0] - path.points_mm[0, 0])
        half_kerf = 0.18 / 2 - 0.01  # waist of a cut across the board, less the floor's share of the gap
        assert path.points_mm[1, 0] == pytest.approx(floor_x[end] + into * (0.1 - half_kerf), abs=1e-9)
    assert all(np.array_equal(path.points_mm[0], path.points_mm[-1]) for path in operations[0].paths)  # cores drop out
