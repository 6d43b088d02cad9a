"""A recipe retuned by a pilot strip's readings, and the layers left at a check pause chosen again."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
import pytest

from external.ideal_shop import DOVETAIL, PANELS, case, design_and_boards, machine
from external.ideal_shop import recipe as made_up
from kerfwright.calibrate.remaining import remaining_layers
from kerfwright.calibrate.retune import Retuned, checked_ratio, depth_ratio, retuned, retuned_tables
from kerfwright.core.document import build
from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.coupons.readings import Reading, check_values
from kerfwright.coupons.record import CouponRecord
from kerfwright.plan.options import PlanOptions
from kerfwright.plan.plan import plan_piece
from kerfwright.process.recipe import RampSettings, Recipe

WAIST_SD = 0.02  # of a typed recipe without spreads
PITCH, N = 3.0, 4
TWO_TRUST = 0.01 / 0.01295  # of two fields of one place


@cache
def strip() -> CouponRecord:
    """The pilot strip of a ramped board 6 mm thick: stack, two tongues, two fields."""
    wish = case({"all": DOVETAIL}, waste=19.0, pilot=True)
    design, boards = design_and_boards(wish)
    plan = plan_piece(design, machine(), boards, dict.fromkeys(PANELS, made_up()), build(wish["burn"], PlanOptions, "burn"))
    return plan.pilots["right"]


def expected(wider_mm: float = 0.0, deeper: float = 1.0) -> dict[str, float]:
    """Exact readings of a board whose slits are wider and whose ramps are deeper than the recipe's (waist 0.14 mm)."""
    tongue = PITCH - 0.14 - wider_mm
    return {"stack": N * tongue, "tongue-2": tongue, "tongue-3": tongue, "depth-1": 1.5 * deeper, "depth-2": 4.2 * deeper}


def read(values: dict[str, Any]) -> tuple[Reading, ...]:
    return check_values(values, strip())


def tuned(values: dict[str, Any], recipe: Recipe | None = None) -> Retuned:
    return retuned(recipe or made_up(), strip(), read(values), "right")


def widths(recipe: Recipe, name: str) -> list[Estimate]:
    return [getattr(profile, name) for cut in recipe.through for profile in cut.kerf]


def ramp_of(recipe: Recipe) -> RampSettings:
    assert recipe.ramp is not None
    return recipe.ramp


def test_the_strip_is_as_these_tests_think():
    stack, deep = strip().observable("stack").settings, strip().observable("depth-2").settings
    assert (stack["pitch_mm"], stack["n_tongues"], stack["travel"]) == (PITCH, N, "x")
    assert deep["expected_mm"] == pytest.approx(4.2)


def test_readings_as_the_recipe_says_move_nothing_and_make_it_surer():
    own = tuned(expected())
    assert own.slit_mm is not None
    assert own.depth_ratio is not None
    assert own.slit_mm.value == pytest.approx(0, abs=1e-12)
    assert own.depth_ratio.value == pytest.approx(1, abs=1e-12)
    for name in ("top_mm", "waist_mm", "bottom_mm"):
        for before, after in zip(widths(made_up(), name), widths(own.recipe, name), strict=True):
            assert after.value == pytest.approx(before.value, abs=1e-6)
            assert after.sd < before.sd
            assert "this board's pilot strip pilot-right-" in after.source
    assert "retuned by pilot-right-" in own.recipe.made_from
    assert own.findings == ()


def test_one_stack_by_hand():
    """Waist 0.14 +- 0.02: places p = 0.0035, boards B^2 = 0.02^2 - p^2 = 387.75, the strip p^2 + 0.005^2 = 37.25 (um^2)."""
    own = tuned({"stack": expected(0.017)["stack"]})
    assert own.slit_mm is not None
    v_mm2 = 387.75 * 37.25 / 425.0 * 1e-6
    assert own.slit_mm.value == pytest.approx(0.017 * 387.75 / 425.0, abs=1e-12)
    assert own.slit_mm.sd == pytest.approx(math.sqrt(v_mm2))
    assert (own.slit_mm.n, own.depth_ratio) == (1, None)
    assert ramp_of(own.recipe) == ramp_of(made_up())
    for name in ("top_mm", "waist_mm", "bottom_mm"):
        for before, after in zip(widths(made_up(), name), widths(own.recipe, name), strict=True):
            assert after.value - before.value == pytest.approx(0.01551, abs=1e-6)
            assert after.sd == pytest.approx(math.sqrt(v_mm2 + 12.25e-6), abs=1e-6)  # joints stand at other places than the strip


