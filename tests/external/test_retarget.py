"""The demo's pieces on three unlike machines and two sets of boards: nothing of a machine is baked into a piece.

Every program is run by the independent interpreter and every wall burnt by the ideal beam, from job.json alone.
"""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from external.ideal_burn import Folder, beam_of, depth_of_power, freed_part, read_folder, wood_left
from external.ideal_wanted import Wanted
from kerfwright.app.bench_file import BenchSet, load_bench
from kerfwright.core.document import build, read_toml
from kerfwright.core.errors import PlanError
from kerfwright.core.units import MM_PER_INCH
from kerfwright.export.formats.rs274 import EXPORTER
from kerfwright.export.job_record import job_record
from kerfwright.geometry.assembly import Assembly
from kerfwright.machine.machine import Machine
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.plan.plan import plan_job
from kerfwright.process.job import Job
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board
from sheet_samples import DEMO
from structure.source_tree import modules

PIECES = ("pencil-box", "keepsake-box", "tool-tray", "button-box", "shop-drawer", "bit-tray")
LENGTH_MM = re.compile(r"^(-?[0-9.]+) mm$")
# As in the demo; focus set by hand on a narrow bed where boards lie turned a quarter; told in inches, and taking no pictures.
MACHINES: dict[str, dict[str, Any]] = {
    "demo": {},
    "by hand": {
        "name": "Wren 10", "power": "10 W", "bed_x": "260 mm", "bed_y": "390 mm", "height": "90 mm", "z": "by hand", "s_full": 255,
        "power_mode": "constant", "top_speed": "100 mm/s", "acceleration": "800 mm/s2", "takes_pictures": True,
    },
    "inches": {
        "name": "Plover 40", "laser": "co2", "power": "40 W", "bed_x": "24 in", "bed_y": "16 in", "height": "2 1/2 in", "s_full": 100,
        "power_mode": "constant", "top_speed": "900 in/min", "acceleration": "1 m/s2", "takes_pictures": False,
        "head": {"gap": "3/8 in", "half_width": "1 in"},
    },
}  # fmt: skip
BOARDS = ("the demo's", "thinner and rough")
COMBOS = [(piece, machine, boards) for piece in PIECES for machine in MACHINES for boards in BOARDS]
WALL_MM = 0.002
EXACT_MM = 2e-4  # programs are rounded to 0.1 um


def inches(value: Any) -> Any:
    """Every length of a document written in inches instead."""
    if isinstance(value, dict):
        return {key: inches(each) for key, each in value.items()}
    if isinstance(value, list):
        return [inches(each) for each in value]
    found = LENGTH_MM.match(value) if isinstance(value, str) else None
    return f"{float(found[1]) / MM_PER_INCH!r} in" if found else value


def bench_of(piece: str, machine: str, boards: str) -> tuple[dict[str, Any], BenchSet]:
    """The piece's tables, untouched, and a bench for them."""
    tables = read_toml(DEMO / piece / "piece.toml")
    bench = load_bench(DEMO / piece / "bench.toml", piece_from(tables, piece).panels)
    machine_tables = read_toml(DEMO / "shop" / "lantern-20.toml") | MACHINES[machine]
    made = {part: _thinner(each) if boards != BOARDS[0] else each for part, each in bench.tables["boards"].items()}
    recipes = {part: _coarser(each, machine_tables["name"], machine) for part, each in bench.tables["recipes"].items()}
    return tables, BenchSet(
        build(machine_tables, Machine, "machine"), {part: build(each, Board, part) for part, each in made.items()},
        {part: build(each, Recipe, part) for part, each in recipes.items()}, bench.options,
    )  # fmt: skip


def _thinner(tables: dict[str, Any], by_mm: float = 0.25) -> dict[str, Any]:
    """A board a quarter millimetre thinner, longer and wider, its edges rough, told in inches."""
    def more(text: str, by_mm: float) -> str:
        found = LENGTH_MM.match(text)
        assert found
        return f"{float(found[1]) + by_mm} mm"

    changed = {"length": more(tables["length"], 20), "width": more(tables["width"], 14), "edges": "rough"}
    return inches(tables | changed | {"thickness": [more(each, -by_mm) for each in tables["thickness"]]})


def _coarser(tables: dict[str, Any], machine: str, kind: str) -> dict[str, Any]:
    """The recipe as another machine would have it: its name, other kerfs and speeds, and ramp lines wide apart to save time here."""
    changed = tables | {"machine": machine}
    if "ramp" in tables:
        changed["ramp"] = tables["ramp"] | {"spacing": "0.12 mm", "layers": 2}
    if kind == "demo":
        return changed
    wider = {"top": "0.31 ± 0.01 mm", "waist": "0.24 ± 0.01 mm", "bottom": "0.27 ± 0.01 mm"}
    slower = {"passes": 4, "speed": "700 mm/min", "focus_step": "0.5 mm"}
    return changed | {"through": [cut | slower | {"kerf": [kerf | wider for kerf in cut["kerf"]]} for cut in tables["through"]]}


