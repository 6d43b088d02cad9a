"""The glue-up against hand arithmetic: glue lines, clamp force, diagonals, and which meetings stay dry."""

from __future__ import annotations

import math
from typing import Any

import pytest

from kerfwright.export.sheet.putting_together import meeting_words
from kerfwright.geometry.assembly import Bond
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.plan.glue_up import GlueUp, glue_up, may_differ_mm, pressure_for
from sheet_samples import jobs

BOX: dict[str, Any] = {
    "schema": "kerfwright-piece-1", "kind": "open box", "name": "box", "length": "120 mm", "width": "90 mm", "height": "50 mm",
    "proud": "0 mm", "joints": {"all": {"kind": "box joint", "starts_on": ["front", "back"], "fingers": 5}},
}  # fmt: skip


def of_job(name: str) -> GlueUp:
    job = jobs()[name]
    return glue_up(job.assembly, job.boards)


def bonds(glue: GlueUp) -> dict[tuple[str, str], tuple[str, Bond]]:
    return {(each.part, each.into): (each.kind, each.bond) for each in glue.meetings}


def test_the_glue_line_of_a_box_joint_by_hand():
    """Five fingers of 10 mm: four flanks of 6 x 6 mm and floors of 50 x 6 mm, two on one board and three on the other."""
    walls: dict[str, float] = {"front": 6.0, "right": 6.0, "back": 6.0, "left": 6.0}
    glue = glue_up(build_piece(piece_from(BOX, "box"), walls).assembly, {})
    corner_mm2 = 4 * 6 * 6 + 50 * 6
    assert [each.area_mm2 for each in glue.meetings] == pytest.approx([corner_mm2] * 4)
    # 150 to 250 g/m2 (common practice, no source), doubled.
    assert glue.glue_g == pytest.approx((2 * 150 * 4 * corner_mm2 / 1e6, 2 * 250 * 4 * corner_mm2 / 1e6))
    # Front and back have three fingers and press on the sides' three floors of 10 x 6; the sides press on the front's two.
    by_axis = {each.axis: each for each in glue.clamps}
    low_mpa, high_mpa = glue.pressure_mpa
    assert {axis: each.force_n for axis, each in by_axis.items()} == {
        0: pytest.approx((low_mpa * 120, high_mpa * 120)), 1: pytest.approx((low_mpa * 180, high_mpa * 180))}
    assert [(each.n_clamps, each.n_cauls, each.caul_mm) for each in glue.clamps] == [(2, 4, 50.0), (2, 4, 50.0)]
    assert by_axis[0].opening_mm == pytest.approx(120 + 2 * 20)
    assert by_axis[1].opening_mm == pytest.approx(90 + 2 * 20)
    assert glue.square is not None
    assert glue.square.sizes_mm == pytest.approx((108, 78))
    assert glue.square.diagonal_mm == pytest.approx(math.hypot(108, 78))


def test_the_diagonals_of_a_frame_out_of_square():
    """Law (1) against corners laid out in full: 168 x 98 mm sheared by 0.2 mm over 100."""
    a, b = 168.0, 98.0
    lean = math.asin(0.002)
    long_mm, short_mm = (math.hypot(a + sign * b * math.sin(lean), b * math.cos(lean)) for sign in (1, -1))
    assert may_differ_mm((a, b)) == pytest.approx(long_mm - short_mm, rel=1e-5)
    assert may_differ_mm((a, b)) == pytest.approx(0.3386, abs=1e-4)


@pytest.mark.parametrize(("density", "pressure"), [(0.35, (0.7, 1.0)), (0.55, (1.0, 1.4)), (0.63, (1.4, 1.7))])
def test_clamp_pressure(density: float, pressure: tuple[float, float]):
    """USDA FPL Wood Handbook ch. 10, from memory: 0.7-1.0 MPa softwood, up to 1.4-1.7 dense hardwood; between them ours."""
    assert pressure_for(density) == pressure


