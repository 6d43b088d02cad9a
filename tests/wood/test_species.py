"""Species data against published numbers. C: movement per percent moisture; S: total shrinkage in percent."""

from __future__ import annotations

import pytest
from pydantic import BaseModel

from kerfwright.core.document import build
from kerfwright.core.errors import InputError
from kerfwright.wood.species import Sourced, Species, all_species, find_species

# Listed C, USDA FPL Wood Handbook GTR-190 Table 13-5 (radial, tangential), read in a public copy. These rows are for one
# species, as are their S in Table 4-3: two tables of one handbook that agree. S of red maple from memory of Table 4-3.
LISTED_C = {
    "sugar maple": (0.00165, 0.00353), "red maple": (0.00137, 0.00289), "black cherry": (0.00126, 0.00248),
    "black walnut": (0.00190, 0.00274), "white ash": (0.00169, 0.00274), "American beech": (0.00190, 0.00431),
    "yellow birch": (0.00256, 0.00338), "basswood": (0.00230, 0.00330),
}
# Rows whose C is our own arithmetic from S (Table 4-3, 4-4 or from memory): no outside check, only a guard against slips.
OWN_C = ("yellow-poplar", "true mahogany", "African mahogany", "sapele", "eastern white pine", "western redcedar")
# Named as implicated in a list read in Hansard, 2 August 1978.
LISTED_DUST = {"red oak", "white oak", "American beech", "western redcedar", "African mahogany"}


def coefficient(shrinkage: Sourced | None) -> float:
    """C = S / (3000 - 20 S): Wood Handbook eq. 13-3 at 10 % moisture, rearranged (own arithmetic)."""
    assert shrinkage is not None
    return shrinkage.value / (3000 - 20 * shrinkage.value)


def value(number: Sourced | None) -> float:
    assert number is not None
    return number.value


@pytest.mark.parametrize("name", LISTED_C)
def test_shrinkage_gives_the_listed_movement_to_five_decimals(name: str):
    species = find_species(name)
    computed = (coefficient(species.shrinkage_radial_percent), coefficient(species.shrinkage_tangential_percent))
    assert tuple(round(each, 5) for each in computed) == LISTED_C[name]
    assert (value(species.movement_radial_per_percent), value(species.movement_tangential_per_percent)) == LISTED_C[name]


@pytest.mark.parametrize("name", OWN_C)
def test_our_own_movement_values_follow_from_the_shrinkage(name: str):
    species = find_species(name)
    for shrinkage, movement in ((species.shrinkage_radial_percent, species.movement_radial_per_percent),
                                (species.shrinkage_tangential_percent, species.movement_tangential_per_percent)):
        assert movement is not None
        assert movement.value == round(coefficient(shrinkage), 5)
        assert movement.source.startswith("own arithmetic")


@pytest.mark.parametrize(("name", "listed", "computed"), [("white oak", 0.00365, 0.00376), ("red oak", 0.00369, 0.00304)])
def test_commercial_mixes_are_a_known_miss(name: str, listed: float, computed: float):
    """The handbook lists C for a mix of oaks and S for one: they must not be taken for each other."""
    species = find_species(name)
    assert value(species.movement_tangential_per_percent) == listed
    assert round(coefficient(species.shrinkage_tangential_percent), 5) == computed


def test_every_species_is_in_one_of_the_groups_above():
    rest = {name for name, species in all_species().items() if species.movement_tangential_per_percent is None}
    assert rest == {"ponderosa pine"}
    assert set(all_species()) == {*LISTED_C, *OWN_C, "white oak", "red oak", *rest}


@pytest.mark.parametrize("name", sorted(all_species()))
def test_numbers_hang_together(name: str):
    species = all_species()[name]
    radial, tangential = species.shrinkage_radial_percent, species.shrinkage_tangential_percent
    assert 1 < value(radial) < value(tangential) < 13
    assert 0.3 < species.relative_density.value < 0.75
    assert 7 < value(species.elastic_modulus_gpa) < 15
    # softer across the rings than along them, both far softer than along the grain (from memory of the Wood Handbook, Table 5-1)
    if species.elastic_ratio_tangential is not None:
        assert 0.02 < species.elastic_ratio_tangential.value < value(species.elastic_ratio_radial) < 0.2
    assert 1 < value(species.hardness_kn) < 8 < 10 * value(species.shear_mpa)


def test_hardness_and_stiffness_rise_with_density_on_the_whole():
    """A swapped row or a slipped decimal shows here; no single pair of species must obey it."""
    import scipy.stats

    density = [each.relative_density.value for each in all_species().values()]
    for numbers in ([value(each.hardness_kn) for each in all_species().values()],
                    [value(each.elastic_modulus_gpa) for each in all_species().values()]):
        rank, _ = scipy.stats.spearmanr(density, numbers)
        assert float(rank) > 0.75  # pyright: ignore[reportArgumentType]


@pytest.mark.parametrize(
    ("name", "field", "expected"),
    # Sources stand beside the numbers in the files; these are typed a second time from HANDBOOK table A3.
    [("sugar maple", "compression_perpendicular_mpa", 10.1), ("sugar maple", "elastic_ratio_tangential", 0.065),
     ("white ash", "relative_density", 0.60), ("white ash", "shear_mpa", 13.2), ("black cherry", "hardness_kn", 4.23),
     ("ponderosa pine", "compression_perpendicular_mpa", 4.0), ("basswood", "elastic_modulus_gpa", 10.1), ("sapele", "shear_mpa", 15.6)],
)
def test_numbers_typed_twice(name: str, field: str, expected: float):
    assert getattr(find_species(name), field).value == expected


def test_dust_cautions_name_their_source_and_claim_no_more():
    warned = {name for name, species in all_species().items() if species.dust_caution}
    assert warned == LISTED_DUST
    for name in warned:
        text = find_species(name).dust_caution
        assert "listed as implicated in irritation or sensitisation; hazard varies" in text
        assert "Hansard, 2 August 1978" in text
        assert "HSE Wood Information Sheet 30" in text
        assert "local rules" in text
        assert not any(word in text.lower() for word in ("toxic", "poison", "cancer", "safe"))


def test_remembered_numbers_say_so():
    found = [(name, key) for name, species in all_species().items() for key, number in BaseModel.__iter__(species)
             if isinstance(number, Sourced) and "from memory" in number.source]
    assert len(found) == 58  # counted by hand in the table
    assert ("eastern white pine", "relative_density") in found


def test_an_unknown_species_gets_the_nearest_known_one():
    with pytest.raises(InputError, match=r'"mapel" is not known.*Did you mean "maple"\?$'):
        find_species("mapel")
    assert find_species("  Hard Maple ").name == "sugar maple"


def test_a_number_without_a_source_is_refused():
    tables = {"schema": "kerfwright-species-1", "name": "x", "colour": "#aabbcc", "relative_density": {"value": 0.5}}
    with pytest.raises(InputError, match="relative_density.source is missing"):
        build(tables, Species, where="x.toml")
