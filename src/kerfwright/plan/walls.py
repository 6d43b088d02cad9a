"""Which ways of making sloped walls this machine, board and recipe allow, and which one to take.

The spreads are those of a wall's place, one standard deviation. Cradle: 0.03 mm with marks read, 0.1 mm or the
machine's own placing without (a separate physics study with invented physics gave 0.03 and 0.07; no real cuts).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from kerfwright.core.errors import PlanError, RecipeRangeError
from kerfwright.core.units import format_slope, slope_deg
from kerfwright.machine.machine import Machine
from kerfwright.plan.blank import Blank
from kerfwright.plan.cradle import narrow_fault, slopes_of
from kerfwright.plan.cradle_parts import cradle_size, small_fault
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.pose import cradle_fault
from kerfwright.plan.ramp import ramp_fault
from kerfwright.plan.spread import Cause, Spread, total_sd_mm
from kerfwright.plan.witness import verniers
from kerfwright.process.gap import WallOption
from kerfwright.process.recipe import Recipe

REREAD_SD_MM = 0.03
RAMP_PRACTICAL_MM = 6.5  # past about 6 mm in hardwood ramps burn (common practice, no source)
TWO_FACE_OVERLAP_MM = 0.3  # cuts from two faces pass each other by this


@dataclass(frozen=True)
class WallCase:
    """Everything the choice depends on. slope_frac: tangent of the walls' slope."""

    blank: Blank
    machine: Machine
    recipe: Recipe
    options: PlanOptions
    slope_frac: float


def wall_options(case: WallCase) -> tuple[WallOption, ...]:
    """The three ways, one chosen. Raises PlanError when none is possible or the wished one is not."""
    ways = [_ramp(case), _cradle(case), _two_faces(case)]
    wish = case.options.walls
    possible = [way for way in ways if way.possible and wish in ("auto", way.method)]
    if not possible:
        told = "; ".join(f"{way.method}: {way.reason}" for way in ways if wish in ("auto", way.method))
        raise PlanError(
            f"no way to make its sloped walls: {told}",
            remedy="Change the wall method, burn the coupon named, or use a box joint",
            where=case.blank.part,
        )
    thickness_mm = case.blank.slab.thickness_mm
    rank = ("ramp", "cradle", "two faces") if thickness_mm <= RAMP_PRACTICAL_MM else ("cradle", "two faces", "ramp")
    best = min(possible, key=lambda way: rank.index(way.method))
    why = _why(best.method, thickness_mm, wish)
    return tuple(replace(way, chosen=True, reason=f"{way.reason}; {why}") if way is best else way for way in ways)


def through_fault(recipe: Recipe, depth_mm: float) -> str:
    """Why the recipe cannot cut through this depth, or ""."""
    try:
        recipe.through_for(depth_mm)
    except RecipeRangeError as bad:
        return bad.message.rstrip(".")
    return ""


def wall_spread_mm(case: WallCase, method: str) -> Spread:
    """Spread of a sloped wall's place made this way, by cause; a kerf's own spread is the cut's to add."""
    ways = {"ramp": _ramp_spread_mm(case), "cradle": _laid_again_mm(case), "two faces": _ramp_spread_mm(case) | _laid_again_mm(case)}
    return ways[method]


def _way(case: WallCase, method: str, fault: str, fine: str, n_setups: int) -> WallOption:
    sd_mm = total_sd_mm(wall_spread_mm(case, method))
    return WallOption(case.blank.part, method, not fault, False, fault or fine, n_setups, sd_mm)


def _ramp(case: WallCase) -> WallOption:
    thickness_mm = case.blank.slab.thickness_mm
    fault = ramp_fault(case.recipe.ramp, thickness_mm) or through_fault(case.recipe, thickness_mm)
    return _way(case, "ramp", fault, f"{thickness_mm:.1f} mm lies within the burnt depths", 1)


def _ramp_spread_mm(case: WallCase) -> Spread:
    """A depth error moves a wall sideways by slope times as much; the wall shift's own spread adds."""
    ramp = case.recipe.ramp
    if ramp is None:
        return {}
    depth_sd_mm = ramp.depth_sd_mm(case.blank.slab.thickness_mm / 2)
    return {Cause.RAMP: math.hypot(ramp.wall_shift_mm.sd, case.slope_frac * depth_sd_mm)}


def _laid_again_mm(case: WallCase) -> Spread:
    """How surely a board is laid a second time: with its witness marks read, or by hand alone."""
    if case.options.reread and verniers(case.blank):
        return {Cause.MARKS: REREAD_SD_MM}
    return {Cause.PLACING: case.machine.placing_sd_mm}


def _cradle(case: WallCase) -> WallOption:
    tilt_deg = slope_deg(case.slope_frac)
    depth_mm = case.blank.slab.thickness_mm * (1 + case.slope_frac**2) ** 0.5
    fault = (
        ("its walls have different slopes, a cradle has one" if len(slopes_of(case.blank)) > 1 else "")
        or cradle_fault(tilt_deg, case.blank.size_mm, case.machine, case.options.fence_mm, case.options.cradle_height_mm)
        or through_fault(case.recipe, depth_mm)
        or narrow_fault(case.blank)
        or small_fault(cradle_size([case.blank], case.slope_frac, case.options.cradle_height_mm))
    )
    fine = f"a square cut {depth_mm:.2f} mm deep, the board tilted {format_slope(case.slope_frac)}"
    return _way(case, "cradle", fault, fine, 3)


def _two_faces(case: WallCase) -> WallOption:
    thickness_mm = case.blank.slab.thickness_mm
    fault = ramp_fault(case.recipe.ramp, thickness_mm) or through_fault(case.recipe, thickness_mm)
    return _way(case, "two faces", fault, "cores from the inner face, ramps from the show face after a flip", 2)


def _why(method: str, thickness_mm: float, wish: str) -> str:
    if wish != "auto":
        return "picked because you asked for it"
    if method == "ramp":
        if thickness_mm <= RAMP_PRACTICAL_MM:
            return "picked: one setup, and thin enough for a clean ramp"
        return "picked as the only way left; ramps this deep tend to burn"
    if method == "cradle":
        thick = f"ramps past {RAMP_PRACTICAL_MM:g} mm tend to burn" if thickness_mm > RAMP_PRACTICAL_MM else "a ramp is not possible here"
        return f"picked: {thick}, and a tilted cut needs no depth control"
    return "picked: the core is clean on the inner face"