def test_stack_and_tongues_weigh_as_their_instruments_do_and_repeats_count():
    """Precisions in units of 1/0.02^2: stack 16, tongue 1, a tongue read four times 4; together 21, places besides."""
    wider = {"stack": 0.011, "tongue-2": 0.03, "tongue-3": -0.02}
    values: dict[str, Any] = {name: expected(shift)[name] for name, shift in wider.items()}
    own = tuned(values | {"tongue-3": [values["tongue-3"]] * 4})
    assert own.slit_mm is not None
    boards, strip_mm2 = 387.75e-6, 12.25e-6 + 400e-6 / 21
    assert own.slit_mm.value == pytest.approx((16 * 0.011 + 0.03 - 4 * 0.02) / 21 * boards / (boards + strip_mm2), abs=1e-12)
    assert own.slit_mm.sd == pytest.approx(math.sqrt(boards * strip_mm2 / (boards + strip_mm2)))


@pytest.mark.parametrize("sd_mm", [0.0, 0.001, 0.0078])
def test_a_recipe_that_claims_less_than_boards_differ_is_moved_all_the_same(sd_mm: float):
    """Half of 10 % of a waist of 0.14 mm: B = 0.007 mm."""
    profile = made_up().through[0].kerf[0].model_copy(update={"waist_mm": Estimate(0.14, sd_mm)})
    cut = made_up().through[0].model_copy(update={"kerf": (profile,)})
    own = tuned({"stack": expected(0.02)["stack"]}, made_up().model_copy(update={"through": (cut,)}))
    assert own.slit_mm is not None
    assert own.slit_mm.value == pytest.approx(0.02 * 49 / (49 + 37.25), abs=1e-12)


def test_a_width_known_worse_keeps_what_it_does_not_share_with_the_waist():
    """sd'^2 = max(sd^2 - s^2, 0) + v + p^2: a width known better than the waist ends as sure as that."""
    cut = made_up().through[0]
    along = next(profile for profile in cut.kerf if (profile.travel, profile.grain) == ("x", "along"))
    changed = along.model_copy(update={"top_mm": Estimate(0.2, 0.05), "bottom_mm": Estimate(0.16, 0.01)})
    recipe = made_up().model_copy(update={"through": (cut.model_copy(update={"kerf": (changed,)}),)})
    after = tuned({"stack": expected()["stack"]}, recipe).recipe.through[0].kerf[0]
    known_mm2 = 387.75 * 37.25 / 425.0 * 1e-6 + 12.25e-6
    assert after.top_mm.sd == pytest.approx(math.sqrt(0.05**2 - 0.02**2 + known_mm2), abs=1e-6)
    assert after.bottom_mm.sd == pytest.approx(math.sqrt(known_mm2), abs=1e-6)


def test_two_depths_by_hand():
    """Boards 0.10, the strip 0.05^2 + 0.03^2/2 = 0.00295: 0.01/0.01295 of the mean logarithm is believed."""
    own = tuned({"depth-1": 1.5 * 1.1, "depth-2": 4.2 * 1.06})
    assert own.depth_ratio is not None
    assert math.log(own.depth_ratio.value) == pytest.approx((math.log(1.1) + math.log(1.06)) / 2 * TWO_TRUST)
    assert own.depth_ratio.sd / own.depth_ratio.value == pytest.approx(math.sqrt(0.00295 * TWO_TRUST))
    assert (own.slit_mm, own.n_more_layers) == (None, 0)
    assert own.recipe.through == made_up().through
    before, after = ramp_of(made_up()), ramp_of(own.recipe)
    np.testing.assert_array_equal(before.curve()[0], after.curve()[0])  # never outside the powers burnt
    np.testing.assert_allclose(after.curve()[1], own.depth_ratio.value * before.curve()[1], atol=1e-6)
    for (_, was), (_, now) in zip(before.depth, after.depth, strict=True):
        wanted = math.sqrt(max((was.sd / was.value) ** 2 - 0.10**2 - 0.05**2, 0.0) + 0.00295 * TWO_TRUST + 0.05**2)
        assert now.sd / now.value == pytest.approx(wanted, rel=1e-4)


