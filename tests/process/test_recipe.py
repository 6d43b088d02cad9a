"""A recipe repeats what was measured, rises between readings, inverts, and refuses to speak where nothing was burnt."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from kerfwright.core.document import build
from kerfwright.core.errors import InputError, RecipeRangeError
from kerfwright.process.recipe import KerfProfile, RampSettings, Recipe, ThroughCut, monotone_interpolate

RISING = st.lists(st.floats(0.01, 10), min_size=2, max_size=12)


def kerf(travel: str = "x", grain: str = "along", top: str = "0.30 ± 0.02 mm", waist: str = "0.20 ± 0.01 mm", bottom: str = "0.24 mm",
         waist_at: str = "60 %") -> dict[str, Any]:
    return {"travel": travel, "grain": grain, "top": top, "waist": waist, "bottom": bottom, "waist_at": waist_at}


THROUGH: dict[str, Any] = {"thickness": ["5.5 mm", "6.5 mm"], "power": "100 %", "speed": "4 mm/s", "passes": 2, "kerf": [kerf()]}
RAMP: dict[str, Any] = {
    "speed": "40 mm/s", "spacing": "0.06 mm", "layers": 2,
    "depth": [["10 %", "0.2 ± 0.05 mm"], ["25 %", "1.1 ± 0.1 mm"], ["40 %", "2.9 ± 0.2 mm"], ["70 %", "4.8 ± 0.3 mm"]],
    "through_power": "85 %", "through_thickness": "6 mm",
}
RECIPE: dict[str, Any] = {"schema": "kerfwright-recipe-1", "name": "maple, 20 W", "machine": "invented 20 W", "species": "sugar maple",
                          "through": [THROUGH], "ramp": RAMP, "engrave": {"power": "20 %", "speed": "60 mm/s"}}


def ramp() -> RampSettings:
    return build(RAMP, RampSettings, where="ramp")


# --- the curve between readings


@given(RISING, RISING, st.integers(0, 2**32 - 1))
def test_interpolation_is_that_of_an_independent_implementation(x_steps: list[float], y_steps: list[float], seed: int):
    """scipy's PchipInterpolator, an implementation of the same published method by others."""
    n = min(len(x_steps), len(y_steps))
    x, y = np.cumsum(x_steps[:n]), np.cumsum(y_steps[:n])
    at = np.sort(np.random.default_rng(seed).uniform(x[0], x[-1], 40))
    np.testing.assert_allclose(monotone_interpolate(x, y, at), PchipInterpolator(x, y)(at), rtol=1e-9, atol=1e-12)


# To a thousandth, as a depth is read: between steps of 1e-308 mm scipy itself divides by what has run out.
@given(st.lists(st.integers(-5000, 5000).map(lambda n: n / 1000), min_size=3, max_size=10))
def test_it_agrees_on_curves_that_turn_as_well(y: list[float]):
    x = np.arange(len(y), dtype=float) ** 1.3
    at = np.linspace(x[0], x[-1], 57)
    np.testing.assert_allclose(monotone_interpolate(x, np.array(y), at), PchipInterpolator(x, np.array(y))(at), rtol=1e-9, atol=1e-9)


@given(RISING, RISING)
def test_it_passes_through_the_readings_and_never_falls(x_steps: list[float], y_steps: list[float]):
    n = min(len(x_steps), len(y_steps))
    x, y = np.cumsum(x_steps[:n]), np.cumsum(y_steps[:n])
    np.testing.assert_allclose(monotone_interpolate(x, y, x), y, rtol=1e-12)
    dense = monotone_interpolate(x, y, np.linspace(x[0], x[-1], 500))
    assert np.all(np.diff(dense) >= -1e-12 * y[-1])


# --- ramps


def test_the_ramp_gives_back_its_own_readings():
    powers = ramp().power_for_depth(np.array([0.2, 1.1, 2.9, 4.8, 6.0]))
    np.testing.assert_allclose(powers, [0.10, 0.25, 0.40, 0.70, 0.85], rtol=1e-12)


def test_the_power_for_a_depth_burns_that_depth():
    """Inverse and forward curve are each monotone fits of the same readings: they agree to a few per cent of a step."""
    depths = np.linspace(0.2, 6.0, 200)
    powers = ramp().power_for_depth(depths)
    assert np.all(np.diff(powers) > 0)
    curve_powers, curve_depths = ramp().curve()
    forward = PchipInterpolator(curve_powers, curve_depths)
    # scipy's root finder on the forward curve: the exact inverse of the other direction's interpolant
    exact = np.array([forward.solve(depth, extrapolate=False)[0] for depth in depths[1:-1]])
    assert np.max(np.abs(exact - powers[1:-1])) < 0.02
    assert np.max(np.abs(forward(powers) - depths)) < 0.20


