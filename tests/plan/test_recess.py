"""Recesses and windows in the plan: lines inside the hollow, holes inside their outline, walls lower than their neighbours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from geometry.outlines import ring_of
from kerfwright.core.document import build
from kerfwright.core.errors import InputError, PlanError
from kerfwright.geometry.assembly import Assembly
from kerfwright.geometry.slab import Face, Recess
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.plan.bench import Bench
from kerfwright.plan.blank import lay_on_board
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.part_plan import plan_part
from kerfwright.plan.recess import _fewest_layers
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.setup import Setup
from kerfwright.wood.board import Board
from plan.plan_samples import BOX, DOVETAIL, bench, machine, recipe

U_SHAPE = [(30, 10), (60, 10), (60, 30), (52, 30), (52, 16), (38, 16), (38, 30), (30, 30)]
SQUARE = [(20, 12), (26, 12), (26, 22), (20, 22)]


def with_recesses(wanted: Bench, *recesses: Recess) -> Bench:
    return replace(wanted, blank=replace(wanted.blank, slab=replace(wanted.blank.slab, recesses=recesses)))


def recess(points: Sequence[tuple[float, float]], depth_mm: float, face: Face = Face.INNER, name: str = "housing") -> Recess:
    return Recess(name, face, ring_of(list(points)), depth_mm)


def operation(setups: tuple[Setup, ...], name: str) -> tuple[Setup, CutOperation]:
    (found,) = ((setup, op) for setup in setups for op in setup.operations if op.name == name)
    return found


def test_lines_fill_a_hollow_of_any_shape_and_stay_inside_it():
    wanted = with_recesses(bench(joint=BOX), recess(U_SHAPE, 2.0))
    setup, op = operation(plan_part(wanted).setups, "recesses")
    assert setup.entry_face is Face.INNER
    ramp = recipe().ramp
    assert ramp is not None
    reach_mm = ramp.spacing_mm / 2 + ramp.wall_shift_mm.value
    inner = Polygon(U_SHAPE).buffer(-reach_mm, join_style="mitre")
    lines = [LineString(path.points_mm[:, :2]) for path in op.paths]
    assert all(inner.buffer(1e-5).covers(line) for line in lines)
    # Every line carries a band one spacing wide: together they cover what the outlines leave, but for the ends of the lines.
    length_mm = sum(line.length for line in lines)
    assert length_mm * ramp.spacing_mm == pytest.approx(inner.area, rel=0.02)
    across = sorted({round(path.points_mm[0, 1], 4) for path in op.paths})
    assert np.diff(across).max() < 1.02 * ramp.spacing_mm
    assert {path.depth_mm for path in op.paths} == {2.0}
    legs = [path for path in op.paths if path.points_mm[0, 1] > 16.5]
    assert {bool(path.points_mm[:, 0].max() < 38) for path in legs} == {True, False}


@pytest.mark.parametrize("face", list(Face))
@pytest.mark.parametrize("joint", [BOX, DOVETAIL], ids=["square", "ramped"])
def test_a_window_is_cut_first_inside_its_outline_by_half_a_kerf_and_begun_in_the_piece_that_drops_out(joint: dict[str, Any], face: Face):
    wanted = with_recesses(bench(joint=joint, face=face.value), recess(SQUARE, 6.0, name="finger hole"))
    thick_mm = wanted.thickness_mm
    wanted = with_recesses(wanted, recess(SQUARE, thick_mm, name="finger hole"))
    setup, op = operation(plan_part(wanted).setups, "windows")
    first_through = next(each for each in setup.operations if each.kind in (OperationKind.THROUGH, OperationKind.RAMP))
    assert first_through is op
    (path,) = op.paths
    points = path.points_mm[:, :2]
    assert np.allclose(points[1], points[-1])
    loop = Polygon(points[1:])
    cut = recipe().through[0]
    half_mm = [cut.profile(angle, angle).waist_mm.value / 2 for angle in (0.0, 90.0)]
    assert loop.bounds == pytest.approx((20 + half_mm[1], 12 + half_mm[0], 26 - half_mm[1], 22 - half_mm[0]))
    assert loop.contains(Point(points[0]))
    assert np.hypot(*(points[0] - points[1])) == pytest.approx(PlanOptions().lead_mm)
    assert op.passes == cut.passes_down()
    assert path.depth_mm == thick_mm


def test_a_hole_smaller_than_the_lead_is_begun_half_way_to_its_middle():
    wanted = bench(joint=BOX)
    tiny = recess([(20, 12), (21, 12), (21, 13), (20, 13)], wanted.thickness_mm)
    (path,) = operation(plan_part(with_recesses(wanted, tiny)).setups, "windows")[1].paths
    loop = Polygon(path.points_mm[1:, :2])
    start, corner = path.points_mm[0, :2], path.points_mm[1, :2]
    middle = np.array(loop.centroid.coords[0])
    assert np.allclose(start, (corner + middle) / 2)


def test_what_cannot_be_burnt_to_depth_says_what_to_do():
    two_wide = recess(SQUARE, 2.0)
    without = replace(with_recesses(bench(joint=BOX), two_wide), recipe=recipe().model_copy(update={"ramp": None}))
    with pytest.raises(PlanError, match=r"housing is burnt to depth and the recipe has no ramp.*ramp staircase"):
        plan_part(without)
    with pytest.raises(PlanError, match=r"the slot is too narrow for the beam.*wider than 0\.12 mm"):
        plan_part(with_recesses(bench(joint=BOX), recess([(20, 12), (20.1, 12), (20.1, 22), (20, 22)], 2.0, name="slot")))
    with pytest.raises(InputError, match="the housing of right"):
        plan_part(with_recesses(bench(joint=BOX), recess(SQUARE, 0.05)))


def lidded(lid: str, joint: dict[str, Any]) -> Assembly:
    tables = {
        "schema": "kerfwright-piece-1", "kind": "lidded box", "name": "box", "length": "120 mm", "width": "90 mm", "height": "50 mm",
        "joints": {"all": joint}, "lid": {"kind": lid},
    }  # fmt: skip
    document = piece_from(tables, "piece")
    return build_piece(document, dict.fromkeys(document.panels, 6.0)).assembly


@pytest.mark.parametrize("joint", [BOX, BOX | {"parity": "even", "fingers": 6}, DOVETAIL], ids=["odd", "even", "dovetail"])
@pytest.mark.parametrize(("lid", "low"), [("sliding", "right"), ("pin hinge", "front")])
def test_a_wall_higher_than_its_neighbour_is_cut_up_to_its_own_top(lid: str, low: str, joint: dict[str, Any]):
    """The end above the neighbour's top stands flush like a tip; where a socket ends there, its upper side is cut as a step."""
    assembly = lidded(lid, joint)
    lowered_mm = assembly.part(low).slab.bounds_mm()[3]
    n_steps = 0
    for part in assembly.parts[:4]:
        high_mm = part.slab.bounds_mm()[3]
        assert high_mm == pytest.approx(lowered_mm if part.name == low else 50.0)
        board = _board(part.slab.bounds_mm()[2] + 30.0, high_mm)
        blank = lay_on_board(part, board, marked=False)
        plan = plan_part(Bench(blank, machine(), recipe(), PlanOptions(), {"left": 0.0, "right": 0.0}))
        steps = [edge.name for edge in part.slab.edges if edge.name.endswith(".step")]
        n_steps += len(steps)
        cut = {name for setup in plan.setups for op in setup.operations for path in op.paths for name in path.edges}
        own = {edge.name for edge in blank.slab.edges if edge.role.value != "datum"}
        assert own <= cut
        half_mm = recipe().through[0].profile(0.0, 0.0).waist_mm.value / 2
        for step in steps:
            (stroke,) = (path for setup in plan.setups for op in setup.operations for path in op.paths if step in path.edges)
            at = stroke.edges.index(step)
            run = stroke.points_mm[at : at + 2, 1]
            shift_mm = blank.slab.bounds_mm()[1]
            assert run == pytest.approx(np.full(2, lowered_mm + shift_mm - half_mm))
    # The starting boards, front and back, end in a finger where the count is odd; tails end in a socket for the half-pin.
    sockets_on_top = ("left", "right") if joint is BOX else ("front", "back")
    neighbours = ("front", "back") if low == "right" else ("left", "right")
    assert n_steps == (2 if sockets_on_top == neighbours else 0)


