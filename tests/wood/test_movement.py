"""Moisture and movement against the handbook's own table and worked example, and a magazine's drawer fronts."""

from __future__ import annotations

from pathlib import Path

import pytest

from kerfwright.core.errors import InputError
from kerfwright.wood.movement import Sawn, change_mm, moisture_frac, movement_per_percent
from kerfwright.wood.species import Sourced, Species, find_species

TABLE = Path(__file__).resolve().parents[1] / "external" / "data" / "wood_handbook_table_4_2.txt"


def cells() -> list[tuple[float, float, float]]:
    """(deg F, humidity %, moisture %) of every cell."""
    found: list[tuple[float, float, float]] = []
    for line in TABLE.read_text(encoding="ascii").splitlines():
        if not line.startswith("#"):
            degrees_f, *row = (float(word) for word in line.split())
            found += [(degrees_f, 5.0 * (i + 1), percent) for i, percent in enumerate(row)]
    return found


def test_every_cell_of_the_handbooks_table():
    """USDA FPL Wood Handbook GTR-190 Table 4-2 (read in a public copy). The table was made from this equation, so this
    checks our coding of it, not the wood. Largest deviation 0.052 as measured; the table has one decimal."""
    table = cells()
    assert len(table) == 190
    off = [100 * moisture_frac((f - 32) / 1.8, h / 100).value - percent for f, h, percent in table]
    assert max(abs(each) for each in off) < 0.055


@pytest.mark.parametrize(("humidity", "percent"), [(0.50, 9.27), (0.65, 12.00), (0.75, 14.45), (0.95, 23.94)])
def test_moisture_at_twenty_degrees(humidity: float, percent: float):
    """Own arithmetic with the same equation, to two decimals."""
    assert 100 * moisture_frac(20.0, humidity).value == pytest.approx(percent, abs=0.005)


def test_the_handbooks_worked_example_of_movement():
    """Wood Handbook ch. 13: 232 mm of white fir, ending at 11 %, grows to 233.7 mm (read in a public copy). Its C = 0.00245
    and the start at 8 % are from memory of the same page."""
    fir = Species.model_validate({
        "schema": "kerfwright-species-1", "name": "white fir", "colour": "#e0d0b0",
        "relative_density": Sourced(value=0.39, source="from memory, unused here"),
        "movement_tangential_per_percent": Sourced(value=0.00245, source="from memory of Wood Handbook ch. 13")})
    grown = change_mm(232.0, fir, Sawn.FLAT, 0.08, 0.11)
    assert 232.0 + grown.value == pytest.approx(233.7, abs=0.05)
    assert grown.value == pytest.approx(1.7052, abs=1e-4)


@pytest.mark.parametrize(("species", "inches", "published"), [("sugar maple", 0.1278, 1 / 8), ("black cherry", 0.0898, 3 / 32)])
def test_a_drawer_front_through_the_seasons(species: str, inches: float, published: float):
    """A 4 in flat-sawn drawer front from 35 to 80 % humidity: about 1/8 in in maple, 3/32 in cherry (a woodworker's page of
    2012-08-12, read in a public copy). inches: law (2) by hand at 70 deg F, even past 14 % where ours turns to law (3)."""
    dry, damp = (moisture_frac((70 - 32) / 1.8, humidity).value for humidity in (0.35, 0.80))
    moved = change_mm(4 * 25.4, find_species(species), Sawn.FLAT, dry, damp).value / 25.4
    assert moved == pytest.approx(published, rel=0.05)
    assert moved == pytest.approx(inches, rel=0.015)


def test_both_movement_laws_meet_at_ten_percent():
    """Law (3) from 10 % is law (2) with C = S / (3000 - 20 S): maple's listed C and S agree so to five decimals."""
    maple = find_species("sugar maple")
    assert maple.shrinkage_tangential_percent is not None
    assert maple.movement_tangential_per_percent is not None
    assert movement_per_percent(maple.shrinkage_tangential_percent.value) == pytest.approx(
        maple.movement_tangential_per_percent.value, abs=5e-6)
    inside = change_mm(100.0, maple, Sawn.FLAT, 0.10, 0.14).value
    outside = change_mm(100.0, maple, Sawn.FLAT, 0.10, 0.140001).value
    assert outside == pytest.approx(inside, rel=2e-3)


def test_unknown_rings_span_both_ways_of_sawing():
    cherry = find_species("black cherry")
    quarter, flat, unknown = (change_mm(150.0, cherry, sawn, 0.07, 0.12) for sawn in (Sawn.QUARTER, Sawn.FLAT, Sawn.UNKNOWN))
    assert quarter.value == pytest.approx(150 * 0.00126 * 5)
    assert flat.value == pytest.approx(150 * 0.00248 * 5)
    assert unknown.value == pytest.approx((quarter.value + flat.value) / 2)
    assert unknown.value - 2 * unknown.sd < quarter.value < flat.value < unknown.value + 2 * unknown.sd
    assert change_mm(150.0, cherry, Sawn.FLAT, 0.12, 0.07).value == pytest.approx(-flat.value)


def test_what_no_air_or_board_can_be_is_refused():
    with pytest.raises(InputError, match="98 %"):
        moisture_frac(20.0, 1.0)
    with pytest.raises(InputError, match="93 deg C"):
        moisture_frac(120.0, 0.5)
    with pytest.raises(InputError, match="no longer moves"):
        change_mm(100.0, find_species("sugar maple"), Sawn.FLAT, 0.08, 0.35)
    with pytest.raises(InputError, match="not on record"):
        change_mm(100.0, find_species("ponderosa pine").model_copy(update={
            "shrinkage_tangential_percent": None, "movement_tangential_per_percent": None}), Sawn.FLAT, 0.08, 0.10)
