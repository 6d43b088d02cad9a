"""Yes or no against dose: at which energy does a cut go through, at which does it flame.

Symbols: x the dose, usually the logarithm of an energy; mu the dose at which half say yes; sigma how much places differ;
eta = (x - mu) / sigma. Probit: Pr(yes) = Phi(eta): each place has its own threshold, normal with sd sigma, so sigma in ln dose
is the relative spread from place to place. Logit: Pr(yes) = 1 / (1 + exp(-eta)). Slope of the line = 1 / sigma, intercept -mu / sigma.
Fit: Fisher scoring (iteratively reweighted least squares) on (mu, ln sigma) with weak normal priors on both, so that readings
which are all yes above some dose and all no below still answer; without priors it is the usual maximum of the likelihood.
The dose for a share p is mu + sigma h(p), h the inverse of the curve. Its interval comes from the whole of p(mu, ln sigma | data)
on a grid, or from straight-line error propagation (delta method) when there are no priors.
Range: rising response, trials independent given the dose; yes on other boards needs their spread as ``board_sd``.
Source: Dobson, An Introduction to Generalized Linear Models, chapter 7; Finney, Probit Analysis (both from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.interval import LEVEL_FRAC, Interval, normal_value, weighted_value
from kerfwright.calibrate.law import Prior
from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate

Array = NDArray[np.float64]
Curve = Literal["probit", "logit"]

ROUNDS = 200
SETTLED = 1e-13  # gain of log density a step promises below which it is not taken: the answer then stands to a millionth of its sd
ROUNDING = 1e-14
MOST_LOG_SD = 10.0  # doubt of ln sigma beyond which the readings say nothing of it
GRID = 61  # places a side
ZOOMS = 2  # from the whole prior to where the weight lies
PRIOR_SDS = 5.0
EDGE_NATS = 14.0  # log density below the top at which the grid may end
LEAST = 1e-300  # stands for 0 under a fraction line
FARTHEST = 30.0  # sigmas from the middle beyond which a reading no longer steers the search

# Spread from place to place of one board: 3-8 % of depth for places, 2-5 % for the rest, so 4-9 % together; put on ln sigma as a
# 95 % range of 1.5-25 % (HANDBOOK section H form 4: project prior, no published source).
# What that does to the interval of the dose for 99 % of places: a few yeses and noes say next to nothing of the spread, so its width is
# the prior's. Over shops drawn from the prior it holds the truth 95 times in 100; over shops that all have one spread near the prior's
# middle it must hold it more often, and less often at the prior's ends. Counted over 1000 shops each (tests/calibrate, other seeds), %:
#     readings                 5     10    20    40
#     drawn from the prior   94.9  94.8  95.7  96.1
#     all 3 %                95.5  95.7  97.4  96.5
#     all 6 %                98.5  98.7  98.7  98.0
#     all 12 %               98.9  97.1  95.4  92.3
# A narrower prior (2-15 %) left 6 % as it is and let 12 % fall to 85-88 (200 shops each): the width is not tuned away.
PLACE_SPREAD = Prior((math.log(0.015) + math.log(0.25)) / 2, (math.log(0.25) - math.log(0.015)) / 3.92,
                     "places differ 1.5-25 %: project prior, no published source")


@dataclass(frozen=True)
class DosePriors:
    """middle: of mu, in doses; spread: of ln sigma."""

    middle: Prior
    spread: Prior


def weak_priors(x: Array) -> DosePriors:
    """Priors for x a ln energy: the middle within about the range burnt and half as far again, places as above. x: (n,)."""
    reach = max(float(np.ptp(x)), 0.5)
    return DosePriors(Prior(float(np.mean([x.min(), x.max()])), reach, "the range of doses burnt"), PLACE_SPREAD)


@dataclass(frozen=True)
class DoseFit:
    """A fitted curve. value: (mu, ln sigma); matrix: their covariance (2, 2); line_value, line_matrix: (intercept, slope)."""

    curve: Curve
    x: Array
    n_yes: Array
    n_trials: Array
    value: Array
    matrix: Array
    deviance_value: float
    priors: DosePriors | None
    source: str

    @property
    def middle(self) -> Estimate:
        """Dose at which half say yes."""
        return Estimate(float(self.value[0]), math.sqrt(self.matrix[0, 0]), int(self.n_trials.sum()), self.source)

    @property
    def place_spread(self) -> Estimate:
        """sigma: for probit in ln dose, the relative spread from place to place."""
        sigma = math.exp(self.value[1])
        return Estimate(sigma, sigma * math.sqrt(self.matrix[1, 1]), int(self.n_trials.sum()), self.source)

    @property
    def line_value(self) -> Array:
        """(intercept, slope) of eta against dose."""
        return np.array([-self.value[0], 1.0]) / math.exp(self.value[1])

    @property
    def line_matrix(self) -> Array:
        """Covariance (2, 2) of (intercept, slope)."""
        slope, mu = math.exp(-self.value[1]), self.value[0]
        turn = np.array([[-slope, slope * mu], [0.0, -slope]])
        return turn @ self.matrix @ turn.T

    def share_yes_frac(self, x: Array) -> Array:
        """Pr(yes) at doses (n,) -> (n,)."""
        return np.exp(_log_share(self.curve, (x - self.value[0]) / math.exp(self.value[1])))

    def dose_at(self, share_frac: float, board_sd: float = 0.0, level_frac: float = LEVEL_FRAC) -> tuple[Estimate, Interval]:
        """The dose at which ``share_frac`` of places say yes, and its interval.

        board_sd: spread of mu from board to board (same unit as x), for places of a board not yet seen (probit only).
        With priors the value is the posterior's middle and the interval its own; without, delta method (normal).
        """
        if not 0 < share_frac < 1 or (board_sd and self.curve != "probit"):
            raise InputError(f"dose for a share of {share_frac} with board spread {board_sd}",
                             accepted="a share between 0 and 1; probit with boards")
        if self.priors is None:
            return self._by_delta(share_frac, board_sd, level_frac)
        mu, log_sigma, weights = self.grid
        doses = mu + np.hypot(np.exp(log_sigma), board_sd) * _inverse(self.curve, share_frac)
        mean = float(weights @ doses)
        ends = [weighted_value(doses, weights, tail) for tail in ((1 - level_frac) / 2, (1 + level_frac) / 2)]
        sd = math.sqrt(float(weights @ (doses - mean) ** 2))
        middle = weighted_value(doses, weights, 0.5)
        return Estimate(middle, sd, int(self.n_trials.sum()), self.source), Interval(ends[0], ends[1], level_frac)

    def _by_delta(self, share_frac: float, board_sd: float, level_frac: float) -> tuple[Estimate, Interval]:
        h, sigma = _inverse(self.curve, share_frac), math.exp(self.value[1])
        whole = math.hypot(sigma, board_sd)
        slope = np.array([1.0, h * sigma**2 / whole])
        dose, sd = float(self.value[0]) + h * whole, math.sqrt(float(slope @ self.matrix @ slope))
        reach = normal_value((1 + level_frac) / 2) * sd
        return Estimate(dose, sd, int(self.n_trials.sum()), self.source), Interval(dose - reach, dose + reach, level_frac)

    @cached_property
    def grid(self) -> tuple[Array, Array, Array]:
        """(mu, ln sigma, weights summing to 1), flat arrays over a grid that holds all but e^-14 of the density's top."""
        assert self.priors is not None
        sides = [(prior.mean_value, PRIOR_SDS * prior.sd) for prior in (self.priors.middle, self.priors.spread)]
        low, high = np.array([mean - reach for mean, reach in sides]), np.array([mean + reach for mean, reach in sides])
        for _ in range(ZOOMS):
            mu, log_sigma, density = self._lattice(low, high)
            inside = density > density.max() - EDGE_NATS
            step = (high - low) / (GRID - 1)
            low = np.array([mu[inside].min(), log_sigma[inside].min()]) - step
            high = np.array([mu[inside].max(), log_sigma[inside].max()]) + step
        mu, log_sigma, density = self._lattice(low, high)
        weights = np.exp(density - density.max())
        return mu, log_sigma, weights / weights.sum()

    def _lattice(self, low: Array, high: Array) -> tuple[Array, Array, Array]:
        """(mu, ln sigma, log density), flat, on a square of places between two corners."""
        steps = np.arange(GRID) / (GRID - 1)
        mu: Array = np.repeat(low[0] + steps * (high[0] - low[0]), GRID)
        log_sigma: Array = np.tile(low[1] + steps * (high[1] - low[1]), GRID)
        return mu, log_sigma, self._log_density(mu, log_sigma)

    def _log_density(self, mu: Array, log_sigma: Array) -> Array:
        """log p(mu, ln sigma | data) up to a constant, (m,)."""
        assert self.priors is not None
        found = np.zeros_like(mu)
        for side, counts in ((1.0, self.n_yes), (-1.0, self.n_trials - self.n_yes)):
            seen = counts > 0
            eta = side * (self.x[seen][:, None] - mu) * np.exp(-log_sigma)
            found += counts[seen] @ _log_share(self.curve, eta)
        for value, prior in ((mu, self.priors.middle), (log_sigma, self.priors.spread)):
            found -= ((value - prior.mean_value) / prior.sd) ** 2 / 2
        return found


