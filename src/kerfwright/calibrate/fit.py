"""A fitted law: its numbers, and the intervals they are told with."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.interval import LEVEL_FRAC, Band, Interval, two_sided_t_value
from kerfwright.calibrate.law import Law, NoisePrior
from kerfwright.core.errors import InputError, RecipeRangeError
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding
from kerfwright.core.least_squares import slope_matrix

Array = NDArray[np.float64]

GRID = 401  # places a curve is looked at when it is turned round


@dataclass(frozen=True)
class FittedLaw:
    """A fitted law. value, sd: (k,) natural scale; working_matrix: covariance (k, k) on the working scale.

    used: (n,) which readings the fit rests on. outliers: positions of readings that were set aside as spoilt.
    """

    law: Law
    x: Array
    y: Array
    used: NDArray[np.bool_]
    value: Array
    sd: Array
    working_matrix: Array
    residual_sd: float
    n_dof: float
    noise: NoisePrior | None
    outliers: tuple[int, ...]
    findings: tuple[Finding, ...]
    source: str

    @property
    def sum_value(self) -> float:
        """Residual sum of squares of the readings used."""
        left = (self.y - self.law.at(self.x, self.value))[self.used]
        return float(left @ left)

    def covariance_matrix(self) -> Array:
        """Covariance (k, k) on the natural scale."""
        stretch = np.where(self.law.positive, self.value, 1.0)
        return self.working_matrix * np.outer(stretch, stretch)

    def estimate(self, name: str) -> Estimate:
        """One parameter with its spread."""
        i = self._index(name)
        return Estimate(float(self.value[i]), float(self.sd[i]), int(self.used.sum()), self.source)

    def interval(self, name: str, level_frac: float = LEVEL_FRAC) -> Interval:
        """Interval for one parameter: t on the working scale, so one above 0 stays above 0."""
        i = self._index(name)
        reach = two_sided_t_value(self.n_dof, level_frac) * math.sqrt(self.working_matrix[i, i])
        middle = self.law.working(self.value)
        ends = [self.law.natural(np.where(np.arange(len(middle)) == i, middle + side * reach, middle))[i] for side in (-1, 1)]
        return Interval(float(ends[0]), float(ends[1]), level_frac)

    def mean(self, x: Array, level_frac: float = LEVEL_FRAC) -> Band:
        """The curve at x with the interval of the curve itself (many readings averaged)."""
        return self._band(x, False, level_frac)

    def new_reading(self, x: Array, level_frac: float = LEVEL_FRAC) -> Band:
        """The curve at x with the interval of one more reading."""
        return self._band(x, True, level_frac)

    def sd_at(self, x: Array, *, new_reading: bool = False) -> Array:
        """Standard deviation of the curve at x, or of one more reading there, (n,)."""
        slopes = self.working_slopes(x)
        extra = self.residual_sd**2 if new_reading else 0.0
        return np.sqrt(np.einsum("ni,ij,nj->n", slopes, self.working_matrix, slopes) + extra)

    def working_slopes(self, x: Array) -> Array:
        """d f / d working parameters at x, (n, k)."""
        return slope_matrix(lambda b: self.law.at(x, self.law.natural(b)), self.law.working(self.value), self.law.sizes())

    def _band(self, x: Array, new_reading: bool, level_frac: float) -> Band:
        middle = self.law.at(x, self.value)
        reach = two_sided_t_value(self.n_dof, level_frac) * self.sd_at(x, new_reading=new_reading)
        return Band(middle, middle - reach, middle + reach, level_frac)

    def _index(self, name: str) -> int:
        names = [each.name for each in self.law.parameters]
        if name not in names:
            raise InputError(f'the law "{self.law.name}" has no parameter "{name}"', accepted=", ".join(names))
        return names.index(name)

    def x_for(self, y: float, level_frac: float = LEVEL_FRAC) -> tuple[float, Interval]:
        """The x that gives a wanted y, inside the range burnt, and its interval: every x whose own mean interval holds y.

        (Inverting a family of tests covers as the mean does, however the curve bends.) Raises RecipeRangeError when y lies
        outside what was burnt, InputError when the curve turns, so that two settings give one y.
        """
        places = np.linspace(float(self.x[self.used].min()), float(self.x[self.used].max()), GRID)
        band = self.mean(places, level_frac)
        steps = np.diff(band.middle_value)
        rising = bool(steps.sum() > 0)
        if not np.all(steps >= 0 if rising else steps <= 0):
            raise InputError(f'the curve "{self.law.name}" turns inside the range burnt, so one y has two settings')
        low, high = sorted((float(band.middle_value[0]), float(band.middle_value[-1])))
        if not low <= y <= high:
            accepted = f"{low:.4g} to {high:.4g}, what was burnt"
            raise RecipeRangeError(f"{y:.4g} was asked for", accepted=accepted, remedy="Burn further steps")
        curve = band.middle_value if rising else band.middle_value[::-1]
        middle = float(np.interp(y, curve, places if rising else places[::-1]))
        within = places[(band.low_value <= y) & (y <= band.high_value)]
        return middle, Interval(min(middle, float(within.min(initial=middle))), max(middle, float(within.max(initial=middle))), level_frac)

