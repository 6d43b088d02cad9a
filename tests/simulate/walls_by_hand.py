"""Burnt walls made by hand, so that what comes of them is known beforehand."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.assembly import Assembly, Part
from kerfwright.pieces.piece import build_piece, piece_from
from kerfwright.simulate.burnt import BurntPart, BurntWall
from kerfwright.simulate.corner import Corner
from kerfwright.simulate.known import LawKnown
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.response import WallResponse

Array = NDArray[np.float64]
Back = float | Callable[[Array, Array], Array]  # from share (s, 1) and depth in mm (1, d)

N_STATIONS, N_DEPTHS = 21, 25
THICK_MM = 6.0
KINDS = ("through dovetail", "box joint")
LAW = BurnLaw(20.0, 0.05, 1.1, 0.05, 0.06, 1.0, 5.0, 0.1, 3.0, 7.0, 0.3, 0.7, 0.5, 0.03)


def box(kind: str = "through dovetail", proud: str = "0.2 mm", height: str = "40 mm") -> Assembly:
    """An open box of 6 mm boards. Dovetails: 3 tails at 1:8, tail boards front and back. Box joints: 7 fingers."""
    joint = {"kind": kind, **({"tails": 3, "pin": "3 mm", "half_pin": "3.2 mm"} if kind == "through dovetail" else {"fingers": 7})}
    tables = {
        "schema": "kerfwright-piece-1", "kind": "open box", "name": "By hand", "length": "120 mm", "width": "80 mm", "height": height,
        "proud": proud, "joints": {"all": joint},
    }
    return build_piece(piece_from(tables, "by hand"), dict.fromkeys(("front", "right", "back", "left"), THICK_MM)).assembly


def by_hand(part: Part, flank: Back = 0.0, floor: Back = 0.0, tip: Back = 0.0, edges: Mapping[str, Back] | None = None) -> BurntPart:
    """Every wall of a part, standing back as told for its place, or by its name in ``edges``."""
    share, depths = np.linspace(0, 1, N_STATIONS), np.linspace(0, part.slab.thickness_mm, N_DEPTHS)
    places: dict[str, Back] = {"flank": flank, "floor": floor, "tip": tip, "long": 0.0}
    walls: dict[str, BurntWall] = {}
    for edge in part.slab.edges:
        wanted = (edges or {}).get(edge.name, places[edge.place.value])
        made = wanted(share[:, None], depths[None, :]) if callable(wanted) else np.array(wanted)
        back = np.broadcast_to(made, (N_STATIONS, N_DEPTHS)) + 0.0
        walls[edge.name] = BurntWall(part.name, edge.name, share, depths, back, np.ones(N_STATIONS, dtype=bool))
    return BurntPart(part.name, walls)


def boards(assembly: Assembly, corner: Corner) -> tuple[Part, Part]:
    """(tail board, pin board) of a corner."""
    return assembly.part(corner.tail_part), assembly.part(corner.pin_part)


def response(base: BurntPart, moves: Mapping[str, Mapping[str, float] | float], setups: Mapping[str, int] | None = None) -> WallResponse:
    """A response by hand. moves: by unit, how far one of it sends every wall back, or by edge name. setups: who made an edge, else 1."""
    def of(move: Mapping[str, float] | float, edge: str) -> float:
        return float(move.get(edge, 0.0)) if isinstance(move, Mapping) else move

    shape = (N_STATIONS, N_DEPTHS)
    return WallResponse(
        base,
        {edge: np.full(shape, (setups or {}).get(edge, 1)) for edge in base.walls},
        {unit: {edge: np.full(shape, of(move, edge)) for edge in base.walls} for unit, move in moves.items()},
    )


def known(names: tuple[str, ...] = (), covariance: Array | None = None, kerf_form_mm: float = 0.0) -> LawKnown:
    """A made-up burn law: only the spread of the named numbers matters here."""
    return LawKnown(LAW, names, np.zeros((len(names),) * 2) if covariance is None else covariance, ("made up for a test",), kerf_form_mm)
