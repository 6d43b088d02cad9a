"""Yes or no against dose. Published analyses stand in tests/external; how often intervals hold in test_coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom, norm

from kerfwright.calibrate.dose import PLACE_SPREAD, DosePriors, fit_dose, upper_share_frac, weak_priors
from kerfwright.calibrate.law import Prior
from kerfwright.core.errors import InputError

X = np.log(np.array([4.0, 5.0, 6.0, 7.0, 8.0, 10.0]))
TRIALS = np.full(6, 4.0)
YES = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 4.0])
SPLIT = np.array([0.0, 0.0, 0.0, 4.0, 4.0, 4.0])


def test_the_line_and_the_middle_are_one_fit():
    fit = fit_dose(X, YES, TRIALS)
    intercept, slope = fit.line_value
    assert fit.middle.value == pytest.approx(-intercept / slope)
    assert fit.place_spread.value == pytest.approx(1 / slope)
    np.testing.assert_allclose(fit.share_yes_frac(X), norm.cdf(intercept + slope * X), rtol=1e-9)
    assert fit.middle.n == 24


@pytest.mark.parametrize("curve", ["probit", "logit"])
def test_the_top_of_the_likelihood_by_another_road(curve: str):
    """Brute force: no place on a fine grid around the answer is more likely."""
    fit = fit_dose(X, YES, TRIALS, "logit" if curve == "logit" else "probit")
    share = norm.cdf if curve == "probit" else lambda e: 1 / (1 + np.exp(-e))

    def likelihood(mu: float, log_sigma: float) -> float:
        return float(binom.logpmf(YES, TRIALS, share((X - mu) / math.exp(log_sigma))).sum())

    top = likelihood(*fit.value)
    around = [likelihood(fit.value[0] + a, fit.value[1] + b) for a in (-1e-3, 0, 1e-3) for b in (-1e-2, 0, 1e-2)]
    assert top >= max(around) - 1e-12
    assert top - min(around) > 1e-5


def test_the_grid_is_the_whole_of_the_posterior():
    """Against plain rejection-free Monte Carlo: 200 000 draws from the priors weighted by the likelihood."""
    priors = weak_priors(X)
    fit = fit_dose(X, YES, TRIALS, "probit", priors)
    rng = np.random.default_rng(3)
    mu, log_sigma = (rng.normal(each.mean_value, each.sd, 200_000) for each in (priors.middle, priors.spread))
    shares = norm.cdf((X[:, None] - mu) / np.exp(log_sigma))
    weights = np.prod(shares ** YES[:, None] * (1 - shares) ** (TRIALS - YES)[:, None], axis=0)
    doses = mu + norm.ppf(0.99) * np.exp(log_sigma)
    order = np.argsort(doses)
    heaped = np.cumsum(weights[order]) / weights.sum()
    low, middle, high = np.interp([0.025, 0.5, 0.975], heaped, doses[order])
    estimate, interval = fit.dose_at(0.99)
    assert (interval.low_value, estimate.value, interval.high_value) == pytest.approx((low, middle, high), abs=0.01)


def test_readings_split_cleanly_still_answer():
    """All no to 6, all yes from 7 J/mm: the middle lies between, the dose for 99 % above it, and both know little."""
    fit = fit_dose(X, SPLIT, TRIALS, "probit", weak_priors(X))
    middle, between = fit.dose_at(0.5)
    assert math.log(6) < middle.value < math.log(7)
    assert between.low_value > math.log(5)
    assert between.high_value < math.log(8)
    high, interval = fit.dose_at(0.99)
    assert math.log(6.5) < high.value < math.log(9)
    assert interval.high_value - interval.low_value > 0.1
    with pytest.raises(InputError, match="do not overlap"):
        fit_dose(X, SPLIT, TRIALS)


@pytest.mark.parametrize("answer", [0.0, 4.0])
def test_all_yes_or_all_no_says_only_which_side(answer: float):
    fit = fit_dose(X, np.full(6, answer), TRIALS, "probit", weak_priors(X))
    middle, interval = fit.dose_at(0.5)
    if answer:
        assert middle.value < math.log(5)
        assert interval.low_value < math.log(3)
    else:
        assert middle.value > math.log(9)
        assert interval.high_value > math.log(12)


def test_one_dose_answers_with_the_priors():
    fit = fit_dose(X[:1], np.array([2.0]), np.array([4.0]), "probit", weak_priors(X))
    assert fit.middle.value == pytest.approx(X[0], abs=0.05)
    assert math.exp(PLACE_SPREAD.mean_value) == pytest.approx(fit.place_spread.value, rel=0.3)


def test_an_answer_that_falls_with_the_dose_needs_priors():
    with pytest.raises(InputError, match="State priors"):
        fit_dose(X, YES[::-1], TRIALS)


def test_a_new_board_asks_for_more():
    """Own arithmetic: with everything known, the dose for 99 % is mu + 2.3263 hypot(sigma, board)."""
    exact = DosePriors(Prior(2.0, 1e-4, "test"), Prior(math.log(0.06), 1e-4, "test"))
    fit = fit_dose(X, YES, TRIALS, "probit", exact)
    assert fit.dose_at(0.99)[0].value == pytest.approx(2.0 + 2.3263 * 0.06, abs=5e-4)
    assert fit.dose_at(0.99, board_sd=0.08)[0].value == pytest.approx(2.0 + 2.3263 * 0.10, abs=5e-4)
    with pytest.raises(InputError, match="probit with boards"):
        fit_dose(X, YES, TRIALS, "logit").dose_at(0.99, board_sd=0.1)


def test_the_delta_method_by_hand():
    """Var(mu + h sigma) from the line's covariance (Finney's form): (1, 0; ...) against the numeric slope."""
    fit = fit_dose(X, YES, TRIALS, "logit")
    a, b = fit.line_value
    h = math.log(0.9 / 0.1)
    slope = np.array([-1 / b, -(h - a) / b**2])
    estimate, interval = fit.dose_at(0.9)
    assert estimate.value == pytest.approx((h - a) / b)
    assert estimate.sd == pytest.approx(math.sqrt(slope @ fit.line_matrix @ slope), rel=1e-9)
    assert interval.high_value - estimate.value == pytest.approx(1.959964 * estimate.sd, rel=1e-6)


@pytest.mark.parametrize("n", [5, 20, 60, 300])
def test_none_of_n_leaves_about_three_in_n(n: int):
    assert upper_share_frac(0, n) == pytest.approx(1 - 0.05 ** (1 / n), rel=1e-9)
    assert upper_share_frac(0, n) == pytest.approx(3 / n, rel=0.3 if n < 10 else 0.1)
    assert binom.cdf(2, n, upper_share_frac(2, n)) == pytest.approx(0.05)
    assert upper_share_frac(n, n) == 1.0


@pytest.mark.parametrize(("yes", "trials"), [(-1, 3), (4, 3), (0, 0)])
def test_counts_that_are_none(yes: int, trials: int):
    with pytest.raises(InputError, match="at least one trial"):
        upper_share_frac(yes, trials)
    with pytest.raises(InputError, match="between 0 and the trials"):
        fit_dose(X[:1], np.array([float(yes)]), np.array([float(trials)]))
