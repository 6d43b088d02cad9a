"""Fit a law to a few readings: estimates, spreads, and intervals that hold what they promise.

Model: y_i = f(x_i, b) + e_i, e_i normal with one spread s; parameters above 0 are fitted as logarithms.
With S(b) = sum e_i^2 + n0 s0^2 (n0, s0 a noise prior) and weak normal priors, s integrated out (prior 1/s):
    p(b | y) ~ S(b)^(-(n + n0)/2) exp(-sum (b_j - m_j)^2 / (2 t_j^2)).
Without priors and for f straight in b this is exactly the t intervals of ordinary least squares with n - k degrees of
freedom (Bates and Watts 1988, sections 1.1, 2.3; Box and Tiao 1973, section 2.7; both from memory).
The estimate is the top of it, s^2 = S/(n + n0 - k'), k' = the unknowns that the readings, not the priors, settle
(trace of the readings' share of the information); the covariance is (J^T J/s^2 + P)^-1.
Range: constant spread, errors independent of each other: readings of one board share the board (see hierarchy).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.fit import FittedLaw
from kerfwright.calibrate.interval import t_tail_frac
from kerfwright.calibrate.law import Law, NoisePrior
from kerfwright.core.errors import InputError
from kerfwright.core.finding import warning
from kerfwright.core.least_squares import Nearest, inverse, nearest

Array = NDArray[np.float64]

ROUNDS = 100
OUTLIER_ODDS_FRAC = 0.004  # a step; counted on clean kerf combs, about 1 set in 100 then loses a reading over all its steps
FEWEST_SPARE = 4  # readings beyond the unknowns below which one spoilt reading cannot be told from a bent curve
LEAST_DOF = 1e-6
TINY = 1e-12
AGREED = 1e-8  # relative


def fit_law(law: Law, x: Array, y: Array, *, noise: NoisePrior | None = None, robust: bool = False, source: str = "") -> FittedLaw:
    """Fit ``law`` to readings y (n,) at x (n,) or (n, d). See the module for the model.

    robust: readings further off than the others can explain are left out and named in ``outliers``.
    Raises InputError when readings and priors together do not settle every unknown.
    """
    _refuse_bad(x, y)
    plain = _fit(law, x, y, np.ones(len(y), dtype=bool), noise, source)
    if not robust:
        return plain
    if len(y) - len(law.parameters) < FEWEST_SPARE:
        few = warning("few-readings", f"{len(y)} readings of {law.name} are too few to tell a spoilt reading: none was looked for")
        return replace(plain, findings=(*plain.findings, few))
    return _without_outliers(plain)


def _refuse_bad(x: Array, y: Array) -> None:
    if len(x) != len(y) or len(y) == 0:
        raise InputError(f"{len(x)} settings and {len(y)} readings", accepted="one reading a setting, at least one")
    if not np.all(np.isfinite(x)) or not np.all(np.isfinite(y)):
        raise InputError("a reading or setting that is no number")


@dataclass(frozen=True)
class _Known:
    """What does not change while the fit is searched for. rows: which parameters have a prior; sum_known: n0 s0^2."""

    law: Law
    x: Array
    y: Array
    means: Array
    precisions: Array
    n_known: float
    sum_known: float

    def at_spread(self, start: Array, s: float) -> Nearest:
        """Least squares with the priors as further residuals, for a given spread of the readings."""
        rows = np.flatnonzero(self.precisions)
        strength = np.sqrt(self.precisions[rows])

        def residuals(b: Array) -> Array:
            return np.concatenate([(self.law.at(self.x, self.law.natural(b)) - self.y) / s, (b[rows] - self.means[rows]) * strength])

        return nearest(residuals, start, self.law.sizes())

    def spread(self, solved: Nearest, s: float) -> tuple[float, float, Array]:
        """(s again, degrees of freedom, covariance) as the residuals at spread ``s`` judge them."""
        n = len(self.y)
        slopes = solved.slope_matrix[:n]
        information = slopes.T @ slopes
        covariance = inverse(information + np.diag(self.precisions))
        n_dof = n + self.n_known - float(np.trace(covariance @ information))
        if n_dof < LEAST_DOF:
            raise InputError(f"{n} readings for {len(self.means)} unknowns leave nothing to judge the spread by", remedy="Burn repeats")
        left = solved.residual_value[:n] * s
        tiny = TINY * (float(np.max(np.abs(self.y))) or 1.0)  # readings that lie on the curve to the last digit
        return max(float(np.sqrt((left @ left + self.sum_known) / n_dof)), tiny), n_dof, covariance


def _fit(law: Law, x: Array, y: Array, used: NDArray[np.bool_], noise: NoisePrior | None, source: str) -> FittedLaw:
    """The top of p(b | y): the spread and the parameters in turn, until they agree."""
    means, precisions = law.prior_arrays()
    known = _Known(law, x[used], y[used], means, precisions, *((noise.n_dof, noise.n_dof * noise.sd**2) if noise else (0.0, 0.0)))
    if len(y) + np.count_nonzero(precisions) < len(means):
        raise InputError(f"{len(y)} readings and {np.count_nonzero(precisions)} priors for {len(means)} unknowns", remedy="Burn more steps")
    b, s = law.working(law.start()), float(np.std(y[used])) or 1.0
    for _ in range(ROUNDS):
        solved = known.at_spread(b, s)
        b, before = solved.value, s
        s, n_dof, covariance = known.spread(solved, s)
        if abs(s - before) <= AGREED * s:
            break
    else:
        raise InputError(f"the spread of {len(y)} readings of {law.name} does not settle", remedy="Burn more repeats")
    value = law.natural(b)
    sd = np.sqrt(np.diag(covariance)) * np.where(law.positive, value, 1.0)
    return FittedLaw(law, x, y, used, value, sd, covariance, s, n_dof, noise, (), (), source)


def _without_outliers(plain: FittedLaw) -> FittedLaw:
    """Generalised extreme studentised residuals: set the worst reading aside, refit, again up to a quarter of them; then keep
    aside all up to the last whose odds, had it been a clean reading, were below 0.4 % (so that two spoilt readings cannot hide
    each other). Rosner, Technometrics 25 (1983) 165; for curves Paul and Fung, Technometrics 33 (1991) 339 (from memory).
    """
    n, k = len(plain.y), len(plain.value)
    fits, gone = [plain], list[int]()
    spoilt = 0
    while len(gone) < n // 4 and n - len(gone) - k >= FEWEST_SPARE:
        worst, odds = _worst(fits[-1])
        used = ~np.isin(np.arange(n), [*gone, worst])
        try:
            fits.append(_fit(plain.law.starting_at(*fits[-1].value), plain.x, plain.y, used, plain.noise, plain.source))
        except InputError:
            break  # without this reading nothing settles the curve, so nothing can judge it either
        gone.append(worst)
        spoilt = len(gone) if odds < OUTLIER_ODDS_FRAC else spoilt
    best, outliers = fits[spoilt], tuple(sorted(gone[:spoilt]))
    left = plain.y - plain.law.at(plain.x, best.value)
    off = "from what the others say: left out"
    said = tuple(warning("outlier", f"reading {i + 1} of {plain.law.name} is {left[i]:+.3g} {off}", plain.source) for i in outliers)
    return replace(best, law=plain.law, outliers=outliers, findings=said)


def _worst(fit: FittedLaw) -> tuple[int, float]:
    """(position of the reading furthest off, odds that the worst of clean readings is as far off).

    Each is judged by the fit without it: t_i = e_i / (s_(i) sqrt(1 - h_i)), the fit taken as straight near its top.
    """
    slopes = fit.working_slopes(fit.x)
    share = np.minimum(np.einsum("ni,ij,nj->n", slopes, fit.working_matrix, slopes) / fit.residual_sd**2, 0.999)
    left = np.where(fit.used, fit.y - fit.law.at(fit.x, fit.value), 0.0)
    scaled = np.minimum((left / fit.residual_sd) ** 2 / (1 - share), fit.n_dof * (1 - 1e-9))
    t = np.sqrt(scaled * (fit.n_dof - 1) / (fit.n_dof - scaled)) if fit.n_dof > 1 else np.zeros_like(scaled)
    worst = int(np.argmax(t))
    return worst, float(fit.used.sum()) * 2 * t_tail_frac(max(fit.n_dof - 1, 1e-3), float(t[worst]))