def _board(length_mm: float, width_mm: float) -> Board:
    tables = {"schema": "kerfwright-board-1", "name": "plank", "species": "sugar maple", "thickness": ["6 mm"]}
    return build(tables | {"length": f"{length_mm} mm", "width": f"{width_mm} mm"}, Board, "board")


def burnt(
    depth_mm: float, joint: dict[str, Any] = BOX, face: Face = Face.INNER, **options: Any
) -> tuple[Setup, CutOperation, Sequence[str]]:
    wishes: dict[str, Any] = {"recess_layers": "fewest"} | options
    plan = plan_part(with_recesses(bench(joint=joint, **wishes), recess(U_SHAPE, depth_mm, face)))
    return *operation(plan.setups, "recesses"), [finding.code for finding in plan.findings]


@pytest.mark.parametrize(("depth_mm", "n_layers", "asked_mm"),
    [(1.0, 1, 2.4082), (2.0, 1, 4.8165), (2.8, 2, 3.8729), (4.0, 2, 5.5327), (4.7, 3, 4.7)],
)
def test_a_recess_takes_the_fewest_layers_that_reach_its_depth_at_the_power_that_takes(depth_mm: float, n_layers: int, asked_mm: float):
    """Asked by hand: d / (n / 3)^0.8 within the 6.6 mm measured; (1/3)^0.8 = 0.41524, (2/3)^0.8 = 0.72298."""
    ramp = recipe().ramp
    assert ramp is not None
    assert (ramp.layers, ramp.depth[-1][1].value) == (3, 6.6)
    _, op, told = burnt(depth_mm)
    assert op.passes == ramp.passes_down(n_layers)
    (power,) = {path.power_frac for path in op.paths}
    assert power == pytest.approx(float(ramp.power_for_depth(np.array([asked_mm]))[0]), abs=1e-5)
    assert {path.depth_mm for path in op.paths} == {depth_mm}
    assert told.count("fewer-layers") == (n_layers < 3)
    _, whole, told_of_all = burnt(depth_mm, recess_layers="all")
    assert whole.passes == ramp.passes_down()
    assert "fewer-layers" not in told_of_all
    assert op.cut_length_mm() == pytest.approx(whole.cut_length_mm() * n_layers / 3)


