"""Random pieces on random benches: exact parts and valid files, or a clear refusal - nothing in between."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kerfwright.core.document import build
from kerfwright.core.errors import InputError
from kerfwright.export.folder import job_files
from kerfwright.export.formats.rs274 import program_text
from kerfwright.export.program_check import check_program
from kerfwright.geometry.mesh import slab_volume_mm3
from kerfwright.geometry.region import is_simple
from kerfwright.machine.machine import Machine
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_job
from kerfwright.process.job import Job
from kerfwright.process.recipe import Recipe
from kerfwright.wood.board import Board

CORNERS = ("front-right", "right-back", "back-left", "left-front")
PANELS = ("front", "right", "back", "left")


def mm(low: float, high: float) -> st.SearchStrategy[str]:
    return st.floats(low, high).map(lambda value: f"{value:.3f} mm")


dovetail = st.fixed_dictionaries(
    {"kind": st.just("through dovetail"), "slope": st.sampled_from(["1:4", "1:6", "1:8", "1:10", "9.5 deg"]), "pin": mm(1, 6)},
    optional={"tails": st.integers(1, 9), "half_pin": mm(0.5, 9), "layout": st.sampled_from(["even", "widening", "hand"]),
              "seed": st.integers(0, 99), "growth": st.floats(-0.5, 2)})
box_joint = st.fixed_dictionaries(
    {"kind": st.just("box joint")}, optional={"fingers": st.integers(2, 30), "parity": st.sampled_from(["odd", "even", "any"])}
)


@st.composite
def pieces(draw: st.DrawFn) -> dict[str, Any]:
    joints: dict[str, Any] = {}
    for corner in CORNERS if draw(st.booleans()) else ("all",):
        joint: dict[str, Any] = dict(draw(st.one_of(dovetail, box_joint)))
        boards = ["front", "back"] if draw(st.booleans()) else ["left", "right"]
        joint["tails_on" if joint["kind"] == "through dovetail" else "starts_on"] = boards
        joints[corner] = joint
    return {
        "schema": "kerfwright-piece-1",
        "kind": "open box",
        "name": "Random",
        "measured": draw(st.sampled_from(["inside", "outside"])),
        "length": draw(mm(20, 360)),
        "width": draw(mm(15, 200)),
        "height": draw(mm(12, 120)),
        "proud": draw(st.sampled_from(["0 mm", "0.2 mm"])),
        "fit": draw(st.sampled_from(["press", "snug", "slip", "loose", "0.02 mm"])),
        "joints": joints,
    }


@st.composite
def benches(draw: st.DrawFn) -> dict[str, Any]:
    thickness = (
        {panel: draw(st.floats(2.5, 14)) for panel in PANELS} if draw(st.booleans()) else dict.fromkeys(PANELS, draw(st.floats(2.5, 14)))
    )
    return {
        "thickness": thickness,
        "spare": draw(st.one_of(st.floats(24, 60), st.floats(0, 60))),
        "rough": draw(st.booleans()),
        "z": draw(st.sampled_from(["motorised", "by hand"])),
        "walls": draw(st.sampled_from(["auto", "ramp", "cradle", "two faces"])),
        "gap": draw(st.floats(2, 12)),
        "reread": draw(st.booleans()),
        "face": draw(st.sampled_from(["auto", "show face", "inner face"])),
    }


def recipe(thickness_mm: float) -> Recipe:
    deep = [f"{share * thickness_mm:.3f} mm" for share in (0.05, 0.3, 0.6, 0.95)]
    return build(
        {
            "schema": "kerfwright-recipe-1",
            "name": "random",
            "machine": "Random",
            "species": "white ash",
            "through": [
                {
                    "thickness": [f"{thickness_mm - 0.3:.3f} mm", f"{thickness_mm * 1.1 + 0.1:.3f} mm"],
                    "power": "90 %",
                    "speed": "6 mm/s",
                    "passes": 2,
                    "kerf": [
                        {"travel": "x", "grain": "along", "top": "0.22 ± 0.01 mm", "waist": "0.15 ± 0.01 mm", "bottom": "0.18 ± 0.01 mm"}
                    ],
                }
            ],
            "ramp": {
                "speed": "14 mm/s",
                "spacing": "0.08 mm",
                "layers": 2,
                "through_power": "80 %",
                "through_thickness": f"{thickness_mm:.3f} mm",
                "depth": list(zip(["10 %", "25 %", "45 %", "70 %"], deep, strict=True)),
            },
            "engrave": {"power": "20 %", "speed": "60 mm/s"},
        },
        Recipe,
        "recipe",
    )


def planned(piece: dict[str, Any], bench: dict[str, Any]) -> tuple[Job, Any]:
    document: Any = piece_from(piece, "piece")
    thickness: dict[str, float] = bench["thickness"]
    design = build_piece(document, thickness)
    boards = {}
    for part in design.assembly.parts:
        x0, y0, x1, y1 = part.slab.bounds_mm()
        wide = y1 - y0 + (8 if bench["rough"] else 0)
        boards[part.name] = build(
            {
                "schema": "kerfwright-board-1",
                "name": part.name,
                "species": "white ash",
                "length": f"{x1 - x0 + bench['spare']:.4f} mm",
                "width": f"{wide:.4f} mm",
                "edges": "rough" if bench["rough"] else "milled",
                "thickness": [f"{thickness[part.name]:.6f} mm"] * 3,
            },
            Board,
            part.name,
        )
    machine = build(
        {
            "schema": "kerfwright-machine-1",
            "name": "Random",
            "laser": "diode",
            "power": "20 W",
            "bed_x": "420 mm",
            "bed_y": "400 mm",
            "height": "60 mm",
            "z": bench["z"],
            "head": {"gap": f"{bench['gap']:.3f} mm", "half_width": "30 mm"},
            "top_speed": "300 mm/s",
            "acceleration": "1500 mm/s2",
        },
        Machine,
        "machine",
    )
    options = build({"walls": bench["walls"], "reread": bench["reread"], "face": bench["face"]}, PlanOptions, "burn")
    recipes = {panel: recipe(thickness[panel]) for panel in PANELS}
    return plan_job(design, machine, boards, recipes, options), document


@settings(max_examples=150)
@given(pieces(), benches())
def test_exact_parts_and_valid_programs_or_a_clear_refusal(piece: dict[str, Any], bench: dict[str, Any]) -> None:
    try:
        job, document = planned(piece, bench)
    except InputError as refusal:
        told = bool(refusal.arrived) and bool(refusal.accepted or refusal.remedy)
        if not told:
            raise
        return
    for part in job.assembly.parts:
        assert is_simple(part.slab.show_ring.points_mm)
        assert is_simple(part.slab.inner_ring.points_mm)
    if document.proud_mm == 0:
        t = bench["thickness"]
        walls = (t["left"] + t["right"], t["front"] + t["back"])
        more = (0.0, 0.0) if document.measured == "outside" else walls
        length, width = document.length_mm + more[0], document.width_mm + more[1]
        frame = (length * width - (length - walls[0]) * (width - walls[1])) * document.height_mm
        assert sum(slab_volume_mm3(part.slab) for part in job.assembly.parts) == pytest.approx(frame, rel=1e-9)
    for setup in job.setups:
        check_program(program_text(setup, job.machine), setup, job.machine)
        assert all(0 < path.power_frac <= 1 for op in setup.operations for path in op.paths)
        assert all(np.all(np.isfinite(path.points_mm)) for op in setup.operations for path in op.paths)
    for gap, wanted in zip(job.gaps, [document.fit_mm / 2] * 4, strict=True):
        assert gap.tightest_mm.value == pytest.approx(wanted, abs=1e-9)


def test_enough_random_pieces_are_buildable_to_mean_something() -> None:
    """The property above would pass if everything were refused; count a fixed sample."""
    counts = {"made": 0, "refused": 0}

    @settings(max_examples=60)
    @given(pieces(), benches())
    def sample(piece: dict[str, Any], bench: dict[str, Any]) -> None:
        try:
            planned(piece, bench)
            counts["made"] += 1
        except InputError:
            counts["refused"] += 1

    sample()
    assert counts["made"] >= 8, counts
    assert counts["refused"] >= 8, counts


@settings(max_examples=6)
@given(pieces(), benches())
def test_every_file_of_a_random_piece_is_written(piece: dict[str, Any], bench: dict[str, Any]) -> None:
    try:
        job, _ = planned(piece, bench)
    except InputError:
        return
    files = job_files(job)
    assert files[-1].path == "job.json"
    assert all(file.data for file in files)
    assert len({file.path for file in files}) == len(files)
