"""The response equations against arithmetic by hand, and what each coupon can tell apart."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from scipy.optimize import least_squares

from coupon_samples import design, site
from kerfwright.coupons.coupon import all_coupons
from kerfwright.coupons.observable import Observable, Quantity
from kerfwright.coupons.response import PARAMETERS, predict, telling_words, typical_response


def seen(quantity: Quantity, settings: Mapping[str, float | str], name: str = "one", face: str = "show") -> Observable:
    return Observable(name, quantity, (0.0, 0.0), "mm", "scan", "", face, settings=dict(settings))


CUT: dict[str, float | str] = {"power_frac": 1.0, "speed_mm_s": 5.0, "passes": 1.0, "depth_mm": 6.0}
SLIT = CUT | {"focus_mm": 0.0, "focus_step_mm": 0.0, "travel": "x", "grain": "along"}


def energy_50(response: dict[str, float], depth_mm: float) -> float:
    loss = response["through_l_mm"]
    return response["through_a_j_mm2"] * loss * (math.exp(depth_mm / loss) - 1)


def test_half_of_places_are_through_at_the_median_energy_and_passes_count_as_a_power():
    r = typical_response()
    speed = r["full_power_w"] / energy_50(r, 6.0)
    assert predict(seen(Quantity.THROUGH, CUT | {"speed_mm_s": speed}), r) == pytest.approx(0.5)
    three = seen(Quantity.THROUGH, CUT | {"speed_mm_s": speed * 3**0.8, "passes": 3.0})
    assert predict(three, r) == pytest.approx(0.5)
    # One standard deviation more energy: Phi(1) = 0.841345 (normal tables, from memory).
    assert predict(seen(Quantity.THROUGH, CUT | {"speed_mm_s": speed * math.exp(-0.12)}), r) == pytest.approx(0.841345, abs=1e-6)
    assert predict(seen(Quantity.FLAME, CUT | {"speed_mm_s": speed * math.exp(-0.9)}), r) == pytest.approx(0.5)
    assert predict(seen(Quantity.CHAR, CUT | {"speed_mm_s": speed * math.exp(-0.6)}), r) == pytest.approx(0.5)


def test_kerf_is_a_hyperbola_whose_waist_follows_the_focus():
    r = typical_response() | {"kerf_dose_gain": 0.0}
    assert predict(seen(Quantity.SLOT_WIDTH, SLIT), r) == pytest.approx(0.14 * math.hypot(1, 2.5 / 3.5))
    assert predict(seen(Quantity.SLOT_WIDTH, SLIT, face="inner"), r) == pytest.approx(0.14 * math.hypot(1, 3.5 / 3.5))
    # Two passes 0 and -1 mm: mean focus -0.5, so the waist lies 0.35 mm deeper.
    stepped = SLIT | {"passes": 2.0, "focus_step_mm": 1.0}
    assert predict(seen(Quantity.SLOT_WIDTH, stepped), r) == pytest.approx(0.14 * math.hypot(1, 2.85 / 3.5))
    across = SLIT | {"travel": "y", "grain": "across"}
    tongue = seen(Quantity.TONGUE_WIDTH, across | {"pitch_mm": 4.0})
    assert predict(tongue, r) == pytest.approx(4.0 * 1.0005 - 0.15 * 1.05)
    stack = seen(Quantity.STACK_WIDTH, across | {"pitch_mm": 4.0, "n_tongues": 6.0})
    assert predict(stack, r) == pytest.approx(6 * predict(tongue, r))
    # Focus far below the board: the waist within the wood is at the exit face.
    deep = seen(Quantity.TONGUE_WIDTH, SLIT | {"focus_mm": -20.0, "pitch_mm": 4.0})
    assert predict(deep, r) == pytest.approx(4.0 * 0.9996 - 0.14 * math.hypot(1, (6.0 - 16.5) / 3.5))


def test_lines_and_rungs_agree_on_the_best_focus():
    r = typical_response()
    best = {"focus_mm": 0.3, "travel": "x", "grain": "along", "power_frac": 0.06, "speed_mm_s": 20.0}  # 0.06 J/mm
    assert predict(seen(Quantity.LINE_WIDTH, best), r) == pytest.approx(0.11)
    assert predict(seen(Quantity.LINE_WIDTH, best | {"focus_mm": 1.5}), r) == pytest.approx(0.11 * math.sqrt(2))
    rung = {"first_focus_mm": -3.0, "step_mm": 0.5}
    assert predict(seen(Quantity.RUNG, rung, "rung-x"), r) == pytest.approx(7.6)
    assert predict(seen(Quantity.RUNG, rung, "rung-y"), r) == pytest.approx(7.2)


def test_ramp_depth_has_a_dead_zone_a_threshold_and_saturates():
    r = typical_response()
    field = {"power_frac": 0.5, "speed_mm_s": 20.0, "spacing_mm": 0.06, "layers": 3.0, "focus_mm": 0.0, "focus_step_mm": 1.0, "place": "A"}
    dose = 20.0 * (0.5 - 0.05) / 0.95 / (20.0 * 0.06)
    one = (dose - 0.3) / 7.0
    assert predict(seen(Quantity.DEPTH, field), r) == pytest.approx(14.0 * (1 - math.exp(-(3**0.95) * one / 14.0)))
    for faint in (0.03, 0.05, 0.06):  # dead, on the edge, and still under the threshold
        assert predict(seen(Quantity.DEPTH, field | {"power_frac": faint}), r) == 0.0
    depths = [predict(seen(Quantity.DEPTH, field | {"layers": n}), r) for n in (1.0, 2.0, 4.0, 1000.0)]
    assert depths == sorted(depths)
    assert depths[-1] == pytest.approx(14.0)


def test_distances_show_scale_and_skew_and_zero_means_the_pointer():
    r = typical_response() | {"scale_x_frac": 0.001, "scale_y_frac": -0.002, "skew_rad": 0.003}
    assert predict(seen(Quantity.DISTANCE, {"nominal_mm": 100.0, "axis": "x"}), r) == pytest.approx(100.1)
    assert predict(seen(Quantity.DISTANCE, {"nominal_mm": 100.0, "axis": "y"}), r) == pytest.approx(99.8 * math.hypot(1, 0.003))
    rising, falling = (predict(seen(Quantity.DISTANCE, {"nominal_mm": 100.0, "axis": axis}), r) for axis in ("diag+", "diag-"))
    assert rising - falling == pytest.approx(100 * 0.003, rel=0.01)  # a square leaning by s: its diagonals differ by s times one
    assert predict(seen(Quantity.DISTANCE, {"nominal_mm": 0.0, "axis": "y"}), r) == -0.2
    lag = predict(seen(Quantity.VERNIER, {"axis": "x", "speed_mm_s": 60.0, "step_mm": 0.05}), r)
    assert lag == pytest.approx((0.02 + 2 * 60 * 0.0005) / 0.05)


def test_a_lag_scale_reads_the_pair_whose_ends_are_level():
    """Pairs drawn by the coupon, their ends shifted as a late beam shifts them: the level pair is the predicted one."""
    made = design("machine", site())
    for observable in (each for each in made.observables if each.quantity is Quantity.VERNIER):
        axis, speed = observable.settings["axis"], float(observable.settings["speed_mm_s"])
        op = next(op for op in made.operations if op.name == observable.id)
        column = 0 if axis == "x" else 1
        late_mm, backlash_mm = 2 * 0.05 / 2 - 0.01, 0.02  # chosen to read (0.02 + 0.18) / 0.05 or so at any speed
        gaps: list[float] = []
        for there, back in zip(op.paths[::2], op.paths[1::2], strict=True):
            assert there.points_mm[1, column] > there.points_mm[0, column]
            assert back.points_mm[1, column] < back.points_mm[0, column]
            end_of_first = there.points_mm[1, column] + late_mm
            start_of_second = back.points_mm[0, column] - late_mm - backlash_mm
            gaps.append(float(start_of_second - end_of_first))
        level = int(np.argmin(np.abs(gaps))) - len(gaps) // 2
        response = typical_response() | {f"backlash_{axis}_mm": backlash_mm, "lag_s": late_mm / speed}
        assert level == pytest.approx(predict(observable, response), abs=1e-9)


def test_words_have_probabilities_of_telling_answers():
    assert telling_words(Quantity.FIT) == {"loose", "by hand"}
    assert telling_words(Quantity.DEPTH) == frozenset()
    pair = seen(Quantity.FIT, {"clearance_mm": 0.01, "joint": "box joint"})
    assert predict(pair, typical_response()) == pytest.approx(0.5)
    wall = seen(Quantity.WALL_OFFSET, {"slope_frac": 0.125, "depth_mm": 3.0, "method": "ramp"})
    assert predict(wall, typical_response()) == pytest.approx(0.02 + 3 * 0.003)


def recovered(observables: Sequence[Observable], names: tuple[str, ...], change: float = 1.1) -> None:
    """Exact readings of a changed response, fitted from the typical one, give the change back."""
    truth = typical_response()
    truth |= {name: truth[name] * change + 1e-4 for name in names}
    readings = np.array([predict(each, truth) for each in observables])
    scale = np.array([max(abs(truth[name]), 1e-3) for name in names])
    start = np.array([typical_response()[name] for name in names]) / scale

    def residuals(shares: np.ndarray) -> np.ndarray:
        response = truth | dict(zip(names, (shares * scale).tolist(), strict=True))
        return np.array([predict(each, response) for each in observables]) - readings

    fit = least_squares(residuals, start, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert fit.x * scale == pytest.approx([truth[name] for name in names], rel=1e-4, abs=1e-6)
    assert np.linalg.matrix_rank(fit.jac, tol=1e-7) == len(names)


def test_the_machine_coupon_tells_all_of_the_machine():
    names = ("scale_x_frac", "scale_y_frac", "skew_rad", "backlash_x_mm", "backlash_y_mm", "lag_s", "pointer_x_mm", "pointer_y_mm")
    recovered(design("machine", site()).observables, names)


def test_the_focus_coupon_tells_the_whole_hyperbola_of_both_axes():
    recovered(design("focus", site()).observables, ("line_x_mm", "line_y_mm", "focus_x_mm", "focus_y_mm", "focus_zk_mm"))


def test_travel_and_grain_come_apart_with_one_comb_straight_and_one_turned():
    straight, turned = (design("kerf comb", site(), turned=turned).observables for turned in (False, True))
    names = ("kerf_x_mm", "kerf_y_mm", "kerf_waist_mm", "kerf_zk_mm")
    recovered(straight, names)
    with pytest.raises(AssertionError):
        recovered(straight, (*names, "kerf_across_factor"))
    recovered([*straight, *turned], (*names, "kerf_across_factor"))


def test_a_comb_in_several_passes_and_focuses_tells_how_the_waist_follows():
    many = design("kerf comb", site(), passes=[1, 3], focus=["-2 mm", "1 mm"]).observables
    recovered(many, ("kerf_x_mm", "kerf_y_mm", "kerf_waist_mm", "kerf_zk_mm", "kerf_follow"))


def test_the_staircase_tells_threshold_and_saturation_but_not_the_dead_zone_apart():
    """One speed confounds dead zone and threshold (HANDBOOK section H form 3)."""
    fields = design("ramp staircase", site()).observables
    recovered(fields, ("ramp_threshold_j_mm2", "ramp_lambda_j_mm3", "ramp_saturation_mm"))


def test_every_parameter_moves_some_reading():
    every = [each for kind in all_coupons() for each in design(kind, site()).observables]
    every += design("focus", site("co2")).observables  # burnt at another dose
    before = [predict(each, typical_response()) for each in every]
    for name in PARAMETERS:
        after = [predict(each, typical_response() | {name: PARAMETERS[name].typical * 1.05 + 1e-4}) for each in every]
        assert max(abs(a - b) for a, b in zip(after, before, strict=True)) > 1e-7, name
