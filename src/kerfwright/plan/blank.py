"""A part laid on its board: where it lies, which of its edges are the board's own, and what waste is around it.

Words: the *blank* is the board as it comes; *end waste* is the strip beyond each end of the part.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import PlanError
from kerfwright.core.units import format_mm
from kerfwright.geometry.assembly import Part
from kerfwright.geometry.ring import Place, Ring, Role
from kerfwright.geometry.slab import Slab
from kerfwright.wood.board import Board

Array = NDArray[np.float64]

END_WASTE_MM = 4.0  # holds the comb of socket scraps together until the last cut
END_WASTE_MARKED_MM = 12.0  # room for the fine scale of the witness marks
SIDE_WASTE_MM = 3.0
SAME_WIDTH_MM = 0.3  # a milled board may differ this much from the wall's height


@dataclass(frozen=True, eq=False)
class Notch:
    """A run of edges between two tips: flank, floor, flank; at the board's own edge only floor and flank.

    edges: indices into the slab's edges, in ring order.
    """

    edges: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class EndWork:
    """What is to be cut at one end. sloped: some flank leans through the thickness."""

    end: str
    notches: tuple[Notch, ...]
    tips: tuple[int, ...]
    sloped: bool


@dataclass(frozen=True, eq=False)
class Blank:
    """slab: the part in board coordinates, its edges' roles settled. size_mm: (length, width, thickness) of the board."""

    part: str
    board: Board
    slab: Slab
    size_mm: tuple[float, float, float]
    ends: tuple[EndWork, ...]
    end_waste_mm: float

    @property
    def sloped(self) -> bool:
        """True when some wall leans."""
        return any(end.sloped for end in self.ends)


def lay_on_board(part: Part, board: Board, marked: bool) -> Blank:
    """Put a part in the middle of its board. marked: leave room for witness marks in the end waste.

    Raises PlanError when the board is too short, too narrow or not the wall's height.
    """
    x0, y0, x1, y1 = part.slab.bounds_mm()
    waste_mm = (board.length_mm - (x1 - x0)) / 2
    least_mm = END_WASTE_MARKED_MM if marked else END_WASTE_MM
    if waste_mm < least_mm - 1e-9:
        raise PlanError(
            f"the board is {format_mm(board.length_mm)} long and the part {format_mm(x1 - x0)}",
            accepted=f"a board of {format_mm(x1 - x0 + 2 * least_mm)} or more, for the waste at both ends",
            remedy="Take a longer board or make the piece smaller",
            where=_where(part, board),
        )
    side_mm = (board.width_mm - (y1 - y0)) / 2
    if board.edges == "milled" and abs(2 * side_mm) > SAME_WIDTH_MM:
        raise PlanError(
            f"the board is milled to {format_mm(board.width_mm)} and the wall is {format_mm(y1 - y0)} high",
            accepted=f"a width within {format_mm(SAME_WIDTH_MM)} of the wall's height",
            remedy='Rip the board to the wall\'s height, or say edges = "rough" to let the laser cut both edges',
            where=_where(part, board),
        )
    if board.edges == "rough" and side_mm < SIDE_WASTE_MM:
        raise PlanError(
            f"the board is {format_mm(board.width_mm)} wide and the wall {format_mm(y1 - y0)} high",
            accepted=f"{format_mm(y1 - y0 + 2 * SIDE_WASTE_MM)} or more, for waste along both edges",
            remedy='Take a wider board, or mill its edges to the wall\'s height and say edges = "milled"',
            where=_where(part, board),
        )
    slab = _with_datum_edges(part.slab, board).moved(waste_mm - x0, side_mm - y0)
    ends = tuple(_end_work(slab, end) for end in ("left", "right"))
    return Blank(part.name, board, slab, (board.length_mm, board.width_mm, part.slab.thickness_mm), ends, waste_mm)


def _where(part: Part, board: Board) -> str:
    return f'{part.name} on board "{board.name}"'


def _with_datum_edges(slab: Slab, board: Board) -> Slab:
    role = Role.DATUM if board.edges == "milled" else Role.FREE
    edges = tuple(replace(edge, role=role) if edge.place is Place.LONG else edge for edge in slab.edges)
    return Slab(tuple(Ring(ring.points_mm, edges) for ring in slab.rings), slab.depths_mm)


def _end_work(slab: Slab, end: str) -> EndWork:
    indices = [i for i, edge in enumerate(slab.edges) if edge.name.startswith(f"{end}.")]
    notches: list[Notch] = []
    run: list[int] = []
    for i in [*indices, None]:
        if i is not None and slab.edges[i].place is not Place.TIP:
            run.append(i)
        elif run:
            notches.append(Notch(tuple(run)))
            run = []
    tips = tuple(i for i in indices if slab.edges[i].place is Place.TIP)
    lean_mm = np.abs(slab.show_ring.points_mm - slab.inner_ring.points_mm)
    return EndWork(end, tuple(notches), tips, bool(np.any(lean_mm[indices] > 1e-9)))