def test_a_through_point_moves_with_the_depths():
    ramp = ramp_of(made_up())
    recipe = made_up().model_copy(update={"ramp": ramp.model_copy(update={"through_power_frac": 0.95, "through_thickness_mm": 7.0})})
    own = tuned(expected(deeper=1.05), recipe)
    assert own.depth_ratio is not None
    assert ramp_of(own.recipe).through_thickness_mm == pytest.approx(7.0 * own.depth_ratio.value, abs=1e-6)
    assert ramp_of(own.recipe).through_power_frac == 0.95


@pytest.mark.parametrize(("deeper", "layers"), [(1.0, 0), (0.92, 0), (0.88, 1), (0.6, 2), (0.5001, 2)])
def test_a_board_that_digs_less_gets_layers_not_power(deeper: float, layers: int):
    """The recipe reaches 6.6 mm in 3 layers; the board is 6.0 mm thick."""
    own = tuned({"depth-1": 1.5 * deeper, "depth-2": 4.2 * deeper})
    before, after = ramp_of(made_up()), ramp_of(own.recipe)
    assert own.depth_ratio is not None
    assert (own.n_more_layers, after.layers) == (layers, 3 + layers)
    np.testing.assert_array_equal(before.curve()[0], after.curve()[0])
    np.testing.assert_allclose(after.curve()[1], own.depth_ratio.value * ((3 + layers) / 3) ** 0.8 * before.curve()[1], atol=1e-6)
    assert (after.deepest_mm >= 0.999 * 6.0) == (deeper > 0.55)
    if layers:
        assert f"{layers} more layer" in own.said()
        assert after.depth[-1][1].sd / after.depth[-1][1].value > 0.04


@pytest.mark.parametrize(
    ("deeper", "reach_mm", "layers"),
    [(1.02, 6.1 * 1.02**TWO_TRUST, 3), (0.97, 6.0, 3), (0.9, 6.1 * 0.9**TWO_TRUST * (4 / 3) ** 0.8, 4)],
)
def test_the_power_that_just_went_through_stays_so_within_three_hundredths(deeper: float, reach_mm: float, layers: int):
    """Seen to go through 6.1 mm; 6.1 f is 5.93 mm at f = 0.97: within 3 % of the board's 6.0."""
    ramp = ramp_of(made_up()).model_copy(
        update={"through_power_frac": 0.8, "through_thickness_mm": 6.1, "depth": ramp_of(made_up()).depth[:4]}
    )
    own = tuned({"depth-1": 1.5 * deeper, "depth-2": 4.2 * deeper}, made_up().model_copy(update={"ramp": ramp}))
    after = ramp_of(own.recipe)
    assert after.layers == layers
    assert after.through_thickness_mm == pytest.approx(reach_mm, abs=1e-6)
    assert np.all(np.diff(after.curve()[1]) > 0)


def test_what_is_said():
    own = tuned(expected(0.013, 0.94))
    assert own.said() == "slit 0.012 mm wider than the recipe, ramp depths -5 %"
    assert tuned({"stack": expected(-0.0085)["stack"]}).said() == "slit 0.008 mm narrower than the recipe"


def test_tables_read_back_as_the_retuned_recipe_and_keep_the_rest_as_written():
    from external.ideal_shop import recipe as tables_of  # its tables are what a person would write

    recipe = tables_of()
    tables = {
        "schema": "kerfwright-recipe-1", "name": recipe.name, "machine": recipe.machine, "species": recipe.species,
        "through": [{"thickness": ["3 mm", "14 mm"], "power": "90 %", "speed": "480 mm/min", "passes": 2,
                     "focus": "-0.5 mm", "focus_step": "0.7 mm",
                     "kerf": [{"travel": "x", "grain": "along", "top": "0.2 mm", "waist": "0.14 mm", "bottom": "0.16 mm",
                               "waist_at": "60 %"}]}],
        "ramp": {"speed": "14 mm/s", "spacing": "0.06 mm", "layers": 3, "focus": "-0.3 mm", "focus_step": "1 mm",
                 "depth": [["8 %", "0.2 mm"], ["40 %", "3.4 mm"], ["90 %", "6.6 mm"]],
                 "through_power": "95 %", "through_thickness": "7 mm"},
        "engrave": {"power": "18 %", "speed": "60 mm/s"},
    }  # fmt: skip
    own = tuned(expected(0.013, 0.93), build(tables, Recipe, "recipe"))
    again = retuned_tables(tables, own)
    assert again["through"][0]["speed"] == "480 mm/min"  # pyright: ignore[reportIndexIssue]
    back = build(again, Recipe, "again")
    assert back.made_from == own.recipe.made_from
    for name in ("top_mm", "waist_mm", "bottom_mm"):
        for one, other in zip(widths(back, name), widths(own.recipe, name), strict=True):
            assert (one.value, one.sd) == (other.value, other.sd)
    assert [(power, depth.value, depth.sd) for power, depth in ramp_of(back).depth] == [
        (power, depth.value, depth.sd) for power, depth in ramp_of(own.recipe).depth
    ]
    assert ramp_of(back).through_thickness_mm == ramp_of(own.recipe).through_thickness_mm
    only_slit = retuned_tables(tables, tuned({"stack": 11.3}, build(tables, Recipe, "recipe")))
    assert only_slit["ramp"] == tables["ramp"]


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"stack": 12.0}, r"stack = 12 mm leaves no slit"),
        ({"depth-1": 0.7}, r"depth-1 = 0.7 mm is not possible where about 1.50 mm is expected. Accepted: 0.75 to 3.00 mm"),
        ({"depth-1": 3.2}, r"not possible"),
        ({"depth-2": 0.0}, r"not possible"),
    ],
)
def test_readings_that_no_board_gives_are_refused(values: dict[str, float], words: str):
    with pytest.raises(InputError, match=words):
        tuned(values)


