"""Small pieces and jobs for the tests of solids: built by the project's own box, on hand-made boards."""

from __future__ import annotations

from typing import Any

from format_samples import machine
from kerfwright.geometry.assembly import Assembly
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.process.job import Job
from kerfwright.wood.board import Board

PANELS = ("front", "right", "back", "left")
SIZE_MM = (140.0, 90.0, 60.0)


def box(
    joints: dict[str, dict[str, Any]],
    thickness_mm: tuple[float, ...] = (6.0, 6.0, 6.0, 6.0),
    proud_mm: float = 0.2,
    size_mm: tuple[float, float, float] = SIZE_MM,
    name: str = "sample box",
) -> Assembly:
    """An open box, outside sizes as length, width, height; thickness of front, right, back, left."""
    length_mm, width_mm, height_mm = size_mm
    tables = {
        "schema": "kerfwright-piece-1",
        "kind": "open box",
        "name": name,
        "length": f"{length_mm} mm",
        "width": f"{width_mm} mm",
        "height": f"{height_mm} mm",
        "proud": f"{proud_mm} mm",
        "joints": joints,
    }
    return build_piece(piece_from(tables, "sample"), dict(zip(PANELS, thickness_mm, strict=True))).assembly


def job_of(assembly: Assembly, species: dict[str, str] | None = None) -> Job:
    """A job with boards and nothing to burn: all that the solid formats look at."""
    boards = {
        part.name: Board.model_validate(
            {
                "schema": "kerfwright-board-1",
                "name": part.name,
                "length": "300 mm",
                "width": "100 mm",
                "species": (species or {}).get(part.name, "sugar maple"),
                "thickness": [f"{part.slab.thickness_mm} mm"],
            }
        )
        for part in assembly.parts
    }
    return Job(assembly.name, machine(), boards, {}, assembly, (), (), (), (), ())
