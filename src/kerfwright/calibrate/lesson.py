"""What was learned about one thing: numbers with their spread, plain sentences, and a plot a woodworker reads."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.interval import two_sided_t_value
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Plot:
    """Points, a curve with its 95 % band, what is recommended and the range that was burnt.

    points: (n, 2); set_aside: (m, 2) readings left out as spoilt; curve: (k, 4) of x, middle, low, high;
    mark: (x, y) recommended, or None. Axis names carry their units.
    """

    title: str
    x_name: str
    y_name: str
    points: Array
    curve: Array
    set_aside: Array = field(default_factory=lambda: np.empty((0, 2)))
    mark: tuple[float, float] | None = None
    mark_name: str = ""
    log_x: bool = False


@dataclass(frozen=True, eq=False)
class Lesson:
    """topic: through, heat, kerf, ramp, wall, focus, machine or fit. said: sentences for people. n_readings behind it."""

    topic: str
    n_readings: int
    estimates: dict[str, Estimate]
    said: tuple[str, ...]
    findings: tuple[Finding, ...] = ()
    plots: tuple[Plot, ...] = ()


PLACE_FRAC, PLACE_WORTH = 0.05, 4.0  # widths differ 5 % from place to place, as if seen in 4 readings (HANDBOOK H form 4: prior, no source)


def pooled(values: Array, sds: Array, source: str, size_mm: float = 0.15) -> tuple[Estimate, float, list[int]]:
    """Mean of (n,) readings that differ by their instruments (sds) and from place to place.

    Returns (the mean, its sd that of one more place and widened for few readings; the place-to-place spread; positions set aside).
    The place variance is what the readings spread beyond their instruments (DerSimonian and Laird 1986, from memory),
    drawn toward 5 % of ``size_mm``; readings beyond 4 robust deviations are set aside when there are 5 or more.
    """
    kept = np.ones(len(values), dtype=bool)
    if len(values) >= 5:
        middle = float(np.median(values))
        spread = np.maximum(1.4826 * float(np.median(np.abs(values - middle))), sds)
        kept = np.abs(values - middle) <= 4 * spread
    y, s = values[kept], sds[kept]
    place_variance = _place_variance(y, s, (PLACE_FRAC * size_mm) ** 2)
    weights = 1 / (s**2 + place_variance)
    mean = float(np.sum(weights * y) / np.sum(weights))
    # Student's t of the readings and of what the prior is worth: 1.96 of this sd hold 95 %.
    wider = two_sided_t_value(len(y) - 1 + PLACE_WORTH) / two_sided_t_value(math.inf)
    sd = wider * float(np.sqrt(1 / np.sum(weights) + place_variance))
    return Estimate(mean, sd, len(y), source), float(np.sqrt(place_variance)), [int(i) for i in np.flatnonzero(~kept)]


def _place_variance(y: Array, s: Array, prior_variance: float) -> float:
    if len(y) < 2:
        return prior_variance
    w = 1 / s**2
    spread = float(np.sum(w * (y - np.sum(w * y) / np.sum(w)) ** 2)) - (len(y) - 1)
    seen = spread / float(np.sum(w) - np.sum(w**2) / np.sum(w))
    return max(((len(y) - 1) * seen + PLACE_WORTH * prior_variance) / (len(y) - 1 + PLACE_WORTH), prior_variance / 9)
