"""Pilot strips and check pauses: where they lie, that they are burnt like the job, and that nothing else comes near."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from external.ideal_shop import BOX, DOVETAIL, PANELS, case, design_and_boards, machine, recipe, thin_spacing
from kerfwright.core.document import build
from kerfwright.core.errors import PlanError
from kerfwright.coupons.observable import Quantity
from kerfwright.coupons.response import predict, typical_response
from kerfwright.export.grey_picture import power_pictures
from kerfwright.geometry.slab import Face
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.pause import layers_before
from kerfwright.plan.plan import Planned, plan_piece
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.recipe import Recipe
from kerfwright.process.setup import Setup

WASTE = 19.0  # at each end: room for the strip (13), the marks (12) and the patch
WAYS: dict[str, dict[str, Any]] = {
    "box": {"joints": {"all": BOX}},
    "box, quarter turn": {"joints": {"all": BOX}, "machine": machine(bed_x="90 mm"), "size": (150.0, 70.0)},
    "ramp": {"joints": {"all": DOVETAIL}},
    "ramp, rough": {"joints": {"all": DOVETAIL}, "rough": 4.0},
    "cradle": {"joints": {"all": DOVETAIL}, "thickness": (9.0, 9.0), "walls": "cradle", "size": (130.0, 120.0), "height": 56.0},
    "cradle, inner face": {
        "joints": {"all": DOVETAIL}, "thickness": (9.0, 9.0), "walls": "cradle", "face": "inner face",
        "size": (130.0, 120.0), "height": 56.0,
    },
    "two faces": {"joints": {"all": DOVETAIL}, "walls": "two faces"},
}  # fmt: skip


def planned(pilot: bool = True, **changes: Any) -> Planned:
    wish = case(**({"waste": WASTE, "pilot": pilot} | changes))
    design, boards = design_and_boards(wish)
    own: dict[str, Recipe] = dict.fromkeys(PANELS, wish["recipe"] or recipe())
    return plan_piece(design, wish["machine"] or machine(), boards, own, build(wish["burn"], PlanOptions, "burn"))


@cache
def way(name: str) -> Planned:
    return planned(**WAYS[name])


def setups_of(plan: Planned, part: str) -> tuple[Setup, list[Setup]]:
    """(the pilot's setup, the others)."""
    mine = [setup for setup in plan.job.setups if setup.part == part]
    return mine[0], mine[1:]


def points_of(*setups: Setup) -> np.ndarray:
    return np.concatenate([path.points_mm for setup in setups for op in setup.operations for path in op.paths])


def op_of(setup: Setup, name: str) -> CutOperation:
    return next(op for op in setup.operations if op.name == name)


@pytest.mark.parametrize("name", WAYS)
def test_strips_come_first_and_lie_in_the_outermost_waste(name: str):
    plan = way(name)
    assert [setup.name for setup in plan.job.setups[:4]] == [f"{part}-pilot" for part in plan.pilots]
    assert [setup.number for setup in plan.job.setups] == list(range(1, len(plan.job.setups) + 1))
    assert list(plan.pilots) == [part.name for part in plan.job.assembly.parts]
    for part in plan.pilots:
        pilot, others = setups_of(plan, part)
        length_mm = pilot.board_size_mm[0]
        _, y0, _, y1 = pilot.part_slab.bounds_mm()
        strip = points_of(pilot)
        assert strip[:, 0].min() == pytest.approx(length_mm - 13)
        assert strip[:, 0].max() == pytest.approx(length_mm + 1)  # the lead, in air
        assert strip[:, 1].min() >= y0 + 3
        assert strip[:, 1].max() <= y1 - 3
        # Whatever else is burnt, the focus gauge too, keeps 2 mm away from the wood that the strip takes.
        burnt = np.vstack([points_of(*others), *[setup.gauge_board_mm[None, :] for setup in (pilot, *others)]])
        beside = (burnt[:, 1] > strip[:, 1].min() - 2) & (burnt[:, 1] < strip[:, 1].max() + 2) & (burnt[:, 0] < length_mm + 0.5)
        assert np.all(burnt[beside, 0] < length_mm - 15)


@pytest.mark.parametrize("name", WAYS)
def test_slits_are_cut_with_the_boards_own_settings_at_three_millimetres(name: str):
    plan = way(name)
    for part in plan.pilots:
        pilot, others = setups_of(plan, part)
        last = others[-1]
        assert pilot.entry_face is last.entry_face
        assert pilot.tilt_deg == 0
        own = next(op for op in reversed(last.operations) if op.kind is OperationKind.THROUGH)
        for strip_op in ("slits", "free"):
            op = op_of(pilot, strip_op)
            assert op.kind is OperationKind.THROUGH
            assert (op.speed_mm_s, op.passes) == (own.speed_mm_s, own.passes)
            assert {path.power_frac for path in op.paths} == {own.paths[0].power_frac}
            assert {path.depth_mm for path in op.paths} == {pilot.board_size_mm[2]}
        entry_z_mm = 0.0 if last.entry_face is Face.SHOW else -pilot.board_size_mm[2]
        assert set(points_of(pilot)[:, 2]) == {entry_z_mm}
        slits = np.sort([path.points_mm[0, 1] for path in op_of(pilot, "slits").paths])
        np.testing.assert_allclose(np.diff(slits), 3.0)
        cross = op_of(pilot, "free").paths[0].points_mm
        assert cross[:, 1] == pytest.approx([slits[0] - 1, slits[-1] + 1])
        for path in op_of(pilot, "slits").paths:  # every slit crosses the cross cut
            assert path.points_mm[1, 0] < cross[0, 0] < path.points_mm[0, 0]


@pytest.mark.parametrize("name", WAYS)
def test_fields_are_burnt_where_the_board_is_ramped_and_like_its_ramps(name: str):
    plan = way(name)
    for part, record in plan.pilots.items():
        pilot, others = setups_of(plan, part)
        ramps = [op for setup in others for op in setup.operations if op.kind is OperationKind.RAMP]
        fields = [op for op in pilot.operations if op.kind is OperationKind.RAMP]
        depths = [each for each in record.observables if each.quantity is Quantity.DEPTH]
        assert len(fields) == len(ramps)
        assert len(depths) == 2 * len(ramps)
        assert 3 <= len(record.observables) <= 6
        if not ramps:
            continue
        assert (fields[0].speed_mm_s, fields[0].passes) == (ramps[0].speed_mm_s, ramps[0].passes)
        thickness_mm = pilot.board_size_mm[2]
        wanted = [0.25 * thickness_mm, 0.7 * thickness_mm]
        curve = plan.job.recipes[part].ramp
        assert curve is not None
        np.testing.assert_allclose([float(each.settings["expected_mm"]) for each in depths], wanted)
        np.testing.assert_allclose([float(each.settings["power_frac"]) for each in depths], curve.power_for_depth(np.array(wanted)))
        for each in depths:  # the gauge's place is the middle of a field of lines at that power, 3 x 2.6 mm
            mine = np.vstack(
                [path.points_mm for path in fields[0].paths if abs(path.power_frac - float(each.settings["power_frac"])) < 1e-8]
            )
            low, high = mine[:, :2].min(axis=0), mine[:, :2].max(axis=0)
            np.testing.assert_allclose((low + high) / 2, each.place_mm, atol=1e-9)
            assert high[0] - low[0] == pytest.approx(3.0)
            assert 2.6 - 2 * curve.spacing_mm <= high[1] - low[1] <= 2.6
            rows = np.unique(np.round(mine[:, 1], 9))
            np.testing.assert_allclose(np.diff(rows), curve.spacing_mm)


@pytest.mark.parametrize("name", WAYS)
def test_the_form_reads_what_was_cut(name: str):
    """The readings that the response laws predict are the pitch less the waist, and n times that."""
    plan = way(name)
    response = typical_response() | {"scale_x_frac": 0.0, "scale_y_frac": 0.0}
    for part, record in plan.pilots.items():
        pilot, _ = setups_of(plan, part)
        n = len(op_of(pilot, "slits").paths) - 1
        stack, tongue = record.observable("stack"), record.observable("tongue-2")
        assert predict(stack, response) == pytest.approx(n * predict(tongue, response))
        assert 3 - 0.3 < predict(tongue, response) < 3
        run = pilot.bed_from_board.turned(np.array([1.0, 0.0, 0.0]))
        assert stack.settings["travel"] == ("x" if abs(run[0]) > 0.5 else "y")
        assert record.turned == (abs(run[0]) < 0.5)
        slits = np.sort([path.points_mm[0, 1] for path in op_of(pilot, "slits").paths])
        assert tongue.place_mm[1] == pytest.approx((slits[1] + slits[2]) / 2)
    assert len({record.digest for record in plan.pilots.values()}) == 4


def test_boards_that_share_a_description_have_forms_of_their_own():
    wish = case({"all": BOX}, waste=WASTE, pilot=True)
    design, boards = design_and_boards(wish)
    alike = boards | {"back": boards["front"]}
    plan = plan_piece(design, machine(), alike, dict.fromkeys(PANELS, recipe()), build(wish["burn"], PlanOptions, "burn"))
    assert plan.pilots["front"].id != plan.pilots["back"].id
    assert {plan.pilots[part].board for part in ("front", "back")} == {"plank for front"}
    first = next(each.text for each in plan.job.findings if each.code == "pilot-first")
    assert first.startswith("burn setups 1 to 4, the pilot strips, first")


@pytest.mark.parametrize("name", ["ramp", "cradle"])
def test_once_burnt_only_the_strips_setups_are_gone(name: str):
    before, after = way(name), planned(**WAYS[name], pilot_burnt=True)
    assert after.pilots == {}
    rest = before.job.setups[4:]
    assert [setup.name for setup in after.job.setups] == [setup.name for setup in rest]
    for one, other in zip(rest, after.job.setups, strict=True):
        assert other.number == one.number - 4
        np.testing.assert_array_equal(points_of(one), points_of(other))
        np.testing.assert_array_equal(one.gauge_board_mm, other.gauge_board_mm)


def test_the_part_stays_in_the_middle_unless_the_strip_needs_the_room():
    roomy, scant = planned(joints={"all": BOX}, waste=30.0), planned(joints={"all": BOX}, waste=10.5)
    for plan, left_mm in ((roomy, 30.0), (scant, 4.0)):
        slab = plan.job.setups[0].part_slab
        assert slab.bounds_mm()[0] == pytest.approx(left_mm)
    with pytest.raises(PlanError, match=r"131\.4 mm or more, for the waste at both ends and the pilot strip.*pilot = false"):
        planned(joints={"all": BOX}, waste=10.4)


def test_a_narrow_board_has_three_tongues_and_a_narrower_one_no_strip():
    narrow = planned(joints={"all": BOX | {"fingers": 3}}, height=18.0)
    assert len(op_of(narrow.job.setups[0], "slits").paths) == 4
    assert narrow.pilots["front"].observable("stack").settings["n_tongues"] == 3
    with pytest.raises(PlanError, match="too narrow for a pilot strip.*17 mm or more"):
        planned(joints={"all": BOX | {"fingers": 3}}, height=16.0)


def test_cuts_that_meet_inside_have_no_strip_and_say_so():
    plan = planned(joints={"all": BOX}, recipe=recipe(3, (3.0, 4.0)))
    assert plan.pilots == {}
    told = [finding.text for finding in plan.job.findings if finding.code == "no-pilot"]
    assert told
    assert all("Burn the through coupon on this thickness" in text for text in told)
    assert "pilot-first" not in [finding.code for finding in plan.job.findings]


def test_witness_marks_stand_six_millimetres_from_the_tips_whatever_the_waste():
    for waste in (12.0, 19.0, 40.0):
        plan = planned(pilot=False, joints={"all": DOVETAIL}, walls="two faces", waste=waste)
        for setup in plan.job.setups:
            x0, _, x1, _ = setup.part_slab.bounds_mm()
            for scale in setup.verniers:
                wanted = x1 + 6 if scale.name == "right" else x0 - 6
                assert scale.at_mm[0] == pytest.approx(wanted)


# --- check pause ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("n", "before"), [(1, 0), (2, 1), (3, 2), (4, 3), (5, 3), (6, 4), (9, 6), (12, 8)])
def test_about_a_third_of_the_layers_is_left(n: int, before: int):
    assert layers_before(n) == before


@pytest.mark.parametrize("walls", ["ramp", "two faces"])
def test_the_pause_only_cuts_the_layers_in_two(walls: str):
    plain = planned(pilot=False, joints={"all": DOVETAIL}, walls=walls)
    paused = planned(pilot=False, joints={"all": DOVETAIL}, walls=walls, check_pause=True)
    for one, other in zip(plain.job.setups, paused.job.setups, strict=True):
        ramps = [op for op in other.operations if op.kind is OperationKind.RAMP]
        if not ramps:
            assert [op.name for op in one.operations] == [op.name for op in other.operations]
            continue
        whole = op_of(one, "ramps")
        first, rest = ramps
        assert (first.name, rest.name) == ("ramps", "ramps-rest")
        assert other.operations.index(rest) == other.operations.index(first) + 1
        assert first.passes + rest.passes == whole.passes
        assert (len(first.passes), len(rest.passes)) == (2, 1)
        for op in ramps:
            assert op.speed_mm_s == whole.speed_mm_s
            wall = [path for path in op.paths if path.edges]
            assert len(wall) == len(whole.paths)
            for path, same in zip(wall, whole.paths, strict=True):
                np.testing.assert_array_equal(path.points_mm, same.points_mm)
                assert (path.power_frac, path.depth_mm) == (same.power_frac, same.depth_mm)
        others = [op for op in other.operations if op not in ramps]
        assert [op.name for op in others] == [op.name for op in one.operations if op.name != "ramps"]


@pytest.mark.parametrize("walls", ["ramp", "two faces"])
def test_the_patch_lies_clear_in_the_left_waste_and_its_depth_is_told(walls: str):
    paused = planned(joints={"all": DOVETAIL}, walls=walls, check_pause=True, waste=20.0)
    setup = next(each for each in paused.job.setups if any(op.name == "ramps-rest" for op in each.operations))
    rest = op_of(setup, "ramps-rest")
    patch = np.vstack([path.points_mm for path in rest.paths if not path.edges])
    low, high = patch[:, :2].min(axis=0), patch[:, :2].max(axis=0)
    x0, y0, _, y1 = setup.part_slab.bounds_mm()
    assert low[0] >= 1
    assert high[0] <= x0 - 2.5
    assert high[0] - low[0] == pytest.approx(3.0)
    assert (low[1] + high[1]) / 2 == pytest.approx((y0 + y1) / 2)
    mine = [each for each in paused.job.setups if each.part == setup.part]
    near = [
        path.points_mm for each in mine for op in each.operations for path in op.paths if path.edges or op.kind is not OperationKind.RAMP
    ]
    burnt = np.vstack([points if len(points) > 2 else np.linspace(points[0], points[1], 20) for points in near])
    away = np.maximum(np.maximum(low - burnt[:, :2], burnt[:, :2] - high), 0)
    assert np.hypot(*away.T).min() > 1.0
    wanted_mm = 0.7 * setup.board_size_mm[2]
    np.testing.assert_allclose([path.depth_mm for path in rest.paths if not path.edges], wanted_mm)
    assert wanted_mm * (2 / 3) ** 0.8 == pytest.approx(3.04, abs=0.005)
    assert "about 3.04 mm is expected after 2 of 3 layers" in rest.before
    assert "kerfwright finish" in rest.before


def test_a_paused_ramp_is_still_one_picture():
    plain = planned(pilot=False, joints={"all": DOVETAIL}, walls="ramp")
    paused = planned(pilot=False, joints={"all": DOVETAIL}, walls="ramp", check_pause=True)
    one, other = (next(each for each in plan.job.setups if each.part == "right") for plan in (plain, paused))
    before, after = power_pictures(one), power_pictures(other)
    right = [max(pictures, key=lambda each: each.placing.left_mm) for pictures in (before, after)]
    assert right[0].placing.left_mm == right[1].placing.left_mm
    np.testing.assert_array_equal(right[0].power_frac, right[1].power_frac)


def test_one_layer_cannot_be_stopped_between_and_a_short_board_has_no_patch():
    single = planned(pilot=False, joints={"all": DOVETAIL}, walls="ramp", check_pause=True, recipe=recipe(2, **thin_spacing("0.1 mm")))
    assert not any(op.before for setup in single.job.setups for op in setup.operations)
    told = next(finding.text for finding in single.job.findings if finding.code == "no-pause")
    assert "Write layers = 3 into the recipe and burn the ramp staircase with it" in told
    planned(pilot=False, joints={"all": DOVETAIL}, walls="ramp", check_pause=True, waste=6.5)
    with pytest.raises(PlanError, match=r"too short for the check pause's witness patch.* or more"):
        planned(pilot=False, joints={"all": DOVETAIL}, walls="ramp", check_pause=True, waste=6.4)
