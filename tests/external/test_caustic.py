"""The beam's caustic against an independent ISO 11146 program (laserbeamsize, SI metres) on its published helium-neon readings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from external.published_curves import HENE_RADIUS_UM, HENE_UM, HENE_Z_MM
from kerfwright.machine.beam import Caustic, fit_caustic

WIDTH_MM = 2e-3 * HENE_RADIUS_UM
# What laserbeamsize 2.5.0 M2_fit gives for these readings, SI units: d0, z0, Theta, M2, zR and their standard deviations.
RECORDED = (7.26285753e-04, 7.05456488e-01, 1.87469411e-03, 1.68990134, 3.87415604e-01)
RECORDED_SD = (3.72960856e-05, 6.64688484e-02, 2.58434516e-04, 2.79001212e-01, 4.90411804e-02)


def in_si(beam: Caustic) -> tuple[list[float], list[float]]:
    quality = beam.quality_ratio(HENE_UM)
    both = [(beam.waist_mm, 1e-3), (beam.waist_z_mm, 1e-3), (beam.divergence_rad, 1.0), (quality, 1.0), (beam.rayleigh_mm, 1e-3)]
    return [each.value * unit for each, unit in both], [each.sd * unit for each, unit in both]


def test_the_recorded_answer():
    value, sd = in_si(fit_caustic(HENE_Z_MM, WIDTH_MM, "width"))
    np.testing.assert_allclose(value, RECORDED, rtol=1e-6)  # their search stops at 4e-7
    np.testing.assert_allclose(sd, RECORDED_SD, rtol=1e-5)


def test_the_program_itself_agrees():
    import laserbeamsize

    rng = np.random.default_rng(11146)
    z_mm = np.linspace(-8, 9, 14)
    for width_mm, at_mm in ((WIDTH_MM, HENE_Z_MM), (np.hypot(0.12, 0.055 * (z_mm - 0.7)) * rng.normal(1, 0.03, 14), z_mm)):
        theirs, their_sd, used = laserbeamsize.M2_fit(at_mm * 1e-3, width_mm * 1e-3, HENE_UM * 1e-6)
        assert used.all()
        value, sd = in_si(fit_caustic(at_mm, width_mm, "width"))
        np.testing.assert_allclose(value, theirs, rtol=1e-5)
        np.testing.assert_allclose(sd, their_sd, rtol=1e-3)


def test_the_two_weightings_differ_and_say_which():
    """Own arithmetic in the project's handbook, section B: M2 1.690 by width, 1.534 by width squared."""
    by_width, by_square = fit_caustic(HENE_Z_MM, WIDTH_MM, "width"), fit_caustic(HENE_Z_MM, WIDTH_MM, "width squared")
    assert (by_width.weighting, by_square.weighting) == ("width", "width squared")
    got = [1e3 * by_square.waist_mm.value, by_square.waist_z_mm.value, 1e3 * by_square.divergence_rad.value, by_square.rayleigh_mm.value]
    assert [round(each, digits) for each, digits in zip(got, (1, 1, 4, 1), strict=True)] == [720.5, 745.7, 1.7157, 419.9]
    assert by_square.quality_ratio(HENE_UM).value == pytest.approx(1.534, abs=5e-4)


def test_width_squared_is_the_abc_form():
    """ISO 11146-1 section 9, d^2 = a + b z + c z^2 (equations from memory): the same beam by plain linear least squares."""
    c, b, a = np.polyfit(HENE_Z_MM, WIDTH_MM**2, 2)
    root = math.sqrt(4 * a * c - b * b)
    beam = fit_caustic(HENE_Z_MM, WIDTH_MM, "width squared")
    assert beam.waist_z_mm.value == pytest.approx(-b / (2 * c), rel=1e-8)
    assert beam.waist_mm.value == pytest.approx(root / (2 * math.sqrt(c)), rel=1e-8)
    assert beam.divergence_rad.value == pytest.approx(math.sqrt(c), rel=1e-8)
    assert beam.rayleigh_mm.value == pytest.approx(root / (2 * c), rel=1e-8)
    assert beam.quality_ratio(HENE_UM).value == pytest.approx(math.pi * root / (8 * HENE_UM * 1e-3), rel=1e-8)
