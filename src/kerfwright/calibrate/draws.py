"""Weighted draws from a bent density: for answers that a normal at the density's top would tell wrongly.

Draws come from a multivariate t around the top, a fifth too wide, and are weighted by density / t (importance sampling; Gelman and
others, Bayesian Data Analysis, 3rd ed., section 10.4, from memory). Range: one top, up to about six parameters; the number
of equal draws they are worth, 1 / sum w^2, says when that failed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.interval import LEVEL_FRAC, Interval, weighted_value
from kerfwright.core.errors import InputError

Array = NDArray[np.float64]

N_DRAWS = 4000
FEWEST_EFFECTIVE = 400.0
WIDER = 1.2
TAIL_DOF = 4.0  # tails this heavy leave no part of the density where draws are rare
SEED = 20250101  # the same readings give the same answer, to the last digit


@dataclass(frozen=True)
class Draws:
    """value: (m, k) draws; weights: (m,), summing to 1."""

    value: Array
    weights: Array

    @property
    def n_effective(self) -> float:
        """How many equal draws these are worth."""
        return float(1 / np.sum(self.weights**2))

    def interval(self, values: Array, level_frac: float = LEVEL_FRAC) -> Interval:
        """Middle interval of anything computed for each draw, (m,)."""
        ends = [weighted_value(values, self.weights, share) for share in ((1 - level_frac) / 2, (1 + level_frac) / 2)]
        return Interval(ends[0], ends[1], level_frac)


def draw(log_density: Callable[[Array], Array], middle_value: Array, matrix: Array) -> Draws:
    """Draws around ``middle_value`` (k,) with covariance ``matrix`` (k, k). log_density: (m, k) -> (m,), up to a constant.

    Raises InputError when fewer than 400 draws' worth remain.
    """
    rng = np.random.default_rng(SEED)
    k = len(middle_value)
    unit = rng.standard_normal((N_DRAWS, k)) / np.sqrt(rng.chisquare(TAIL_DOF, (N_DRAWS, 1)) / TAIL_DOF)
    value = middle_value + WIDER * unit @ np.linalg.cholesky(matrix).T
    drawn = -(TAIL_DOF + k) / 2 * np.log1p(np.sum(unit**2, axis=1) / TAIL_DOF)
    log_weight = log_density(value) - drawn
    weights = np.exp(log_weight - log_weight.max())
    found = Draws(value, weights / weights.sum())
    if not found.n_effective >= FEWEST_EFFECTIVE:
        raise InputError(f"the readings settle too little: {N_DRAWS} draws are worth {found.n_effective:.0f}",
                         remedy="Burn more cells, at doses further apart")
    return found
