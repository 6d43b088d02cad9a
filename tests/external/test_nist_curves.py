"""Curve fits against the certified values of NIST's Statistical Reference Datasets, from both published starts."""

from __future__ import annotations

import numpy as np
import pytest

from external import published_curves as published
from kerfwright.calibrate.laws import saturating_law
from kerfwright.calibrate.regression import fit_law


@pytest.mark.parametrize("start", published.MISRA1A_STARTS)
def test_misra1a(start: tuple[float, float]):
    fit = fit_law(saturating_law(*start), published.MISRA1A_X, published.MISRA1A_Y)
    np.testing.assert_allclose(fit.value, published.MISRA1A_B, rtol=1e-8)
    np.testing.assert_allclose(fit.sd, published.MISRA1A_SD, rtol=1e-6)
    assert fit.sum_value == pytest.approx(published.MISRA1A_SUM, rel=1e-9)
    assert fit.n_dof == pytest.approx(12)
    assert fit.residual_sd == pytest.approx(1.0187876330e-01, rel=1e-8)  # certified; equals sqrt(sum / 12)


@pytest.mark.parametrize("start", published.BOXBOD_STARTS)
def test_boxbod(start: tuple[float, float]):
    fit = fit_law(saturating_law(*start), published.BOXBOD_X, published.BOXBOD_Y)
    np.testing.assert_allclose(fit.value, published.BOXBOD_B, rtol=1e-7)
    np.testing.assert_allclose(fit.sd, published.BOXBOD_SD, rtol=1e-6)
    assert fit.sum_value == pytest.approx(published.BOXBOD_SUM, rel=1e-9)
    assert fit.n_dof == pytest.approx(4)
