"""How a board lies: faces up where they should be, the lower corner at the fence."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kerfwright.core.errors import PlanError
from kerfwright.geometry.slab import Face
from kerfwright.plan.pose import Lie, bed_from_board, cradle_fault, flat_lie
from plan.plan_samples import bench, machine

SIZE = (200.0, 40.0, 6.0)
FENCE = (10.0, 20.0)
LIES = [Lie(face, tilt, turned, quarter) for face in Face for tilt in (0.0, 7.125) for turned in (False, True) for quarter in (False, True)]


def _corners(size: tuple[float, float, float]) -> np.ndarray:
    length, width, thickness = size
    return np.array([[x, y, z] for x in (0, length) for y in (0, width) for z in (-thickness, 0.0)])


@pytest.mark.parametrize("lie", LIES)
def test_the_chosen_face_is_up_and_the_low_corner_touches_the_fence(lie: Lie):
    pose = bed_from_board(lie, SIZE, FENCE, 8.0)
    up = pose.turned(np.array([0.0, 0.0, 1.0 if lie.face_up is Face.SHOW else -1.0]))
    assert up[2] == pytest.approx(math.cos(math.radians(lie.tilt_deg)))
    assert up[0] == pytest.approx(0, abs=1e-12)
    corners = pose.apply(_corners(SIZE))
    low = corners[:, 2] < corners[:, 2].min() + 1e-9
    height = 8.0 if lie.tilt_deg else 0.0
    assert corners[:, 2].min() == pytest.approx(height, abs=1e-9)
    assert corners[:, 0].min() == pytest.approx(10.0, abs=1e-9)
    # The edge that rests on the stop lies along the fence; a tilted board's top leans over it by thickness times sine.
    assert corners[low][:, 1].min() == pytest.approx(20.0, abs=1e-9)
    assert corners[:, 1].min() == pytest.approx(20.0 - 6 * math.sin(math.radians(lie.tilt_deg)), abs=1e-9)
    deep = 200.0 if lie.quarter else 40.0
    assert corners[:, 2].max() == pytest.approx(height + 6 * up[2] + deep * math.sin(math.radians(lie.tilt_deg)), abs=1e-9)


def test_turning_end_for_end_swaps_the_ends():
    there, back = (bed_from_board(Lie(Face.SHOW, 0.0, turned), SIZE, FENCE, 8.0) for turned in (False, True))
    corner = np.array([[0.0, 0.0, 0.0]])
    assert there.apply(corner)[0] == pytest.approx([10, 20, 6])
    assert back.apply(corner)[0] == pytest.approx([210, 60, 6])


def test_a_long_board_is_turned_a_quarter_when_it_only_fits_that_way():
    assert flat_lie(Face.SHOW, SIZE, machine(), FENCE, "x") == Lie(Face.SHOW)
    assert flat_lie(Face.INNER, SIZE, machine(bed_x="100 mm"), FENCE, "x") == Lie(Face.INNER, quarter=True)
    with pytest.raises(PlanError, match="200 x 40|200 mm x 40 mm|200"):
        flat_lie(Face.SHOW, SIZE, machine(bed_x="100 mm", bed_y="150 mm"), FENCE, "x")
    with pytest.raises(PlanError, match="thick"):
        flat_lie(Face.SHOW, (200.0, 40.0, 90.0), machine(), FENCE, "x")


def test_a_cradle_must_fit_the_bed_and_clear_the_head():
    assert cradle_fault(7.125, SIZE, machine(), FENCE, 8.0) == ""
    assert "does not fit the bed" in cradle_fault(7.125, (420.0, 40.0, 6.0), machine(), FENCE, 8.0)
    assert "high edge" in cradle_fault(7.125, SIZE, machine(height="15 mm"), FENCE, 8.0)
    assert "uphill" in cradle_fault(7.125, SIZE, machine(head={"gap": "4 mm", "half_width": "40 mm"}), FENCE, 8.0)


@pytest.mark.parametrize("lie", [lie for lie in LIES if lie.tilt_deg and not lie.quarter])
def test_in_the_cradle_the_wood_that_is_there_meets_the_stop(lie: Lie):
    """A rough board has been trimmed; a milled one a little wider than the wall has not."""
    for one, across in ((bench(rough=5.0), (5.0, 45.0)), (bench(extra=0.1), (0.0, 40.2))):
        assert one.across_mm(lie) == pytest.approx(across)
        length, _, thickness = one.blank.size_mm
        wood = np.array([[x, y, z] for x in (0, length) for y in across for z in (-thickness, 0.0)])
        corners = one.pose(lie).apply(wood)
        assert corners[:, 2].min() == pytest.approx(8.0)
        assert corners[np.argmin(corners[:, 2])][1] == pytest.approx(10.0)
        gauge = one.gauge_mm(one.pose(lie), lie)
        assert across[0] < gauge[1] < across[1]
        assert gauge[2] == lie.entry_z_frac * thickness