def test_a_strange_width_is_told_but_kept():
    own = tuned({"tongue-2": 2.6})
    assert [finding.code for finding in own.findings] == ["odd-reading"]
    assert "a slit of 0.400 mm where the recipe has 0.140" in own.findings[0].text


def test_a_strip_of_other_settings_is_refused():
    faster = made_up().through[0].model_copy(update={"speed_mm_s": 9.0})
    with pytest.raises(InputError, match="settings that recipe"):
        tuned(expected(), made_up().model_copy(update={"through": (faster,)}))


def test_nothing_read_changes_nothing():
    own = retuned(made_up(), strip(), read({"stack": "not sure", "depth-1": "spoilt"}), "right")
    assert own.n_readings == 0
    assert own.recipe == made_up()


def test_the_intervals_cover_boards_places_and_readings_drawn_as_the_rule_says():
    """400 boards of shift N(0, B), places N(0, p) at strip and joint apart, readings with their instruments' errors.

    95 % must cover 92 to 98 %, of the board's own mean and of what stands at the joint.
    """
    rng = np.random.default_rng(7)
    slit_in, depth_in, wall_in, line_in = np.zeros(4)
    for _ in range(400):
        wider, ln_f = rng.normal(0, math.sqrt(387.75e-6)), rng.normal(0, 0.10)
        true = expected(wider + rng.normal(0, 0.0035), math.exp(ln_f + rng.normal(0, 0.05)))
        values = {name: true[name] + rng.normal(0, 0.02) for name in ("stack", "tongue-2", "tongue-3")}
        values |= {name: true[name] * math.exp(rng.normal(0, 0.03)) for name in ("depth-1", "depth-2")}
        values["depth-2"] = min(values["depth-2"], 6.1)
        own = tuned(values)
        assert own.slit_mm is not None
        assert own.depth_ratio is not None
        slit_in += abs(own.slit_mm.value - wider) < 1.96 * own.slit_mm.sd
        depth_in += abs(math.log(own.depth_ratio.value) - ln_f) < 1.96 * own.depth_ratio.sd / own.depth_ratio.value
        waist, deep = widths(own.recipe, "waist_mm")[0], ramp_of(own.recipe).depth[-2][1]
        wall_in += abs(waist.value - 0.14 - wider - rng.normal(0, 0.0035)) < 1.96 * waist.sd
        layers = 3 + own.n_more_layers
        joint_mm = ramp_of(made_up()).depth[-2][1].value * math.exp(ln_f + rng.normal(0, 0.05)) * (layers / 3) ** 0.8
        line_in += abs(math.log(deep.value / joint_mm)) < 1.96 * deep.sd / deep.value
    for n_in in (slit_in, depth_in, wall_in):
        assert 0.92 < n_in / 400 < 0.98
    assert 0.92 < line_in / 400 <= 1.0  # the layers added are taken to grow a little unsurely, and grew exactly


# --- the layers left at a check pause ------------------------------------------------------------------------------

WANTED = np.linspace(5.9, 0.6, 30)


