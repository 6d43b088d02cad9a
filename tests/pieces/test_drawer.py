"""Drawers: they go together, fill their opening, clear it when dampest, and pulling cannot open them."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.core.document import build
from kerfwright.core.errors import BuildError
from kerfwright.core.pose import shift
from kerfwright.export.sheet.telling import outside_mm
from kerfwright.geometry.mesh import slab_mesh
from kerfwright.geometry.solid import first_clash
from kerfwright.pieces.carcass import PANELS
from kerfwright.pieces.design import Design
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.wood.board import Board
from kerfwright.wood.movement import Sawn, change_mm, moisture_frac
from kerfwright.wood.species import find_species
from solid_check import NOTHING_MM3, clash_along, clash_mm3

TAILS = {"kind": "through dovetail", "tails_on": ["left", "right"], "slope": "1:8", "tails": 2, "pin": "2 mm", "half_pin": "4 mm"}


def drawer(
    opening_mm: tuple[float, float, float] = (220.0, 60.0, 180.0), thickness_mm: tuple[float, float, float] = (8.0, 6.0, 3.1),
    boards: dict[str, Board] | None = None, joints: dict[str, Any] | None = None, **changes: Any,
) -> Design:  # fmt: skip
    """thickness_mm: of the front, of the other walls, of the bottom."""
    opening = {name: f"{size} mm" for name, size in zip(("width", "height", "depth"), opening_mm, strict=True)}
    tables = {"schema": "kerfwright-piece-1", "kind": "drawer", "name": "drawer", "opening": opening, "joints": joints or {"all": TAILS}}
    front, others, bottom = thickness_mm
    thicknesses = dict.fromkeys(PANELS, others) | {"front": front, "bottom": bottom}
    return build_piece(piece_from(tables | changes, "piece"), thicknesses, boards)


def board(species: str, moisture: str, sawn: str = "flat") -> Board:
    tables = {
        "schema": "kerfwright-board-1", "name": "plank", "species": species, "length": "250 mm", "width": "100 mm",
        "thickness": ["6 mm"], "sawn": sawn, "moisture": moisture,
    }  # fmt: skip
    return build(tables, Board, "board")


@settings(max_examples=10)
@given(
    st.floats(120, 320), st.floats(40, 90), st.floats(120, 300), st.floats(6, 10), st.floats(5, 8), st.floats(2.8, 4),
    st.sampled_from(["from behind", "in grooves"]), st.floats(0.05, 0.4),
)  # fmt: skip
def test_any_drawer_goes_together_without_a_clash(
    width: float, height: float, depth: float, front: float, walls: float, thin: float, way: str, play: float
):
    design = drawer((width, height, depth), (front, walls, thin), bottom={"goes_in": way, "play": f"{play} mm"})
    assembly = design.assembly
    assert clash_mm3(assembly) < NOTHING_MM3
    assert len(assembly.steps) == 4
    for step in assembly.steps:
        assert clash_along(assembly, step, 8) < NOTHING_MM3, step


def test_it_fills_its_opening_but_for_the_gaps():
    design = drawer(beside="0.5 mm", over="0.7 mm", behind="8 mm")
    assert outside_mm(design.assembly)[0] == pytest.approx([219.0, 172.0, 59.3])


def test_the_bottom_slides_in_last_from_behind_under_the_back():
    design = drawer()
    assembly = design.assembly
    last = assembly.steps[-1]
    assert last.moving == ("bottom",)
    assert np.allclose(last.direction, [0, -1, 0])
    back = assembly.part("back")
    foot_mm = back.assembly_from_part.matrix[2, 3]
    assert foot_mm == pytest.approx(3.0 + 3.1 + 0.2)
    assert back.slab.bounds_mm()[3] + foot_mm == pytest.approx(assembly.part("front").slab.bounds_mm()[3])
    points = assembly.part("bottom").assembly_from_part.apply(slab_mesh(assembly.part("bottom").slab).vertices_mm)
    assert points[:, 1].max() == pytest.approx(180 - 6)
    assert not back.slab.recesses
    # Once in, it cannot drop: a millimetre down and it clashes with the grooves of the three other walls.
    standing = [part for part in assembly.parts if part.name != "bottom"]
    for wall in ("front", "left", "right"):
        assert first_clash([assembly.part(wall)], [assembly.part("bottom")], [shift(0, 0, -1.0)], 1.0) is not None
    assert first_clash(standing, [assembly.part("bottom")], [shift(0, away, 0) for away in (1.0, 50.0, 200.0)], 1e-3) is None


def test_every_flank_that_mates_finds_its_mate_and_ledges_have_none():
    assembly = drawer().assembly
    names = {part.name: {edge.name for edge in part.slab.edges} for part in assembly.parts}
    assert all(mate.edge_a in names[mate.part_a] and mate.edge_b in names[mate.part_b] for mate in assembly.mates)
    assert len(assembly.mates) == 4 * 4
    # The sides go on below the back's foot: there the socket for the half-pin ends in a ledge.
    ledges = [edge for name in ("left", "right") for edge in assembly.part(name).slab.edges if edge.name.endswith((".ledge", ".drop"))]
    assert len(ledges) == 4
    assert not any(edge.mate for edge in ledges)


def test_pulling_cannot_open_it():
    assembly = drawer().assembly
    front, sides = assembly.part("front"), [assembly.part("left"), assembly.part("right")]
    assert first_clash(sides, [front], [shift(0, -0.5, 0)], 1.0) is not None
    with pytest.raises(BuildError, match=r"front carries the tails.*pulls it off.*joints\.left-front|joints\.front-right"):
        drawer(joints={"all": TAILS | {"tails_on": ["front", "back"]}})
    fingers = {"all": {"kind": "box joint", "starts_on": ["front", "back"]}}
    assert "pulled-open" in [finding.code for finding in drawer(joints=fingers).findings]


@pytest.mark.parametrize("sawn", ["flat", "quarter", "unknown"])
@pytest.mark.parametrize("species", ["sugar maple", "black cherry", "eastern white pine"])
def test_when_dampest_it_still_clears_its_opening(species: str, sawn: str):
    wood = board(species, "7 %", sawn)
    design = drawer((220, 101.6, 180), boards=dict.fromkeys(PANELS, wood), bottom={"room": {"dry": "35 %", "damp": "80 %"}})
    high_mm = design.assembly.part("left").slab.bounds_mm()[3]
    damp = change_mm(high_mm, find_species(species), wood.sawn, 0.07, moisture_frac(20, 0.80).value)
    gap_mm = 101.6 - high_mm - damp.value - 2 * damp.sd
    assert 0.6 - 1e-6 <= gap_mm < 0.6 + 0.11
    (told,) = (finding.text for finding in design.findings if finding.code == "drawer-height")
    assert f"{high_mm:.1f} mm high today" in told
    assert float(re.findall(r"goes from ([\d.]+) to", told)[0]) == pytest.approx(gap_mm, abs=0.06)


def test_seasonal_figures_of_a_drawer_front_as_published():
    """A 4 in front, flat sawn, 35 to 80 % humidity: maple about 1/8 in, cherry about 3/32 in.

    A drawer maker's page of 12 August 2012, quoted in the handbook, part D.
    """
    for species, inches in (("sugar maple", 1 / 8), ("black cherry", 3 / 32)):
        between = [moisture_frac(20, humidity).value for humidity in (0.35, 0.80)]
        moved = change_mm(101.6, find_species(species), Sawn.FLAT, *between)
        assert moved.value / 25.4 == pytest.approx(inches, rel=0.06)


def test_the_room_behind_holds_what_the_bottom_grows():
    """A quarter inch behind is what the trade leaves for a solid bottom (Popular Woodworking, December 2005, p. 67)."""
    wood = board("black cherry", "7 %")
    design = drawer((220, 60, 260), boards={"bottom": wood}, behind="6.35 mm")
    assert "bottom-moves" in [finding.code for finding in design.findings]
    with pytest.raises(BuildError, match=r"grows out \d\.\d mm behind.*behind = \d\.\d mm or more"):
        drawer((220, 60, 260), boards={"bottom": wood}, behind="1 mm")


@pytest.mark.parametrize(
    ("opening_mm", "words"),
    [
        ((220, 15, 180), r"drawer 14\.4 mm high.*opening\.height"),
        ((20, 60, 180), r"drawer of 19\.2 mm, 7\.2 mm of it inside.*opening\.width"),
        ((220, 60, 30), r"drawer of 24\.0 mm, 10\.0 mm of it inside.*opening\.depth"),
    ],
)
def test_an_opening_too_small_is_refused_naming_the_dimension(opening_mm: tuple[float, float, float], words: str):
    with pytest.raises(BuildError, match=words):
        drawer(opening_mm)
