"""The beam's caustic: how wide it is at each height, and the fit of width readings.

Symbols: z height along the beam, mm; d(z) full width (4 sigma diameter, or a burnt mark's width: then it says nothing of
the beam's quality), mm; d0 width at the waist; z0 place of the waist; Theta full divergence angle, rad; lam wavelength.
Law: d(z)^2 = d0^2 + Theta^2 (z - z0)^2; Rayleigh length zR = d0 / Theta; M2 = pi d0 Theta / (4 lam).
In abc form, d^2 = a + b z + c z^2: z0 = -b / 2c, Theta = sqrt c, d0 = sqrt(4ac - b^2) / (2 sqrt c).
Range: one beam free of aberration. A reading plan worth the name has 10 heights or more, half of them within zR of the
waist and half beyond 2 zR. A *cut's* width follows it only roughly: walls guide light and the edge has a threshold.
Source: ISO 11146-1 section 9 (abc form from memory; the hyperbola read in a public ISO 11146 program, HANDBOOK section B).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.core.least_squares import Nearest, nearest

Array = NDArray[np.float64]
Weighting = Literal["width", "width squared"]


def width_mm(z_mm: Array, waist_mm: float, waist_z_mm: float, divergence_rad: float) -> Array:
    """d(z) of the caustic. z_mm: (n,) -> (n,)."""
    return np.hypot(waist_mm, divergence_rad * (z_mm - waist_z_mm))


@dataclass(frozen=True)
class Caustic:
    """A fitted caustic. weighting: which residual was kept small, since the two differ by a tenth in M2 on rough data."""

    waist_mm: Estimate
    waist_z_mm: Estimate
    divergence_rad: Estimate
    rayleigh_mm: Estimate
    residual_sd_mm: float
    weighting: Weighting

    def width_mm(self, z_mm: Array) -> Array:
        """Width at heights (n,) -> (n,)."""
        return width_mm(z_mm, self.waist_mm.value, self.waist_z_mm.value, self.divergence_rad.value)

    def quality_ratio(self, wavelength_um: float) -> Estimate:
        """M2: how many times faster the beam opens than the narrowest possible one (1 or more for a D4sigma caustic).

        Spread: with u = ln d0 and t = ln Theta, var(u + t) = 2 var u + 2 var t - var(u - t), and u - t = ln zR is known.
        """
        m2 = math.pi * self.waist_mm.value * self.divergence_rad.value / (4 * wavelength_um * 1e-3)
        parts = (self.waist_mm, self.divergence_rad, self.rayleigh_mm)
        of_waist, of_divergence, of_rayleigh = ((each.sd / each.value) ** 2 for each in parts)
        sd = m2 * math.sqrt(max(0.0, 2 * of_waist + 2 * of_divergence - of_rayleigh))
        return Estimate(m2, sd, self.waist_mm.n, self.waist_mm.source)


def fit_caustic(z_mm: Array, width_readings_mm: Array, weighting: Weighting = "width", source: str = "") -> Caustic:
    """Fit the caustic to widths read at heights, both (n,), n >= 4.

    "width" keeps the errors of d small: right when each reading errs by the same length. "width squared" keeps those of d^2
    small, which is linear (the abc form) and leans on the wide ends. Raises InputError when no waist lies in the readings.
    """
    if len(z_mm) != len(width_readings_mm) or len(z_mm) < 4 or len(np.unique(z_mm)) < 4:
        raise InputError(f"{len(z_mm)} heights and {len(width_readings_mm)} widths", accepted="one width a height, 4 heights or more")
    if not np.all(np.isfinite(z_mm)) or not np.all(width_readings_mm > 0):
        raise InputError("a width of 0 or less, or a height that is no number", accepted="widths above 0 mm")
    start = _abc(z_mm, width_readings_mm)
    sizes = np.array([start[0], float(np.ptp(z_mm)), start[2]])

    def residuals(beam: Array) -> Array:
        expected = width_mm(z_mm, beam[0], beam[1], beam[2])
        return expected - width_readings_mm if weighting == "width" else expected**2 - width_readings_mm**2

    return _caustic(nearest(residuals, start, sizes), width_readings_mm, weighting, source)


def _abc(z_mm: Array, width_readings_mm: Array) -> Array:
    """(d0, z0, Theta) of the unweighted parabola through d^2: exact for the second weighting, a start for the first."""
    middle = float(z_mm.mean())
    c, b, a = (float(each) for each in np.polyfit(z_mm - middle, width_readings_mm**2, 2))
    if c <= 0:
        raise InputError("the widths do not open away from a waist", remedy="Read further above and below the narrowest mark")
    waist2 = a - b * b / (4 * c)
    narrowest = float(width_readings_mm.min())
    return np.array([math.sqrt(waist2) if waist2 > 0 else narrowest, middle - b / (2 * c), math.sqrt(c)])


def _caustic(solved: Nearest, widths_mm: Array, weighting: Weighting, source: str) -> Caustic:
    waist_z = float(solved.value[1])
    waist, divergence = abs(float(solved.value[0])), abs(float(solved.value[2]))  # the law knows only their squares
    covariance = solved.covariance_matrix()
    by_rayleigh = np.array([1 / divergence, 0, -waist / divergence**2]) * np.sign(solved.value)
    n = len(widths_mm)
    spread = [math.sqrt(each) for each in np.diag(covariance)]
    rayleigh_sd = math.sqrt(float(by_rayleigh @ covariance @ by_rayleigh))
    residual = solved.residual_value if weighting == "width" else solved.residual_value / (2 * widths_mm)
    return Caustic(
        waist_mm=Estimate(waist, spread[0], n, source),
        waist_z_mm=Estimate(waist_z, spread[1], n, source),
        divergence_rad=Estimate(divergence, spread[2], n, source),
        rayleigh_mm=Estimate(waist / divergence, rayleigh_sd, n, source),
        residual_sd_mm=float(np.sqrt(residual @ residual / (n - 3))),
        weighting=weighting,
    )
