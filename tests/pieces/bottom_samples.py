"""The pencil box of the demo shop, given a bottom of a thin panel."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kerfwright.app.bench_file import load_bench
from kerfwright.core.document import build, read_toml
from kerfwright.pieces.carcass import PANELS
from kerfwright.pieces.design import Design
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job
from kerfwright.process.job import Job
from kerfwright.process.recipe import ThroughCut
from kerfwright.wood.board import Board

DEMO = Path(__file__).resolve().parents[2] / "src" / "kerfwright" / "data" / "demo"
BENCH = load_bench(DEMO / "pencil-box" / "bench.toml", PANELS)


def panel(species: str = "black cherry", width: str = "110 mm", moisture: str | None = "8 %", sawn: str = "flat") -> Board:
    tables: dict[str, Any] = {
        "schema": "kerfwright-board-1", "name": "thin panel", "species": species, "length": "250 mm", "width": width, "edges": "rough",
        "thickness": ["3.02 mm", "3.0 mm", "3.01 mm"], "sawn": sawn,
    }  # fmt: skip
    return build(tables | ({"moisture": moisture} if moisture else {}), Board, "panel")


def box(board: Board, bottom: dict[str, Any] | None = None, **changes: Any) -> tuple[Design, dict[str, Board]]:
    tables = read_toml(DEMO / "pencil-box" / "piece.toml") | {"bottom": bottom or {}} | changes
    boards = BENCH.boards | {"bottom": board}
    return build_piece(piece_from(tables, "piece"), {name: each.thickness_mm for name, each in boards.items()}, boards), boards


def job(board: Board, bottom: dict[str, Any] | None = None, **options: Any) -> Job:
    design, boards = box(board, bottom)
    recipes = BENCH.recipes | {"bottom": BENCH.recipes["front"].model_copy(update={"through": (thin_cut(),)})}
    return plan_job(design, BENCH.machine, boards, recipes, PlanOptions(**options))


def thin_cut() -> ThroughCut:
    return BENCH.recipes["front"].through[0].model_copy(update={"thickness_mm": (2.5, 6.4)})
