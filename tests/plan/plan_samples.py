"""A part laid on its board, ready to be planned, for the tests of plan/."""

from __future__ import annotations

from typing import Any

from external.ideal_shop import BOX, DOVETAIL, case, design_and_boards, machine, recipe
from kerfwright.core.document import build
from kerfwright.plan.bench import Bench
from kerfwright.plan.blank import lay_on_board
from kerfwright.plan.options import PlanOptions

__all__ = ["BOX", "DOVETAIL", "bench", "case", "machine", "recipe"]


def bench(part: str = "right", joint: dict[str, Any] = DOVETAIL, clearance_mm: float = 0.04, **changes: Any) -> Bench:
    """One part of a sample box; changes as in ``case``."""
    wish = case({"all": joint}, **changes)
    design, boards = design_and_boards(wish)
    blank = lay_on_board(design.assembly.part(part), boards[part], marked=False)
    options = build(wish["burn"], PlanOptions, "burn")
    return Bench(blank, wish["machine"] or machine(), wish["recipe"] or recipe(), options, {"left": clearance_mm, "right": clearance_mm})
