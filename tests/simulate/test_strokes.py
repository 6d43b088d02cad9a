"""Strokes on the board: where the plan meant them when all is as told, and where they fall when it is not."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from kerfwright.core.pose import turn_x
from kerfwright.process.setup import Face, Setup
from kerfwright.simulate.burnt import Hidden
from kerfwright.simulate.strokes import Strokes, true_pose
from simulate.burn_samples import WISHES, ready


def _meant(setup: Setup) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(ends (n, 2, 3), focus (n,), power (n,)) of every stroke as the plan has it, in order."""
    ends, focus, power = [], [], []
    for op in setup.operations:
        for one in op.passes:
            for path in op.paths:
                for a, b in zip(path.points_mm, path.points_mm[1:], strict=False):
                    ends.append((a, b))
                    focus.append(one.focus_mm)
                    power.append(path.power_frac)
    return np.array(ends), np.array(focus), np.array(power)


def _of(strokes: Strokes, setup: Setup) -> np.ndarray:
    return np.flatnonzero(strokes.setup == setup.number)


@pytest.mark.parametrize("off_square", [False, True])
@pytest.mark.parametrize("wish", sorted(WISHES))
def test_programs_burn_where_the_plan_meant(wish: str, off_square: bool):
    """Flat, tilted, either face up, on a square bed and on one whose scale and skew the programs allow for: 0.1 um of rounding."""
    one = ready(wish, off_square=off_square)
    strokes = one.strokes()
    assert strokes.n == sum(len(_meant(setup)[0]) for setup in one.setups)
    for setup in one.setups:
        mine = _of(strokes, setup)
        ends, focus, power = _meant(setup)
        np.testing.assert_allclose(strokes.entry_mm[mine], ends, atol=2e-4)
        np.testing.assert_allclose(strokes.focus_mm[mine], np.repeat(focus[:, None], 2, axis=1), atol=2e-4)
        np.testing.assert_allclose(strokes.power_frac[mine], power, atol=0.5 / one.machine.s_full)
        np.testing.assert_array_equal(strokes.from_show[mine], setup.entry_face is Face.SHOW)
        np.testing.assert_allclose(strokes.beam[mine], np.tile(setup.beam_in_board(), (len(mine), 1)), atol=1e-12)
        travel = setup.bed_from_board.turned(ends[:, 1] - ends[:, 0])
        np.testing.assert_allclose(strokes.x_share[mine], travel[:, 1] ** 2 / np.sum(travel[:, :2] ** 2, axis=1), atol=1e-3)


def test_time_goes_on_from_setup_to_setup():
    one = ready("cradle")
    strokes = one.strokes()
    assert np.all(np.diff(strokes.begin_s) > 0)
    first = [strokes.begin_s[_of(strokes, setup)[0]] for setup in one.setups]
    totals = np.cumsum([motion.total_s for motion in one.motions])
    np.testing.assert_allclose(first[1:], totals[:-1] + [motion.begin_s[0] for motion in one.motions[1:]])


def _shifted(wish: str, index: int, **hidden: Any) -> tuple[np.ndarray, np.ndarray, Strokes, np.ndarray]:
    """(ends moved by (n, 2, 3), focus changed by (n, 2), the strokes as told, which) of one setup."""
    one = ready(wish)
    told, true = one.strokes(), one.strokes(Hidden(**hidden))
    mine = _of(told, one.setups[index])
    return true.entry_mm[mine] - told.entry_mm[mine], true.focus_mm[mine] - told.focus_mm[mine], told, mine


@pytest.mark.parametrize(("wish", "index"), [("ramp", 0), ("cradle", 1), ("cradle", 2)])
def test_a_board_placed_off_is_burnt_the_other_way(wish: str, index: int):
    moved, focus, _, _ = _shifted(wish, index, placed_mm=(0.1, -0.2))
    np.testing.assert_allclose(moved, np.broadcast_to([-0.1, 0.2, 0.0], moved.shape), atol=1e-12)
    np.testing.assert_allclose(focus, 0.0, atol=1e-12)