def test_a_ramp_refuses_depths_that_were_never_burnt():
    for depth_mm in (0.19, 6.01, -1.0):
        with pytest.raises(RecipeRangeError, match=r"0\.20 to 6\.00 mm, the depths this recipe was burnt at\. Burn the ramp") as caught:
            ramp().power_for_depth(np.array([2.0, depth_mm]))
        assert caught.value.exit_code == 4
    assert (ramp().shallowest_mm, ramp().deepest_mm) == (0.2, 6.0)


def test_a_depth_that_is_no_number_is_refused():
    with pytest.raises(RecipeRangeError):
        ramp().power_for_depth(np.array([2.0, np.nan]))


def test_the_spread_of_a_depth_lies_between_its_neighbours():
    assert ramp().depth_sd_mm(1.1) == pytest.approx(0.1)
    assert ramp().depth_sd_mm(2.0) == pytest.approx(0.15)
    assert ramp().depth_sd_mm(4.8) == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"depth": [["10 %", "1 mm"], ["20 %", "0.9 mm"], ["30 %", "2 mm"]]}, "do not rise with power"),
        ({"depth": [["10 %", "1 mm"], ["10 %", "1.5 mm"], ["30 %", "2 mm"]]}, "do not rise with power"),
        ({"depth": [["10 %", "1 mm"], ["30 %", "2 mm"]]}, "at least 3"),
        ({"through_power": "60 %"}, "do not rise with power"),
        ({"through_thickness": "4 mm"}, "do not rise with power"),
        ({"through_thickness": None}, "through_power and through_thickness come together"),
        ({"spacing": "2 mm"}, "line spacing 2"),
        ({"spacing": "1 um"}, "line spacing 0.001"),
        ({"layers": 0}, "layers"),
        ({"depth": [["10 %", "1 mm ± -0.1 mm"], ["20 %", "2 mm"], ["30 %", "3 mm"]]}, "is negative"),
        ({"depht": []}, 'did you mean "depth"'),
    ],
)
def test_ramps_that_cannot_be(change: dict[str, Any], reason: str):
    with pytest.raises(InputError, match=reason):
        build({**RAMP, **change}, RampSettings, where="ramp")


# --- the slit


def profile(**changes: str) -> KerfProfile:
    return build(kerf(**changes), KerfProfile, where="kerf")


def test_the_kerf_passes_through_the_measured_widths():
    for waist_at in ("60 %", "10 %", "95 %"):
        slit = profile(waist_at=waist_at)
        assert slit.width_mm(0.0) == pytest.approx(0.30, rel=1e-12)
        assert slit.width_mm(slit.waist_at_frac) == pytest.approx(0.20, rel=1e-12)
        assert slit.width_mm(1.0) == pytest.approx(0.24, rel=1e-12)


def test_each_half_of_the_kerf_is_the_hyperbola_of_a_focused_beam():
    """HANDBOOK F6 (own arithmetic): d0 0.10 mm, Rayleigh length 3 mm, 6 mm away: 0.223607 mm. Half way, d0 sqrt(1 + 1)."""
    slit = profile(top="0.2236067977 mm", waist="0.10 mm", bottom="0.2236067977 mm", waist_at="50 %")  # 12 mm thick, waist in the middle
    assert slit.width_mm(0.25) == pytest.approx(0.1 * np.sqrt(2), rel=1e-8)
    assert slit.width_mm(0.75) == pytest.approx(0.1 * np.sqrt(2), rel=1e-8)


@given(st.floats(0, 1))
def test_the_waist_is_the_narrowest_place(depth_frac: float):
    slit = profile()
    assert 0.20 * (1 - 1e-12) <= slit.width_mm(depth_frac) <= 0.30 * (1 + 1e-12)


def test_blending_two_slits_adds_their_spreads():
    blend = profile().blended(profile(top="0.40 ± 0.04 mm", waist="0.30 ± 0.03 mm", bottom="0.44 mm", waist_at="40 %"), 0.25)
    assert (blend.top_mm.value, blend.top_mm.sd) == (pytest.approx(0.325), pytest.approx(0.025))
    assert (blend.waist_mm.value, blend.waist_mm.sd) == (pytest.approx(0.225), pytest.approx(0.015))
    assert blend.waist_at_frac == pytest.approx(0.55)
    assert profile().blended(profile(), 0.7).bottom_mm.value == pytest.approx(0.24)


