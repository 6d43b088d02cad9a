"""Witness marks: where the scales stand and what a reading means."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kerfwright.core.errors import InputError
from kerfwright.geometry.slab import Face
from kerfwright.plan.pose import Lie
from kerfwright.plan.witness import new_marks, placing_from_ticks, reference_marks, verniers
from kerfwright.process.setup import Setup
from plan.plan_samples import DOVETAIL, bench


def _setup(rough: float = 0.0) -> Setup:
    one = bench(rough=rough)
    scales = verniers(one.blank)
    return one.setup("x", "x", Lie(Face.SHOW), [new_marks(scales, one.recipe, 0.0)], (), scales)


@pytest.mark.parametrize("rough", [0.0, 12.0])
def test_scales_stand_in_the_end_waste_beside_the_part(rough: float):
    setup = _setup(rough)
    x0, y0, x1, y1 = setup.part_slab.bounds_mm()
    marks = np.concatenate([path.points_mm for path in setup.operations[0].paths])
    assert np.all((marks[:, 0] < x0) | (marks[:, 0] > x1))
    assert np.all((marks[:, 0] > 0) & (marks[:, 0] < setup.board_size_mm[0]))
    assert np.all((marks[:, 1] > y0) & (marks[:, 1] < y1))


def test_tick_i_of_both_scales_meets_when_the_board_is_off_by_i_steps():
    one = bench()
    scales = verniers(one.blank)
    old, new = reference_marks(scales, one.recipe, 0.0, None, 0.0), new_marks(scales, one.recipe, 0.0)
    assert len(old.paths) == len(new.paths) == sum(2 * scale.n_each_side + 1 for scale in scales)
    k = 0
    for scale in scales:
        axis = "xy".index(scale.axis)
        for i in range(-scale.n_each_side, scale.n_each_side + 1):
            was, now = old.paths[k].points_mm, new.paths[k].points_mm
            assert was[0, axis] - now[0, axis] == pytest.approx(i * 0.05, abs=1e-12)
            length = 2.6 if i == 0 else 1.6
            assert np.linalg.norm(now[1] - now[0]) == pytest.approx(length)
            assert np.dot(now[1] - now[0], was[1] - was[0]) == pytest.approx(-(length**2))  # they reach out to opposite sides
            k += 1


def test_readings_become_a_shift_and_a_turn():
    setup = _setup()
    left, right, along = (next(scale for scale in setup.verniers if scale.name == name) for name in ("left", "right", "along"))
    placing = placing_from_ticks(setup, {"left": 2, "right": 4, "along": -3})
    turn = math.atan2(0.1, right.at_mm[0] - left.at_mm[0])
    assert placing.turn_deg == pytest.approx(math.degrees(turn))
    assert placing.y_mm == pytest.approx(0.10)
    landed = placing.landed_from_meant()
    for scale, off_mm in ((left, 0.10), (right, 0.20), (along, -0.15)):
        at = np.array([[*scale.at_mm, 0.0]])
        assert (landed.apply(at) - at)[0]["xy".index(scale.axis)] == pytest.approx(off_mm, abs=1e-6)


def test_one_side_alone_means_no_turn_and_nothing_read_means_nothing():
    setup = _setup()
    assert placing_from_ticks(setup, {"right": -2}).turn_deg == 0
    assert placing_from_ticks(setup, {"right": -2}).y_mm == pytest.approx(-0.1)
    assert np.array_equal(placing_from_ticks(setup, {}).landed_from_meant().matrix, np.eye(4))


@pytest.mark.parametrize(("ticks", "told"), [
    ({"left": 6.0}, "off its end"), ({"left": math.nan}, "off its end"), ({"middle": 1.0}, 'no scale called "middle"'),
])  # fmt: skip
def test_a_reading_that_cannot_be_is_refused(ticks: dict[str, float], told: str):
    with pytest.raises(InputError, match=told):
        placing_from_ticks(_setup(), ticks)


def test_narrow_walls_have_no_marks():
    one = bench(joint=DOVETAIL | {"tails": 1, "half_pin": "3 mm"}, height=14.0, rough=5.0)
    assert verniers(one.blank) == ()
    with pytest.raises(InputError, match="has no witness marks"):
        placing_from_ticks(one.setup("x", "x", Lie(Face.SHOW), [], ()), {"left": 1})
