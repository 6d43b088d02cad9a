"""First guesses against the rules of thumb and the published cuts they are made from."""

from __future__ import annotations

import pytest

from coupon_samples import MACHINES, machine, site
from kerfwright.core.errors import InputError
from kerfwright.coupons.first_guess import FIRST_GUESS, first_guess, guess_findings, is_first_guess, needed_j_mm


def test_a_30_w_diode_takes_12_mm_of_medium_hardwood_at_4_mm_s():
    """Common practice, no source."""
    assert 30.0 / needed_j_mm("diode", 0.63, 12.0) == pytest.approx(4.0)


@pytest.mark.parametrize(("thickness_mm", "line_energy_j_mm"), [(6.35, 5.721), (25.4, 38.83)])
def test_co2_matches_the_published_southern_pine_cuts(thickness_mm: float, line_energy_j_mm: float):
    """McMillin and Harry, Forest Products Journal 21(10) 1971 p. 35: 99.1 in/min at 0.25 in and 14.6 at 1.00 in with 240 W."""
    assert needed_j_mm("co2", 0.63, thickness_mm) == pytest.approx(line_energy_j_mm, rel=3e-3)


@pytest.mark.parametrize("which", sorted(MACHINES))
@pytest.mark.parametrize("thickness_mm", [0.5, 3.0, 6.0, 12.0, 20.0])
@pytest.mark.parametrize("species", ["basswood", "maple", "white oak"])
def test_a_guess_is_a_whole_recipe_that_says_it_is_one(which: str, thickness_mm: float, species: str):
    made = machine(which)
    guess = first_guess(made, species, thickness_mm)
    assert guess.made_from == FIRST_GUESS
    assert is_first_guess(guess)
    cut = guess.through_for(thickness_mm)
    assert cut.speed_mm_s <= made.top_speed_mm_s
    assert all(FIRST_GUESS in each.source for kerf in cut.kerf for each in (kerf.top_mm, kerf.waist_mm, kerf.bottom_mm))
    assert guess.ramp is not None
    assert FIRST_GUESS in guess.ramp.wall_shift_mm.source
    assert all(depth.sd == pytest.approx(0.4 * depth.value) for _, depth in guess.ramp.depth)
    assert guess.ramp.deepest_mm >= 0.8 * thickness_mm
    if made.z == "by hand":
        assert cut.focus_step_mm == guess.ramp.focus_step_mm == 0.0


def test_denser_and_thicker_wood_is_guessed_slower():
    speeds = {(s, t): first_guess(machine(), s, t).through[0] for s in ("basswood", "maple") for t in (3.0, 6.0, 12.0)}
    for species in ("basswood", "maple"):
        energies = [20.0 * cut.passes**0.8 / cut.speed_mm_s for cut in (speeds[species, t] for t in (3.0, 6.0, 12.0))]
        assert energies == sorted(energies)
        assert energies[2] / energies[0] > 4 * 1.2  # more than in proportion: losses grow with depth
    assert speeds["basswood", 6.0].speed_mm_s > speeds["maple", 6.0].speed_mm_s


def test_the_plan_is_warned():
    findings = guess_findings(site().recipe, "coupon")
    assert [each.code for each in findings] == ["first-guess"]
    assert "nothing was burnt" in findings[0].text
    assert guess_findings(site().recipe.model_copy(update={"made_from": "12 readings"})) == []


@pytest.mark.parametrize("thickness_mm", [0.0, -3.0, 55.0, float("nan")])
def test_no_board_is_that_thick(thickness_mm: float):
    with pytest.raises(InputError, match=r"0\.3 to 40 mm"):
        first_guess(machine(), "maple", thickness_mm)
