"""Lids: they open as far as the closed form says and no further, whatever the sizes; what cannot open names what to change."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.core.document import build
from kerfwright.core.errors import BuildError
from kerfwright.geometry.assembly import Assembly
from kerfwright.geometry.mesh import slab_volume_mm3
from kerfwright.geometry.slab import Face
from kerfwright.geometry.solid import first_clash
from kerfwright.pieces.butt_hinge import swings_to_deg
from kerfwright.pieces.carcass import PANELS, build_carcass
from kerfwright.pieces.design import Design
from kerfwright.pieces.lid import Travel
from kerfwright.pieces.lids import back_for_mm, fit_lid, lowered_by, opens_to_deg
from kerfwright.pieces.opening import TOUCHES_MM3, prove_opening
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.wood.board import Board
from kerfwright.wood.movement import change_mm, moisture_frac
from kerfwright.wood.species import find_species
from solid_check import NOTHING_MM3, clash_along, clash_mm3

FINGERS = {"kind": "box joint", "fingers": 7, "starts_on": ["front", "back"]}
TAILS = {"kind": "through dovetail", "tails_on": ["front", "back"], "slope": "1:8", "tails": 3, "pin": "2 mm", "half_pin": "4 mm"}
SIZE_MM = (200.0, 120.0, 60.0)


def box(
    lid: dict[str, Any], size_mm: tuple[float, float, float] = SIZE_MM, walls_mm: float = 6.0, lid_mm: float = 6.0,
    joint: dict[str, Any] = FINGERS, boards: dict[str, Board] | None = None,
) -> Design:  # fmt: skip
    sizes = {name: f"{size} mm" for name, size in zip(("length", "width", "height"), size_mm, strict=True)}
    tables = {"schema": "kerfwright-piece-1", "kind": "lidded box", "name": "box", "joints": {"all": joint}, "lid": lid}
    document = piece_from(tables | sizes, "piece")
    thickness_mm = dict.fromkeys(document.panels, lid_mm) | dict.fromkeys(PANELS, walls_mm) | {"bottom": 3.1}
    return build_piece(document, thickness_mm, boards)


def travel_of(lid: dict[str, Any]) -> Travel:
    """How this lid opens on the box of ``box``."""
    sizes = {name: f"{size} mm" for name, size in zip(("length", "width", "height"), SIZE_MM, strict=True)}
    tables = {"schema": "kerfwright-piece-1", "kind": "lidded box", "name": "box", "joints": {"all": FINGERS}, "lid": lid}
    document: Any = piece_from(tables | sizes, "piece")
    thickness_mm = dict.fromkeys(document.panels, 6.0) | {"bottom": 3.1}
    carcass = build_carcass(document, thickness_mm, lowered_by(document.lid, thickness_mm))
    return fit_lid(carcass, document.lid, thickness_mm, {}).travel


def assert_goes_together(assembly: Assembly, n_steps: int) -> None:
    assert clash_mm3(assembly) < NOTHING_MM3
    assert len(assembly.steps) == n_steps
    for step in assembly.steps:
        assert clash_along(assembly, step, 8) < NOTHING_MM3, step


@settings(max_examples=12)
@given(
    st.floats(120, 300), st.floats(80, 180), st.floats(40, 80), st.floats(5, 9), st.floats(5, 9),
    st.sampled_from(["lift off", "sliding", "pin hinge", "butt hinge"]), st.sampled_from([FINGERS, TAILS]), st.floats(0.2, 0.6),
)  # fmt: skip
def test_any_lidded_box_goes_together_without_a_clash(
    length: float, width: float, height: float, walls: float, lid: float, kind: str, joint: dict[str, Any], play: float
):
    wish = {"kind": kind} if kind == "butt hinge" else {"kind": kind, "play": f"{play} mm"}
    design = box(wish, (length, width, height), walls, lid, joint)
    assert_goes_together(design.assembly, 6 if kind == "lift off" else 5)
    assert "lid-opens" in [finding.code for finding in design.findings]


def test_the_pin_hinge_in_closed_form():
    """Plane geometry by hand: with b = t the half angle's tangent is 2, and b = t / 2 leaves the lid upright."""
    assert opens_to_deg(6, 6) == pytest.approx(126.8699, abs=1e-4)
    assert opens_to_deg(6, 3) == pytest.approx(90.0)
    assert back_for_mm(6, 90) == pytest.approx(3.0)
    for wanted in (95.0, 110.0, 150.0):
        b = back_for_mm(5.3, wanted)
        assert opens_to_deg(5.3, b) == pytest.approx(wanted)
        # The lid's top face, turned by A about an axis b in front of the wall and t/2 below its top, lies on the wall's arris:
        # the arris (b, t/2) seen from the axis stands t/2 along the turned normal (-sin A, cos A) of the lid's own top.
        a = math.radians(180 - wanted)
        assert b * math.sin(a) - 2.65 * math.cos(a) == pytest.approx(2.65)


