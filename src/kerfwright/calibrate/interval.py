"""An interval with its level, and the quantiles intervals are made with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEVEL_FRAC = 0.95


@dataclass(frozen=True)
class Interval:
    """From ``low_value`` to ``high_value``, meant to hold the truth ``level_frac`` of the time."""

    low_value: float
    high_value: float
    level_frac: float = LEVEL_FRAC

    def holds(self, value: float) -> bool:
        """True when ``value`` lies inside."""
        return bool(self.low_value <= value <= self.high_value)


@dataclass(frozen=True)
class Band:
    """A curve with its interval at each place: three (n,) arrays."""

    middle_value: Array
    low_value: Array
    high_value: Array
    level_frac: float = LEVEL_FRAC

    def holds(self, value: Array) -> NDArray[np.bool_]:
        """Where ``value`` (n,) lies inside, (n,)."""
        return (self.low_value <= value) & (value <= self.high_value)


def t_value(n_dof: float, probability_frac: float) -> float:
    """Student's t quantile; ``n_dof`` may be broken (Satterthwaite)."""
    from scipy.special import stdtrit  # pyright: ignore[reportMissingTypeStubs]

    return float(stdtrit(n_dof, probability_frac))


def t_tail_frac(n_dof: float, value: float) -> float:
    """Share of Student's t above ``value``."""
    from scipy.special import stdtr  # pyright: ignore[reportMissingTypeStubs]

    return float(stdtr(n_dof, -value))


def normal_value(probability_frac: float) -> float:
    """Standard normal quantile."""
    from scipy.special import ndtri  # pyright: ignore[reportMissingTypeStubs]

    return float(ndtri(probability_frac))


def two_sided_t_value(n_dof: float, level_frac: float = LEVEL_FRAC) -> float:
    """How many sd either side hold the middle ``level_frac`` of Student's t."""
    return t_value(n_dof, (1 + level_frac) / 2)


def weighted_value(values: Array, weights: Array, probability_frac: float) -> float:
    """Quantile of weighted values (n,): where the weight summed from below, half of a place's own, reaches the share."""
    places, which = np.unique(values, return_inverse=True)
    heaps = np.bincount(which, weights)
    heaped = np.cumsum(heaps)
    return float(np.interp(probability_frac, (heaped - heaps / 2) / heaped[-1], places))
