"""What the cells did in the heat: none, glow, flash, sustained flame against the energy beyond what going through needs."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from kerfwright.calibrate.evidence import Evidence, cells_by_energy
from kerfwright.calibrate.lesson import Lesson
from kerfwright.calibrate.outcome import FLAME, OutcomeFit, fit_outcomes
from kerfwright.core.finding import Finding, caution
from kerfwright.coupons.observable import Quantity
from kerfwright.process.recipe import HeatWord, ThroughCut

FEWEST = 4
BEYOND_LN = 0.05  # this much past what was watched is still like it
HIGH_FRAC = 0.25  # chance of a flash or worse in one cell (judgement of ours)


@dataclass(frozen=True, eq=False)
class HeatLearned:
    """The risk at a line energy in words: raised, high or unknown - never less than that.

    highest_ln: the most ln energy watched; flame_ln: the least at which a cell flashed or burnt on, None where none did.
    """

    lesson: Lesson
    fit: OutcomeFit
    kappa: float
    highest_ln: float
    flame_ln: float | None

    def risk(self, ln_energy: float) -> HeatWord:
        """Risk of flame of one cut like the cells."""
        if ln_energy > self.highest_ln + BEYOND_LN:
            return "unknown"
        upper = float(self.fit.at_least("flash", np.array([[ln_energy]])).high_value[0])
        return "high" if upper >= HIGH_FRAC or self._flamed(ln_energy) else "raised"

    def of_cut(self, cut: ThroughCut, full_power_w: float) -> HeatWord:
        """Risk of a recipe's settings."""
        return self.risk(self._ln_energy(cut, full_power_w))

    def flames(self, cut: ThroughCut, full_power_w: float) -> bool:
        """True where a cell as gentle as this cut, or gentler, was seen to flame."""
        return self._flamed(self._ln_energy(cut, full_power_w))

    def told_of(self, ln_energy: float) -> HeatLearned:
        """The same, saying the risk at the recommended energy."""
        said = f"risk of flame at the recommended {math.exp(ln_energy):.2f} J/mm: {self.risk(ln_energy)}"
        return replace(self, lesson=replace(self.lesson, said=(*self.lesson.said, said)))

    def _flamed(self, ln_energy: float) -> bool:
        return self.flame_ln is not None and ln_energy >= self.flame_ln

    def _ln_energy(self, cut: ThroughCut, full_power_w: float) -> float:
        return math.log(full_power_w * cut.power_frac * cut.passes**self.kappa / cut.speed_mm_s)


def learn_heat(evidence: Evidence, kappa: float) -> HeatLearned | None:
    """From the flame answers; None with too few."""
    data = evidence.of(Quantity.FLAME)
    if len(data) < FEWEST:
        return None
    x, counts = cells_by_energy(data, kappa, FLAME)
    fit = fit_outcomes(x[:, None], counts)
    n_flames = int(counts[:, 2:].sum())
    told = (
        f"{len(data)} cells watched: {n_flames} flashed or burnt on"
        + ("" if n_flames else "; that bounds the chance, it does not exclude it"),
    )
    flamed = x[counts[:, 2:].sum(axis=1) > 0]
    flame_ln = float(flamed.min()) if len(flamed) else None
    findings: list[Finding] = []
    if counts[:, 3].sum():
        first = math.exp(float(x[counts[:, 3] > 0].min()))
        findings.append(
            caution("sustained-flame", f"cells from {first:.1f} J/mm kept burning: stay well below, and stay beside the machine")
        )
    return HeatLearned(Lesson("heat", len(data), {}, told, tuple(findings)), fit, kappa, float(x.max()), flame_ln)