@pytest.mark.parametrize("opens", [95.0, 110.0, 130.0, 150.0])
@pytest.mark.parametrize("joint", [FINGERS, TAILS], ids=["box joint", "dovetail"])
def test_a_lid_on_pins_opens_to_the_angle_and_not_three_degrees_further(opens: float, joint: dict[str, Any]):
    wish = {"kind": "pin hinge", "opens": f"{opens} deg", "back": f"{max(back_for_mm(6.0, opens), 5.0)} mm"}
    assembly = box(wish, joint=joint).assembly
    travel = travel_of(wish)
    assert travel.turn_deg >= opens - 1e-6
    standing, lid = [part for part in assembly.parts if part.name != "lid"], [assembly.part("lid")]
    steps = np.linspace(0, 1, 61) * (1 - 1e-9)
    assert first_clash(standing, lid, [travel.at(float(share)) for share in steps], TOUCHES_MM3) is None
    caught = first_clash(standing, lid, [travel.at((travel.turn_deg + 3) / travel.turn_deg)], TOUCHES_MM3)
    assert caught is not None
    assert (caught.standing, caught.moving) == ("back", "lid")


@pytest.mark.parametrize(("thick", "knuckle"), [(2.0, 5.0), (1.2, 3.0), (3.0, 8.0)])
def test_a_lid_on_butt_hinges_swings_as_far_as_the_closed_form_and_not_three_degrees_further(thick: float, knuckle: float):
    wish = {"kind": "butt hinge", "thick": f"{thick} mm", "knuckle": f"{knuckle} mm"}
    design, travel = box(wish), travel_of(wish)
    assert swings_to_deg(6, 2, 2.5) == pytest.approx(360 - 2 * math.degrees(math.atan(5 / 2.5)))
    assert 180 < travel.turn_deg < swings_to_deg(6, thick, knuckle / 2)  # the ends stand 0.2 mm proud yet
    assembly = design.assembly
    standing, lid = [part for part in assembly.parts if part.name != "lid"], [assembly.part("lid")]
    ways = [travel.at(float(share)) for share in np.linspace(0, 1, 61) * (1 - 1e-9)]
    assert first_clash(standing, lid, ways, TOUCHES_MM3) is None
    caught = first_clash(standing, lid, [travel.at((travel.turn_deg + 3) / travel.turn_deg)], TOUCHES_MM3)
    assert caught is not None
    assert caught.standing in ("back", "left", "right")


def test_gains_for_butt_hinges_lie_in_the_lid_s_underside_at_its_rear_edge():
    """Two hollows, each a leaf and 0.2 mm long and a flap wide: their volume by hand."""
    lid = box({"kind": "butt hinge", "leaf": "20 mm", "flap": "5 mm", "thick": "2 mm", "in": "30 mm"}).assembly.part("lid").slab
    assert [(gain.face, gain.depth_mm) for gain in lid.recesses] == [(Face.INNER, 2.0)] * 2
    assert slab_volume_mm3(lid) == pytest.approx(200 * 120 * 6 - 2 * 20.2 * 5 * 2)
    assert [gain.ring.bounds_mm()[0] for gain in lid.recesses] == pytest.approx([29.9, 149.9])


def test_a_lid_on_pins_closes_level_with_the_walls_and_its_pins_meet_the_holes():
    wish = {"kind": "pin hinge", "opens": "115 deg", "pin": "2.5 mm"}
    design = box(wish)
    lid = design.assembly.part("lid")
    x0, y0, x1, y1 = lid.slab.bounds_mm()
    pose = lid.assembly_from_part
    assert pose.apply(np.zeros((1, 3)))[0].tolist() == pytest.approx([6.2, 0.0, 60.0])
    assert x1 - x0 == pytest.approx(200 - 12 - 0.4)
    axis_mm = travel_of(wish).about_mm
    for wall in ("left", "right"):
        part = design.assembly.part(wall)
        (hole,) = (recess for recess in part.slab.recesses if recess.name == "hole for a pin")
        assert hole.depth_mm == part.slab.thickness_mm
        assert np.hypot(*(hole.ring.points_mm - hole.ring.points_mm.mean(axis=0)).T) == pytest.approx(np.full(36, 1.25))
        middle = part.assembly_from_part.apply(np.array([[*hole.ring.points_mm.mean(axis=0), 0.0]]))[0]
        assert middle[1:].tolist() == pytest.approx(axis_mm)
    # The rear arrises pass the wall by the play: law (2).
    rear_mm = y1 - y0 - axis_mm[0]
    assert math.hypot(rear_mm, 3.0) == pytest.approx(120 - 6 - axis_mm[0] - 0.4)
    assert f"{rear_mm:.1f} mm from its rear edge" in next(finding.text for finding in design.findings if finding.code == "pins")


