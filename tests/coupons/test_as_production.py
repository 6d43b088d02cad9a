"""Coupons burn what a joint's plan would burn: the same passes, the same ramp lines, the same compensation."""

from __future__ import annotations

import numpy as np
import pytest

from coupon_samples import design, site
from kerfwright.core.pose import identity
from kerfwright.coupons.ramp_socket import RampSocket, core_stroke, half_kerfs_mm
from kerfwright.coupons.strokes import every_other, through_operation
from kerfwright.geometry.ring import Edge, Place, Role
from kerfwright.plan import compensate, square
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.part_plan import RampWishes
from kerfwright.process.operation import OperationKind

WHERE = site("diode", "plank")
CUT = WHERE.recipe.through_for(6.0)


def test_through_passes_and_defaults_are_the_plans():
    from kerfwright.coupons.ramp_socket import OVERRUN_MM
    from kerfwright.coupons.strokes import LEAD_MM

    cutting = square.Cutting(None, CUT, identity(), 0.0, 6.0, 1.0, {})  # type: ignore[arg-type]
    path = cutting.stroke(np.array([[0.0, 0.0], [5.0, 0.0]]), ())
    plans, ours = cutting.operation("a", "b", [path]), through_operation("a", "b", [path], CUT)
    assert (plans.kind, plans.speed_mm_s, plans.passes) == (ours.kind, ours.speed_mm_s, ours.passes)
    assert PlanOptions().lead_mm == LEAD_MM
    assert PlanOptions().floor_overrun_mm == OVERRUN_MM == RampWishes(0.0, PlanOptions().floor_overrun_mm).overrun_mm
    assert every_other([1, 2, 3, 4, 5]) == [1, 3, 5, 2, 4]


@pytest.mark.parametrize("clearance_mm", [-0.1, 0.0, 0.12])
def test_sockets_are_compensated_as_the_plan_compensates_a_pin_board(clearance_mm: float):
    socket = RampSocket(20.0, 4.5, 6.3, 0.125, 6.0, clearance_mm)
    points = core_stroke(socket, CUT, False).points_mm
    along, across = (compensate.profile_of(np.array(way), CUT, identity()) for way in ([1.0, 0.0], [0.0, 1.0]))
    assert half_kerfs_mm(CUT, False) == pytest.approx((along.waist_mm.value / 2, across.waist_mm.value / 2))
    flank = compensate.path_offset_mm(Edge(Role.MATE, Place.FLANK, "a"), along, clearance_mm)
    floor = compensate.path_offset_mm(Edge(Role.MATE, Place.FLOOR, "b"), across, clearance_mm)
    assert points[1, 1] == pytest.approx(20.0 - 2.25 + flank)
    assert points[2, 1] == pytest.approx(20.0 + 2.25 - flank)
    assert points[1, 0] == pytest.approx(6.3 - floor)


def test_a_pair_closes_to_its_clearance_at_the_waists():
    """Socket core against key, burnt at the waist kerf: what is left between them is the clearance asked for."""
    made = design("fit ladder", WHERE, joint="box joint", clearances=["0 mm", "0.1 mm", "-0.1 mm"])
    sockets, keys = (next(op for op in made.operations if op.name == name).paths for name in ("sockets", "keys"))
    kerf_mm = 2 * half_kerfs_mm(CUT, False)[0]
    wanted = sorted(float(each.settings["clearance_mm"]) for each in made.observables)
    middles = sorted((float(each.place_mm[1]), float(each.settings["clearance_mm"])) for each in made.observables)
    for y, clearance_mm in middles:
        socket = next(path.points_mm for path in sockets if abs(path.points_mm[:, 1].mean() - y) < 1)
        key = next(path.points_mm for path in keys if abs((path.points_mm[1:, 1].max() + path.points_mm[1:, 1].min()) / 2 - y) < 1)
        opening_mm = np.ptp(socket[:, 1]) + kerf_mm
        finger_mm = np.ptp(key[1:, 1]) - kerf_mm
        assert opening_mm - finger_mm == pytest.approx(clearance_mm)
        assert finger_mm == pytest.approx(6.0 - clearance_mm / 2)
    assert wanted == [-0.1, 0.0, 0.1]


def test_the_staircase_burns_at_productions_spacing_layers_and_focus():
    settings = WHERE.recipe.ramp
    assert settings is not None
    fields = next(op for op in design("ramp staircase", WHERE).operations if op.kind is OperationKind.RAMP)
    assert fields.speed_mm_s == settings.speed_mm_s
    assert [one.focus_mm for one in fields.passes] == [settings.focus_mm - k * settings.focus_step_mm for k in range(settings.layers)]
    first = [path.points_mm[0] for path in fields.paths if path.power_frac == fields.paths[0].power_frac]
    steps = np.diff(sorted(float(point[1]) for point in first if abs(point[0] - first[0][0]) < 1e-9))
    assert steps == pytest.approx(settings.spacing_mm)
