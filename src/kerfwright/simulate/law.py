"""The burn law: what a stroke of the beam takes away, at every depth.

Vocabulary: a *stroke* is one straight move with the beam on; *dose* is what a stroke brings to a place beyond the
threshold, J/mm2; *need* is the dose that opens wood down to a depth; a *slit* has wood on both sides and guides light
by its walls, a *field* of many lines side by side is open and does not.

Symbols: E line energy P/v, J/mm; w 1/e^2 radius across the stroke at that depth, mm; y distance from its middle, mm;
z depth along the beam below the entry face, mm; Fth threshold, J/mm2; a need at the face, J/mm3; l loss length, mm;
G relative density of this place over the species' own; g its power.
Law (1): F(y, z) = sqrt(2/pi) E / w(z) exp(-2 y^2 / w(z)^2), w(z)^2 = w0^2 (1 + ((z - zf) / zk)^2)
Law (2): N(z) = a l (exp(z/l) - 1) G^g
Law (3): wood at (y, z) is gone when sum over passes of kappa (F - Fth)+ reaches N(z), and all above it is open; kappa is 1 on
fresh wood and over_char_frac where a pass before it, or in a field the line beside it, has charred what it falls on
Range: one machine, one species, through cuts and fields like those that were read. Forms: HANDBOOK F2 (line scan and
threshold), H 1 (energy growing with depth; need so that d' solves dE = a exp(z/l) dz), H 2 (hourglass) and H 3.
Example: E = 0.5 J/mm, w = 0.06 mm: F0 = 6.649038 J/mm2, and with Fth = 0.5 a line 0.136495 mm wide (HANDBOOK F2).

It never reads a recipe, a coupon or a plan: it may disagree with them, and the disagreement is the point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ROOT_2_OVER_PI = math.sqrt(2 / math.pi)


@dataclass(frozen=True)
class BurnLaw:
    """One machine on one species.

    power_w: optical, at full setting; dead_frac: no light up to this share of full setting; gamma: light against setting.
    waist_x_mm, waist_y_mm: 1/e^2 radius at the focus, along the bed's x and y. rayleigh_mm: how fast the free beam opens;
    slit_mm: the same between two walls, which guide it. focus_offset_mm: the true focus stands this much above what Z says.
    need_j_mm3, loss_mm, threshold_j_mm2: see above. over_char_frac: what a pass over charred wood is worth.
    density_power: need goes with density to this power. char_mm: brittle layer that cleaning takes off each burnt wall.
    """

    power_w: float
    dead_frac: float
    gamma: float
    waist_x_mm: float
    waist_y_mm: float
    rayleigh_mm: float
    slit_mm: float
    focus_offset_mm: float
    need_j_mm3: float
    loss_mm: float
    threshold_j_mm2: float
    over_char_frac: float
    density_power: float
    char_mm: float

    def optical_w(self, power_frac: Array) -> Array:
        """Light at a share of the full setting: nothing in the dead zone, then a power law (HANDBOOK H 3)."""
        above = np.clip((power_frac - self.dead_frac) / (1 - self.dead_frac), 0.0, None)
        return self.power_w * above**self.gamma

    def radius_mm(self, below_focus_mm: Array, x_share: Array | float, slit: bool) -> Array:
        """1/e^2 radius square to the stroke. x_share: sin^2 of the angle between the stroke and the bed's x axis."""
        waist2 = self.waist_x_mm**2 * x_share + self.waist_y_mm**2 * (1 - np.asarray(x_share))
        opens = self.slit_mm if slit else self.rayleigh_mm
        return np.sqrt(waist2 * (1 + (below_focus_mm / opens) ** 2))

    def need_j_mm2(self, depth_mm: Array, density_ratio: Array | float = 1.0) -> Array:
        """Law (2)."""
        return self.need_j_mm3 * self.loss_mm * np.expm1(depth_mm / self.loss_mm) * np.asarray(density_ratio) ** self.density_power

    def depth_mm(self, dose_j_mm2: Array, density_ratio: Array | float = 1.0) -> Array:
        """Law (2) turned round: the depth a dose opens."""
        eased = dose_j_mm2 / np.asarray(density_ratio) ** self.density_power
        return self.loss_mm * np.log1p(eased / (self.need_j_mm3 * self.loss_mm))

    def worth(self, n_passes: int) -> Array:
        """What each pass over the same place is worth. (n_passes,): 1 on fresh wood, then over char."""
        return np.where(np.arange(n_passes) == 0, 1.0, self.over_char_frac)


