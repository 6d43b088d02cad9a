"""The half-blind box joint: boards fill their corner but for what sockets are deeper, come home two ways, and are burnt to fit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kerfwright.app.bench_file import load_bench
from kerfwright.core.document import read_toml
from kerfwright.core.errors import BuildError, InputError, PlanError
from kerfwright.geometry.assembly import Assembly
from kerfwright.geometry.slab import Face
from kerfwright.pieces.carcass import PANELS
from kerfwright.pieces.design import Design
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job
from kerfwright.process.job import Job
from solid_check import clash_along, clash_mm3, solid, union, void_mm3

DEMO = Path(__file__).resolve().parents[2] / "src" / "kerfwright" / "data" / "demo"
BENCH = load_bench(DEMO / "pencil-box" / "bench.toml", PANELS)
HALF_BLIND: dict[str, Any] = {"kind": "half-blind box joint"}
SIZE_MM = (150.0, 90.0, 50.0)
ROUNDING_MM3 = 1e-5  # crossings of hollows are right to a picometre, on some thousand mm2 of touching walls


def box(joints: dict[str, Any], thickness_mm: tuple[float, ...] = (9.0, 6.0, 8.0, 6.5), **changes: Any) -> Design:
    sizes = {name: f"{size} mm" for name, size in zip(("length", "width", "height"), SIZE_MM, strict=True)}
    tables = {"schema": "kerfwright-piece-1", "kind": "open box", "name": "box", "joints": joints} | sizes | changes
    return build_piece(piece_from(tables, "piece"), dict(zip(PANELS, thickness_mm, strict=True)) | {"bottom": 3.0})


def walls_void_mm3(assembly: Assembly, thickness_mm: tuple[float, ...]) -> float:
    """Air inside the walls' frame."""
    front, right, back, left = thickness_mm
    inside_mm3 = (SIZE_MM[0] - right - left) * (SIZE_MM[1] - front - back) * SIZE_MM[2]
    return void_mm3(assembly, np.array([(0.0, 0.0, 0.0), SIZE_MM])) - inside_mm3


@pytest.mark.parametrize("proud_mm", [0.0, 0.3])
@pytest.mark.parametrize("sockets_in", [["front", "back"], ["left", "right"]])
def test_boards_fill_their_corners_and_slide_home(sockets_in: list[str], proud_mm: float):
    thick_mm = (9.0, 6.0, 8.0, 6.5)
    joint = HALF_BLIND | {"sockets_in": sockets_in, "tails": 3, "deeper": "0 mm"}
    assembly = box({"all": joint}, thick_mm, proud=f"{proud_mm} mm").assembly
    assert clash_mm3(assembly) < ROUNDING_MM3
    assert walls_void_mm3(assembly, thick_mm) == pytest.approx(0.0, abs=1e-4)
    low, high = np.array(union(assembly).bounding_box()).reshape(2, 3)
    stands_out = [proud_mm, 0, 0] if sockets_in == ["front", "back"] else [0, proud_mm, 0]
    assert low == pytest.approx([-each for each in stands_out], abs=1e-9)
    assert high - SIZE_MM == pytest.approx(stands_out, abs=1e-9)
    assert len(assembly.steps) == 3
    for step in assembly.steps:
        assert clash_along(assembly, step, 9) < ROUNDING_MM3, step


@pytest.mark.parametrize("bottom", [{}, {"kind": "slots"}])
def test_a_bottom_goes_in_as_well(bottom: dict[str, Any]):
    assembly = box({"all": HALF_BLIND}, bottom=bottom).assembly
    assert clash_mm3(assembly) < ROUNDING_MM3
    for step in assembly.steps:
        assert clash_along(assembly, step, 9) < ROUNDING_MM3, step


def test_what_is_left_empty_is_what_sockets_are_deeper():
    """Two tails a corner, each a fifth of 50 mm wide and as thick as its board: 2 * 10 * 0.4 * (6 + 6 + 6.5 + 6.5) = 200 mm3."""
    thick_mm = (9.0, 6.0, 8.0, 6.5)
    assembly = box({"all": HALF_BLIND | {"tails": 2, "deeper": "0.4 mm"}}, thick_mm).assembly
    assert walls_void_mm3(assembly, thick_mm) == pytest.approx(200.0, rel=1e-6)


def test_the_show_face_shows_nothing_and_keeps_its_lap():
    assembly = box({"all": HALF_BLIND | {"lap": "3.2 mm", "tails": 3}}).assembly
    for name, thick_mm in (("front", 9.0), ("back", 8.0)):
        part = assembly.part(name)
        assert len(part.slab.recesses) == 6
        assert {each.face for each in part.slab.recesses} == {Face.INNER}
        assert [thick_mm - each.depth_mm for each in part.slab.recesses] == pytest.approx([3.2] * 6)
        assert len(part.slab.show_ring.points_mm) == 4
    # A millimetre behind the front's show face there is nothing but the front's own wood.
    slice_mm3 = sum((solid(part) ^ _layer(1.0)).volume() for part in assembly.parts if part.name != "front")
    assert slice_mm3 == 0.0