def fit_dose(
    x: Array, n_yes: Array, n_trials: Array, curve: Curve = "probit", priors: DosePriors | None = None, source: str = ""
) -> DoseFit:
    """Fit the yeses out of the trials at doses x, (n,) each. Raises InputError when readings without priors have no finite answer."""
    paired = len(x) == len(n_yes) == len(n_trials) > 0
    if not paired or np.any(n_trials < 1) or np.any(n_yes < 0) or np.any(n_yes > n_trials):
        raise InputError("yes must lie between 0 and the trials at each dose", accepted="at least one dose and one trial at each")
    value = _start(x, n_yes, n_trials, priors)
    promised, information = math.inf, np.eye(2)
    top = _penalised(curve, x, n_yes, n_trials, priors, value)
    for _ in range(ROUNDS):
        score, information = _scoring(curve, x, n_yes, n_trials, priors, value)
        step = _step(score, information)
        promised = float(score @ step)
        if promised <= SETTLED:
            break
        # The expected information may be far too small for unlikely readings, and the step too long: a quarter of the promise will do.
        while (fresh := _penalised(curve, x, n_yes, n_trials, priors, value + step)) < top + promised / 4 - ROUNDING * abs(top):
            step, promised = step / 2, promised / 2
        value, top = value + step, fresh
    matrix = np.asarray(np.linalg.inv(information), np.float64)
    if priors is None and (promised > SETTLED or matrix[1, 1] > MOST_LOG_SD**2):
        raise InputError("yes and no do not overlap, or yes does not grow with the dose", remedy="State priors, or burn doses between")
    shares = np.exp(_log_share(curve, (x - value[0]) / math.exp(value[1])))
    return DoseFit(curve, x, n_yes, n_trials, value, matrix, _deviance(n_yes, n_trials, shares), priors, source)


