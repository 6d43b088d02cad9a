"""A bottom in grooves: it goes in, stays in through the year and never pushes; the grooves are burnt where they belong."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.core.errors import BuildError, PlanError
from kerfwright.geometry.ring import Role
from kerfwright.geometry.slab import Face
from kerfwright.pieces.bottom import LEAST_TONGUE_MM
from kerfwright.pieces.carcass import PANELS
from kerfwright.process.operation import OperationKind
from kerfwright.wood.movement import change_mm, moisture_frac
from kerfwright.wood.species import find_species
from pieces.bottom_samples import box, job, panel, thin_cut
from solid_check import NOTHING_MM3, clash_along, clash_mm3


@pytest.mark.parametrize("joint", ["through dovetail", "box joint"])
def test_the_bottom_goes_in_without_a_clash_and_the_walls_close_round_it(joint: str):
    own = {"kind": "box joint"} if joint == "box joint" else None
    design, _ = box(panel(), **({"joints": {"all": own}} if own else {}))
    assembly = design.assembly
    assert {part.name for part in assembly.parts} == {*PANELS, "bottom"}
    assert clash_mm3(assembly) < NOTHING_MM3
    assert len(assembly.steps) == 4
    for step in assembly.steps:
        assert clash_along(assembly, step, 12) < NOTHING_MM3, step


@pytest.mark.parametrize("sawn", ["flat", "quarter", "unknown"])
@pytest.mark.parametrize("species", ["black cherry", "sugar maple", "eastern white pine"])
def test_tongues_hold_when_driest_and_do_not_push_when_dampest(species: str, sawn: str):
    board = panel(species, sawn=sawn)
    design, boards = box(board)
    bottom = design.assembly.part("bottom").slab
    _, y0, _, y1 = bottom.bounds_mm()
    inside_mm = 90.0 - boards["front"].thickness_mm - boards["back"].thickness_mm
    (groove,) = design.assembly.part("front").slab.recesses
    between_floors_mm = inside_mm + 2 * groove.depth_mm
    for humidity in (0.35, 0.65):
        moved = change_mm(inside_mm, find_species(species), board.sawn, 0.08, moisture_frac(20.0, humidity).value)
        likely = [y1 - y0 + moved.value + side * 2 * moved.sd for side in (-1, 1)]
        assert max(likely) < between_floors_mm
        assert (min(likely) - inside_mm) / 2 > LEAST_TONGUE_MM - 1e-9


def test_grooves_show_at_no_corner_and_line_up():
    design, boards = box(panel(), {"up": "5 mm", "depth": "2.1 mm", "play": "0.3 mm"})
    for i, name in enumerate(PANELS):
        part = design.assembly.part(name)
        (groove,) = part.slab.recesses
        assert groove.face is Face.INNER
        assert groove.depth_mm == 2.1
        x0, y0, x1, y1 = groove.ring.bounds_mm()
        assert (y0, y1) == pytest.approx((5.0, 5.0 + 3.01 + 0.3))
        end_mm = part.slab.bounds_mm()[2]
        assert x0 == pytest.approx(0.2 + boards[PANELS[i - 1]].thickness_mm - 0.3)
        assert end_mm - x1 == pytest.approx(0.2 + boards[PANELS[(i + 1) % 4]].thickness_mm - 0.3)
    # The bottom rests on the lower side of the grooves' middle: half the play above and below.
    pose = design.assembly.part("bottom").assembly_from_part
    heights = pose.apply(np.array([[0, 0, 0], [0, 0, -boards["bottom"].thickness_mm]]))[:, 2]
    assert heights.tolist() == pytest.approx([5.15, 8.16])


def test_what_the_wood_does_is_told():
    design, _ = box(panel())
    (told,) = (finding for finding in design.findings if finding.code == "bottom-moves")
    assert "Do not glue it in" in told.text
    unmeasured, _ = box(panel(moisture=None))
    assert "moisture-unknown" in [finding.code for finding in unmeasured.findings]


def test_a_bottom_that_cannot_be_is_refused_naming_the_dimension():
    with pytest.raises(BuildError, match=r"leaves 1\.0 mm.*bottom\.depth"):
        box(panel(), {"depth": "4.96 mm"})
    with pytest.raises(BuildError, match=r"42 mm.*bottom\.up"):
        box(panel(), {"up": "39 mm"})
    with pytest.raises(BuildError, match=r"shrinks out of its grooves.*bottom\.depth"):
        box(panel("American beech"), {"depth": "2 mm"}, width="200 mm")


def test_every_groove_is_burnt_to_its_depth_within_its_outline_before_the_part_is_freed():
    planned = job(panel())
    ramp = planned.recipes["front"].ramp
    assert ramp is not None
    for name in PANELS:
        setups = [setup for setup in planned.setups if setup.part == name]
        (holder,) = (setup for setup in setups if any(op.name == "recesses" for op in setup.operations))
        assert holder.entry_face is Face.INNER
        (at,) = (i for i, op in enumerate(holder.operations) if op.name == "recesses")
        assert not any(op.kind is OperationKind.THROUGH for op in holder.operations[:at])
        assert setups.index(holder) == 0
        op = holder.operations[at]
        (groove,) = holder.part_slab.recesses
        x0, y0, x1, y1 = groove.ring.bounds_mm()
        reach_mm = ramp.spacing_mm / 2 + ramp.wall_shift_mm.value
        points = np.concatenate([path.points_mm for path in op.paths])
        assert points[:, 0].min() == pytest.approx(x0 + reach_mm)
        assert points[:, 0].max() == pytest.approx(x1 - reach_mm)
        assert points[:, 1].min() == pytest.approx(y0 + reach_mm)
        assert points[:, 1].max() == pytest.approx(y1 - reach_mm)
        assert np.diff(np.unique(points[:, 1].round(6))).max() == pytest.approx(ramp.spacing_mm, rel=0.02)
        assert op.passes == ramp.passes_down()
        (power,) = {path.power_frac for path in op.paths}
        assert power == pytest.approx(float(ramp.power_for_depth(np.array([groove.depth_mm]))[0]))


def test_a_ramped_board_is_turned_over_for_its_groove():
    planned = job(panel(), walls="ramp")
    hollow, ramped = (setup for setup in planned.setups if setup.part == "left")
    assert (hollow.name, hollow.entry_face) == ("left-hollow", Face.INNER)
    assert (ramped.name, ramped.entry_face) == ("left-ramp", Face.SHOW)
    assert ramped.steps_before[0].startswith("Turn the board over about its length")
    # Both lie at the fence: the groove is as far from the fence as the board's other edge says.
    assert hollow.bed_from_board.matrix[1, 1] == -1
    assert ramped.bed_from_board.matrix[1, 1] == 1


def test_the_bottom_itself_is_cut_free_all_round():
    (cut,) = (setup for setup in job(panel()).setups if setup.part == "bottom")
    assert [op.name for op in cut.operations] == ["label", "outline"]
    (path,) = cut.operations[1].paths
    points = path.points_mm[:, :2]
    assert np.allclose(points[1], points[-1])
    half_mm = thin_cut().profile(0.0, 0.0).waist_mm.value / 2, thin_cut().profile(90.0, 90.0).waist_mm.value / 2
    _, y0, x1, _ = cut.part_slab.bounds_mm()
    assert points[1:, 1].min() == pytest.approx(y0 - half_mm[0])
    assert points[1:, 0].max() == pytest.approx(x1 + half_mm[1])
    assert all(edge.role is Role.FREE for edge in cut.part_slab.edges)


def test_a_board_too_narrow_for_the_bottom_is_refused():
    with pytest.raises(PlanError, match="or more: it is cut free all round"):
        job(panel(width="80 mm"))