def _layer(deep_mm: float):
    from manifold3d import Manifold

    return Manifold.cube((200.0, deep_mm, 60.0)).translate((-20.0, 0.0, 0.0))


def drawer(front: dict[str, Any]) -> Design:
    tails = {"kind": "through dovetail", "tails_on": ["left", "right"], "tails": 2, "pin": "2 mm", "half_pin": "4 mm"}
    tables = {
        "schema": "kerfwright-piece-1", "kind": "drawer", "name": "drawer",
        "opening": {"width": "220 mm", "height": "60 mm", "depth": "180 mm"},
        "joints": {"all": tails, "front-right": front, "left-front": front},
    }  # fmt: skip
    return build_piece(piece_from(tables, "piece"), dict.fromkeys(PANELS, 6.0) | {"front": 12.0, "bottom": 3.1})


def test_a_drawer_front_may_have_it_and_is_told_what_holds_it():
    design = drawer(HALF_BLIND | {"sockets_in": ["front"]})
    assert clash_mm3(design.assembly) < ROUNDING_MM3
    for step in design.assembly.steps:
        assert clash_along(design.assembly, step, 8) < ROUNDING_MM3, step
    (told,) = {finding.text for finding in design.findings if finding.code == "pulled-open"}
    assert "glue alone at a half-blind box joint" in told


def planned(ramp: bool = True, **changes: Any) -> Job:
    tables = read_toml(DEMO / "pencil-box" / "piece.toml") | {"joints": {"all": HALF_BLIND | {"tails": 2}}} | changes
    design = build_piece(piece_from(tables, "piece"), {name: each.thickness_mm for name, each in BENCH.boards.items()})
    recipes = {name: each if ramp else each.model_copy(update={"ramp": None}) for name, each in BENCH.recipes.items()}
    return plan_job(design, BENCH.machine, BENCH.boards, recipes, PlanOptions())


@pytest.mark.parametrize("fit_mm", [0.0, 0.1, -0.06])
def test_sockets_are_burnt_from_inside_in_all_layers_their_sides_set_back_by_a_quarter_of_the_fit(fit_mm: float):
    job = planned(fit=f"{fit_mm} mm")
    ramp = job.recipes["front"].ramp
    assert ramp is not None
    (setup,) = (each for each in job.setups if each.part == "front")
    (op,) = (each for each in setup.operations if each.name == "recesses")
    assert setup.entry_face is Face.INNER
    assert op.passes == ramp.passes_down()
    reach_mm = ramp.spacing_mm / 2 + ramp.wall_shift_mm.value
    board = setup.part_slab
    for recess in board.recesses:
        x0, y0, x1, y1 = recess.ring.bounds_mm()
        at_left = recess.name == "socket for the left"
        own = [path.points_mm for path in op.paths if path.edges == (recess.name,) and y0 < path.points_mm[0, 1] < y1]
        points = np.concatenate(own)
        assert points[:, 1].min() == pytest.approx(y0 + reach_mm - fit_mm / 4)
        assert points[:, 1].max() == pytest.approx(y1 - reach_mm + fit_mm / 4)
        floor = points[:, 0].max() if at_left else points[:, 0].min()
        wanted = x1 - reach_mm + max(fit_mm, 0) / 4 if at_left else x0 + reach_mm - max(fit_mm, 0) / 4
        assert floor == pytest.approx(wanted)
    for gap in job.gaps:
        assert gap.tail_part in ("left", "right")
        assert gap.tightest_mm.value == pytest.approx(fit_mm / 2)
        assert gap.tightest_mm.sd >= ramp.wall_shift_mm.sd


@pytest.mark.parametrize(
    ("joint", "words"),
    [
        ({"lap": "1 mm"}, r"a lap of 1\.0 mm in a board of 9\.0 mm leaves tails 7\.7 mm long.*Change lap or deeper"),
        ({"lap": "7 mm"}, r"a lap of 7\.0 mm .* leaves tails 1\.7 mm long"),
        ({"tails": 13}, r"13 tails in a 50 mm wall would be 1\.85 mm wide.*fewer tails"),
    ],
)
def test_what_cannot_be_is_refused(joint: dict[str, Any], words: str):
    with pytest.raises(BuildError, match=words):
        box({"all": HALF_BLIND | joint})


def test_bad_wishes_are_refused():
    with pytest.raises(InputError, match="both tails and tail are given"):
        box({"all": HALF_BLIND | {"tails": 3, "tail": "5 mm"}})
    with pytest.raises(InputError, match=r"sockets_in must name one of front and right"):
        box({"all": HALF_BLIND | {"sockets_in": ["front", "right"]}})
    with pytest.raises(PlanError, match=r"a socket for the left is burnt to depth and the recipe has no ramp"):
        planned(ramp=False)
