"""The burn law against the analytic oracles of HANDBOOK F, all in the tests' own arithmetic."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from kerfwright.simulate.law import Passes, field_depth_mm, line_dose_j_mm, line_j_mm2, slit_half_width_mm
from simulate.burn_samples import LAW

ROUND = replace(LAW, waist_x_mm=0.06, waist_y_mm=0.06, dead_frac=0.0, threshold_j_mm2=0.5, char_mm=0.0)
ONE_PASS = Passes(np.array([0.5]), np.array([0.0]))  # 10 W at 20 mm/s


def test_f2_line_and_trench():
    """HANDBOOK F2: P = 10 W, v = 20 mm/s, w = 0.06 mm, threshold 0.5 J/mm2; linear law with 4 J/mm3."""
    assert float(line_j_mm2(0.5, np.array(0.06))) == pytest.approx(6.649038, abs=5e-7)
    width = 2 * slit_half_width_mm(ROUND, ONE_PASS, np.array([0.0]), 0.0)[0]
    assert width == pytest.approx(0.13649491, abs=5e-9)
    assert float(line_dose_j_mm(ROUND, np.array(0.5), np.array(0.06))) / 4 == pytest.approx(0.105074259, abs=5e-10)


def test_f2_logarithmic_law():
    """HANDBOOK F2, log law with 0.05 mm: our need is that law when need x loss is the threshold. Depth 0.129380968, area 0.011773229."""
    law = replace(ROUND, need_j_mm3=0.5 / 0.05, loss_mm=0.05, rayleigh_mm=1e9)
    y = np.linspace(-0.07, 0.07, 200_001)
    dose = np.maximum(line_j_mm2(0.5, np.array(0.06)) * np.exp(-2 * (y / 0.06) ** 2) - 0.5, 0.0)
    depth = law.depth_mm(dose)
    assert depth.max() == pytest.approx(0.129380968, abs=5e-10)
    assert np.sum(depth) * (y[1] - y[0]) == pytest.approx(0.011773229, abs=5e-9)


def test_f5_the_widest_kerf_is_out_of_focus():
    """HANDBOOK F5: with A = sqrt(2/pi) E / Fth the kerf is widest, A e^-1/2, where the beam's radius is the same."""
    law = replace(ROUND, slit_mm=1.0)
    a = math.sqrt(2 / math.pi) * 0.05 / 0.5
    radius = np.linspace(0.9, 1.1, 2001) * a * math.exp(-0.5)
    focus = np.sqrt((radius / 0.03) ** 2 - 1)
    thin = replace(law, waist_x_mm=0.03, waist_y_mm=0.03)
    kerf = 2 * slit_half_width_mm(thin, Passes(np.full((2001, 1), 0.05), focus[:, None]), np.array([0.0]), 0.0)[:, 0]
    assert kerf.max() == pytest.approx(a * math.exp(-0.5), rel=1e-6)
    assert radius[kerf.argmax()] == pytest.approx(a * math.exp(-0.5), rel=2e-3)


def test_f6_hourglass():
    """HANDBOOK F6: waist 0.10 mm across, Rayleigh length 3 mm, 6 mm away: 0.223607."""
    law = replace(LAW, waist_x_mm=0.05, waist_y_mm=0.05, rayleigh_mm=3.0)
    assert 2 * float(law.radius_mm(np.array(6.0), 0.0, slit=False)) == pytest.approx(0.223607, abs=5e-7)
    assert 2 * float(law.radius_mm(np.array(-6.0), 0.0, slit=False)) == pytest.approx(0.223607, abs=5e-7)


def test_many_slits_at_once_are_each_alone():
    """A stack of passes gives what one at a time gives, and the sum of the law at the wall is the need."""
    energy, focus = np.array([[2.0, 2.0], [1.2, 0.0], [0.9, 0.9]]), np.array([[-0.5, -1.3], [0.4, 0.0], [-2.0, 1.0]])
    depth, share, ratio = np.linspace(0, 5, 11), np.array([0.0, 1.0, 0.5]), np.array([1.0, 0.9, 1.2])
    together = slit_half_width_mm(LAW, Passes(energy, focus), depth, share, ratio)
    n_open = 0
    for i in range(3):
        alone = slit_half_width_mm(LAW, Passes(energy[i], focus[i]), depth, float(share[i]), float(ratio[i]))
        np.testing.assert_array_equal(together[i], alone)
        waist2 = 0.05**2 * share[i] + 0.06**2 * (1 - share[i])
        for z, half in zip(depth[1:], alone[1:], strict=True):
            if half == 0:
                continue
            n_open += 1
            total = 0.0
            for k in range(2):
                w = math.sqrt(waist2 * (1 + ((z + focus[i, k]) / 4.0) ** 2))
                over = math.sqrt(2 / math.pi) * energy[i, k] / w * math.exp(-2 * (half / w) ** 2) - 0.3
                total += (1.0, 0.8)[k] * max(over, 0.0)
            assert total == pytest.approx(2.5 * 6 * (math.exp(z / 6) - 1) * math.sqrt(ratio[i]), rel=1e-5)
    assert n_open > 12


def test_a_field_is_as_deep_as_its_mean_dose():
    """Lines at half a radius bring dose without a ripple, all of it over a neighbour's char: a l (exp(z/l) - 1) = kappa dose / spacing."""
    law = replace(ROUND, rayleigh_mm=1e9, threshold_j_mm2=1e-9)
    depth = field_depth_mm(law, Passes(np.array([0.4]), np.array([0.0])), 0.05, 0.0)
    assert 2.5 * 6 * math.expm1(depth / 6) == pytest.approx(law.over_char_frac * 0.4 / 0.05, rel=1e-6)
