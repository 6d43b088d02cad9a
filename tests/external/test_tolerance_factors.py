"""Normal tolerance factors against published values, and against a count of intervals that hold what they promise."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.calibrate.tolerance import howe_factor, one_sided_factor, two_sided_factor
from kerfwright.core.errors import InputError


def test_nist_handbook_example():
    """NIST/SEMATECH e-Handbook 7.2.6.3, n = 43, share 90 %, confidence 99 %: k2 = 2.2173 (Howe), k1 = 1.8752 (its approximation)."""
    assert howe_factor(43, 0.90, 0.99) == pytest.approx(2.2173, abs=5e-5)
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8752, abs=2e-3)
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8740, abs=5e-5)  # exact: own arithmetic
    assert two_sided_factor(43, 0.90, 0.99) == pytest.approx(2.2228, abs=5e-5)


@pytest.mark.parametrize(("n", "howe", "exact", "one_side"), [(5, 5.0935, 5.0769, 4.2027), (10, 3.3819, 3.3934, 2.9110),
                                                              (20, 2.7523, 2.7603, 2.3960), (30, 2.5496, 2.5549, 2.2198)])
def test_95_of_95(n: int, howe: float, exact: float, one_side: float):
    """Own arithmetic (handbook E5), made apart from this code."""
    assert howe_factor(n, 0.95, 0.95) == pytest.approx(howe, abs=5e-5)
    assert two_sided_factor(n, 0.95, 0.95) == pytest.approx(exact, abs=5e-5)
    assert one_sided_factor(n, 0.95, 0.95) == pytest.approx(one_side, abs=5e-5)


def test_the_limits_hold_what_they_promise():
    """Counted: of 20000 samples of 8, 90 % must hold at least 95 % of the normal they came from (counting error 0.2 %)."""
    from scipy.special import ndtr

    rng = np.random.default_rng(8)
    samples = rng.standard_normal((20000, 8))
    mean, sd = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    k2, k1 = two_sided_factor(8, 0.95, 0.90), one_sided_factor(8, 0.95, 0.90)
    assert np.mean(ndtr(mean + k2 * sd) - ndtr(mean - k2 * sd) >= 0.95) == pytest.approx(0.90, abs=0.008)
    assert np.mean(ndtr(mean + k1 * sd) >= 0.95) == pytest.approx(0.90, abs=0.008)


@pytest.mark.parametrize("n", [2, 3, 200])
def test_few_and_many_readings(n: int):
    """Two readings promise almost nothing; many come down to the normal quantile 1.96."""
    exact, howe = two_sided_factor(n, 0.95, 0.95), howe_factor(n, 0.95, 0.95)
    assert exact > 1.96
    assert exact == pytest.approx(howe, rel=0.09 if n < 5 else 0.001)


@pytest.mark.parametrize("bad", [(1, 0.9, 0.9), (10, 1.0, 0.9), (10, 0.9, 0.0), (10, float("nan"), 0.9)])
@pytest.mark.parametrize("factor", [one_sided_factor, two_sided_factor, howe_factor])
def test_what_has_no_factor_is_refused(factor: object, bad: tuple[int, float, float]):
    with pytest.raises(InputError, match="2 readings or more"):
        factor(*bad)  # pyright: ignore[reportCallIssue]
