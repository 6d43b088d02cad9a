"""None, glow, flash, sustained: the ladder against dose. A published analysis stands in tests/external."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.calibrate.dose import fit_dose
from kerfwright.calibrate.outcome import FLAME, fit_outcomes
from kerfwright.core.errors import InputError

X = np.linspace(-1, 1, 5)[:, None]
CELLS = np.array([[6, 0, 0, 0], [5, 1, 0, 0], [3, 2, 1, 0], [1, 2, 2, 1], [0, 1, 2, 3]])


def test_two_rungs_are_a_logit():
    """With two outcomes the ladder is the binomial curve: cut = -intercept, push = slope."""
    yes = np.array([0, 1, 3, 4, 6])
    fit = fit_outcomes(X, np.stack([6 - yes, yes], axis=1), ("no", "yes"), penalised=False)
    line = fit_dose(X[:, 0], yes.astype(float), np.full(5, 6.0), "logit")
    np.testing.assert_allclose([-fit.cut_value[0], fit.push_value[0]], line.line_value, rtol=1e-6)
    np.testing.assert_allclose([fit.cut_sd[0], fit.push_sd[0]], np.sqrt(np.diag(line.line_matrix)), rtol=1e-5)


def test_chances_add_to_one_and_worsen_with_the_dose():
    fit = fit_outcomes(X, CELLS)
    at = np.linspace(-2, 2, 9)[:, None]
    shares = fit.share_frac(at)
    np.testing.assert_allclose(shares.sum(axis=1), 1.0)
    assert np.all(shares > 0)
    for outcome in FLAME[1:]:
        band = fit.at_least(outcome, at)
        assert np.all(np.diff(band.middle_value) > 0)
        assert np.all((band.low_value <= band.middle_value) & (band.middle_value <= band.high_value))
    assert np.all(fit.at_least("glow", at).middle_value > fit.at_least("flash", at).middle_value)


def test_units_of_the_dose_do_not_matter():
    one, other = fit_outcomes(X, CELLS), fit_outcomes(1e3 * X + 5e3, CELLS)
    np.testing.assert_allclose(one.share_frac(X), other.share_frac(1e3 * X + 5e3), rtol=1e-6)
    np.testing.assert_allclose(one.push_value, 1e3 * other.push_value, rtol=1e-6)


def test_a_rung_never_reached_still_answers():
    cells = CELLS.copy()
    cells[:, 1] += cells[:, 2]
    cells[:, 2] = 0
    fit = fit_outcomes(X, cells)
    assert 0 < fit.share_frac(X)[4, 2] < 0.2
    with pytest.raises(InputError, match="a rung was not reached"):
        fit_outcomes(X, cells, penalised=False)


@pytest.mark.parametrize("repeats", [2, 5, 20])
def test_no_flame_in_n_cells_leaves_about_three_in_n(repeats: int):
    """In the middle of 4 doses burnt without flame, the chance of any flame may still be of the order of 3/n."""
    cells = np.zeros((4, 4), dtype=int)
    cells[:, 0] = repeats
    at = np.array([[0.0], [0.3], [0.6], [1.0]])
    fit = fit_outcomes(at, cells)
    band, rule = fit.at_least("glow", at), 3 / (4 * repeats)
    assert np.all((0.4 * rule <= band.high_value) & (band.high_value <= 2.5 * rule))
    assert np.all(fit.at_least("sustained", at).high_value < band.high_value)


def test_intervals_hold_over_shops():
    """150 shops with unlike ladders: the 95 % interval of each chance."""
    rng = np.random.default_rng(7)
    at, held = np.array([[0.0], [0.5]]), []
    doses = np.linspace(-0.5, 0.5, 6)[:, None]
    for _ in range(150):
        push, cuts = rng.uniform(2, 10), rng.normal(1.5, 1.5) + np.cumsum([0.0, rng.uniform(0.3, 3), rng.uniform(0.3, 3)])
        below = 1 / (1 + np.exp(-(cuts - doses * push)))
        chances = np.diff(np.concatenate([np.zeros((6, 1)), below, np.ones((6, 1))], axis=1), axis=1)
        fit = fit_outcomes(doses, np.array([rng.multinomial(rng.integers(2, 6), each) for each in chances]))
        truth = 1 - 1 / (1 + np.exp(-(cuts - at * push)))
        held.append([fit.at_least(name, at).holds(truth[:, i]) for i, name in enumerate(FLAME[1:])])
    assert 0.92 <= np.mean(held) <= 0.985


@pytest.mark.parametrize(("x", "cells"), [(X[:, 0], CELLS), (X, CELLS[:, :3]), (X, -CELLS), (X, 0 * CELLS)])
def test_counts_that_do_not_fit_are_refused(x: np.ndarray, cells: np.ndarray):
    with pytest.raises(InputError, match="counts"):
        fit_outcomes(x, cells)


def test_an_outcome_must_be_on_the_ladder():
    with pytest.raises(InputError, match="glow, flash, sustained"):
        fit_outcomes(X, CELLS).at_least("none", X)
    with pytest.raises(InputError, match="penalised=True"):
        _ = fit_outcomes(X, CELLS, penalised=False).draws