@cache
def job_of(piece: str, machine: str, boards: str) -> Job:
    tables, bench = bench_of(piece, machine, boards)
    design = build_piece(piece_from(tables, piece), {part: each.thickness_mm for part, each in bench.boards.items()}, bench.boards)
    return plan_job(design, bench.machine, bench.boards, bench.recipes, bench.options)


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Any:
    root = tmp_path_factory.mktemp("retarget")

    @cache
    def of(*combo: str) -> Folder:
        job, folder = job_of(*combo), root / str(COMBOS.index(combo))  # type: ignore[arg-type]
        files = list(EXPORTER.files(job))
        for file in [*files, job_record(job, files)]:
            path: Path = folder / file.path
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(file.data)
        return read_folder(folder)

    return of


@pytest.mark.parametrize(("piece", "machine", "boards"), COMBOS)
def test_every_program_burns_what_the_job_says_within_this_machine_s_bed(folders: Any, piece: str, machine: str, boards: str) -> None:
    """The interpreter's strokes, at the power and speed asked (burns_of compares them), where the paths lie on the board."""
    folder = folders(piece, machine, boards)
    told = folder.record["machine"]
    assert told["name"] == build(read_toml(DEMO / "shop" / "lantern-20.toml") | MACHINES[machine], Machine, "machine").name
    assert {lie.record["part"] for lie in folder.lies} >= {part["name"] for part in folder.record["parts"]}
    for lie in folder.lies:
        assert lie.burns
        for burn in lie.burns:
            low, high = burn.points[:, :2].min(axis=0), burn.points[:, :2].max(axis=0)
            assert np.all(low >= 0)
            assert np.all(high <= [told["bed_x_mm"], told["bed_y_mm"]])
            meant = np.array(burn.path["points_mm"])[:, :2]
            assert np.abs(lie.on_board(burn.points[:, :2], lie.entry_z_mm) - meant).max() < EXACT_MM
            if told["z"] == "by hand":
                assert np.ptp(burn.points[:, 2]) == 0  # nobody can follow by hand


@pytest.mark.parametrize(("piece", "machine", "boards"), COMBOS)
def test_the_ideal_beam_leaves_every_wall_where_it_was_wanted(folders: Any, piece: str, machine: str, boards: str) -> None:
    """At both faces and in the middle, on the wall that carries the sockets or starts second."""
    folder = folders(piece, machine, boards)
    wanted = Wanted(folder, "right")
    beams = [beam_of(lie, folder, keep=lambda op: op["name"] != "recesses") for lie in folder.of_part("right")]
    n_checked = 0
    for share in (0.02, 0.5, 0.98):
        z_mm = -share * wanted.thickness_mm
        part = freed_part(wood_left(beams, z_mm), wanted.show.mean(axis=0))
        for i, edge in enumerate(wanted.edges):
            opening = wanted.opening_mm(i, z_mm)
            if edge["place"] not in ("flank", "floor") or opening is None:
                continue
            off = wanted.measured_mm(i, part, z_mm) - opening
            assert off.max() <= wanted.stair_mm(i) + WALL_MM, (edge["name"], share)
            assert off.min() >= -wanted.stair_mm(i) - wanted.faint_mm(i, z_mm) - WALL_MM, (edge["name"], share)
            n_checked += 1
    assert n_checked >= 30


HOLLOWED = [combo for combo in COMBOS if combo[0] in ("button-box", "shop-drawer", "bit-tray")]


