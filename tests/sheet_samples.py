"""Whole jobs for the bench sheet and the cut list: the demo's pieces, and some that strain a page."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from kerfwright.app.bench_file import BenchSet, load_bench
from kerfwright.core.document import read_toml
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job
from kerfwright.process.job import Job

DEMO = Path(str(resources.files("kerfwright.data") / "demo"))
LONG_NAME = "Äußerst langer Name für ein Kästchen: Größe №5, 木, ⅞"


def _job(name: str, change: Callable[[dict[str, Any], BenchSet], BenchSet | None] = lambda tables, bench: None) -> Job:
    folder = DEMO / name
    tables = read_toml(folder / "piece.toml")
    bench = load_bench(folder / "bench.toml", piece_from(tables, name).panels)
    bench = change(tables, bench) or bench
    design = build_piece(piece_from(tables, name), {part: board.thickness_mm for part, board in bench.boards.items()}, bench.boards)
    return plan_job(design, bench.machine, bench.boards, bench.recipes, bench.options)


def _with(bench: BenchSet, *, machine: dict[str, Any] | None = None, board: dict[str, Any] | None = None,
          options: PlanOptions | None = None) -> BenchSet:
    boards = {part: each.model_copy(update=board or {}) for part, each in bench.boards.items()}
    return BenchSet(bench.machine.model_copy(update=machine or {}), boards, bench.recipes, options or bench.options)


def _by_hand(tables: dict[str, Any], bench: BenchSet) -> BenchSet:
    """Focus set by hand in a cradle: many stops; a name with signs that the type lacks; oak, whose dust is listed."""
    tables["name"] = LONG_NAME
    return _with(bench, machine={"z": "by hand", "takes_pictures": False}, board={"species": "red oak", "thickness_points_mm": (11.9,)})


def _two_faces(tables: dict[str, Any], bench: BenchSet) -> BenchSet:
    """Flips, reference marks cut through, pictures from the second setup on."""
    return _with(bench, board={"length_mm": 260.0, "name": "a plank kept since the old workshop was cleared out, marked B"},
                 options=PlanOptions.model_validate({"walls": "two faces"}))


def _tall(tables: dict[str, Any], bench: BenchSet) -> BenchSet:
    """Walls taller than a page has room for, and fingers so narrow that their numbers crowd."""
    tables |= {"height": "330 mm", "length": "200 mm", "width": "180 mm", "joints": {"all": {"kind": "box joint", "finger": "3 mm"}}}
    return _with(bench, board={"width_mm": 345.0, "length_mm": 240.0})


def _upright(tables: dict[str, Any], bench: BenchSet) -> BenchSet:
    """Boards that only fit the bed turned a quarter."""
    return _with(bench, machine={"bed_x_mm": 200.0})


@cache
def jobs() -> dict[str, Job]:
    """Every sample by name."""
    return {
        "ramp": _job("pencil-box"), "cradle": _job("keepsake-box"), "fingers": _job("tool-tray"), "by hand": _job("keepsake-box", _by_hand),
        "two faces": _job("pencil-box", _two_faces), "tall": _job("tool-tray", _tall), "upright": _job("pencil-box", _upright),
        "hinged": _job("button-box"), "divided": _job("bit-tray"), "drawer": _job("shop-drawer"),
    }
