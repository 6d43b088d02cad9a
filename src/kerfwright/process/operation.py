"""What the beam is told to do on one board, in board coordinates: paths with absolute power, speed, focus, passes."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class OperationKind(StrEnum):
    """WITNESS: fine marks read to place the board again. ENGRAVE: labels. THROUGH: a slit. RAMP: lines to a depth."""

    WITNESS = "witness"
    ENGRAVE = "engrave"
    THROUGH = "through"
    RAMP = "ramp"


@dataclass(frozen=True, eq=False)
class BeamPath:
    """One stroke with the beam on. points_mm: (n, 3) in the board frame, on the entry face, n >= 2.

    depth_mm is the depth wanted along the beam (0 for a mark); edges are the part's edges it makes.
    """

    points_mm: Array
    power_frac: float
    depth_mm: float
    edges: tuple[str, ...] = ()


@dataclass(frozen=True)
class Pass:
    """One time over all paths of an operation. focus_mm > 0 is above the entry face."""

    focus_mm: float


def passes_down(focus_mm: float, step_mm: float, n_passes: int, begun: int = 0) -> tuple[Pass, ...]:
    """Passes whose focus follows the cut down, each ``step_mm`` lower. begun: passes of the series already burnt."""
    return tuple(Pass(focus_mm - k * step_mm) for k in range(begun, begun + n_passes))


@dataclass(frozen=True, eq=False)
class CutOperation:
    """Paths burnt with one speed, pass after pass (all paths once, then all again, so that heat spreads).

    level_mm: None lets the focus follow the entry face; a number holds it at that height over the gauge point
    (a person who sets the focus by hand cannot follow a tilted board).
    before: what the person does first; a program stops there with the laser off.
    """

    name: str
    title: str
    kind: OperationKind
    paths: tuple[BeamPath, ...]
    speed_mm_s: float
    passes: tuple[Pass, ...]
    level_mm: float | None = None
    before: str = ""

    def cut_length_mm(self) -> float:
        """Length with the beam on, all passes, measured along the board's face."""
        once = sum(float(np.sum(np.linalg.norm(np.diff(path.points_mm, axis=0), axis=1))) for path in self.paths)
        return once * len(self.passes)
