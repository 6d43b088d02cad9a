"""What the cells did in the heat: none, glow, flash, sustained flame against the energy beyond what going through needs."""

from __future__ import annotations

import math

import numpy as np

from kerfwright.calibrate.evidence import Evidence, energy_logs
from kerfwright.calibrate.lesson import Lesson
from kerfwright.calibrate.outcome import FLAME, OutcomeFit, fit_outcomes
from kerfwright.core.finding import Finding, caution
from kerfwright.coupons.observable import Quantity

FEWEST = 4
RAISED_FRAC, HIGH_FRAC = 0.05, 0.25  # chance of a flash or worse in one cell (judgement of ours)


class HeatLearned:
    """lesson, and the risk at a line energy in words: raised, high or unknown - never less than that."""

    def __init__(self, lesson: Lesson, fit: OutcomeFit, kappa: float, highest_ln: float) -> None:
        self.lesson, self.fit, self.kappa, self.highest_ln = lesson, fit, kappa, highest_ln

    def risk(self, power_w: float, n_passes: int, speed_mm_s: float) -> str:
        """Risk of flame of one cut like the cells."""
        x = math.log(power_w * n_passes**self.kappa / speed_mm_s)
        if x > self.highest_ln + 0.05:
            return "unknown"
        upper = float(self.fit.at_least("flash", np.array([[x]])).high_value[0])
        return "high" if upper >= HIGH_FRAC else "raised"


def learn_heat(evidence: Evidence, kappa: float) -> HeatLearned | None:
    """From the flame answers; None with too few."""
    data = evidence.of(Quantity.FLAME)
    if len(data) < FEWEST:
        return None
    ln_once, ln_passes = energy_logs(data)
    x = ln_once + kappa * ln_passes
    counts = np.array([[sum(word == name for word in datum.words) for name in FLAME] for datum in data], dtype=np.int_)
    fit = fit_outcomes(x[:, None], counts)
    n_flames = int(counts[:, 2:].sum())
    told = (
        f"{len(data)} cells watched: {n_flames} flashed or burnt on"
        + ("" if n_flames else "; that bounds the chance, it does not exclude it"),
    )
    findings: list[Finding] = []
    if counts[:, 3].sum():
        first = math.exp(float(x[counts[:, 3] > 0].min()))
        findings.append(
            caution("sustained-flame", f"cells from {first:.1f} J/mm kept burning: stay well below, and stay beside the machine")
        )
    return HeatLearned(Lesson("heat", len(data), {}, told, tuple(findings)), fit, kappa, float(x.max()))
