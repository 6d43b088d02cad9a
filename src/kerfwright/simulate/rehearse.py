"""A recipe out of the burn law alone, as the coupons would find it, for a thickness that nobody has burnt yet.

So that other thicknesses and other ways of making a wall can be compared in the machine's memory. Such a recipe says that
nothing was burnt for it; no job should be cut with it.

Vocabulary: *just through* is the speed at which the law's slit just reaches the far face on its shyer axis; *margin* is the line
energy of production over that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.machine.machine import Machine
from kerfwright.process.recipe import RampSettings, Recipe, SurfaceSettings, ThroughCut
from kerfwright.simulate.known import LawKnown
from kerfwright.simulate.law import BurnLaw, Passes, field_depth_mm, slit_half_width_mm

Array = NDArray[np.float64]

REHEARSED = "rehearsed from the burn law, nothing burnt at this thickness"
MARGIN = 1.3  # common practice, no source: as first_guess
SLOWEST_MM_S = 0.5  # slower than this wood burns rather than cuts (common practice, no source)
MOST_PASSES = 6
THINNER, THICKER = 0.94, 1.06  # of the thickness, what production then covers: a cradle's slant cut among them
RAMP_REACH = 1.2  # full power digs this much deeper than the board, as the staircase coupon is laid out
RAMP_LAYERS = 3
SPACING_MM = {"diode": 0.06, "co2": 0.10, "other": 0.08}  # lines (common practice, no source)
READ_SD_MM = 0.01  # what careful coupons leave of a width (common practice, no source)
DEPTH_SD_FRAC, DEPTH_SD_MM = 0.03, 0.03
N_DEPTHS = 41
SHARES = tuple(float(each) for each in np.round(np.geomspace(0.05, 1.0, 22), 3))


@dataclass(frozen=True)
class ThroughPlan:
    """How a thickness is gone through: speed_mm_s with its margin, passes, focus of the first and its step down."""

    speed_mm_s: float
    n_passes: int
    focus_mm: float
    focus_step_mm: float

    def passes(self, law: BurnLaw, speed_mm_s: float | None = None) -> Passes:
        """At full power."""
        energy = float(law.optical_w(np.array(1.0))) / (speed_mm_s or self.speed_mm_s)
        focus_mm = [self.focus_mm - k * self.focus_step_mm for k in range(self.n_passes)]
        return Passes(np.full(self.n_passes, energy), np.array(focus_mm))


def just_through_mm_s(law: BurnLaw, way: ThroughPlan, thickness_mm: float) -> float:
    """Fastest speed at full power that still reaches the far face on both axes; 0 when none from 0.05 mm/s on does."""
    depths = np.linspace(0, thickness_mm, N_DEPTHS)
    low, high = 0.05, 1000.0

    def goes(speed_mm_s: float) -> bool:
        passes = way.passes(law, speed_mm_s)
        return all(slit_half_width_mm(law, passes, depths, x_share)[-1] > 0 for x_share in (0.0, 1.0))

    if not goes(low):
        return 0.0
    for _ in range(30):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if goes(middle) else (low, middle)
    return low


def through_plan(law: BurnLaw, machine: Machine, thickness_mm: float, margin_ratio: float = MARGIN) -> ThroughPlan:
    """The passes that cut fastest, a margin slower than just through. Raises InputError when none is fast enough."""
    best: ThroughPlan | None = None
    for n_passes in range(1, MOST_PASSES + 1):
        step_mm = 0.0 if machine.z == "by hand" or n_passes == 1 else round(0.5 * thickness_mm / n_passes, 1)
        way = ThroughPlan(1.0, n_passes, -min(0.15 * thickness_mm, 1.0), step_mm)
        speed_mm_s = min(just_through_mm_s(law, way, THICKER * thickness_mm) / margin_ratio, machine.top_speed_mm_s)
        if best is None or speed_mm_s / n_passes > 1.05 * best.speed_mm_s / best.n_passes:
            best = ThroughPlan(speed_mm_s, n_passes, way.focus_mm, step_mm)
    assert best is not None
    if best.speed_mm_s < SLOWEST_MM_S:
        raise InputError(
            f"{thickness_mm:g} mm would need {best.speed_mm_s:.2g} mm/s", accepted=f"{SLOWEST_MM_S:g} mm/s or faster",
            remedy="Take thinner wood, or a stronger laser",
        )  # fmt: skip
    return best


def rehearse(known: LawKnown, machine: Machine, species: str, thickness_mm: float, margin_ratio: float = MARGIN) -> Recipe:
    """A whole recipe for one thickness. Raises InputError when the law does not go through it."""
    law = known.law
    way = through_plan(law, machine, thickness_mm, margin_ratio)
    return Recipe.model_validate(
        {
            "schema": "kerfwright-recipe-1",
            "name": f"rehearsal, {species} {thickness_mm:g} mm",
            "machine": machine.name,
            "species": species,
            "made_from": REHEARSED,
            "through": (_through(law, way, thickness_mm),),
            "ramp": _ramp(law, machine, thickness_mm),
            "engrave": SurfaceSettings.model_validate({"power": "20 %", "speed": f"{min(60.0, machine.top_speed_mm_s):g} mm/s"}),
        }
    )


def _through(law: BurnLaw, way: ThroughPlan, thickness_mm: float) -> ThroughCut:
    depths = np.linspace(0, thickness_mm, N_DEPTHS)
    kerf: list[dict[str, object]] = []
    for travel, grain, x_share in (("x", "along", 0.0), ("y", "across", 1.0)):
        width = 2 * (slit_half_width_mm(law, way.passes(law), depths, x_share) + law.char_mm)
        at = int(np.clip(np.argmin(width), 2, N_DEPTHS - 3))
        ends = {"top": width[0], "waist": min(width[at], width[0], width[-1]), "bottom": width[-1]}
        told = {name: Estimate(float(value), READ_SD_MM, 0, REHEARSED) for name, value in ends.items()}
        kerf.append({"travel": travel, "grain": grain, **told, "waist_at": f"{100 * at / (N_DEPTHS - 1):.1f} %"})
    return ThroughCut.model_validate(
        {
            "thickness": (f"{THINNER * thickness_mm:.4f} mm", f"{THICKER * thickness_mm:.4f} mm"),
            "power": "100 %",
            "speed": f"{way.speed_mm_s:.4g} mm/s",
            "passes": way.n_passes,
            "focus": f"{way.focus_mm:.4f} mm",
            "focus_step": f"{way.focus_step_mm:.4f} mm",
            "kerf": tuple(kerf),
        }
    )


def _ramp(law: BurnLaw, machine: Machine, thickness_mm: float) -> RampSettings | None:
    """Depth against power at the speed at which full power digs past the board; None when even the slowest does not."""
    step_mm = 0.0 if machine.z == "by hand" else round(0.8 * thickness_mm / RAMP_LAYERS, 2)
    focus_mm = -0.3
    focus = np.array([focus_mm - k * step_mm for k in range(RAMP_LAYERS)])
    spacing_mm = SPACING_MM[machine.laser]

    def depth_mm(speed_mm_s: float, share: float) -> float:
        energy = float(law.optical_w(np.array(share))) / speed_mm_s
        return field_depth_mm(law, Passes(np.full(RAMP_LAYERS, energy), focus), spacing_mm, 0.0)

    low, high = SLOWEST_MM_S, machine.top_speed_mm_s
    if depth_mm(low, 1.0) < RAMP_REACH * thickness_mm:
        return None
    for _ in range(30):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if depth_mm(middle, 1.0) > RAMP_REACH * thickness_mm else (low, middle)
    read = [(share, depth_mm(low, share)) for share in SHARES]
    inside = [(share, deep) for share, deep in read if 0.03 * thickness_mm < deep < 0.97 * thickness_mm]
    through = next(((share, deep) for share, deep in read if deep >= thickness_mm), None)
    if len(inside) < 3:
        return None
    return RampSettings.model_validate(
        {
            "speed": f"{low:.4g} mm/s",
            "spacing": f"{spacing_mm} mm",
            "layers": RAMP_LAYERS,
            "focus": f"{focus_mm} mm",
            "focus_step": f"{step_mm} mm",
            "depth": tuple((f"{100 * share:.4f} %", _as_read(deep)) for share, deep in inside),
            "through_power": f"{100 * through[0]:.4f} %" if through else None,
            "through_thickness": f"{min(through[1], 1.05 * thickness_mm):.4f} mm" if through else None,
        }
    )


def _as_read(depth_mm: float) -> Estimate:
    return Estimate(depth_mm, math.hypot(DEPTH_SD_MM, DEPTH_SD_FRAC * depth_mm), 0, REHEARSED)