def _start(x: Array, yes: Array, trials: Array, priors: DosePriors | None) -> Array:
    """(mu, ln sigma) of a straight line through ln((yes + 1/2) / (no + 1/2))."""
    if priors is not None and len(np.unique(x)) < 2:
        return np.array([priors.middle.mean_value, priors.spread.mean_value])
    logit = np.log((yes + 0.5) / (trials - yes + 0.5))
    centred = x - np.average(x, weights=trials)
    scatter = float(np.sum(trials * centred**2))
    slope = float(np.sum(trials * centred * logit)) / scatter if scatter > 0 else 0.0
    if slope <= 0:
        return np.array([float(np.mean(x)), math.log(float(np.ptp(x)) or 1.0)])
    return np.array([float(np.average(x, weights=trials)) - float(np.average(logit, weights=trials)) / slope, -math.log(slope)])


def _scoring(curve: Curve, x: Array, yes: Array, trials: Array, priors: DosePriors | None, value: Array) -> tuple[Array, Array]:
    """(slope of the log density (2,), expected information (2, 2)) at (mu, ln sigma)."""
    sigma = math.exp(value[1])
    eta = np.clip((x - value[0]) / sigma, -FARTHEST, FARTHEST)
    log_yes, log_no = _log_share(curve, eta), _log_share(curve, -eta)
    log_steep = log_yes + log_no if curve == "logit" else -(eta**2) / 2 - 0.5 * math.log(2 * math.pi)
    turn = np.stack([np.full_like(x, -1 / sigma), -eta], axis=1)
    score = turn.T @ ((yes - trials * np.exp(log_yes)) * np.exp(log_steep - log_yes - log_no))
    information = turn.T @ (turn * (trials * np.exp(2 * log_steep - log_yes - log_no))[:, None])
    for i, prior in enumerate((priors.middle, priors.spread) if priors else ()):
        score[i] -= (value[i] - prior.mean_value) / prior.sd**2
        information[i, i] += prior.sd**-2
    return score, information


