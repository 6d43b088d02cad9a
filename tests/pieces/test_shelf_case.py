"""Shelf cases: shelves go in from behind, their housings show at no front edge, and stand where they are wished."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.core.errors import BuildError, InputError
from kerfwright.export.sheet.telling import outside_mm
from kerfwright.geometry.mesh import slab_mesh
from kerfwright.pieces.design import Design
from kerfwright.pieces.piece import build_piece, piece_from
from solid_check import NOTHING_MM3, clash_along, clash_mm3

FINGERS = {"kind": "box joint", "fingers": 9, "starts_on": ["left", "right"]}
TAILS = {"kind": "through dovetail", "tails_on": ["left", "right"], "slope": "1:8", "tails": 3, "pin": "2 mm", "half_pin": "4 mm"}


def case(shelves: dict[str, Any], size_mm: tuple[float, float, float] = (240.0, 300.0, 90.0), walls_mm: float = 6.0, shelf_mm: float = 4.2,
         joint: dict[str, Any] = FINGERS) -> Design:  # fmt: skip
    sizes = {name: f"{size} mm" for name, size in zip(("width", "height", "depth"), size_mm, strict=True)}
    tables = {"schema": "kerfwright-piece-1", "kind": "shelf case", "name": "case", "joints": {"all": joint}, "shelves": shelves}
    document = piece_from(tables | sizes, "piece")
    return build_piece(document, dict.fromkeys(document.panels, shelf_mm) | dict.fromkeys(document.panels[:4], walls_mm))


def points_of(design: Design, name: str) -> np.ndarray:
    part = design.assembly.part(name)
    return part.assembly_from_part.apply(slab_mesh(part.slab).vertices_mm)


@settings(max_examples=8)
@given(
    st.floats(120, 320), st.floats(160, 360), st.floats(50, 120), st.floats(5, 9), st.floats(3, 6), st.integers(1, 4),
    st.sampled_from([FINGERS, TAILS]), st.floats(0.05, 0.4),
)  # fmt: skip
def test_any_case_goes_together_without_a_clash(
    width: float, height: float, depth: float, walls: float, shelf: float, number: int, joint: dict[str, Any], play: float
):
    design = case({"number": number, "play": f"{play} mm"}, (width, height, depth), walls, shelf, joint)
    assert clash_mm3(design.assembly) < NOTHING_MM3
    assert len(design.assembly.steps) == 3 + number
    for step in design.assembly.steps:
        assert clash_along(design.assembly, step, 8) < NOTHING_MM3, step
    assert outside_mm(design.assembly)[0] == pytest.approx([width, depth, height])


def test_it_stands_upright_with_its_shelves_where_they_are_wished():
    design = case({"at": ["60 mm", "170 mm"], "set_back": "5 mm"})
    base = points_of(design, "base")
    assert (base[:, 2].min(), base[:, 2].max()) == pytest.approx((0.0, 6.0))
    assert points_of(design, "top")[:, 2].max() == pytest.approx(300.0)
    heights = sorted((lambda z: float(z.min() + z.max()) / 2)(points_of(design, name)[:, 2]) for name in ("shelf-1", "shelf-2"))
    assert heights == pytest.approx([66.0, 176.0])
    for name in ("shelf-1", "shelf-2"):
        deep = points_of(design, name)[:, 1]
        assert (deep.min(), deep.max()) == pytest.approx((5.0, 90.0))


def test_housings_stop_short_of_the_front_and_shelves_come_from_behind():
    design = case({"number": 2})
    for side in ("left", "right"):
        part = design.assembly.part(side)
        assert len(part.slab.recesses) == 2
        for recess in part.slab.recesses:
            low, high = recess.ring.bounds_mm()[1], recess.ring.bounds_mm()[3]
            assert low == pytest.approx(4.0 - 0.3)
            assert high > 90.0
    pushed = [step for step in design.assembly.steps if step.moving[0].startswith("shelf")]
    assert pushed
    assert all(np.allclose(step.direction, [0, -1, 0]) for step in pushed)


@pytest.mark.parametrize(
    ("shelves", "words"),
    [
        ({"housing": "5 mm"}, r"4\.5 mm at most.*shelves\.housing"),
        ({"set_back": "85 mm"}, r"5\.0 mm high.*shelves\.set_back"),
        ({"at": ["3 mm"]}, r"shelves\.at"),
        ({"at": ["400 mm"]}, r"400 mm over the base.*less than 288 mm.*shelves\.at"),
    ],
)
def test_shelves_that_cannot_be_are_refused_naming_the_dimension(shelves: dict[str, Any], words: str):
    with pytest.raises(BuildError, match=words):
        case(shelves)


def test_contradictory_wishes_and_small_cases_are_refused():
    with pytest.raises(InputError, match="3 shelves and 1 places"):
        case({"number": 3, "at": ["60 mm"]})
    with pytest.raises(BuildError, match=r"width of 15 mm.*Make width larger"):
        case({}, (15, 300, 90))