def reached_mm(ramp: RampSettings, first: np.ndarray, rest: np.ndarray, n_burnt: int, n_rest: int, factor: float) -> np.ndarray:
    """Depths by the law itself, the curve inverted by bisection."""

    def curve(power: float) -> float:
        low, high = float(ramp.curve()[1][0]), float(ramp.curve()[1][-1])
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if ramp.power_for_depth(np.array([middle]))[0] < power else (low, middle)
        return low

    pairs = zip(first, rest, strict=True)
    return factor * np.array([((n_burnt * curve(a) ** 1.25 + n_rest * curve(b) ** 1.25) / ramp.layers) ** 0.8 for a, b in pairs])


@pytest.mark.parametrize("factor", [0.8, 0.93, 1.0, 1.07, 1.2])
def test_every_line_ends_as_deep_as_it_was_wanted(factor: float):
    ramp = ramp_of(made_up())
    ratio = Estimate(factor, 0.0)
    left = remaining_layers(ramp, WANTED, 2, ratio, "here")
    assert left.short_mm <= 0.03 * 5.9
    first = ramp.power_for_depth(WANTED)
    depths = reached_mm(ramp, first[left.kept], left.powers_frac, 2, left.n_layers, factor)
    # Lines that would be fainter than anything burnt go at the faintest power there is: a little deeper, never shallower.
    faint, full = left.powers_frac <= ramp.curve()[0][0] + 1e-9, left.powers_frac >= ramp.curve()[0][-1] - 1e-9
    np.testing.assert_allclose(depths[~faint & ~full], WANTED[left.kept][~faint & ~full], atol=1e-6)
    assert np.all(depths[full] >= WANTED[left.kept][full] - left.short_mm - 1e-6)
    assert np.max(WANTED[left.kept] - depths) == pytest.approx(left.short_mm, abs=1e-6)
    assert np.all(depths[faint] >= WANTED[left.kept][faint] - 1e-6)
    assert np.all((left.powers_frac >= 0.08 - 1e-9) & (left.powers_frac <= 0.90 + 1e-9))
    assert left.n_layers == (2 if factor < 0.95 else 1)


def test_a_reading_as_expected_leaves_the_planned_layers_alone():
    ramp = ramp_of(made_up())
    left = remaining_layers(ramp, WANTED, 2, Estimate(1.0, 0.03), "here")
    np.testing.assert_allclose(left.powers_frac, ramp.power_for_depth(WANTED), atol=1e-9)
    assert left.n_layers == 1
    assert left.kept.all()


def test_two_extra_layers_at_most_then_it_says_what_is_lacking():
    ramp = ramp_of(made_up())
    left = remaining_layers(ramp, np.array([6.5, 3.0]), 2, Estimate(0.5, 0.0), "here")
    assert left.n_layers == 3
    # Two layers as planned, three at the power that alone would give 6.6 mm in three.
    assert left.short_mm == pytest.approx(6.5 - 0.5 * ((2 * 6.5**1.25 + 3 * 6.6**1.25) / 3) ** 0.8)
    assert left.powers_frac[0] == pytest.approx(0.90)


def test_wood_that_is_deep_enough_already_is_left_alone():
    with pytest.raises(InputError, match=r"\+39 %: after 2 layers the ramps are as deep as 3 should.* less than 38 % too deep"):
        remaining_layers(ramp_of(made_up()), WANTED, 2, Estimate(1.39, 0.0), "here")


def test_the_worked_example_of_the_law():
    """k = 2 of n = 3, f = 0.9, q = 2: D(Q) = D ((3 x 0.9^-1.25 - 2) / 2)^0.8 = 0.761 D."""
    ramp = ramp_of(made_up())
    left = remaining_layers(ramp, np.array([5.9, 4.0]), 2, Estimate(0.9, 0.0), "here")
    assert left.n_layers == 2
    np.testing.assert_allclose(left.powers_frac, ramp.power_for_depth(0.7613 * np.array([5.9, 4.0])), rtol=1e-3)


def test_one_reading_against_the_prior():
    """Boards 0.01 against place and reading 0.0025 + 0.0009: 100/134 of the logarithm is believed."""
    ratio = depth_ratio([0.9], "patch")
    assert math.log(ratio.value) == pytest.approx(math.log(0.9) * 100 / 134)
    assert ratio.sd / ratio.value == pytest.approx(math.sqrt(0.01 * 34 / 134))


@pytest.mark.parametrize("read_mm", [-1.0, 0.0, 1.3, 5.7, math.nan])
def test_depths_that_no_board_gives_are_refused(read_mm: float):
    with pytest.raises(InputError, match="not possible where about 2.80 mm is expected"):
        checked_ratio(read_mm, 2.8, "the patch's depth", "setup 2")