def _step(score: Array, information: Array) -> Array:
    """Scoring step, at most one unit of ln sigma long so that a nearly flat likelihood does not throw it away."""
    if float(np.linalg.cond(information)) > 1e14:
        raise InputError("yes and no do not overlap", remedy="State priors, or burn doses between")
    step = np.asarray(np.linalg.solve(information, score), np.float64)
    return step / max(1.0, abs(float(step[1])))


def _penalised(curve: Curve, x: Array, yes: Array, trials: Array, priors: DosePriors | None, value: Array) -> float:
    eta = (x - value[0]) * math.exp(-value[1])
    found = float(yes @ _log_share(curve, eta) + (trials - yes) @ _log_share(curve, -eta))
    for i, prior in enumerate((priors.middle, priors.spread) if priors else ()):
        found -= ((float(value[i]) - prior.mean_value) / prior.sd) ** 2 / 2
    return found


def _deviance(yes: Array, trials: Array, shares: Array) -> float:
    """2 sum y ln(y / n p) + (n - y) ln((n - y) / n q)."""
    from scipy.special import xlogy  # pyright: ignore[reportMissingTypeStubs]

    no, expected = trials - yes, trials * shares
    left = trials - expected
    return float(2 * np.sum(xlogy(yes, yes / np.maximum(expected, LEAST)) + xlogy(no, no / np.maximum(left, LEAST))))


def _log_share(curve: Curve, eta: Array) -> Array:
    """log Pr(yes)."""
    if curve == "logit":
        return -np.logaddexp(0.0, -eta)
    from scipy.special import log_ndtr  # pyright: ignore[reportMissingTypeStubs]

    return np.asarray(log_ndtr(eta), float)


def _inverse(curve: Curve, share_frac: float) -> float:
    return normal_value(share_frac) if curve == "probit" else math.log(share_frac / (1 - share_frac))


def upper_share_frac(yes: int, trials: int, level_frac: float = LEVEL_FRAC) -> float:
    """Highest share that ``yes`` of ``trials`` leave open, one-sided (Clopper and Pearson, Biometrika 26 (1934) 404, from memory).

    None of n: 1 - (1 - level)^(1/n), about 3/n at 95 %: twenty cells without flame still leave 14 %.
    """
    from scipy.special import betaincinv  # pyright: ignore[reportMissingTypeStubs]

    if not 0 <= yes <= trials or trials < 1:
        raise InputError(f"{yes} of {trials}", accepted="at least one trial, no more yes than trials")
    return 1.0 if yes == trials else float(betaincinv(yes + 1, trials - yes, level_frac))
