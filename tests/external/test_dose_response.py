"""Yes or no, and ladders of outcomes, against published analyses."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.calibrate.dose import fit_dose
from kerfwright.calibrate.outcome import fit_outcomes

# Beetles killed by carbon disulphide, log10 dose. Bliss (1935), as in Dobson, An Introduction to Generalized Linear Models, Table 7.2.
BEETLES_DOSE = np.array([1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839])
BEETLES_N = np.array([59, 60, 62, 56, 63, 59, 62, 60], dtype=float)
BEETLES_KILLED = np.array([6, 13, 18, 28, 52, 53, 61, 60], dtype=float)

# Four cheeses tasted, scored 1 to 9 by 52 people each. McCullagh and Nelder, Generalized Linear Models, p. 175 (counts from memory,
# confirmed by the published fit coming out of them).
CHEESES = np.array([[0, 0, 1, 7, 8, 8, 19, 8, 1], [6, 9, 12, 11, 7, 6, 1, 0, 0], [1, 1, 6, 8, 23, 7, 5, 1, 0],
                    [0, 0, 0, 1, 3, 7, 14, 16, 11]])


def test_beetles_logit():
    """Dobson, Table 7.4 (from memory): -60.72 (5.18), 34.27 (2.91), deviance 11.23 on 6 degrees of freedom."""
    fit = fit_dose(BEETLES_DOSE, BEETLES_KILLED, BEETLES_N, "logit")
    np.testing.assert_allclose(fit.line_value, [-60.717, 34.270], atol=1e-3)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.line_matrix)), [5.181, 2.912], atol=1e-3)
    assert fit.deviance_value == pytest.approx(11.23, abs=5e-3)
    assert fit.middle.value == pytest.approx(1.771721, abs=5e-7)  # own arithmetic, 60.71745 / 34.27033


def test_beetles_probit():
    """Dobson, section 7.3 (from memory): -34.94 (2.64), 19.73 (1.48), deviance 10.12."""
    fit = fit_dose(BEETLES_DOSE, BEETLES_KILLED, BEETLES_N, "probit")
    np.testing.assert_allclose(fit.line_value, [-34.94, 19.73], atol=6e-3)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.line_matrix)), [2.64, 1.48], atol=1e-2)
    assert fit.deviance_value == pytest.approx(10.12, abs=5e-3)


def test_cheeses_cumulative_logit():
    """SAS/STAT, PROC LOGISTIC, example "Ordinal Logistic Regression" (from memory); its additives enter with the other sign."""
    additive = np.vstack([np.eye(3), np.zeros(3)])
    fit = fit_outcomes(additive, CHEESES, tuple("123456789"), penalised=False)
    np.testing.assert_allclose(fit.cut_value, [-7.0801, -6.0249, -4.9254, -3.8568, -2.5205, -1.5685, -0.0669, 1.4930], atol=2e-4)
    np.testing.assert_allclose(fit.cut_sd, [0.5624, 0.4755, 0.4272, 0.3902, 0.3431, 0.3086, 0.2658, 0.3310], atol=2e-4)
    np.testing.assert_allclose(-fit.push_value, [1.6128, 4.9645, 3.3227], atol=2e-4)
    np.testing.assert_allclose(fit.push_sd, [0.3778, 0.4741, 0.4251], atol=2e-4)
