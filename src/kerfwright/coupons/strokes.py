"""Beam paths on the show face of an offcut, begun and ordered the way production does it."""

from __future__ import annotations

from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from kerfwright.coupons.observable import Observable, Quantity, Setting
from kerfwright.process.operation import BeamPath, CutOperation, OperationKind, Pass
from kerfwright.process.recipe import RampSettings, Recipe, ThroughCut

Array = NDArray[np.float64]
Axis = Literal["x", "y"]
Grain = Literal["along", "across"]
Item = TypeVar("Item")

LEAD_MM = 1.0  # cuts start this far out in the waste: the plan's default
FIELD_MM = (3.0, 2.6)  # of a field of lines, along them and across: a depth gauge's pin is 1.5 to 2 mm


def stroke(points_xy_mm: Array | list[tuple[float, float]], power_frac: float, depth_mm: float = 0.0) -> BeamPath:
    """One path on the show face. points_xy_mm: (n, 2)."""
    points = np.array(points_xy_mm, dtype=float)
    return BeamPath(np.hstack([points, np.zeros((len(points), 1))]), power_frac, depth_mm)


def field_lines(at_mm: tuple[float, float], ramp: RampSettings, power_frac: float) -> list[BeamPath]:
    """A field of lines along the board, all burnt the same way like a ramp's. at_mm: its lower left corner."""
    n_lines = int(FIELD_MM[1] / ramp.spacing_mm)
    heights_mm = at_mm[1] + (FIELD_MM[1] - (n_lines - 1) * ramp.spacing_mm) / 2 + np.arange(n_lines) * ramp.spacing_mm
    depth_mm = float(np.interp(power_frac, *ramp.curve()))  # about what is expected, for whoever reads the job
    return [stroke([(at_mm[0], float(y)), (at_mm[0] + FIELD_MM[0], float(y))], power_frac, depth_mm) for y in heights_mm]


def field_depth(
    name: str, at_mm: tuple[float, float], tells: str, ramp: RampSettings, power_frac: float, thickness_mm: float, place: str
) -> Observable:
    """The depth of a field, with how it was burnt. place: which places of the board are told apart."""
    settings: dict[str, Setting] = {
        "power_frac": power_frac,
        "speed_mm_s": ramp.speed_mm_s,
        "spacing_mm": ramp.spacing_mm,
        "layers": float(ramp.layers),
        "focus_mm": ramp.focus_mm,
        "focus_step_mm": ramp.focus_step_mm,
        "place": place,
        "thickness_mm": round(thickness_mm, 3),
    }
    middle_mm = (at_mm[0] + FIELD_MM[0] / 2, at_mm[1] + FIELD_MM[1] / 2)
    high = round(thickness_mm + 0.1, 2)
    return Observable(name, Quantity.DEPTH, middle_mm, "mm", "depth gauge", tells, low=0.0, high=high, settings=settings)


def through_operation(name: str, title: str, paths: list[BeamPath], cut: ThroughCut) -> CutOperation:
    """A through cut with the recipe's passes and focus."""
    return CutOperation(name, title, OperationKind.THROUGH, tuple(paths), cut.speed_mm_s, cut.passes_down())


def engraving(name: str, title: str, paths: list[BeamPath], recipe: Recipe, before: str = "") -> CutOperation:
    """Shallow lines at the recipe's engraving speed, focus on the face."""
    return CutOperation(name, title, OperationKind.ENGRAVE, tuple(paths), recipe.engrave.speed_mm_s, (Pass(0.0),), before=before)


def every_other(items: list[Item]) -> list[Item]:
    """Every other one first, then the ones between, so that neighbours cool before their turn."""
    return items[::2] + items[1::2]


def bed_axis(along_board_x: bool, turned: bool) -> Axis:
    """The bed axis that a direction of the board lies along; ``turned``: the board lies a quarter turned."""
    return "x" if along_board_x != turned else "y"


def grain_word(along_board_x: bool) -> Grain:
    """How a direction of the board lies to its grain."""
    return "along" if along_board_x else "across"
