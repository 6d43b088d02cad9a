"""A dozen unlike jobs for the outsider to burn: made by the package, written as job.json and programs, nothing else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kerfwright.core.document import build
from kerfwright.export.formats.rs274 import EXPORTER
from kerfwright.export.job_record import job_record
from kerfwright.machine.machine import Machine
from kerfwright.pieces.design import Design
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board

PANELS = ("front", "right", "back", "left")
DOVETAIL = {"kind": "through dovetail", "tails_on": ["front", "back"], "slope": "1:8", "tails": 2, "pin": "3 mm", "half_pin": "4 mm"}
LISTED = {
    "kind": "through dovetail",
    "tails_on": ["front", "back"],
    "slope": "1:8",
    "layout": "list",
    "widths": ["3 mm", "9 mm", "2.5 mm", "14 mm", "2.5 mm", "6 mm", "3 mm"],
}
BOX = {"kind": "box joint", "fingers": 5, "starts_on": ["front", "back"]}
# The right board carries sockets at its left end and tails at its right end.
MIXED = {
    "front-right": DOVETAIL | {"tails_on": ["front"]},
    "right-back": DOVETAIL | {"tails_on": ["right"], "slope": "1:7", "pin": "2 mm"},
    "back-left": BOX,
    "left-front": BOX | {"fingers": 4, "starts_on": ["left"]},
}


def machine(**changes: Any) -> Machine:
    tables = {
        "schema": "kerfwright-machine-1",
        "name": "made-up bench",
        "laser": "diode",
        "power": "20 W",
        "bed_x": "420 mm",
        "bed_y": "400 mm",
        "height": "80 mm",
        "z": "motorised",
        "head": {"gap": "12 mm", "half_width": "30 mm"},
        "top_speed": "300 mm/s",
        "acceleration": "1500 mm/s2",
        "placing": "0.1 mm",
    }
    return build(tables | changes, Machine, "machine")


def recipe(passes: int = 2, thickness: tuple[float, float] = (3.0, 14.0), flip: bool = False, **changes: Any) -> Recipe:
    """Unlike kerfs by travel and grain; flip: the slit is wider where the beam leaves."""

    def kerf(travel: str, grain: str, top: float, waist: float, bottom: float) -> dict[str, Any]:
        ends = (bottom, top) if flip else (top, bottom)
        return {
            "travel": travel,
            "grain": grain,
            "top": f"{ends[0]} mm",
            "waist": f"{waist} mm",
            "bottom": f"{ends[1]} mm",
            "waist_at": "60 %",
        }

    tables = {
        "schema": "kerfwright-recipe-1",
        "name": "made-up maple",
        "machine": "made-up bench",
        "species": "sugar maple",
        "through": [
            {
                "thickness": [f"{t} mm" for t in thickness],
                "power": "90 %",
                "speed": "8 mm/s",
                "passes": passes,
                "focus": "-0.5 mm",
                "focus_step": "0.7 mm",
                "focus_window": "0.5 mm",
                "kerf": [
                    kerf("x", "along", 0.20, 0.14, 0.16),
                    kerf("y", "along", 0.23, 0.17, 0.18),
                    kerf("x", "across", 0.21, 0.15, 0.17),
                    kerf("y", "across", 0.26, 0.18, 0.20),
                ],
            }
        ],
        "ramp": {
            "speed": "14 mm/s",
            "spacing": "0.06 mm",
            "layers": 3,
            "focus": "-0.3 mm",
            "focus_step": "1 mm",
            "wall_shift": "0.03 mm",
            "depth": [["8 %", "0.2 mm"], ["20 %", "1.5 mm"], ["40 %", "3.4 mm"], ["65 %", "5.2 mm"], ["90 %", "6.6 mm"]],
        },
        "engrave": {"power": "18 %", "speed": "60 mm/s"},
    }
    return build(tables | changes, Recipe, "recipe")


def thin_spacing(spacing: str) -> dict[str, Any]:
    return {
        "ramp": {"speed": "14 mm/s", "spacing": spacing, "layers": 1, "depth": [["5 %", "0.1 mm"], ["40 %", "3 mm"], ["90 %", "6.6 mm"]]}
    }


def case(joints: dict[str, Any], thickness: tuple[float, float] = (6.0, 6.0), **changes: Any) -> dict[str, Any]:
    """thickness: of front and back, of right and left; rough: side waste of a rough board; extra: a milled board too wide."""
    wish = {
        "rough": 0.0,
        "extra": 0.0,
        "waste": 14.0,
        "height": 40.0,
        "fit": "snug",
        "proud": "0.2 mm",
        "machine": None,
        "recipe": None,
        "size": (110.0, 80.0),
    }
    burn = {key: value for key, value in changes.items() if key not in wish}
    return {"joints": joints, "thickness": thickness, "burn": burn, **wish, **{key: value for key, value in changes.items() if key in wish}}


CASES: dict[str, dict[str, Any]] = {
    "box, starts with a socket, unequal": case(
        {"all": {"kind": "box joint", "fingers": 6, "parity": "even", "starts_on": ["right", "left"]}},
        (6.0, 4.2),
        fit="press",
        face="show face",
    ),
    "box, quarter turn, rough, both ways of kerf": case(
        {"all": BOX}, (5.0, 6.1), rough=5.0, fit="slip", proud="0 mm", waste=5.0, machine=machine(bed_x="90 mm"), size=(150.0, 70.0)
    ),
    "box, from two faces": case({"all": BOX}, (6.0, 6.4), recipe=recipe(3, (3.0, 4.0)), fit="0.04 mm"),
    "box, from two faces, quarter turn": case(
        {"all": BOX}, (6.4, 6.0), recipe=recipe(1, (3.0, 4.0), flip=True), machine=machine(bed_x="90 mm"), size=(150.0, 120.0)
    ),
    "ramp, 1 mm pins": case(
        {"all": DOVETAIL | {"tails": 4, "pin": "1 mm", "half_pin": "2 mm"}}, (5.0, 6.0), fit="press", proud="0 mm", hollow="0 mm"
    ),
    "ramp, quarter turn, rough": case(
        {"all": LISTED}, (6.0, 5.0), rough=4.0, fit="slip", machine=machine(bed_x="80 mm"), size=(120.0, 90.0), waste=5.0
    ),
    "ramp, tails and sockets on one board": case(MIXED, (6.0, 5.5), recipe=recipe(1, flip=True, **thin_spacing("0.1 mm"))),
    "cradle, tails and sockets on one board, inner face": case(
        MIXED, (12.0, 11.0), walls="cradle", face="inner face", height=56.0, fit="slip", size=(130.0, 110.0)
    ),
    "cradle, show face, rough": case(
        {"all": DOVETAIL | {"slope": "1:6"}},
        (10.0, 9.0),
        rough=12.0,
        walls="cradle",
        face="show face",
        fit="press",
        proud="0 mm",
        size=(120.0, 110.0),
        fence=["10 mm", "24 mm"],
    ),
    "cradle, by hand, wide sockets": case(
        {"all": DOVETAIL | {"tails": 2, "half_pin": "6 mm"}},
        (9.0, 9.0),
        walls="cradle",
        height=70.0,
        machine=machine(z="by hand"),
        size=(120.0, 110.0),
    ),
    "cradle, by hand, rough": case(
        {"all": DOVETAIL},
        (8.0, 9.0),
        rough=5.0,
        walls="cradle",
        machine=machine(z="by hand"),
        recipe=recipe(3, flip=True),
        size=(120.0, 110.0),
    ),
    "two faces, rough": case({"all": DOVETAIL}, (6.0, 6.0), rough=9.0, walls="two faces", fit="0.03 mm"),
    "two faces, tails and sockets on one board": case(MIXED, (6.5, 5.5), walls="two faces", recipe=recipe(2, flip=True)),
    "ramp, pilot strip and check pause": case({"all": DOVETAIL}, (6.0, 5.5), waste=16.0, pilot=True, check_pause=True),
    "cradle, pilot strip": case({"all": DOVETAIL}, (9.0, 9.0), waste=20.0, walls="cradle", pilot=True, height=56.0, size=(130.0, 120.0)),
    "two faces, pilot strip and check pause": case(
        {"all": DOVETAIL}, (6.0, 6.0), waste=21.0, walls="two faces", pilot=True, check_pause=True
    ),
}


def design_and_boards(wish: dict[str, Any]) -> tuple[Design, dict[str, Board]]:
    """The built piece of a case and a board for each of its parts."""
    length, width = wish["size"]
    tables = {
        "schema": "kerfwright-piece-1", "kind": "open box", "name": "made-up box", "length": f"{length} mm", "width": f"{width} mm",
        "height": f"{wish['height']} mm", "proud": wish["proud"], "fit": wish["fit"], "joints": wish["joints"],
    }  # fmt: skip
    thickness = {panel: wish["thickness"][i % 2] for i, panel in enumerate(PANELS)}
    design = build_piece(piece_from(tables, "case"), thickness)
    boards = {}
    for part in design.assembly.parts:
        x0, _, x1, _ = part.slab.bounds_mm()
        tables = {
            "schema": "kerfwright-board-1", "name": f"plank for {part.name}", "species": "sugar maple",
            "length": f"{x1 - x0 + 2 * wish['waste']} mm", "width": f"{wish['height'] + 2 * (wish['rough'] or wish['extra'])} mm",
            "edges": "rough" if wish["rough"] else "milled", "thickness": [f"{thickness[part.name]} mm"],
        }  # fmt: skip
        boards[part.name] = build(tables, Board, "board")
    return design, boards


def write_case(name: str, folder: Path) -> Path:
    """Plan one case and write job.json and its programs."""
    wish = CASES[name]
    design, boards = design_and_boards(wish)
    one = wish["recipe"] or recipe()
    job = plan_job(design, wish["machine"] or machine(), boards, dict.fromkeys(PANELS, one), build(wish["burn"], PlanOptions, "burn"))
    files = list(EXPORTER.files(job))
    for file in [*files, job_record(job, files)]:
        path = folder / file.path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(file.data)
    return folder