def test_a_lid_whose_rear_edge_reaches_too_far_is_caught_on_its_way():
    """The proof sees what the closed form would not: the same lid made longer jams on the back wall part way."""
    wish = {"kind": "pin hinge"}
    design = box(wish)
    lid = design.assembly.part("lid")
    longer = lid.slab.show_ring.points_mm * [1.0, 113.9 / lid.slab.bounds_mm()[3]]
    ring = replace(lid.slab.show_ring, points_mm=longer)
    jammed = replace(lid, slab=replace(lid.slab, rings=(ring, ring)))
    standing = tuple(part for part in design.assembly.parts if part.name != "lid")
    with pytest.raises(BuildError, match=r"the lid catches on the back when it is \d+ deg open.*lid\.back"):
        prove_opening(standing, (jammed,), travel_of(wish))


@pytest.mark.parametrize(
    ("lid", "words"),
    [
        ({"kind": "pin hinge", "opens": "130 deg", "back": "5 mm"}, r"lid opens to 118 deg.*lid\.back of 6\.4 mm or more for 130 deg"),
        ({"kind": "pin hinge", "opens": "60 deg", "back": "3.2 mm"}, r"rear edge jams.*more than 3\.4 mm.*lid\.back"),
        ({"kind": "pin hinge", "pin": "5 mm"}, r"pin of 5 mm.*4 mm at most.*lid\.pin"),
        ({"kind": "butt hinge", "thick": "5 mm"}, r"hinge 5 mm thick.*4\.5 mm at most.*lid\.thick"),
        ({"kind": "butt hinge", "flap": "7 mm"}, r"leaf 7 mm wide.*6 mm at most.*lid\.flap"),
        ({"kind": "butt hinge", "in": "85 mm"}, r"lid\.in of 80\.0 mm or less"),
        ({"kind": "butt hinge", "knuckle": "0.3 mm"}, r"knuckle of more than 0\.4 mm.*lid\.knuckle"),
        ({"kind": "sliding", "down": "1 mm"}, r"1 mm of wood over.*lid\.down"),
        ({"kind": "sliding", "depth": "5 mm"}, r"leaves 1\.0 mm.*lid\.depth 4\.5 mm or less"),
    ],
)
def test_a_lid_that_cannot_open_is_refused_naming_the_dimension(lid: dict[str, Any], words: str):
    with pytest.raises(BuildError, match=words):
        box(lid)


def test_a_lip_too_big_for_its_box_is_refused():
    with pytest.raises(BuildError, match=r"the lip does not go into the box"):
        box({"kind": "lift off"}, (200, 120, 14), lid_mm=14.5)


def test_a_sliding_lid_slides_out_over_the_lowered_wall_and_no_other_way():
    design = box({"kind": "sliding"})
    assembly = design.assembly
    right, left = assembly.part("right"), assembly.part("left")
    assert left.slab.bounds_mm()[3] - right.slab.bounds_mm()[3] == pytest.approx(3.0 + 6.0 + 0.3)
    standing, lid = [part for part in assembly.parts if part.name != "lid"], [assembly.part("lid")]
    travel = travel_of({"kind": "sliding"})
    assert travel.slide_mm[0] > 200 - 12
    ways = [travel.at(float(share)) for share in np.linspace(0, 1, 21)]
    assert first_clash(standing, lid, ways, TOUCHES_MM3) is None
    lifted = first_clash(standing, lid, [replace(travel, slide_mm=(0.0, 0.0, 1.0)).at(1.0)], TOUCHES_MM3)
    assert lifted is not None
    assert lifted.shared_mm3 > 100


def board(species: str = "black cherry", sawn: str = "flat") -> Board:
    tables = {
        "schema": "kerfwright-board-1", "name": "lid", "species": species, "length": "250 mm", "width": "150 mm", "edges": "rough",
        "thickness": ["6 mm"], "sawn": sawn, "moisture": "8 %",
    }  # fmt: skip
    return build(tables, Board, "lid")


@pytest.mark.parametrize("sawn", ["flat", "quarter"])
@pytest.mark.parametrize("kind", ["sliding", "lift off"])
def test_a_lid_still_moves_when_dampest_and_holds_when_driest(kind: str, sawn: str):
    """EMC and movement by the handbook's laws (wood/movement, tested against its table), two spreads on top."""
    name = "lid" if kind == "sliding" else "lip"
    wood = board(sawn=sawn)
    design = box({"kind": kind}, walls_mm=8.0, boards={name: wood})
    slab = design.assembly.part(name).slab
    across_mm, inside_mm = slab.bounds_mm()[3] - slab.bounds_mm()[1], 120.0 - 16.0
    damp, dry = (change_mm(inside_mm, find_species(wood.species), wood.sawn, 0.08, moisture_frac(20, h).value) for h in (0.65, 0.35))
    widest_mm, narrowest_mm = across_mm + damp.value + 2 * damp.sd, across_mm + dry.value - 2 * dry.sd
    depth_mm = 0.0
    if kind == "sliding":
        depth_mm = next(recess.depth_mm for recess in design.assembly.part("front").slab.recesses if recess.name == "groove for the lid")
        assert (narrowest_mm - inside_mm) / 2 > 1.0 - 1e-9
    assert widest_mm == pytest.approx(inside_mm + 2 * depth_mm - {"sliding": 2 * 0.3, "lift off": 0.4}[kind])
    assert f"{name}-moves" in [finding.code for finding in design.findings]
