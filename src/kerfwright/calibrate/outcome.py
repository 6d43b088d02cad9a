"""What a cell did, in order of harm: none, glow, flash, sustained flame, against its dose.

Model (cumulative logit): Pr(outcome <= k) = 1 / (1 + exp(-(c_k - x . b))), cut points c_1 < c_2 < ...: one push x . b moves a cell
up the whole ladder. Fitted as c_1, the logarithms of the gaps c_(k+1) - c_k, and b, by Fisher scoring.
Penalty: each column of x scaled to sd 1/2, then normal priors b ~ sd 2.5, c_1 ~ sd 4, ln gap ~ mean 0, sd 1.5: a rung that no cell
reached, or readings without overlap, still answer, and answer wide.
Range: outcomes that one dose orders; a chance is of a cell burnt like these, under these conditions.
Source: McCullagh and Nelder, Generalized Linear Models (2nd ed.), chapter 5; priors after Gelman and others, Annals of Applied
Statistics 2 (2008) 1360, normal where they use Cauchy (from memory of both).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.draws import Draws, draw
from kerfwright.calibrate.interval import LEVEL_FRAC, Band
from kerfwright.core.errors import InputError

Array = NDArray[np.float64]

FLAME = ("none", "glow", "flash", "sustained")
PUSH_SD = 2.5
CUT_SD = 4.0
GAP_SD = 1.5
ROUNDS = 200
AGREED = 1e-10
LEAST_SHARE = 1e-300
FARTHEST = 50.0  # ln of a gap beyond which it is endless


@dataclass(frozen=True)
class OutcomeFit:
    """A fitted ladder. classes: K, least harm first; cut_value: (K - 1,); push_value: (d,), both for x as given.

    working_value, working_matrix: (c_1, ln gaps, b) and their covariance, in scaled x; middle_x, half_x: (d,) that scaling;
    scaled_x (n, d), n_cells (n, K), penalty_value: what they were fitted to.
    """

    classes: tuple[str, ...]
    cut_value: Array
    push_value: Array
    cut_sd: Array
    push_sd: Array
    working_value: Array
    working_matrix: Array
    middle_x: Array
    half_x: Array
    scaled_x: Array
    n_cells: Array
    penalty_value: Array

    def share_frac(self, x: Array) -> Array:
        """Chance of each outcome at x (m, d) -> (m, K)."""
        return _shares(_below(self.working_value, self._scaled(x), len(self.classes)))

    def at_least(self, outcome: str, x: Array, level_frac: float = LEVEL_FRAC) -> Band:
        """Chance of ``outcome`` or worse at x (m, d), with its interval, (m,) each."""
        if outcome not in self.classes[1:]:
            raise InputError(f'no outcome "{outcome}" to reach', accepted=", ".join(self.classes[1:]))
        k, scaled = self.classes.index(outcome) - 1, self._scaled(x)
        chances = 1 - _below(self.draws.value, scaled, len(self.classes))[..., k]  # (draws, m)
        ends = [self.draws.interval(each, level_frac) for each in chances.T]
        middle = 1 - _below(self.working_value, scaled, len(self.classes))[:, k]
        return Band(middle, np.array([each.low_value for each in ends]), np.array([each.high_value for each in ends]), level_frac)

    @cached_property
    def draws(self) -> Draws:
        """Weighted draws of the working parameters."""
        if not self.penalty_value.any():
            raise InputError("an interval without the penalty was asked for", remedy="Fit with penalised=True")

        def density(each: Array) -> Array:
            return _log_density(each, self.scaled_x, self.n_cells, self.penalty_value)

        return draw(density, self.working_value, self.working_matrix)

    def _scaled(self, x: Array) -> Array:
        return (x - self.middle_x) / self.half_x


def fit_outcomes(x: Array, n_cells: NDArray[np.int_], classes: Sequence[str] = FLAME, *, penalised: bool = True) -> OutcomeFit:
    """Fit counts of cells (n, K) at settings x (n, d). Without the penalty every rung must have been reached.

    Raises InputError when the counts have no finite answer.
    """
    n_classes = len(classes)
    if x.ndim != 2 or n_cells.shape != (len(x), n_classes) or n_classes < 2 or np.any(n_cells < 0) or n_cells.sum() == 0:
        raise InputError(f"counts of shape {n_cells.shape} at settings of shape {x.shape}",
                         accepted="settings (n, d), counts (n, outcomes)")
    weights = n_cells.sum(axis=1)
    middle = np.average(x, axis=0, weights=weights)
    half = 2 * np.sqrt(np.average((x - middle) ** 2, axis=0, weights=weights))
    half = np.where(half > 0, half, 1.0)
    precision = np.concatenate([[CUT_SD**-2], np.full(n_classes - 2, GAP_SD**-2), np.full(x.shape[1], PUSH_SD**-2)]) * penalised
    value, matrix = _search((x - middle) / half, n_cells.astype(float), precision)
    cuts = _cuts(value, n_classes)
    push = value[n_classes - 1 :] / half
    turn = _turn(value, n_classes, half, middle)
    sds = np.sqrt(np.diag(turn @ matrix @ turn.T))
    return OutcomeFit(tuple(classes), cuts + float(push @ middle), push, sds[: n_classes - 1], sds[n_classes - 1 :], value, matrix,
                      middle, half, (x - middle) / half, n_cells.astype(float), precision)


def _search(x: Array, counts: Array, precision: Array) -> tuple[Array, Array]:
    """(top, covariance) of the penalised likelihood by Fisher scoring with halved steps."""
    k = counts.shape[1]
    heaped = np.cumsum(counts.sum(axis=0) + 0.5)[:-1] / (counts.sum() + 0.5 * k)
    cuts = np.log(heaped / (1 - heaped))
    value: Array = np.concatenate([cuts[:1], np.log(np.diff(cuts)), np.zeros(x.shape[1])])

    top = float(_log_density(value, x, counts, precision))
    for _ in range(ROUNDS):
        below = _below(value, x, k)
        shares, slopes = np.maximum(_shares(below), LEAST_SHARE), _share_slopes(value, x, below)  # (n, K), (n, K, q)
        score: Array = np.einsum("nk,nkq->q", counts / shares, slopes) - precision * value
        information = np.einsum("nk,nkq,nkr->qr", counts.sum(axis=1, keepdims=True) / shares, slopes, slopes) + np.diag(precision)
        if float(np.linalg.cond(information)) > 1e13:
            break
        step: Array = np.asarray(np.linalg.solve(information, score), np.float64)
        step /= max(1.0, float(np.max(np.abs(step))) / 2)
        while (fresh := float(_log_density(value + step, x, counts, precision))) < top - AGREED * abs(top):
            step = step / 2
        value, top = value + step, fresh
        if np.all(np.abs(step) <= 1e-8 * (1 + np.abs(value))):
            return value, np.asarray(np.linalg.inv(information), np.float64)
    raise InputError("these outcomes have no finite answer: a rung was not reached, or the dose splits them cleanly",
                     remedy="Use the penalty")


def _log_density(value: Array, x: Array, counts: Array, precision: Array) -> Array:
    """Penalised log likelihood of parameters (..., q) -> (...)."""
    shares = np.maximum(_shares(_below(value, x, counts.shape[1])), LEAST_SHARE)
    return np.sum(counts * np.log(shares), axis=(-2, -1)) - value**2 @ precision / 2


def _cuts(value: Array, n_classes: int) -> Array:
    """(..., q) -> (..., K - 1)."""
    gaps = np.exp(np.minimum(value[..., 1 : n_classes - 1], FARTHEST))
    return value[..., :1] + np.concatenate([np.zeros_like(value[..., :1]), np.cumsum(gaps, axis=-1)], axis=-1)


def _cut_slopes(value: Array, n_classes: int) -> Array:
    """d cuts / d (c_1, ln gaps), (K - 1, K - 1)."""
    slopes = np.tril(np.ones((n_classes - 1, n_classes - 1)))
    slopes[:, 1:] *= np.exp(value[1 : n_classes - 1])
    return slopes


def _below(value: Array, x: Array, n_classes: int) -> Array:
    """Pr(outcome <= k) for all but the last, parameters (..., q), x (n, d) -> (..., n, K - 1)."""
    from scipy.special import expit  # pyright: ignore[reportMissingTypeStubs]

    push = x @ value[..., n_classes - 1 :, None]  # (..., n, 1)
    return np.asarray(expit(_cuts(value, n_classes)[..., None, :] - push), float)


def _shares(below: Array) -> Array:
    """Chances of each outcome, (..., n, K)."""
    edge = np.zeros_like(below[..., :1])
    return np.diff(np.concatenate([edge, below, edge + 1], axis=-1), axis=-1)


def _share_slopes(value: Array, x: Array, below: Array) -> Array:
    """d chances / d working parameters, (n, K, q)."""
    steep = below * (1 - below)
    cut_slopes = _cut_slopes(value, below.shape[1] + 1)
    of_below = np.concatenate([steep[:, :, None] * cut_slopes, -steep[:, :, None] * x[:, None, :]], axis=2)
    flat = np.zeros((len(x), 1, len(value)))
    return np.diff(np.concatenate([flat, of_below, flat], axis=1), axis=1)


def _turn(value: Array, n_classes: int, half: Array, middle: Array) -> Array:
    """d (cuts, push, both for x as given) / d working parameters, (q, q)."""
    q, k = len(value), n_classes - 1
    turn = np.zeros((q, q))
    turn[:k, :k] = _cut_slopes(value, n_classes)
    turn[:k, k:] = middle / half
    turn[k:, k:] = np.diag(1 / half)
    return turn