def test_a_board_turned_about_its_middle():
    moved, _, told, mine = _shifted("ramp", 0, turned_deg=0.2)
    arm = told.entry_mm[mine][..., :2] - np.array(ready("ramp").setups[0].board_size_mm[:2]) / 2
    by = math.radians(0.2)
    expected = np.stack([by * arm[..., 1], -by * arm[..., 0]], axis=-1)  # the light falls clockwise; second order left out
    np.testing.assert_allclose(moved[..., :2], expected, atol=float(np.abs(arm).max()) * by**2)


def test_a_gauge_set_too_high_lifts_the_focus_everywhere():
    moved, focus, _, _ = _shifted("cradle", 1, focus_mm=0.3)
    np.testing.assert_allclose(focus, 0.3, atol=1e-12)
    np.testing.assert_allclose(moved, 0.0, atol=1e-12)


@pytest.mark.parametrize("index", [1, 2])
def test_a_thicker_board_in_the_cradle_is_met_elsewhere(index: int):
    """A board on its show face: its entry face rises square to the rest, so upright light meets it lower down the slope, by tan of tilt."""
    one = ready("cradle")
    setup = one.setups[index]
    assert setup.entry_face is Face.INNER
    moved, focus, _, _ = _shifted("cradle", index, thickness_mm=0.2)
    uphill = setup.bed_from_board.inverse().turned(np.array([0.0, 1.0, 0.0]))[1]  # the way up the slope, along the board's y
    expected = np.sign(uphill) * 0.2 * math.tan(math.radians(setup.tilt_deg))
    np.testing.assert_allclose(moved[..., 1], expected, atol=1e-9)
    np.testing.assert_allclose(moved[..., 2], -0.2, atol=1e-12)
    np.testing.assert_allclose(focus, 0.0, atol=1e-9)


def test_a_thicker_flat_board_is_met_at_the_same_place():
    moved, focus, _, _ = _shifted("ramp", 0, thickness_mm=0.2)
    np.testing.assert_allclose(moved, 0.0, atol=1e-12)
    np.testing.assert_allclose(focus, 0.0, atol=1e-12)


def test_a_steeper_cradle_turns_about_its_stop():
    """In the plane across the tilt: a face point at v up the slope stands at v cos(t) - n sin(t) from the stop and v sin(t) + n cos(t)
    over it, n the thickness; upright light at the same bed place meets the steeper face at another v, and the focus, set at the
    gauge point, is wrong elsewhere by the difference of the heights."""
    one = ready("cradle")
    setup = one.setups[1]
    by = 0.5
    moved, focus, told, mine = _shifted("cradle", 1, tilt_deg=by)
    was, now = math.radians(setup.tilt_deg), math.radians(setup.tilt_deg + by)
    n = setup.board_size_mm[2]
    pose = setup.bed_from_board
    corner = pose.apply(np.array([[0.0, y, 0.0] for y in (0.0, setup.board_size_mm[1])]))
    stop = corner[np.argmin(corner[:, 2])]
    bed = pose.apply(told.entry_mm[mine].reshape(-1, 3))
    away = bed[:, 1] - stop[1]
    v_was, v_now = (((away + n * math.sin(t)) / math.cos(t)) for t in (was, now))
    uphill = pose.inverse().turned(np.array([0.0, 1.0, 0.0]))[1]
    np.testing.assert_allclose(moved[..., 1].ravel(), np.sign(uphill) * (v_now - v_was), atol=1e-9)
    gauge = pose.apply(setup.gauge_board_mm[None, :])[0]

    def height(at: Any, t: float) -> Any:
        return (at - stop[1]) * math.tan(t) + n / math.cos(t)

    rise = (height(bed[:, 1], now) - height(bed[:, 1], was)) - (height(gauge[1], now) - height(gauge[1], was))
    np.testing.assert_allclose(focus.ravel(), -rise, atol=1e-9)
    assert np.abs(rise).max() > 0.2  # so a cradle half a degree too steep matters


def test_tilt_is_nothing_to_a_flat_setup():
    one = ready("cradle")
    flat = one.setups[0]
    assert true_pose(flat, Hidden(tilt_deg=0.5)) == true_pose(flat, Hidden())
    steeper = true_pose(one.setups[1], Hidden(tilt_deg=0.5)).turned(np.array([0.0, 0.0, -1.0]))
    expected = turn_x(0.5).turned(one.setups[1].bed_from_board.turned(np.array([0.0, 0.0, -1.0])))
    np.testing.assert_allclose(steeper, expected, atol=1e-12)
