"""The beam's caustic: the law, its fit, and what it refuses. Published readings stand in tests/external."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.core.errors import InputError
from kerfwright.machine.beam import Weighting, fit_caustic, width_mm

WEIGHTINGS: tuple[Weighting, ...] = ("width", "width squared")
Z_MM = np.linspace(-6, 6, 13)


def test_hourglass():
    """Own arithmetic, handbook F6: d0 0.10 mm, zR 3 mm, 6 mm away: 0.10 sqrt(1 + 4) = 0.223607."""
    np.testing.assert_allclose(width_mm(np.array([-6.0, 0.0, 6.0]), 0.10, 0.0, 0.10 / 3), [0.223607, 0.10, 0.223607], atol=5e-7)


@pytest.mark.parametrize("weighting", WEIGHTINGS)
@pytest.mark.parametrize("waist_z_mm", [-2.5, 0.0, 1.25, 5.5])
def test_exact_readings_give_the_beam_back(weighting: Weighting, waist_z_mm: float):
    beam = fit_caustic(Z_MM, width_mm(Z_MM, 0.12, waist_z_mm, 0.05), weighting, "focus ladder")
    assert (beam.waist_mm.value, beam.divergence_rad.value) == pytest.approx((0.12, 0.05), rel=1e-7)
    assert beam.waist_z_mm.value == pytest.approx(waist_z_mm, abs=1e-7)
    assert beam.rayleigh_mm.value == pytest.approx(2.4, rel=1e-7)
    assert beam.waist_mm.n == 13
    assert beam.waist_mm.source == "focus ladder"
    np.testing.assert_allclose(beam.width_mm(Z_MM), width_mm(Z_MM, 0.12, waist_z_mm, 0.05), rtol=1e-6)
    # M2 = pi d0 Theta / (4 lam): at 0.445 um, own arithmetic
    assert beam.quality_ratio(0.445).value == pytest.approx(np.pi * 0.12 * 0.05 / (4 * 0.445e-3), rel=1e-7)


@pytest.mark.parametrize("weighting", WEIGHTINGS)
def test_the_spread_it_tells_is_the_spread_it_has(weighting: Weighting):
    """400 beams read with 0.003 mm of error: the scatter of the answers against the sd that each of them states."""
    rng = np.random.default_rng(4)
    beams = [fit_caustic(Z_MM, width_mm(Z_MM, 0.12, 0.4, 0.05) + rng.normal(0, 0.003, 13), weighting) for _ in range(400)]
    if weighting == "width":  # errors of one length: the weighting that is right for them tells the right spread
        for name in ("waist_mm", "waist_z_mm", "divergence_rad", "rayleigh_mm"):
            answers = np.array([getattr(beam, name).value for beam in beams])
            stated = np.sqrt(np.mean([getattr(beam, name).sd ** 2 for beam in beams]))
            assert answers.std() == pytest.approx(stated, rel=0.12)
        quality = [beam.quality_ratio(0.445) for beam in beams]
        assert np.std([each.value for each in quality]) == pytest.approx(np.sqrt(np.mean([each.sd**2 for each in quality])), rel=0.12)
        assert np.sqrt(np.mean([beam.residual_sd_mm**2 for beam in beams])) == pytest.approx(0.003, rel=0.05)
    else:  # leaning on the wide ends it still finds the beam, less well
        assert np.mean([beam.waist_mm.value for beam in beams]) == pytest.approx(0.12, rel=0.02)
        assert np.std([beam.waist_mm.value for beam in beams]) > 0.0015


def test_widths_that_close_have_no_waist():
    with pytest.raises(InputError, match="do not open away"):
        fit_caustic(Z_MM, 0.5 - 0.01 * np.abs(Z_MM) ** 1.5)


@pytest.mark.parametrize(("z", "d"), [(Z_MM[:3], np.ones(3)), (Z_MM, np.ones(12)), (np.zeros(6), np.ones(6)), (Z_MM, np.zeros(13)),
                                      (Z_MM, np.full(13, np.nan)), (np.full(13, np.inf), np.ones(13))])
def test_readings_that_are_none_are_refused(z: np.ndarray, d: np.ndarray):
    with pytest.raises(InputError, match="heights|widths"):
        fit_caustic(z, d)
