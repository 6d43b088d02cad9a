"""Least squares that both a beam and a recipe are fitted with: the nearest curve to some readings.

Law: find b that makes sum_i r_i(b)^2 smallest, r the residuals. Near the answer r(b + db) = r(b) + J db, J = dr/db, so
the parameters scatter with covariance s^2 (J^T J)^-1, s^2 = sum r^2 / (n - k), when the n residuals have equal spread.
Source: Bates and Watts, Nonlinear Regression Analysis (1988), sections 2.1-2.2 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError

Array = NDArray[np.float64]

STEP = float(np.cbrt(np.finfo(float).eps))  # central differences: truncation and rounding errors meet here
TOLERANCE = 1e-13
MOST_CALLS = 2000
FIRST_STEP = 0.1  # share of the start's own size: a longer first step leaps over the valley of a curve that levels off
BOTTOM = (1, 2, 3, 4, 6, 7, 8)  # MINPACK's answers for "found", the last three because TOLERANCE is finer than rounding allows
FAR = 1e30  # stands for a residual that overflowed, so that the search turns back


@dataclass(frozen=True)
class Nearest:
    """The nearest curve: value (k,), its residuals (n,) as ``residual_value`` and their slopes (n, k)."""

    value: Array
    residual_value: Array
    slope_matrix: Array

    @property
    def sum_value(self) -> float:
        """Sum of squared residuals."""
        return float(self.residual_value @ self.residual_value)

    def covariance_matrix(self) -> Array:
        """s^2 (J^T J)^-1, (k, k). Raises InputError with no reading to spare or a parameter no reading moves."""
        n, k = self.slope_matrix.shape
        if n <= k:
            raise InputError(f"{n} readings for {k} unknowns leave nothing to judge the spread by", accepted=f"at least {k + 1} readings")
        return self.sum_value / (n - k) * inverse(self.slope_matrix.T @ self.slope_matrix)


def nearest(residuals: Callable[[Array], Array], start_value: Array, size_value: Array | None = None) -> Nearest:
    """Minimise the sum of squares from ``start_value`` (k,) by Levenberg and Marquardt's method (MINPACK, through scipy).

    residuals: (k,) -> (n,), n >= k. size_value: (k,) how large a change of each parameter matters, for those that may be 0.
    Raises InputError when the search finds no bottom.
    """
    from scipy.optimize import leastsq  # pyright: ignore[reportMissingTypeStubs, reportUnknownVariableType]

    floor = np.abs(start_value) if size_value is None else size_value

    def calm(value: Array) -> Array:
        with np.errstate(all="ignore"):
            found = residuals(value)
        return found if np.isfinite(found).all() else np.nan_to_num(found, nan=FAR, posinf=FAR, neginf=-FAR)

    def slopes(value: Array) -> Array:
        return slope_matrix(calm, value, floor)

    search = cast(Any, leastsq)  # untyped, and its defaults mislead: factor is a float
    solved = search(calm, start_value, Dfun=slopes, full_output=True, ftol=TOLERANCE, xtol=TOLERANCE, gtol=0.0, maxfev=MOST_CALLS,
                    factor=FIRST_STEP, diag=1 / floor)
    value, status = np.asarray(solved[0], float), int(solved[4])
    left = calm(value)
    if status not in BOTTOM or not np.all(np.isfinite(value)) or np.any(np.abs(left) >= FAR):
        raise InputError("no curve of this form fits these readings", remedy="Look for a spoilt reading, or burn more steps")
    return Nearest(value, left, slopes(value))


def slope_matrix(function: Callable[[Array], Array], value: Array, size_value: Array) -> Array:
    """d function / d value by central differences, (n, k). size_value: (k,), used where a parameter is near 0."""
    columns: list[Array] = []
    for i, step in enumerate(STEP * np.maximum(np.abs(value), 1e-3 * size_value)):
        shift = np.zeros_like(value)
        shift[i] = step
        columns.append((function(value + shift) - function(value - shift)) / (2 * step))
    return np.stack(columns, axis=-1)


def inverse(matrix: Array) -> Array:
    """Inverse of a symmetric positive matrix, scaled to a unit diagonal first. Raises InputError when it has none."""
    sizes = np.sqrt(np.diag(matrix))
    if not np.all(sizes > 0) or not np.all(np.isfinite(matrix)):
        raise InputError("the readings do not settle every unknown", remedy="Burn steps further apart, or state a prior")
    scaled = matrix / np.outer(sizes, sizes)
    if float(np.linalg.cond(scaled)) > 1e12:
        raise InputError("the readings cannot tell two unknowns apart", remedy="Burn steps further apart, or state a prior")
    return np.linalg.inv(scaled) / np.outer(sizes, sizes)
