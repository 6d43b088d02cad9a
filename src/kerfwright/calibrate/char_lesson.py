"""How dark the cells came out beside their slits: none, light or heavy char against the energy beyond what going through needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from kerfwright.calibrate.evidence import Evidence, cells_by_energy
from kerfwright.calibrate.heat_lesson import BEYOND_LN, FEWEST
from kerfwright.calibrate.outcome import OutcomeFit, fit_outcomes
from kerfwright.coupons.observable import CHOICES, Quantity

CharWord = Literal["light", "heavy", "unknown"]
CHAR = CHOICES[Quantity.CHAR]
LIKELY_FRAC = 0.5  # heavy is said from here on: more likely than not


@dataclass(frozen=True, eq=False)
class CharLearned:
    """n_cells looked at; highest_ln: the most ln energy among them."""

    fit: OutcomeFit
    n_cells: int
    highest_ln: float

    def word(self, ln_energy: float) -> CharWord:
        """Char beside one cut like the cells. Less energy than any cell had chars no more than the least of them."""
        if ln_energy > self.highest_ln + BEYOND_LN:
            return "unknown"
        heavy = 1 - float(self.fit.share_frac(np.array([[ln_energy]]))[0, :-1].sum())
        return "heavy" if heavy >= LIKELY_FRAC else "light"


def learn_char(evidence: Evidence, kappa: float) -> CharLearned | None:
    """From the char answers; None with too few. kappa: what passes are worth, as for going through."""
    data = evidence.of(Quantity.CHAR)
    if len(data) < FEWEST:
        return None
    x, counts = cells_by_energy(data, kappa, CHAR)
    return CharLearned(fit_outcomes(x[:, None], counts, CHAR), len(data), float(x.max()))
