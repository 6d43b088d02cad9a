"""Energy along a cut that goes just through, against thickness; and the line it never crosses: another kind of laser.

Symbols: t thickness, mm; E = P / v energy along the cut, J/mm, summed over passes that each clear their char; a energy per area of
cut at the surface, J/mm^2; l depth over which the light in the slit is lost to its walls, mm.
Law: E(t) = a l (exp(t / l) - 1); turned round, t = l ln(1 + E / (a l)).
Range: the thicknesses burnt, one kind of laser, focus and air as burnt, wood without glue lines (a 20 mm plywood failed at twice
the energy of the law). One thickness cannot tell a from l. A power law a t^1.381 does as well on the published cuts.
Source: own form (light lost in proportion to depth); data McMillin and Harry, Forest Products Journal 21(10) (1971) 35-37.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.fit import FittedLaw
from kerfwright.calibrate.interval import t_tail_frac
from kerfwright.calibrate.law import Law, NoisePrior, Parameter
from kerfwright.calibrate.regression import fit_law
from kerfwright.core.errors import InputError, RecipeRangeError
from kerfwright.core.estimate import Estimate

Array = NDArray[np.float64]
Laser = Literal["diode", "co2", "other"]

# Spread of ln E between one person's cuts that go just through, as if judged from 4 repeats: 15 % (project prior, no published source).
CUT_NOISE = NoisePrior(0.15, 4.0, "cuts just through repeat within 15 %: project prior, no published source")
# Further spread of ln E on wood that was not burnt: 15 % (held-out owner-reported cuts scatter 10 % and lie 12 % low).
OTHER_WOOD_SD_FRAC = 0.15


def line_energy_j_mm(thickness_mm: Array, surface_j_mm2: float, loss_mm: float) -> Array:
    """E(t) of the law, bare. thickness_mm: (n,) -> (n,)."""
    return surface_j_mm2 * loss_mm * np.expm1(thickness_mm / loss_mm)


def cut_depth_mm(energy_j_mm: Array, surface_j_mm2: float, loss_mm: float) -> Array:
    """The law turned round: thickness just cut by an energy (n,) -> (n,)."""
    return loss_mm * np.log1p(energy_j_mm / (surface_j_mm2 * loss_mm))


def _log_energy(x: Array, b: Array) -> Array:
    return np.log(b[0] * b[1] * np.expm1(x / b[1]))


def through_law(surface_j_mm2: float = 1.0, loss_mm: float = 15.0) -> Law:
    """ln E against thickness (relative errors are alike at every thickness); no prior."""
    return Law("energy to cut through", "ln(a l (exp(t/l) - 1))", _log_energy,
               (Parameter("surface_j_mm2", surface_j_mm2), Parameter("loss_mm", loss_mm)))


@dataclass(frozen=True)
class ThroughEnergy:
    """Constants of one kind of laser, and where they hold. thickness_mm: thinnest and thickest burnt."""

    laser: Laser
    wood: str
    fit: FittedLaw
    thickness_mm: tuple[float, float]

    @property
    def surface_j_mm2(self) -> Estimate:
        """a."""
        return self.fit.estimate("surface_j_mm2")

    @property
    def loss_mm(self) -> Estimate:
        """l."""
        return self.fit.estimate("loss_mm")

    def energy_j_mm(self, thickness_mm: float, laser: Laser) -> Estimate:
        """Energy that goes just through. Raises RecipeRangeError for another kind of laser or a thickness never burnt."""
        self._refuse(thickness_mm, laser)
        middle, sd = self._log_energy(thickness_mm)
        return Estimate(math.exp(middle), math.exp(middle) * sd, len(self.fit.y), self.fit.source)

    def through_odds_frac(self, energy_j_mm: float, thickness_mm: float, laser: Laser, wood: str) -> float:
        """Odds that one cut with this energy goes through: Student's t in ln E, wider on wood that was not burnt."""
        self._refuse(thickness_mm, laser)
        middle, sd = self._log_energy(thickness_mm)
        whole = math.hypot(sd, 0.0 if wood == self.wood else OTHER_WOOD_SD_FRAC)
        return t_tail_frac(self.fit.n_dof, (middle - math.log(energy_j_mm)) / whole)

    def _log_energy(self, thickness_mm: float) -> tuple[float, float]:
        """(ln E, sd of one more cut)."""
        at = np.array([thickness_mm])
        return float(self.fit.law.at(at, self.fit.value)[0]), float(self.fit.sd_at(at, new_reading=True)[0])

    def _refuse(self, thickness_mm: float, laser: Laser) -> None:
        if laser != self.laser:
            raise RecipeRangeError(f"a {laser} laser asked for the constants of a {self.laser} laser", accepted=f"a {self.laser} laser",
                                   remedy="Burn the through coupon on this machine: wood takes the two kinds of light differently")
        thin, thick = self.thickness_mm
        if not thin <= thickness_mm <= thick:
            raise RecipeRangeError(f"a thickness of {thickness_mm:g} mm was never burnt", accepted=f"{thin:g} to {thick:g} mm",
                                   remedy="Burn the through coupon on this thickness")


def fit_through_energy(thickness_mm: Array, energy_j_mm: Array, laser: Laser, wood: str, source: str) -> ThroughEnergy:
    """Fit the law to energies (n,) that went just through thicknesses (n,), two different ones or more."""
    if len(np.unique(thickness_mm)) < 2 or np.any(thickness_mm <= 0) or np.any(energy_j_mm <= 0):
        raise InputError("one thickness cannot tell the surface's energy from the loss with depth",
                         accepted="two thicknesses or more, above 0")
    middle = float(np.median(thickness_mm))
    start = through_law(float(np.median(energy_j_mm)) / middle, 2 * middle)
    fit = fit_law(start, thickness_mm, np.log(energy_j_mm), noise=CUT_NOISE, source=source)
    return ThroughEnergy(laser, wood, fit, (float(thickness_mm.min()), float(thickness_mm.max())))
