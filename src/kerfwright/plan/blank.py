"""A part laid on its board: where it lies, which of its edges are the board's own, and what waste is around it.

Words: the *blank* is the board as it comes; *end waste* is the strip beyond each end of the part.
"""

from __future__ import annotations

from collections.abc import Mapping
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
PILOT_MM = 13.0  # outermost strip of the right end that a pilot strip takes
MARK_OUT_MM = 6.0  # witness marks and the label stand this far from the part's tips, or half way to the board's end if that is nearer
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
    """slab: the part in board coordinates, its edges' roles settled. size_mm: (length, width, thickness) of the board.

    end_waste_mm: at the left end; the right end has more where a pilot strip is burnt.
    """

    part: str
    board: Board
    slab: Slab
    size_mm: tuple[float, float, float]
    ends: tuple[EndWork, ...]
    end_waste_mm: float

    @property
    def right_waste_mm(self) -> float:
        """Waste beyond the part's right end."""
        return self.size_mm[0] - self.slab.bounds_mm()[2]

    @property
    def marks_x_mm(self) -> tuple[float, float]:
        """Where along the board marks stand in its left and right end waste."""
        x0, _, x1, _ = self.slab.bounds_mm()
        return x0 - min(MARK_OUT_MM, self.end_waste_mm / 2), x1 + min(MARK_OUT_MM, self.right_waste_mm / 2)

    @property
    def is_panel(self) -> bool:
        """True for a part without joints at its ends, cut free all round."""
        return _is_panel(self.slab)

    @property
    def sloped(self) -> bool:
        """True when some wall leans."""
        return any(end.sloped for end in self.ends)


def sharing(boards: Mapping[str, Board]) -> list[tuple[Board, list[str]]]:
    """Each board once, with the parts it serves. boards: by part name."""
    groups: list[tuple[Board, list[str]]] = []
    for part, board in boards.items():
        known = next((parts for other, parts in groups if other == board), None)
        if known is None:
            groups.append((board, [part]))
        else:
            known.append(part)
    return groups


def told_apart(boards: Mapping[str, Board]) -> dict[str, Board]:
    """Each part's own blank: where one board serves several, its name says which, as in "maple A, blank 1 of 2"."""
    own = dict(boards)
    for board, parts in sharing(boards):
        if len(parts) > 1:
            for k, part in enumerate(parts, start=1):
                own[part] = board.model_copy(update={"name": f"{board.name}, blank {k} of {len(parts)}"})
    return own


def lay_on_board(part: Part, board: Board, marked: bool, pilot: bool = False) -> Blank:
    """Put a part in the middle of its board. marked: leave room for witness marks in the end waste.

    pilot: leave room for a pilot strip at the right end, moving the part to the left where that is needed.

    Raises PlanError when the board is too short, too narrow or not the wall's height.
    """
    x0, y0, x1, y1 = part.slab.bounds_mm()
    both_mm = board.length_mm - (x1 - x0)
    least_mm = END_WASTE_MARKED_MM if marked else END_WASTE_MM
    strip_mm = PILOT_MM if pilot else 0.0
    waste_mm = min(both_mm / 2, both_mm - strip_mm - least_mm)
    if both_mm >= strip_mm + 2 * END_WASTE_MARKED_MM:
        waste_mm = min(both_mm / 2, both_mm - strip_mm - END_WASTE_MARKED_MM)
    if waste_mm < least_mm - 1e-9:
        raise PlanError(
            f"the board is {format_mm(board.length_mm)} long and the part {format_mm(x1 - x0)}",
            accepted=f"a board of {format_mm(x1 - x0 + 2 * least_mm + strip_mm)} or more, for the waste at both ends"
            + (" and the pilot strip" if pilot else ""),
            remedy="Take a longer board or make the piece smaller" + (", or set pilot = false" if pilot else ""),
            where=_where(part, board),
        )
    side_mm = (board.width_mm - (y1 - y0)) / 2
    if _is_panel(part.slab):
        if side_mm < SIDE_WASTE_MM:
            raise PlanError(
                f"the board is {format_mm(board.width_mm)} wide and the {part.name} {format_mm(y1 - y0)}",
                accepted=f"{format_mm(y1 - y0 + 2 * SIDE_WASTE_MM)} or more: it is cut free all round",
                remedy="Take a wider board, glue one up, or make the piece smaller",
                where=_where(part, board),
            )
    elif board.edges == "milled" and abs(2 * side_mm) > SAME_WIDTH_MM:
        raise PlanError(
            f"the board is milled to {format_mm(board.width_mm)} and the wall is {format_mm(y1 - y0)} high",
            accepted=f"a width within {format_mm(SAME_WIDTH_MM)} of the wall's height",
            remedy='Rip the board to the wall\'s height, or say edges = "rough" to let the laser cut both edges',
            where=_where(part, board),
        )
    elif board.edges == "rough" and side_mm < SIDE_WASTE_MM:
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
    return replace(slab, rings=tuple(Ring(ring.points_mm, edges) for ring in slab.rings))


def _is_panel(slab: Slab) -> bool:
    return all(edge.place is Place.PANEL for edge in slab.edges)


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
