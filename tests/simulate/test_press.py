"""Squeeze, force and half-pins. F9: HANDBOOK section F, own arithmetic there from elasticity, independent of this code."""

from __future__ import annotations

import numpy as np
import pytest

from kerfwright.simulate.press import (
    bending_mm_mpa,
    cross_grain,
    crush_from_density_mpa,
    force_n,
    half_pin_word,
    pressure_mpa,
    root_shear_mpa,
    yield_mm_mpa,
)
from kerfwright.wood.species import all_species

MAPLE = cross_grain("sugar maple")


def test_maple_is_as_the_handbook_has_it():
    """A3: MOE 12.6 GPa, ET/EL 0.065, crushing 10.1 MPa, shear 16.1 MPa."""
    assert (MAPLE.modulus_mpa, MAPLE.along_mpa) == pytest.approx((819.0, 12600.0))
    assert (MAPLE.species, MAPLE.crush_mpa, MAPLE.shear_mpa) == ("sugar maple", 10.1, 16.1)


def test_pressure_and_force_of_f9():
    """0.05 mm of squeeze between 6 and 8 mm of maple: 2.925 MPa; on 144 mm2 at friction 0.4 168.5 N."""
    yields = yield_mm_mpa(6.0, MAPLE, 8.0, MAPLE)
    pressing = pressure_mpa(0.05, yields, MAPLE.crush_mpa)
    assert pressing == pytest.approx(2.925, abs=5e-4)
    assert force_n(pressing * 144.0, 0.4) == pytest.approx(168.5, abs=0.05)


def test_wood_crushes_from_where_f9_says():
    """The cap of 10.1 MPa is reached at 0.1727 mm and never passed; a gap presses nothing."""
    yields = yield_mm_mpa(6.0, MAPLE, 8.0, MAPLE)
    squeezes = np.array([0.1727 - 1e-4, 0.1727 + 1e-4, 1.0, -0.1])
    pressing = pressure_mpa(squeezes, yields, MAPLE.crush_mpa)
    assert pressing[0] < 10.1
    assert pressing[1:].tolist() == [10.1, 10.1, 0.0]


def test_a_half_pin_sags_as_a_cantilever_does():
    """Against the beam's own equation summed twice: EI w'' = M, M = q (L - x)^2 / 2, mean sag, per MPa on a face B wide."""
    long_mm, wide_mm, broad_mm, n = 6.2, 3.5, 6.0, 200_001
    x = np.linspace(0, long_mm, n)
    bend = broad_mm * (long_mm - x) ** 2 / 2 / (MAPLE.along_mpa * broad_mm * wide_mm**3 / 12)
    step = x[1]
    slope = np.concatenate([[0.0], np.cumsum((bend[1:] + bend[:-1]) / 2 * step)])
    sag = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) / 2 * step)])
    assert bending_mm_mpa(long_mm, wide_mm, MAPLE) == pytest.approx(float(sag.mean()), rel=1e-4)


def test_shear_at_a_root():
    """1.5 p L / h: 2 MPa over 6 mm carried by 3 mm: 6 MPa."""
    assert root_shear_mpa(np.array([2.0]), 6.0, 3.0) == pytest.approx([6.0])


def test_a_press_fit_at_its_limit_is_near_a_half_pins_limit():
    """Two own judgements agree: a total of -0.10 mm, the tightest class, uses most of the shear of a slim maple half-pin."""
    per_flank_mm, half_pin_mm, tail_mm, long_mm = 0.05, 3.2, 6.0, 6.2
    yields = yield_mm_mpa(tail_mm / 2, MAPLE, half_pin_mm, MAPLE) + bending_mm_mpa(long_mm, half_pin_mm, MAPLE)
    share = root_shear_mpa(pressure_mpa(per_flank_mm, yields, MAPLE.crush_mpa), long_mm, half_pin_mm) / 16.1
    assert 0.6 < float(share) < 1.2


def test_risk_in_words():
    assert half_pin_word(np.full(100, 0.1)) == "low"
    assert half_pin_word(np.full(100, 0.5)) == "raised"
    assert half_pin_word(np.full(100, 0.9)) == "high"
    assert half_pin_word(np.concatenate([np.zeros(85), np.ones(15)])) == "high"  # the worst tenth counts, not the mean
    assert half_pin_word(None) == "unknown"


def test_every_species_has_numbers_and_says_what_was_assumed():
    assert MAPLE.said == ()
    for name in all_species():
        wood = cross_grain(name)
        assert 100 < wood.modulus_mpa < 2500
        assert 1 < wood.crush_mpa < 15
    assert "ratio" in " ".join(cross_grain("American beech").said)
    assert "density" in " ".join(cross_grain("true mahogany").said)
    assert len(cross_grain("sapele").said) == 2


def test_crushing_from_density_is_near_what_is_listed():
    """The curve for hardwoods (Wood Handbook Table 5-11, from memory) against the listed values (A3): within a third."""
    softwoods = ("pine", "cedar")
    listed = {name: each for name, each in all_species().items()
              if each.compression_perpendicular_mpa and not any(soft in name for soft in softwoods)}
    assert len(listed) >= 10
    for wood in listed.values():
        assert wood.compression_perpendicular_mpa is not None
        assert crush_from_density_mpa(wood) == pytest.approx(wood.compression_perpendicular_mpa.value, rel=1 / 3), wood.name