@pytest.mark.parametrize(("piece", "machine", "boards"), HOLLOWED)
def test_grooves_and_housings_are_burnt_where_they_are_drawn(folders: Any, piece: str, machine: str, boards: str) -> None:
    """Every hollow of the right wall: lines over its whole ring and none beyond, at the power of its depth by the recipe's curve.

    The curve is of all the recipe's layers; depth grows as their number to the power 0.8 (the plan's stated assumption).
    """
    folder = folders(piece, machine, boards)
    outline = folder.part("right")["outline_on_board"]
    ramp = folder.record["recipes"]["right"]["ramp"]
    hollows = [each for each in outline["recesses"] if each["depth_mm"] < outline["depths_mm"][-1]]
    assert hollows
    for hollow in hollows:
        burns = [burn for lie in folder.of_part("right") for burn in lie.burns if burn.path["edges"][:1] == [hollow["name"]]]
        lies = [lie for lie in folder.of_part("right") if any(burn in lie.burns for burn in burns)]
        assert len(lies) == 1
        assert lies[0].record["entry_face"] == hollow["face"]
        points = np.concatenate([lies[0].on_board(burn.points[:, :2], lies[0].entry_z_mm) for burn in burns])
        ring = np.array(hollow["ring_mm"])
        reach_mm = 1.5 * ramp["spacing_mm"]  # a line stops short of the wall by half its own width, or over-runs a little
        assert np.all(np.abs(points.min(axis=0) - ring.min(axis=0)) < reach_mm)
        assert np.all(np.abs(points.max(axis=0) - ring.max(axis=0)) < reach_mm)
        for burn in burns:
            share = len(burn.op["passes"]) / ramp["layers"]
            step = 0.5 / folder.record["machine"]["s_full"]  # power is written in whole steps of S
            low_mm, high_mm = (depth_of_power(ramp, burn.power_frac + sign * step) * share**0.8 for sign in (-1, 1))
            assert low_mm - 1e-3 <= hollow["depth_mm"] <= high_mm + 1e-3


def _same(one: Assembly, other: Assembly, within_mm: float) -> None:
    assert [part.name for part in one.parts] == [part.name for part in other.parts]
    for a, b in zip(one.parts, other.parts, strict=True):
        assert np.abs(a.assembly_from_part.matrix - b.assembly_from_part.matrix).max() <= within_mm
        for ring_a, ring_b in zip(a.slab.rings, b.slab.rings, strict=True):
            assert np.abs(ring_a.points_mm - ring_b.points_mm).max() <= within_mm
        for hollow_a, hollow_b in zip(a.slab.recesses, b.slab.recesses, strict=True):
            assert np.abs(hollow_a.ring.points_mm - hollow_b.ring.points_mm).max() <= within_mm
            assert hollow_a.depth_mm == pytest.approx(hollow_b.depth_mm, abs=within_mm)


@pytest.mark.parametrize("piece", PIECES)
@pytest.mark.parametrize("boards", BOARDS)
def test_the_wood_is_the_same_whatever_cuts_it(piece: str, boards: str) -> None:
    """Bit for bit: machine and recipe have no say in the nominal parts; the boards have."""
    first = job_of(piece, "demo", boards).assembly
    for machine in MACHINES:
        _same(first, job_of(piece, machine, boards).assembly, 0.0)
    thick = [job_of(piece, "demo", each).assembly.part("front").slab.thickness_mm for each in BOARDS]
    assert thick[0] - thick[1] == pytest.approx(0.25)


@pytest.mark.parametrize("piece", PIECES)
def test_a_piece_told_in_inches_is_the_same_piece(piece: str) -> None:
    tables, bench = bench_of(piece, "demo", BOARDS[0])
    told = inches(tables)
    assert told != tables
    thickness_mm = {part: each.thickness_mm for part, each in bench.boards.items()}
    one, other = (build_piece(piece_from(each, piece), thickness_mm, bench.boards).assembly for each in (tables, told))
    _same(one, other, 1e-9)


def test_a_board_that_nothing_there_can_make_is_refused_with_every_reason() -> None:
    """Thicker than the ramp was burnt, and too wide for this bed in a cradle: no files, but what stands in the way."""
    tables, bench = bench_of("shop-drawer", "by hand", BOARDS[0])
    boards = {part: build(_thinner(each, -0.25), Board, part) for part, each in _board_tables("shop-drawer").items()}
    design = build_piece(piece_from(tables, "piece"), {part: each.thickness_mm for part, each in boards.items()}, boards)
    with pytest.raises(PlanError, match=r"front: no way .* burnt to 6\.10 mm deep, .* does not fit the bed in a cradle"):
        plan_job(design, bench.machine, boards, bench.recipes, bench.options)


def _board_tables(piece: str) -> dict[str, dict[str, Any]]:
    panels = piece_from(read_toml(DEMO / piece / "piece.toml"), piece).panels
    return load_bench(DEMO / piece / "bench.toml", panels).tables["boards"]


def test_no_piece_and_no_joint_knows_a_machine_or_a_recipe() -> None:
    read: dict[str, set[str]] = {}
    for name, module in modules().items():
        if name.startswith(("kerfwright.pieces", "kerfwright.joints")):
            nodes = [node for node in ast.walk(module.tree) if isinstance(node, ast.ImportFrom) and node.module]
            read[name] = {str(node.module) for node in nodes}
    assert len(read) > 20
    told = ("kerfwright.machine", "kerfwright.process.recipe")
    assert {name: each for name, found in read.items() for each in found if each.startswith(told)} == {}
