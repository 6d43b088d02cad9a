"""Racks and blanks for the tests of layouts, and what every layout must keep to, computed apart from the program."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from kerfwright.plan.layout.layout import Layout, lay_out
from kerfwright.plan.layout.rack import RackBoard, rack_of
from kerfwright.plan.layout.solver import Effort
from kerfwright.plan.layout.wanted import Wanted
from kerfwright.plan.layout.wishes import LayoutWishes
from kerfwright.wood.board import Board

QUICK = Effort(work=0.6, wall_s=20.0, n_tries=60)
NEAR_MM = 1e-6


def board(name: str, length_mm: float, width_mm: float, **keys: Any) -> Board:
    """A board of 6 mm maple; keys as in its file."""
    tables = {"schema": "kerfwright-board-1", "name": name, "species": "sugar maple", "thickness": ["6 mm"] * 3,
              "length": f"{length_mm} mm", "width": f"{width_mm} mm"}
    return Board.model_validate(tables | keys)


def flaw(what: str, x: float, y: float, length: float, width: float) -> dict[str, Any]:
    return {"what": what, "at": [f"{x} mm", f"{y} mm"], "size": [f"{length} mm", f"{width} mm"]}


def blank(part: str, length_mm: float, width_mm: float, thickness_mm: float = 6.0) -> Wanted:
    return Wanted(part, length_mm, width_mm, thickness_mm, (length_mm, width_mm), (length_mm - 8, width_mm - 6), False)


def wishes(**keys: Any) -> LayoutWishes:
    return LayoutWishes.model_validate(keys)


def laid(blanks: Sequence[Wanted], boards: Sequence[Board], in_line: tuple[str, ...] = (), effort: Effort = QUICK, **keys: Any) -> Layout:
    return lay_out(blanks, rack_of(boards), wishes(**keys), in_line, effort=effort)


def check_layout(layout: Layout, boards: Sequence[Board], gap_mm: float) -> None:
    """Every blank lies on clear wood of one board, covers no defect, and keeps a saw's way from every other."""
    rack: dict[str, RackBoard] = {each.name: each for each in rack_of(boards)}
    for each in layout.placed:
        on, box = rack[each.board].board, _box(each.x_mm, each.y_mm, each.wanted.length_mm, each.wanted.width_mm)
        clear = (on.trim.left_mm, on.trim.bottom_mm, on.length_mm - on.trim.right_mm, on.width_mm - on.trim.top_mm)
        assert box[0] >= clear[0] - NEAR_MM
        assert box[1] >= clear[1] - NEAR_MM
        assert box[2] <= clear[2] + NEAR_MM
        assert box[3] <= clear[3] + NEAR_MM
        for defect in on.defects:
            assert _apart_mm(box, _box(*defect.at_mm, *defect.size_mm)) >= -NEAR_MM
    for i, one in enumerate(layout.placed):
        for other in layout.placed[i + 1 :]:
            if one.board == other.board:
                boxes = [_box(each.x_mm, each.y_mm, each.wanted.length_mm, each.wanted.width_mm) for each in (one, other)]
                assert _apart_mm(*boxes) >= gap_mm - NEAR_MM
    # Offcuts are really clear, and a saw's way from every blank.
    for offcut in (*layout.offcuts, *layout.coupons):
        box = _box(offcut.x_mm, offcut.y_mm, offcut.length_mm, offcut.width_mm)
        for each in layout.placed:
            if each.board == offcut.board:
                assert _apart_mm(box, _box(each.x_mm, each.y_mm, each.wanted.length_mm, each.wanted.width_mm)) >= gap_mm - NEAR_MM
        for defect in rack[offcut.board].board.defects:
            assert _apart_mm(box, _box(*defect.at_mm, *defect.size_mm)) >= -NEAR_MM


def _box(x: float, y: float, length: float, width: float) -> tuple[float, float, float, float]:
    return x, y, x + length, y + width


def _apart_mm(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> float:
    """How far two boxes lie apart along the axis that parts them best; negative when they overlap."""
    return max(b[0] - a[2], a[0] - b[2], b[1] - a[3], a[1] - b[3])
