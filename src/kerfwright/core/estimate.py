"""A measured number: its value, how sure, from how many readings, from where."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Estimate:
    """A value with its spread. The unit stands in the name of the field that holds it.

    value: the number; sd: one standard deviation, same unit, >= 0; n: readings behind it
    (0 when a person stated it without counting); source: where it comes from, in words.
    """

    value: float
    sd: float
    n: int = 0
    source: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or not math.isfinite(self.sd) or self.sd < 0 or self.n < 0:
            raise ValueError(f"Estimate needs a finite value, sd >= 0 and n >= 0, got {self.value}, {self.sd}, {self.n}")

    def scaled(self, factor: float) -> Estimate:
        """The estimate of ``factor`` times this number."""
        return Estimate(self.value * factor, self.sd * abs(factor), self.n, self.source)
