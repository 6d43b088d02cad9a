"""Dividers: whatever the sizes, they drop into their housings and laps without a clash; bad wishes name what to change."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.core.errors import BuildError, InputError
from kerfwright.geometry.mesh import slab_mesh
from kerfwright.geometry.slab import Face
from kerfwright.pieces.carcass import PANELS
from kerfwright.pieces.design import Design
from kerfwright.pieces.piece import build_piece, piece_from
from solid_check import NOTHING_MM3, clash_along, clash_mm3

BOX_JOINT = {"kind": "box joint", "starts_on": ["front", "back"]}


def tray(
    dividers: dict[str, Any],
    size_mm: tuple[float, float, float] = (240.0, 150.0, 40.0),
    walls_mm: float = 6.0,
    thin_mm: float = 4.2,
    bottom_mm: float = 3.1,
) -> Design:
    names = ("length", "width", "height")
    sizes = {name: f"{size} mm" for name, size in zip(names, size_mm, strict=True)}
    tables = {"schema": "kerfwright-piece-1", "kind": "divided tray", "name": "tray", "joints": {"all": BOX_JOINT}, "dividers": dividers}
    document = piece_from(tables | sizes, "piece")
    thickness_mm = dict.fromkeys(document.panels, thin_mm) | dict.fromkeys(PANELS, walls_mm) | {"bottom": bottom_mm}
    return build_piece(document, thickness_mm)


def top_mm(design: Design, name: str) -> float:
    part = design.assembly.part(name)
    return float(part.assembly_from_part.apply(slab_mesh(part.slab).vertices_mm)[:, 2].max())


@settings(max_examples=12)
@given(
    st.floats(120, 320), st.floats(110, 200), st.floats(26, 70), st.floats(5, 9), st.floats(2.5, 5),
    st.integers(0, 2), st.integers(0, 3), st.floats(0.05, 0.4),
)  # fmt: skip
def test_any_tray_goes_together_without_a_clash(
    length: float, width: float, height: float, walls: float, thin: float, n_long: int, n_cross: int, play: float
):
    n_cross = max(n_cross, 1 - n_long)
    design = tray({"long": n_long, "cross": n_cross, "play": f"{play} mm"}, (length, width, height), walls, thin)
    assembly = design.assembly
    assert len(assembly.parts) == 5 + n_long + n_cross
    assert clash_mm3(assembly) < NOTHING_MM3
    assert len(assembly.steps) == len(assembly.parts) - 1
    for step in assembly.steps:
        assert clash_along(assembly, step, 8) < NOTHING_MM3, step


def test_long_ones_go_in_before_the_ones_that_cross_them_and_all_from_above():
    steps = tray({"long": 1, "cross": 2}).assembly.steps
    dropped = [step.moving[0] for step in steps if len(step.moving) == 1 and step.moving[0].startswith(("long", "cross"))]
    assert dropped.index("long-1") < dropped.index("cross-1")
    assert all(np.allclose(step.direction, [0, 0, -1]) for step in steps if step.moving[0].startswith(("long", "cross")))


def test_a_lap_halves_both_and_their_tops_are_level():
    design = tray({"long": 1, "cross": 1, "play": "0.2 mm", "drop": "5 mm"})
    long, cross = (design.assembly.part(name).slab for name in ("long-1", "cross-1"))
    assert top_mm(design, "long-1") == pytest.approx(35.0) == top_mm(design, "cross-1")
    high_mm = long.bounds_mm()[3]
    # A rectangle less one slot, half as high as the divider and half of the play deeper, wide as the other is thick and the play.
    slot_mm2 = (4.2 + 0.2) * (high_mm / 2 + 0.05)
    for slab in (long, cross):
        x0, y0, x1, y1 = slab.bounds_mm()
        assert slab.show_ring.area_mm2() == pytest.approx((x1 - x0) * (y1 - y0) - slot_mm2)
    assert long.bounds_mm()[2] == pytest.approx(240 - 12 + 2 * (2.0 - 0.3))  # 0.3 mm off each housing's floor


def test_housings_stand_where_they_are_wished_and_stop_at_the_foot():
    design = tray({"cross_at": ["50 mm", "121 mm"], "housing": "1.8 mm"})
    assert design.assembly.part("bottom").slab.thickness_mm == 3.1
    floor_mm = top_mm(design, "bottom")
    for wall, sign in (("front", 1), ("back", -1)):
        part = design.assembly.part(wall)
        housings = [recess for recess in part.slab.recesses if recess.name.startswith("housing")]
        assert [recess.name for recess in housings] == ["housing for cross-1", "housing for cross-2"]
        for recess, at_mm in zip(housings, (50.0, 121.0), strict=True):
            assert (recess.face, recess.depth_mm) == (Face.INNER, 1.8)
            x0, y0, x1, y1 = recess.ring.bounds_mm()
            middle = part.assembly_from_part.apply(np.array([[(x0 + x1) / 2, 0, 0]]))[0]
            assert middle[0] == pytest.approx(6.0 + at_mm)
            assert x1 - x0 == pytest.approx(4.2 + 0.15)
            assert y0 == pytest.approx(floor_mm - 0.3)
            assert y1 > 40.0
            assert sign * part.assembly_from_part.matrix[0, 0] == 1


@pytest.mark.parametrize(
    ("dividers", "words"),
    [
        ({"cross": 2, "drop": "30 mm"}, r"dividers would be .* mm high.*dividers\.drop"),
        ({"cross": 2, "housing": "4.6 mm"}, r"4\.5 mm at most.*dividers\.housing"),
        ({"cross_at": ["5 mm"]}, r"cell of 2\.9 mm.*dividers\.cross_at"),
        ({"long_at": ["60 mm", "63 mm"]}, r"same place \(1\.2 mm\).*dividers\.long_at"),
        ({"cross_at": ["300 mm"]}, r"one and a wall.*dividers\.cross_at"),
    ],
)
def test_dividers_that_cannot_be_are_refused_naming_the_dimension(dividers: dict[str, Any], words: str):
    with pytest.raises(BuildError, match=words):
        tray(dividers)


def test_a_tray_without_dividers_is_told_what_it_lacks():
    with pytest.raises(InputError, match=r"no dividers.*dividers\.long or dividers\.cross"):
        tray({})
