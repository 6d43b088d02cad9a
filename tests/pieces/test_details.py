"""Notches and feet: the wood that is gone is the sum by hand, grooves stay covered, and the laser cuts them over the edge."""

from __future__ import annotations

from math import asin
from typing import Any

import pytest
from shapely import Polygon

from kerfwright.core.errors import BuildError, InputError
from kerfwright.geometry.mesh import slab_volume_mm3
from kerfwright.pieces.carcass import PANELS
from kerfwright.pieces.design import Design
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job
from pieces.bottom_samples import BENCH, box, panel, thin_cut
from solid_check import NOTHING_MM3, clash_along, clash_mm3

HIGH = {"up": "7 mm", "depth": "2 mm"}


def gone_mm3(design: Design, plain: Design, wall: str) -> float:
    return slab_volume_mm3(plain.assembly.part(wall).slab) - slab_volume_mm3(design.assembly.part(wall).slab)


def test_a_notch_is_a_segment_of_a_circle():
    """Chord 24, depth 8: r = (12^2 + 8^2) / 16 = 13, area r^2 asin(12/13) - 12 (13 - 8) = 138.75 mm2.

    24 chords miss (2 asin(12/13) / 24)^2 / 6 = 0.16 % of the sector's r^2 asin(12/13) = 198.75 mm2.
    """
    plain, boards = box(panel(), HIGH)
    design, _ = box(panel(), HIGH, notch={"width": "24 mm", "depth": "8 mm"})
    area_mm2 = 13**2 * asin(12 / 13) - 12 * 5
    assert area_mm2 == pytest.approx(138.75, abs=0.01)
    assert gone_mm3(design, plain, "front") == pytest.approx((area_mm2 - 0.0016 * 198.75) * boards["front"].thickness_mm, rel=2e-4)
    assert gone_mm3(design, plain, "back") == 0.0


def test_feet_are_what_the_cut_leaves():
    """The box is 230 x 90 mm outside: a trapezoid of 4 mm height from 230 - 2 * 18 = 194 mm down to 186, and from 54 to 46 mm."""
    plain, boards = box(panel(), HIGH)
    design, _ = box(panel(), HIGH, feet={"height": "4 mm", "width": "18 mm"})
    for wall, area_mm2 in (("front", 4 * 190.0), ("right", 4 * 50.0), ("back", 4 * 190.0), ("left", 4 * 50.0)):
        assert gone_mm3(design, plain, wall) == pytest.approx(area_mm2 * boards[wall].thickness_mm)


@pytest.mark.parametrize("bottom", [HIGH, {"kind": "slots", "up": "7 mm"}])
def test_it_goes_together_with_notches_and_feet(bottom: dict[str, Any]):
    design, _ = box(panel(), bottom, notch={"walls": ["front", "back"]}, feet={})
    assert clash_mm3(design.assembly) < NOTHING_MM3
    for step in design.assembly.steps:
        assert clash_along(design.assembly, step, 8) < NOTHING_MM3, step


def test_they_are_cut_through_over_the_edge_half_a_kerf_inside():
    design, boards = box(panel(), HIGH, notch={}, feet={})
    recipes = BENCH.recipes | {"bottom": BENCH.recipes["front"].model_copy(update={"through": (thin_cut(),)})}
    job = plan_job(design, BENCH.machine, boards, recipes, PlanOptions())
    for wall in PANELS:
        setup = next(each for each in job.setups if each.part == wall and any(op.name == "windows" for op in each.operations))
        (op,) = (each for each in setup.operations if each.name == "windows")
        assert sorted(path.edges[0] for path in op.paths) == ["cut between the feet", *(["finger notch"] if wall == "front" else [])]
        for path in op.paths:
            (recess,) = (each for each in setup.part_slab.recesses if each.name == path.edges[0])
            drawn, cut = Polygon(recess.ring.points_mm), Polygon(path.points_mm[1:, :2])
            assert drawn.contains(cut)
            half_mm = [job.recipes[wall].through[0].profile(angle, angle).waist_mm.value / 2 for angle in (0.0, 90.0)]
            away = cut.exterior.hausdorff_distance(drawn.exterior)
            assert min(half_mm) - 1e-6 < drawn.exterior.distance(cut.exterior) <= max(half_mm) + 1e-6
            assert away < 2.5 * max(half_mm)  # at a sharp corner
            low, high = setup.part_slab.bounds_mm()[1::2]
            over = cut.bounds[1] < low if recess.name.startswith("cut") else cut.bounds[3] > high
            assert over


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"notch": {"depth": "12 mm"}}, r"notch 12 mm deep and 22 mm wide.*notch\.depth of 11 mm or less"),
        ({"notch": {"width": "215 mm"}}, r"notch 215 mm wide in a front of 21\d\.\d mm.*notch\.width"),
        ({"notch": {"width": "80 mm", "depth": "36 mm"}}, r"the finger notch of the front leaves 0\.0 mm of wood.*notch\.depth"),
        ({"feet": {"width": "5 mm"}}, r"cut into the corner's joint.*feet\.width of 7\.5"),
        ({"feet": {"width": "42 mm"}}, r"feet 42 mm wide and 4 mm high under a right of 90 x 42 mm.*feet\.width"),
        ({"feet": {"height": "6 mm"}}, r"the cut between the feet of the front leaves 1\.0 mm of wood .*feet\.height smaller, or move"),
    ],
)
def test_what_leaves_too_little_wood_is_refused(changes: dict[str, Any], words: str):
    with pytest.raises(BuildError, match=words):
        box(panel(), HIGH, **changes)


def test_a_wall_that_is_not_there_is_refused():
    with pytest.raises(InputError, match=r'no wall called "lid".*front, right, back, left'):
        box(panel(), HIGH, notch={"walls": ["lid"]})
