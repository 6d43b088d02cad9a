"""Compensation by role, and the gaps it leads to."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.core.errors import PlanError
from kerfwright.core.pose import identity, turn_z
from kerfwright.geometry.ring import Edge, Place, Role
from kerfwright.geometry.slab import Face
from kerfwright.plan.compensate import WallShape, gap_estimates, path_offset_mm, profile_of, ramp_wall, square_wall, two_face_wall
from kerfwright.plan.pose import Lie
from kerfwright.plan.spread import Cause, joined, largest, total_sd_mm
from plan.plan_samples import BOX, bench, recipe

PROFILE = recipe().through[0].kerf[0]  # top 0.20, waist 0.14 at 60 %, bottom 0.16


@pytest.mark.parametrize(("role", "place", "clearance", "offset"), [
    (Role.DATUM, Place.LONG, 0.1, 0.0),
    (Role.FREE, Place.LONG, 0.1, 0.07),
    (Role.FREE, Place.TIP, -0.1, 0.07),
    (Role.MATE, Place.FLANK, 0.1, 0.07 - 0.025),
    (Role.MATE, Place.FLANK, -0.1, 0.07 + 0.025),
    (Role.MATE, Place.FLOOR, 0.1, 0.07 - 0.025),
    (Role.MATE, Place.FLOOR, -0.1, 0.07),  # a floor never squeezes
])  # fmt: skip
def test_each_role_gets_its_own(role: Role, place: Place, clearance: float, offset: float):
    assert path_offset_mm(Edge(role, place, "left.x"), PROFILE, clearance) == pytest.approx(offset, abs=1e-12)


def test_the_slit_depends_on_the_way_it_runs_on_bed_and_board():
    cut = recipe().through[0]
    along, across = np.array([1.0, 0.0]), np.array([0.0, -1.0])
    assert profile_of(along, cut, identity()).top_mm.value == pytest.approx(0.20)  # x, along
    assert profile_of(across, cut, identity()).top_mm.value == pytest.approx(0.26)  # y, across
    assert profile_of(along, cut, turn_z(90)).top_mm.value == pytest.approx(0.23)  # y, along
    assert profile_of(across, cut, turn_z(90)).top_mm.value == pytest.approx(0.21)  # x, across
    assert profile_of(np.array([1.0, 1.0]), cut, identity()).waist_mm.value == pytest.approx((0.14 + 0.17 + 0.15 + 0.18) / 4)


def test_a_square_walls_tightest_place_is_the_waist_and_flipping_swaps_its_ends():
    show, inner = (square_wall(PROFILE, face, 0.04, {}) for face in (Face.SHOW, Face.INNER))
    assert show.opening_mm.min() == pytest.approx(0.01, abs=1e-5)
    assert show.opening_mm[0] == pytest.approx(0.03 + 0.01)
    assert show.opening_mm[-1] == pytest.approx(0.01 + 0.01)
    np.testing.assert_allclose(inner.opening_mm, show.opening_mm[::-1])
    assert show.spread_mm == {Cause.KERF: pytest.approx(0.01)}  # half the waist's 0.02
    assert square_wall(PROFILE, Face.SHOW, 0.04, {Cause.MARKS: 0.03}).sd_mm == pytest.approx(np.hypot(0.01, 0.03))


def test_cuts_from_two_faces_show_their_entry_on_both():
    wall = two_face_wall(PROFILE, 0.55, 0.0, {Cause.TURNING: 0.1})
    np.testing.assert_allclose(wall.opening_mm, wall.opening_mm[::-1], atol=1e-12)
    assert wall.opening_mm[0] == pytest.approx(0.03)
    assert wall.opening_mm[20] == pytest.approx((PROFILE.width_mm(0.5 / 0.55) - 0.14) / 2)
    assert wall.sd_mm == pytest.approx(np.hypot(0.01, 0.1))


def test_a_ramps_wall_is_hollow_in_the_middle():
    wall = ramp_wall(-0.05, 0.02, {Cause.RAMP: 0.03})
    assert wall.opening_mm[[0, 20, 40]] == pytest.approx([-0.0125, 0.0075, -0.0125])


def test_gaps_add_the_two_walls():
    tail = WallShape(np.array([0.03, 0.01, 0.02]), {Cause.KERF: 0.03})
    pin = WallShape(np.array([0.05, 0.0, 0.01]), {Cause.RAMP: 0.04})
    tightest, on_tail, on_pin = gap_estimates(tail, pin)
    assert (tightest.value, on_tail.value, on_pin.value) == pytest.approx((0.01, 0.03 + 0.02, 0.05 + 0.02))
    assert tightest.sd == pytest.approx(0.05)


def test_spreads_of_two_walls_add_cause_by_cause_and_the_largest_is_named():
    tail, pin = {Cause.KERF: 0.03, Cause.MARKS: 0.045}, {Cause.KERF: 0.04, Cause.RAMP: 0.01}
    both = joined(tail, pin)
    assert both == {Cause.KERF: pytest.approx(0.05), Cause.RAMP: 0.01, Cause.MARKS: 0.045}
    assert total_sd_mm(both) == pytest.approx(np.hypot(total_sd_mm(tail), total_sd_mm(pin)))
    assert (largest(tail), largest(pin), largest(both)) == (Cause.MARKS, Cause.KERF, Cause.KERF)


def test_a_pin_slimmer_than_the_slit_is_refused():
    # Fingers of 1 mm and a slit of 1.2 mm: the socket between two of them has no room for the beam.
    wide = (
        recipe()
        .through[0]
        .kerf[0]
        .model_copy(
            update={
                "waist_mm": PROFILE.waist_mm.scaled(8.6),
                "top_mm": PROFILE.top_mm.scaled(8.6),
                "bottom_mm": PROFILE.bottom_mm.scaled(8.6),
            }
        )
    )
    coarse = recipe()
    coarse = coarse.model_copy(update={"through": (coarse.through[0].model_copy(update={"kerf": (wide,)}),)})
    one = bench("front", BOX | {"fingers": 40}, recipe=coarse)
    cutting = one.cutting(Lie(Face.SHOW), 6.0, coarse.through[0])
    with pytest.raises(PlanError, match=r"the slit is about 1\.20 mm wide"):
        cutting.ring(one.blank.slab.show_ring)
