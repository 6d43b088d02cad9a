"""The least squares that beams and recipes share."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.core.errors import InputError
from kerfwright.core.least_squares import Nearest, inverse, nearest, slope_matrix

X = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
Y = np.array([1.0, 2.9, 5.2, 6.8, 9.1])


def test_a_straight_line_is_the_text_book_answer():
    """Own arithmetic: slope 20.1/10 = 2.01, intercept 5 - 4.02 = 0.98, residuals .02 -.09 .2 -.21 .08, covariance s^2 (X^T X)^-1."""
    found = nearest(lambda b: b[0] + b[1] * X - Y, np.array([0.0, 1.0]), np.ones(2))
    np.testing.assert_allclose(found.value, [0.98, 2.01], atol=1e-10)
    np.testing.assert_allclose(-found.residual_value, [0.02, -0.09, 0.2, -0.21, 0.08], atol=1e-9)
    assert found.sum_value == pytest.approx(0.099)
    np.testing.assert_allclose(found.covariance_matrix(), 0.099 / 3 * np.array([[0.6, -0.2], [-0.2, 0.1]]), rtol=1e-7)


def test_slopes_by_central_differences():
    at = np.array([2.0, 0.0])
    got = slope_matrix(lambda b: np.array([b[0] ** 3, np.exp(b[1])]), at, np.ones(2))
    np.testing.assert_allclose(got, [[12.0, 0.0], [0.0, 1.0]], atol=1e-8)


def test_an_inverse_does_not_mind_units():
    matrix = np.array([[4e12, 1e-1], [1e-1, 9e-12]])
    np.testing.assert_allclose(inverse(matrix) * np.outer([2e6, 3e-6], [2e6, 3e-6]), np.linalg.inv([[1, 1 / 60], [1 / 60, 1]]), rtol=1e-9)


@pytest.mark.parametrize("matrix", [np.zeros((2, 2)), np.array([[1.0, 1.0], [1.0, 1.0]]), np.array([[1.0, np.nan], [np.nan, 1.0]])])
def test_what_has_no_inverse_is_refused(matrix: np.ndarray):
    with pytest.raises(InputError, match="burn|Burn"):
        inverse(matrix)


def test_no_reading_to_spare_gives_no_spread():
    with pytest.raises(InputError, match="at least 3 readings"):
        Nearest(np.ones(2), np.zeros(2), np.eye(2)).covariance_matrix()


def test_a_curve_that_fits_nothing_is_refused():
    with pytest.raises(InputError, match="no curve of this form"):
        nearest(lambda b: np.full(3, np.inf) * b[0], np.array([1.0]), np.ones(1))
