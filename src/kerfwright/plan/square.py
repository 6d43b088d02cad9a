"""Square cuts: notches from the waste, tips last, long edges before the tips so that the part stays put.

Each notch is cut as one stroke that starts and ends in the end waste, so its scrap stays on the waste's comb and
nothing drops until the tips are cut. Tips are straight lines that begin and end in waste: no corner is dwelt on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.pose import Pose
from kerfwright.geometry.ring import Place, Ring, Role
from kerfwright.plan.blank import Blank, EndWork, Notch
from kerfwright.plan.compensate import path_ring
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind
from kerfwright.process.recipe import ThroughCut

Array = NDArray[np.float64]

RUN_OUT_SHARE = 0.3  # of a notch's mouth that each neighbouring tip's line may cut: what is left holds the scrap


@dataclass(frozen=True, eq=False)
class Cutting:
    """What square strokes need to know. depth_mm: along the beam; entry_z_mm: z of the face the beam enters."""

    blank: Blank
    cut: ThroughCut
    bed_from_board: Pose
    entry_z_mm: float
    depth_mm: float
    lead_mm: float
    clearance_mm: dict[str, float]

    def ring(self, ring: Ring) -> Ring:
        """The beam's path round one of the part's rings."""
        return path_ring(ring, self.cut, self.bed_from_board, self.clearance_mm, self.blank.part)

    def stroke(self, points_xy_mm: Array, edges: tuple[str, ...]) -> BeamPath:
        """A through stroke over (n, 2) board points."""
        z = np.full((len(points_xy_mm), 1), self.entry_z_mm)
        return BeamPath(np.hstack([points_xy_mm, z]), self.cut.power_frac, self.depth_mm, edges)

    def operation(self, name: str, title: str, paths: list[BeamPath], before: str = "", level_mm: float | None = None) -> CutOperation:
        """A through operation with the recipe's passes and focus."""
        passes = self.cut.passes_down()
        return CutOperation(name, title, OperationKind.THROUGH, tuple(paths), self.cut.speed_mm_s, passes, level_mm, before)


def notch_stroke(cutting: Cutting, path: Ring, notch: Notch) -> BeamPath:
    """One notch, out of the waste and back into it."""
    n = len(path.points_mm)
    points = path.points_mm[[*notch.edges, (notch.edges[-1] + 1) % n]].copy()
    points[0] += cutting.lead_mm * _unit(points[0] - points[1])
    points[-1] += cutting.lead_mm * _unit(points[-1] - points[-2])
    return cutting.stroke(points, _names(path, notch.edges))


def core_loop(cutting: Cutting, path: Ring, notch: Notch) -> BeamPath:
    """A notch cut as a closed loop through the waste, so that its core drops out before the ramps are burnt."""
    open_points = notch_stroke(cutting, path, notch).points_mm[:, :2]
    middle = 0.5 * (open_points[0] + open_points[-1])
    return cutting.stroke(np.vstack([middle, open_points, middle]), _names(path, notch.edges))


def tip_strokes(cutting: Cutting, path: Ring, end: EndWork) -> list[BeamPath]:
    """Every tip of one end, each running out into the waste on both sides."""
    strokes: list[BeamPath] = []
    n = len(path.points_mm)
    for i in end.tips:
        a, b = path.points_mm[i], path.points_mm[(i + 1) % n]
        along = _unit(b - a)
        before, after = run_out_mm(cutting, path, i, -1), run_out_mm(cutting, path, i, 1)
        strokes.append(cutting.stroke(np.stack([a - before * along, b + after * along]), _names(path, (i,))))
    return strokes


def run_out_mm(cutting: Cutting, path: Ring, tip: int, step: int, taken_mm: float = 0.0) -> float:
    """How far a tip's line may run past its corner toward the edge before (step -1) or after it (step 1).

    The lead at the board's edge; beside a notch so little that the notch's scrap still hangs on the waste by its mouth,
    of which ``taken_mm`` is cut in any case.
    """
    n = len(path.points_mm)
    flank, floor, far = ((tip + step * k) % n for k in (1, 2, 3))
    if path.edges[flank].place is Place.LONG:
        return cutting.lead_mm
    ends = [path.points_mm[[floor, (floor + 1) % n]]]
    if path.edges[far].place is Place.FLANK:  # a dovetail's notch may be narrower at its mouth than at its floor
        ends.append(path.points_mm[[(tip + 1) % n, (far + 1) % n] if step > 0 else [tip, far]])
    width_mm = min(float(np.hypot(*(b - a))) for a, b in ends)
    return min(cutting.lead_mm, RUN_OUT_SHARE * max(width_mm - taken_mm, 0.0))


def long_strokes(cutting: Cutting, path: Ring, whole_board: bool = False) -> list[BeamPath]:
    """The board's long edges where the laser makes them, over the part's length or the whole board's."""
    strokes: list[BeamPath] = []
    for i, edge in enumerate(path.edges):
        if edge.place is Place.LONG and edge.role is not Role.DATUM:
            x0, _, x1, _ = (0.0, 0.0, cutting.blank.size_mm[0], 0.0) if whole_board else path.bounds_mm()
            y = path.points_mm[i, 1]
            ends = np.array([[x0 - cutting.lead_mm, y], [x1 + cutting.lead_mm, y]])
            strokes.append(cutting.stroke(ends, _names(path, (i,))))
    return strokes


def square_operations(cutting: Cutting, ends: tuple[EndWork, ...]) -> list[CutOperation]:
    """Notches, long edges, tips: inner before outer, freed last."""
    path = cutting.ring(cutting.blank.slab.show_ring)
    notches = [notch_stroke(cutting, path, notch) for end in ends for notch in end.notches]
    tips = [stroke for end in ends for stroke in tip_strokes(cutting, path, end)]
    groups = [
        ("notches", "Sockets, from the waste", notches),
        ("edges", "Long edges", long_strokes(cutting, path)),
        ("tips", "Ends, freeing the part", tips),
    ]
    return [cutting.operation(name, title, in_turn(paths)) for name, title, paths in groups if paths]


def in_turn(paths: list[BeamPath]) -> list[BeamPath]:
    """Every other stroke first, then the ones between, so that neighbours cool before their turn."""
    placed = sorted(paths, key=lambda path: (float(path.points_mm[:, 0].mean()) > _middle_x(paths), float(path.points_mm[:, 1].mean())))
    return placed[::2] + placed[1::2]


def _middle_x(paths: list[BeamPath]) -> float:
    return float(np.mean([path.points_mm[:, 0].mean() for path in paths]))


def _names(path: Ring, edges: tuple[int, ...]) -> tuple[str, ...]:
    return tuple(path.edges[i].name for i in edges)


def _unit(vector: Array) -> Array:
    return vector / np.hypot(vector[0], vector[1])