def test_a_dovetail_is_clamped_only_the_way_its_tails_go():
    [clamps] = of_job("ramp").clamps
    assert clamps.axis == 1
    assert clamps.n_clamps == 2
    floors_mm2 = clamps.force_n[0] / 1.4
    # The tails press on the sockets' floors, up to 42 mm less two half-pins and three pins at their wide inner ends.
    assert 0.5 * 42 * 5.97 < floors_mm2 < 42 * 5.97 - (2 * 3.2 + 3 * 1.6) * 5.97


def test_panels_that_move_stay_dry():
    found = bonds(of_job("hinged"))
    assert {pair: each for pair, each in found.items() if "bottom" in pair} == {
        ("bottom", wall): ("recess", Bond.DRY) for wall in ("front", "right", "back", "left")}
    assert {each for pair, each in found.items() if "lid" in pair} == {("rest", Bond.DRY)}
    assert [each for pair, each in found.items() if not {"bottom", "lid"} & set(pair)] == [("joint", Bond.GLUED)] * 4


def test_dividers_are_glued_into_housings_and_slotted_into_each_other():
    glue = of_job("divided")
    found = bonds(glue)
    assert found["long-1", "left"] == found["cross-2", "back"] == ("recess", Bond.GLUED)
    assert found["cross-1", "long-1"] == ("lap", Bond.DRY)
    assert found["cross-1", "bottom"] == ("rest", Bond.DRY)
    housing = next(each for each in glue.meetings if (each.part, each.into) == ("long-1", "left"))
    assert housing.recess is not None
    _, y0, _, y1 = housing.recess.ring.bounds_mm()
    x0, _, x1, _ = housing.recess.ring.bounds_mm()
    assert housing.area_mm2 == pytest.approx((y1 - y0) * ((x1 - x0) + 2 * housing.recess.depth_mm))


def test_a_drawer_s_bottom_is_glued_in_front_alone():
    found = bonds(of_job("drawer"))
    assert {wall: found["bottom", wall][1] for wall in ("front", "right", "back", "left")} == {
        "front": Bond.GLUED, "right": Bond.DRY, "back": Bond.DRY, "left": Bond.DRY}


def built(**changes: Any) -> GlueUp:
    document = piece_from(BOX | {"length": "180 mm", "width": "110 mm"} | changes, "box")
    thickness_mm = {panel: 3.0 if panel == "bottom" else 6.0 for panel in document.panels}
    assembly = build_piece(document, thickness_mm).assembly
    glue = glue_up(assembly, {})
    for step in assembly.steps:
        here = [each for each in glue.meetings if each.between(step.moving, step.standing)]
        assert meeting_words(here, step), step
    return glue


def test_a_lip_is_glued_under_its_lid_over_its_whole_face():
    """Inside 168 x 98 mm less 0.4 mm of play each way."""
    glue = built(kind="lidded box", lid={"kind": "lift off"})
    [lip] = [each for each in glue.meetings if {each.part, each.into} == {"lip", "lid"}]
    assert (lip.kind, lip.bond) == ("rest", Bond.GLUED)
    assert lip.area_mm2 == pytest.approx(167.6 * 97.6)


def test_a_sliding_lid_stays_dry_in_its_grooves():
    found = bonds(built(kind="lidded box", lid={"kind": "sliding"}))
    assert {wall: found["lid", wall] for wall in ("front", "back", "left", "right")} == {
        "front": ("recess", Bond.DRY), "back": ("recess", Bond.DRY), "left": ("recess", Bond.DRY), "right": ("rest", Bond.DRY)}


def test_joints_whose_sockets_are_hollows_are_joints_too():
    """Half-blind: square tails stand in sockets burnt to depth; no edges of the boards' own outlines mate."""
    glue = built(joints={"all": {"kind": "half-blind box joint"}})
    assert [(each.kind, each.bond) for each in glue.meetings] == [("joint", Bond.GLUED)] * 4
    assert [each.corner for each in glue.meetings] == ["front-right", "right-back", "back-left", "left-front"]
    assert min(each.area_mm2 for each in glue.meetings) > 0
    assert glue.square is not None
    assert glue.square.sizes_mm == pytest.approx((168, 98))
