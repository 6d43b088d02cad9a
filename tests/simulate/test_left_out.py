"""The form's error out of readings at settings left out: by hand on straight laws, where one step back from the fit is exact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kerfwright.core.least_squares import inverse
from kerfwright.simulate.facts import BurntFact
from kerfwright.simulate.left_out import TRIED, Array, Fitted, blocks, foretold, form_error

SLIT = BurntFact("slit", 0.0, 0.01, 1.0, 8.0, 2, -0.5, 1.0, 0.0, 6.0)


def comb(focuses: tuple[float, ...] = (-1.5, -0.5, 0.5), faces: int = 3) -> list[BurntFact]:
    return [replace(SLIT, focus_mm=focus, x_share=x) for x in (0.0, 1.0) for focus in focuses for _ in range(faces)]


def straight_fit(facts: list[BurntFact], slopes: np.ndarray, value: np.ndarray, sd: float) -> Fitted:
    """Least squares with a prior of one: value = slopes @ u."""
    told = np.full(len(facts), sd**-2)
    covariance = inverse((slopes.T * told) @ slopes + np.eye(slopes.shape[1]))
    u: Array = covariance @ (slopes.T @ (told * value))
    return Fitted(facts, value - slopes @ u, np.full(len(facts), 0.002), told, slopes, covariance)


def test_a_block_isforetold_as_a_fit_without_it_would():
    rng = np.random.default_rng(1)
    facts = comb()
    slopes = rng.normal(size=(len(facts), 4))
    value = rng.normal(size=len(facts))
    fitted = straight_fit(facts, slopes, value, 0.3)
    for mine in blocks(facts):
        rest = np.setdiff1d(np.arange(len(facts)), mine)
        alone = straight_fit([facts[i] for i in rest], slopes[rest], value[rest], 0.3)
        u = alone.covariance @ (slopes[rest].T @ (alone.told * value[rest]))
        error, variance, share = foretold(fitted, mine, np.full(len(facts), 2))
        np.testing.assert_allclose(error, value[mine] - slopes[mine] @ u, atol=1e-9)
        np.testing.assert_allclose(variance, np.diag(slopes[mine] @ alone.covariance @ slopes[mine].T) + 0.002**2, rtol=1e-9)
        assert share == pytest.approx(0.5)


def test_blocks_are_the_values_of_each_setting():
    found = [mine.tolist() for mine in blocks(comb(faces=1))]
    assert found == [[0, 3], [1, 4], [2, 5], [0, 1, 2], [3, 4, 5]]  # three focuses, two ways of travel
    stairs = [replace(SLIT, what="field", power_frac=0.1 * k) for k in range(1, 9)]
    assert [mine.tolist() for mine in blocks(stairs)] == [[0, 1, 2, 3], [4, 5, 6, 7]]
    assert blocks([SLIT, SLIT]) == []
    # Speed and passes that change together make one block, not three.
    both = [SLIT, replace(SLIT, n_passes=1, speed_mm_s=5.0)]
    assert [mine.tolist() for mine in blocks(both)] == [[1], [0]] or [mine.tolist() for mine in blocks(both)] == [[0], [1]]


def test_an_error_of_the_setting_is_seen_where_errors_within_it_are_small():
    """Each of four focuses is off by its own 0.03 mm, readings within it by 0.002 mm. Four such errors about their mean come to 0.024 in
    half of all combs (sd of four, chi), and the prior draws that down a little: 0.016 to 0.026, though each focus repeats itself to
    0.002. With readings that are off by no more than they say the form is smaller than its prior."""
    rng = np.random.default_rng(7)
    focuses = tuple(np.linspace(-2, 2, 4))
    facts = comb(focuses)
    slopes = np.ones((len(facts), 1))
    told: list[float] = []
    for _ in range(60):
        of_focus = dict(zip(focuses, rng.normal(0, 0.03, 4), strict=True))
        value = np.array([of_focus[fact.focus_mm] for fact in facts]) + rng.normal(0, 0.002, len(facts))
        told.append(form_error(straight_fit(facts, slopes, value, 0.03), 0.008, 4.0))
    assert 0.016 < np.median(told) < 0.026
    calm = [form_error(straight_fit(facts, slopes, rng.normal(0, 0.002, len(facts)), 0.008), 0.008, 4.0) for _ in range(20)]
    assert max(calm) < 0.008
    assert form_error(straight_fit([SLIT] * 4, np.ones((4, 1)), np.zeros(4), 0.01), 0.008, 4.0) == 0.008  # nothing can be left out


def test_a_wild_reading_does_not_make_the_form():
    facts = comb(tuple(np.linspace(-2, 2, 4)))
    value = np.random.default_rng(2).normal(0, 0.008, len(facts))
    plain = form_error(straight_fit(facts, np.ones((len(facts), 1)), value, 0.01), 0.008, 4.0)
    value[3] += 0.5
    wild = form_error(straight_fit(facts, np.ones((len(facts), 1)), value, 0.01), 0.008, 4.0)
    assert wild < 0.5 / np.sqrt(len(facts))  # what a plain mean square would make of it
    assert plain < wild
    assert wild < 0.008 * TRIED[-1]