def line_j_mm2(energy_j_mm: Array | float, radius_mm: Array) -> Array:
    """F0 of a long line: sqrt(2/pi) E / w."""
    return ROOT_2_OVER_PI * np.asarray(energy_j_mm) / radius_mm


@dataclass(frozen=True, eq=False)
class Passes:
    """One stroke's passes, all (p,): line energy, and how far its focus stands above the entry face as Z says."""

    energy_j_mm: Array
    focus_mm: Array


def slit_half_width_mm(
    law: BurnLaw, passes: Passes, depth_mm: Array, x_share: Array | float, density_ratio: Array | float = 1.0
) -> Array:
    """Half the width of a slit at depths (m,) rising from the face -> (m,); 0 from where the slit ends.

    Many slits at once: passes (..., p), x_share and density_ratio (...) -> (..., m). Law (3) solved for y: the sum falls as
    y grows, so halving 30 times finds it to a billionth of the first guess.
    """
    below = depth_mm + passes.focus_mm[..., None] + law.focus_offset_mm  # (..., p, m)
    radius = law.radius_mm(below, np.asarray(x_share)[..., None, None], slit=True)
    peak = line_j_mm2(passes.energy_j_mm[..., None], radius)
    worth = law.worth(passes.energy_j_mm.shape[-1])[:, None]
    need = law.need_j_mm2(depth_mm, np.asarray(density_ratio)[..., None])

    def opens(y: Array) -> NDArray[np.bool_]:
        over = peak * np.exp(-2 * (y[..., None, :] / radius) ** 2) - law.threshold_j_mm2
        dose = np.sum(worth * np.maximum(over, 0.0), axis=-2)
        return (dose >= need) & (dose > 0)

    times = np.maximum(peak.max(axis=-2) / law.threshold_j_mm2, 1.0)
    high: Array = radius.max(axis=-2) * np.sqrt(0.5 * np.log(times))
    low: Array = np.zeros_like(high)
    opened = np.minimum.accumulate(opens(low), axis=-1)
    for _ in range(30):
        middle = (low + high) / 2
        gone = opens(middle)
        low, high = np.where(gone, middle, low), np.where(gone, high, middle)
    return np.where(opened, (low + high) / 2, 0.0)


def line_dose_j_mm(law: BurnLaw, energy_j_mm: Array, radius_mm: Array) -> Array:
    """Dose of one long line summed across it: F0 w sqrt(pi/2) erf(sqrt2 yc/w) - 2 yc Fth (HANDBOOK F2), J/mm."""
    from scipy.special import erf  # pyright: ignore[reportMissingTypeStubs]

    peak = line_j_mm2(energy_j_mm, radius_mm)
    edge = radius_mm * np.sqrt(0.5 * np.log(np.maximum(peak / law.threshold_j_mm2, 1.0)))
    return peak * radius_mm * math.sqrt(math.pi / 2) * erf(math.sqrt(2) * edge / radius_mm) - 2 * edge * law.threshold_j_mm2


def field_depth_mm(law: BurnLaw, passes: Passes, spacing_mm: float, x_share: float, density_ratio: float = 1.0) -> float:
    """Mean depth of a wide field of parallel lines, each line and layer alike: law (3) with the dose spread evenly, all over char.

    The deeper the floor, the further from the focus: halving finds where dose and need meet.
    """

    def short_j_mm2(depth: float) -> float:
        radius = law.radius_mm(depth + passes.focus_mm + law.focus_offset_mm, x_share, slit=False)
        brought = law.over_char_frac * float(np.sum(line_dose_j_mm(law, passes.energy_j_mm, radius))) / spacing_mm
        return brought - float(law.need_j_mm2(np.array(depth), density_ratio))

    low, high = 0.0, 20 * law.loss_mm
    if short_j_mm2(0.0) <= 0:
        return 0.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if short_j_mm2(middle) > 0 else (low, middle)
    return (low + high) / 2