def test_layers_are_not_spared_where_a_recess_might_come_through():
    """2 mm in one of three layers may come out 2 / (1/3)^0.4 = 3.1 mm deep: too deep for a 4 mm board, whose recipe takes more."""
    wanted = with_recesses(bench(joint=BOX), recess(SQUARE, 2.0))
    ramp = wanted.recipe.ramp
    assert ramp is not None
    assert [_fewest_layers(ramp, [recess(SQUARE, 2.0)], thick_mm) for thick_mm in (6.0, 4.11, 4.09, 3.36, 3.34)] == [1, 1, 2, 2, 3]


def test_recesses_beside_ramps_share_their_layers_so_that_one_grey_picture_holds_both():
    setup, op, told = burnt(2.0, joint=DOVETAIL, face=Face.SHOW)
    layers = {len(each.passes) for each in setup.operations if each.kind is OperationKind.RAMP}
    assert layers == {3}
    assert len(op.passes) == 3
    assert "fewer-layers" not in told


def test_what_fewer_layers_mean_is_told_with_their_spread():
    plan = plan_part(with_recesses(bench(joint=BOX, recess_layers="fewest"), recess(SQUARE, 2.0)))
    (told,) = (finding for finding in plan.findings if finding.code == "fewer-layers")
    assert "1 of the recipe's 3 layers" in told.text
    assert "2 mm may come out 1.6 to 3.1 mm deep" in told.text
    assert 'recess_layers = "all"' in told.text