@pytest.mark.parametrize(
    ("change", "reason"),
    [({"waist": "0.25 mm"}, "the waist the narrowest"), ({"waist": "0 mm"}, "widths above 0"), ({"top": "3.1 mm"}, "up to 3 mm"),
     ({"bottom": "-0.2 mm"}, "a kerf of"), ({"waist_at": "0 %"}, "a share between"), ({"waist_at": "100 %"}, "a share between"),
     ({"travel": "z"}, "travel"), ({"top": "nan mm"}, "is not a length")],
)
def test_slits_that_cannot_be(change: dict[str, str], reason: str):
    with pytest.raises(InputError, match=reason):
        profile(**change)


def through(*slits: dict[str, Any], **changes: Any) -> ThroughCut:
    return build({**THROUGH, "kerf": list(slits) or [kerf()], **changes}, ThroughCut, where="through")


def test_the_slit_follows_the_axis_and_the_grain():
    cut = through(kerf("x", "along", waist="0.20 mm"), kerf("y", "along", waist="0.21 mm"), kerf("x", "across", waist="0.22 mm"),
                  kerf("y", "across", waist="0.24 mm"))
    corners = {(0, 0): 0.20, (90, 0): 0.21, (0, 90): 0.22, (90, 90): 0.24}
    for (travel_deg, grain_deg), waist_mm in corners.items():
        for turn in (0, 180, -180):
            assert cut.profile(travel_deg + turn, grain_deg + turn).waist_mm.value == pytest.approx(waist_mm, rel=1e-12)
    assert cut.profile(45, 45).waist_mm.value == pytest.approx(np.mean(list(corners.values())), rel=1e-12)
    assert cut.profile(30, 0).waist_mm.value == pytest.approx(0.20 + 0.25 * 0.01, rel=1e-12)


def test_a_direction_never_measured_takes_the_nearest():
    cut = through(kerf("x", "along", waist="0.20 mm"), kerf("y", "across", waist="0.24 mm"))
    assert cut.profile(0, 90).waist_mm.value == pytest.approx(0.20)  # same axis before same grain
    assert cut.profile(90, 0).waist_mm.value == pytest.approx(0.24)
    assert through(kerf(waist="0.2 mm")).profile(90, 90).waist_mm.value == 0.2


@pytest.mark.parametrize(
    ("changes", "reason"),
    [({"thickness": ["6.5 mm", "5.5 mm"]}, "the thinner first"), ({"power": "0 %"}, "at no power"), ({"power": "101 %"}, "power"),
     ({"speed": "0 mm/s"}, "speed"), ({"passes": 0}, "passes"), ({"kerf": []}, "kerf"), ({"kerf": [kerf(), kerf()]}, "two kerf entries"),
     ({"thickness": ["6 mm"]}, "thickness"), ({"sped": "4 mm/s"}, 'did you mean "speed"')],
)
def test_through_cuts_that_cannot_be(changes: dict[str, Any], reason: str):
    with pytest.raises(InputError, match=reason):
        through(**changes)


def test_the_recipe_speaks_only_of_thicknesses_that_were_burnt():
    wide = {**THROUGH, "thickness": ["3 mm", "9 mm"], "passes": 5}
    recipe = build({**RECIPE, "through": [wide, THROUGH]}, Recipe, where="r")
    assert recipe.through_for(6.0).passes == 2  # the closest range wins
    assert recipe.through_for(7.0).passes == 5
    assert recipe.through_for(9.019).passes == 5  # a caliper's last digit
    for depth_mm in (2.97, 9.03, 12.0):
        with pytest.raises(RecipeRangeError, match=r'^recipe "maple, 20 W": .*Accepted: 3 to 9 mm, 5\.5 to 6\.5 mm\. Burn the'):
            recipe.through_for(depth_mm)


def test_a_recipe_keeps_the_spread_it_was_given_and_says_when_it_assumed_one():
    recipe = build(RECIPE, Recipe, where="r")
    slit = recipe.through[0].kerf[0]
    assert (slit.waist_mm.sd, slit.waist_mm.source) == (0.01, "typed by hand")
    assert (slit.bottom_mm.sd, slit.bottom_mm.source) == (0.02, "typed by hand, no spread given: ours assumed")
    assert recipe.made_from == "typed by hand"
    assert recipe.ramp is not None
    assert recipe.ramp.wall_shift_mm.sd == 0.03
