"""Thermal values of wood against published ones."""

from __future__ import annotations

import pytest

from kerfwright.wood.species import all_species
from kerfwright.wood.thermal import (
    band_mm,
    basic_density,
    conductivity_w_mk,
    density_at,
    density_kg_m3,
    diffusivity_mm2_s,
    heat_j_mm3k,
    specific_heat_j_kgk,
)


def test_conductivity_of_the_published_example():
    """Documentation of an open chemistry package for wood, quoting the USDA Wood Handbook: basic density 0.54, volume
    shrinkage 12.3 %, moisture 10 %: 0.1567 W/mK (HANDBOOK A4)."""
    density = density_at(0.54, 0.10, shrinkage_frac=0.123)
    assert conductivity_w_mk(density, 0.10) == pytest.approx(0.1567, abs=5e-5)


def test_conductivity_of_sugar_maple():
    """A public page on sugar maple gives 0.18 W/mK (HANDBOOK A3, F1); the Wood Handbook equation claims 20 %."""
    maple = all_species()["sugar maple"].relative_density.value
    assert conductivity_w_mk(maple, 0.12) == pytest.approx(0.18, rel=0.20)


def test_conductivity_grows_two_to_three_per_cent_in_ten_degrees():
    """USDA Wood Handbook GTR-190, p. 90 (HANDBOOK A4)."""
    assert 1.02 <= conductivity_w_mk(0.6, 0.12, 34.0) / conductivity_w_mk(0.6, 0.12, 24.0) <= 1.03


def test_specific_heat_of_the_published_example():
    """The same documentation, citing Wood Handbook eq. 4-16a to 4-18: 12 % at 340 K, 1.9146 kJ/kgK (HANDBOOK A4)."""
    assert specific_heat_j_kgk(0.12, 340 - 273.15) == pytest.approx(1914.6, abs=0.05)


def test_density_of_white_ash():
    """USDA Wood Handbook GTR-190, p. 89: basic 0.55, 0.605 at 12 % (off a chart), 678 kg/m3 (HANDBOOK A4)."""
    assert density_kg_m3(0.605, 0.12) == pytest.approx(678, abs=0.5)
    assert density_at(0.55, 0.12) == pytest.approx(0.605, rel=0.005)  # the chart is read to about half a per cent
    assert density_kg_m3(density_at(0.55, 0.12), 0.12) == pytest.approx(678, rel=0.005)


def test_basic_density_and_back():
    for g12 in (0.35, 0.42, 0.605, 0.68):
        assert density_at(basic_density(g12), 0.12) == pytest.approx(g12, rel=1e-12)


def test_wood_above_fibre_saturation_swells_no_more():
    assert density_at(0.5, 0.30) == density_at(0.5, 0.35) == 0.5


def test_diffusivity_and_the_handbooks_return_times():
    """HANDBOOK H 5: d^2/alpha is 0.067 s at 0.1 mm and 6.7 s at 1 mm, so alpha is 0.149 mm2/s; own arithmetic there, no source."""
    density = density_at(0.55, 0.12)
    held = heat_j_mm3k(density_kg_m3(density, 0.12), specific_heat_j_kgk(0.12, 24.0))
    across = diffusivity_mm2_s(conductivity_w_mk(density, 0.12), held)
    assert across == pytest.approx(0.149, rel=0.05)
    assert band_mm(across, 1 / (4 * 3.141592653589793 * across)) == pytest.approx(1.0, rel=1e-12)
