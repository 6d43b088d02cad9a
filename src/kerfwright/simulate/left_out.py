"""What a burn law's form misses, told by the readings themselves: each value of each setting left out in turn and foretold from the rest.

Vocabulary: a *block* is all readings of a kind that share one value of a setting - one focus, one way of travel, one energy; of a
setting with many values, its lower or its upper half. Errors within one setting say little of another: a fit bends to them.
Symbols: e residuals and X slopes of a block, W what each reading tells, C the covariance of the unknowns; S the spread that the
unknowns give the block's answers once it is left out, o the reading's own.
Law (1): C- = (C^-1 - X^T W X)^-1 and e- = e + X C- X^T W e: one Gauss-Newton step back from the fit, exact where answers are straight.
Law (2): the form's error f makes sum of [ln(V) + rho(e-^2 / V)] + q [ln f^2 + (f0 / f)^2] least, V = S + o^2 + f^2: the likelihood of
errors foretold, and a prior f0 worth q readings. rho: see identify.py. A reading that stands in several blocks counts once in all.
Range: settings like those read, and those between; far beyond them a law may miss by more, which no reading here can tell.
Source: leave-one-out errors by a downdate: Cook and Weisberg 1982; blocks after Roberts and others, Ecography 40 (2017) 913 (both from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.least_squares import inverse
from kerfwright.simulate.facts import BurntFact
from kerfwright.simulate.seeing import ROBUST

Array = NDArray[np.float64]
Ints = NDArray[np.int_]

MOST_VALUES = 4  # a setting of more is halved
TRIED = np.geomspace(0.5, 10.0, 80)  # times the prior


@dataclass(frozen=True, eq=False)
class Fitted:
    """m readings of one kind in the unit of the form's error. off, own_sd, told: (m,); slopes: (m, k) on the unknowns, whose
    covariance is (k, k)."""

    facts: Sequence[BurntFact]
    off: Array
    own_sd: Array
    told: Array
    slopes: Array
    covariance: Array


def form_error(fitted: Fitted, prior: float, worth: float) -> float:
    """Law (2), one standard deviation; the prior where no setting has two values."""
    groups = blocks(fitted.facts)
    if not groups:
        return prior
    times = np.bincount(np.concatenate(groups), minlength=len(fitted.facts))
    errors, variances, shares = (np.concatenate(each) for each in zip(*(foretold(fitted, mine, times) for mine in groups), strict=True))
    form = prior * TRIED
    variance = variances[:, None] + form**2
    bent = 2 * ROBUST**2 * (np.sqrt(1 + errors[:, None] ** 2 / variance / ROBUST**2) - 1)
    cost = shares @ (np.log(variance) + bent) + worth * (np.log(form**2) + (prior / form) ** 2)
    return float(form[np.argmin(cost)])


def blocks(facts: Sequence[BurntFact]) -> list[Ints]:
    """Which readings each block holds."""
    found: list[Ints] = []
    energy = [fact.power_frac * fact.n_passes / fact.speed_mm_s for fact in facts]
    named = [[getattr(fact, name) for fact in facts] for name in ("board", "focus_mm", "x_share", "n_passes", "speed_mm_s")]
    for setting in (*named, energy):
        values, which = np.unique(np.array(setting), return_inverse=True)
        if len(values) > MOST_VALUES:
            which, values = (which >= len(values) // 2).astype(int), values[:2]
        if len(values) > 1:
            found += [np.flatnonzero(which == k) for k in range(len(values))]
    # Two settings that change together make the same blocks.
    return list({tuple(mine.tolist()): mine for mine in found}.values())


def foretold(fitted: Fitted, mine: Ints, times: Ints) -> tuple[Array, Array, Array]:
    """Law (1) for one block: (errors, S + o^2, how much each counts)."""
    slopes, told = fitted.slopes[mine], fitted.told[mine]
    without = inverse(inverse(fitted.covariance) - (slopes.T * told) @ slopes)
    error = fitted.off[mine] + slopes @ (without @ (slopes.T @ (told * fitted.off[mine])))
    spread = np.einsum("ij,jk,ik->i", slopes, without, slopes)
    return error, spread + fitted.own_sd[mine] ** 2, 1 / times[mine]
