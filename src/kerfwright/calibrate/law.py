"""A law to fit: a formula with named parameters, each with a start and, where known, a weak prior that names its source.

Words: the *working scale* of a parameter that must stay above 0 is its natural logarithm, of any other the number itself.
Priors, steps and intervals live on the working scale, so that no interval ever holds a negative kerf.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError

Array = NDArray[np.float64]
# (x, parameters) -> y. x: (n,), or (n, d) when the law reads several columns. parameters: a sequence of k numbers, or of
# k arrays (m, 1) for m draws at once, which must give (m, n): write formulas with numpy functions only.
Formula: TypeAlias = Callable[[Array, Array], Array]

SDS_IN_95 = 3.92  # a range of 95 % of a normal spans this many sd (2 x 1.96)


@dataclass(frozen=True)
class Prior:
    """What was known before: normal on the parameter's working scale. A weak prior spans a decade, not a guess."""

    mean_value: float
    sd: float
    source: str

    def __post_init__(self) -> None:
        if not self.sd > 0 or not math.isfinite(self.mean_value) or not self.source:
            raise InputError(f"a prior of {self.mean_value} with sd {self.sd}", accepted="a finite mean, sd above 0 and a source")


@dataclass(frozen=True)
class NoisePrior:
    """What was known of the readings' spread: ``sd`` as if judged from ``n_dof`` earlier repeats (a caliper study, say)."""

    sd: float
    n_dof: float
    source: str


@dataclass(frozen=True)
class Parameter:
    """One unknown. size_value: how large a change of it matters on the working scale."""

    name: str
    start_value: float
    positive: bool = True
    prior: Prior | None = None
    size_value: float = 1.0

    def with_range(self, low_value: float, high_value: float, source: str) -> Parameter:
        """The same with a prior that puts 95 % between two values."""
        if not low_value < high_value or (self.positive and low_value <= 0):
            raise InputError(f"{self.name} from {low_value} to {high_value}", accepted="the lower first, above 0 where it must be")
        low, high = (math.log(low_value), math.log(high_value)) if self.positive else (low_value, high_value)
        return replace(self, prior=Prior((low + high) / 2, (high - low) / SDS_IN_95, source))


@dataclass(frozen=True)
class Law:
    """A named form. ``formula`` says it in words for people, ``of`` computes it."""

    name: str
    formula: str
    of: Formula
    parameters: tuple[Parameter, ...]

    @cached_property
    def positive(self) -> NDArray[np.bool_]:
        """Which parameters must stay above 0, (k,)."""
        return np.array([each.positive for each in self.parameters])

    def working(self, value: Array) -> Array:
        """Natural to working scale, (..., k)."""
        return np.where(self.positive, np.log(np.where(self.positive, value, 1.0)), value)

    def natural(self, value: Array) -> Array:
        """Working to natural scale, (..., k)."""
        return np.where(self.positive, np.exp(np.minimum(np.where(self.positive, value, 0.0), 700.0)), value)

    def at(self, x: Array, value: Array) -> Array:
        """The law at x for natural parameters (k,) -> (n,), or for draws (m, k) -> (m, n)."""
        columns = value if value.ndim == 1 else value.T[:, :, None]
        with np.errstate(over="ignore", under="ignore", invalid="ignore"):
            return self.of(x, columns)

    def prior_arrays(self) -> tuple[Array, Array]:
        """(means (k,), precisions (k,)) on the working scale; precision 0 where nothing was known."""
        means = np.array([each.prior.mean_value if each.prior else 0.0 for each in self.parameters])
        precisions = np.array([each.prior.sd**-2 if each.prior else 0.0 for each in self.parameters])
        return means, precisions

    def start(self) -> Array:
        """Starting values on the natural scale, (k,)."""
        return np.array([each.start_value for each in self.parameters])

    def sizes(self) -> Array:
        """How large a change of each parameter matters on the working scale, (k,)."""
        return np.array([each.size_value for each in self.parameters])

    def starting_at(self, *values: float) -> Law:
        """The same law searched from other values."""
        return replace(self, parameters=tuple(replace(p, start_value=v) for p, v in zip(self.parameters, values, strict=True)))
