"""What a coupon would read if the machine and the wood behaved by these laws: the one table of response parameters.

Words answer with a probability. Equations, with P = ``full_power_w`` times the share of power, v the speed, n passes,
E = P n^kappa / v (J/mm), E50(t) = a l (exp(t / l) - 1) (HANDBOOK section H form 1), Phi the normal distribution:

1. through:  p = Phi(ln(E / E50(t)) / s)
2. flame:    p(flash or sustained) = Phi((ln(E / E50) - m_flame) / s_flame); char: the same for "heavy"
3. kerf:     K(z) = Kw sqrt(1 + ((z - zw) / zk)^2) at depth z below the entry face; zw = z0 - phi f, f the mean focus of
             all passes (above the face); Kw = K_axis c_grain (E / E50)^gamma. H form 2, reduced.
4. slot, show = K(0); slot, inner = K(t); waist = least of K over 0..t; tongue = pitch (1 + scale) - waist; stack = n tongues
5. line:     w = w_axis sqrt(1 + ((f - f_axis) / zf)^2), times (dose / 0.06 J/mm)^gamma_line; rung = 1 + (f_axis - first) / step
6. ramp:     h = P g' / (v s), g' = max(0, (g - g0) / (1 - g0)); one layer takes d1 = max(0, h - H) / Lambda; n layers
             D = Dmax (1 - exp(-n^kappa_r d1 / Dmax)). H form 3 with the dead zone g0 and saturation over layers.
7. wall:     offset = m + lean z (z the depth read at)
8. distance: (x, y) lands at ((1 + sx) x + skew (1 + sy) y, (1 + sy) y); a nominal of 0 is the head's pointer
9. vernier:  ticks = (backlash_axis + 2 v lag) / step
10. fit:     p(by hand or looser) = Phi((clearance + extra - hand) / s_fit)

A dose or a distance outside what was burnt is not refused here: only a recipe speaks to people, and it does refuse.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from kerfwright.coupons.observable import Observable, Quantity


@dataclass(frozen=True)
class Parameter:
    """One response parameter. typical: a plausible value for a 20 W diode (common practice, no source), for tests and starts."""

    name: str
    unit: str
    typical: float
    equation: str
    meaning: str


_TABLE = (
    ("full_power_w", "W", 20.0, "1-3, 5, 6", "optical power at full setting (known, not fitted)"),
    ("through_a_j_mm2", "J/mm2", 0.269, "1", "a: energy per area where the cut begins"),
    ("through_l_mm", "mm", 8.0, "1", "l: depth over which losses grow e-fold"),
    ("pass_kappa", "", 0.8, "1", "kappa: n passes count as n^kappa"),
    ("through_spread", "", 0.12, "1", "s: spread of ln energy from place to place"),
    ("flame_ln", "", 0.9, "2", "m_flame: ln excess energy at which half of cells flash"),
    ("flame_spread", "", 0.3, "2", "s_flame"),
    ("char_ln", "", 0.6, "2", "m_char: ln excess energy at which half of cells are heavily charred"),
    ("char_spread", "", 0.3, "2", "s_char"),
    ("kerf_x_mm", "mm", 0.14, "3", "waist of a cut travelling along the bed's x, along the grain, at E = E50"),
    ("kerf_y_mm", "mm", 0.15, "3", "the same along the bed's y"),
    ("kerf_across_factor", "", 1.05, "3", "c_grain for cuts across the grain; 1 along it"),
    ("kerf_dose_gain", "", 0.15, "3", "gamma: growth of the waist with excess energy"),
    ("kerf_waist_mm", "mm", 2.5, "3", "z0: depth of the waist with the focus on the face"),
    ("kerf_follow", "", 0.7, "3", "phi: how far the waist follows the focus, 0 to 1"),
    ("kerf_zk_mm", "mm", 3.5, "3", "zk: distance from the waist at which the kerf has grown by sqrt 2"),
    ("line_x_mm", "mm", 0.11, "5", "finest line travelling along the bed's x"),
    ("line_y_mm", "mm", 0.13, "5", "the same along the bed's y"),
    ("line_dose_gain", "", 0.2, "5", "gamma_line: growth of a line with dose"),
    ("focus_x_mm", "mm", 0.3, "5", "f_x: focus setting, above the face, at which x lines are finest"),
    ("focus_y_mm", "mm", 0.1, "5", "f_y: the same for y lines"),
    ("focus_zk_mm", "mm", 1.2, "5", "zf: distance from best focus at which a line has grown by sqrt 2"),
    ("ramp_dead_frac", "", 0.05, "6", "g0: share of power below which nothing is emitted"),
    ("ramp_threshold_j_mm2", "J/mm2", 0.3, "6", "H: dose that only chars"),
    ("ramp_lambda_j_mm3", "J/mm3", 7.0, "6", "Lambda: heat per volume removed"),
    ("ramp_saturation_mm", "mm", 14.0, "6", "Dmax: depth that layers tend to"),
    ("ramp_layer_kappa", "", 0.95, "6", "kappa_r: n layers count as n^kappa_r"),
    ("wall_shift_mm", "mm", 0.02, "7", "m: a ramped wall beyond its drawn place, + into the wood"),
    ("wall_lean_frac", "", 0.003, "7", "lean: more shift a millimetre deeper"),
    ("scale_x_frac", "", 0.0005, "4, 8", "sx: the bed's x moves this much too far, share"),
    ("scale_y_frac", "", -0.0004, "4, 8", "sy: the same for y"),
    ("skew_rad", "rad", 0.001, "8", "y leans this much toward +x"),
    ("backlash_x_mm", "mm", 0.02, "9", "a line burnt backward along x lands this much too far toward -x"),
    ("backlash_y_mm", "mm", 0.03, "9", "the same along y"),
    ("lag_s", "s", 0.0005, "9", "the beam follows its orders this much late"),
    ("pointer_x_mm", "mm", 0.4, "8", "the head's pointer stands this far along +x of the beam"),
    ("pointer_y_mm", "mm", -0.2, "8", "the same along +y"),
    ("fit_extra_mm", "mm", 0.02, "10", "clearance really found beyond the clearance asked for, across a pin"),
    ("fit_hand_mm", "mm", 0.03, "10", "clearance at which half of the pairs go together by hand"),
    ("fit_spread_mm", "mm", 0.03, "10", "s_fit"),
)  # fmt: skip

PARAMETERS: dict[str, Parameter] = {row[0]: Parameter(*row) for row in _TABLE}
MARK_J_MM = 0.06  # dose that line widths are referred to


def typical_response() -> dict[str, float]:
    """Every parameter at its typical value."""
    return {name: each.typical for name, each in PARAMETERS.items()}


def predict(observable: Observable, response: Mapping[str, float]) -> float:
    """Expected reading in the observable's unit, or the probability of its telling word (see the equations above)."""
    return _LAWS[observable.quantity](observable, response)


def telling_words(quantity: Quantity) -> frozenset[str]:
    """The answers whose probability ``predict`` gives, for observables answered in words."""
    return frozenset(_TELLING.get(quantity, ()))


_TELLING: dict[Quantity, tuple[str, ...]] = {
    Quantity.THROUGH: ("yes",),
    Quantity.FLAME: ("flash", "sustained"),
    Quantity.CHAR: ("heavy",),
    Quantity.FIT: ("loose", "by hand"),
}


def _normal(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))


def _number(observable: Observable, key: str) -> float:
    return float(observable.settings[key])


def _ln_excess(observable: Observable, response: Mapping[str, float]) -> float:
    """ln(E / E50), equations 1 to 3."""
    power_w = response["full_power_w"] * _number(observable, "power_frac")
    ln_energy = math.log(power_w / _number(observable, "speed_mm_s")) + response["pass_kappa"] * math.log(_number(observable, "passes"))
    loss_mm = response["through_l_mm"]
    return ln_energy - math.log(response["through_a_j_mm2"] * loss_mm * math.expm1(_number(observable, "depth_mm") / loss_mm))


def _through(observable: Observable, response: Mapping[str, float]) -> float:
    return _normal(_ln_excess(observable, response) / response["through_spread"])


def _hot(name: str, observable: Observable, response: Mapping[str, float]) -> float:
    return _normal((_ln_excess(observable, response) - response[f"{name}_ln"]) / response[f"{name}_spread"])


def _flame(observable: Observable, response: Mapping[str, float]) -> float:
    return _hot("flame", observable, response)


def _char(observable: Observable, response: Mapping[str, float]) -> float:
    return _hot("char", observable, response)


def _kerf_mm(observable: Observable, response: Mapping[str, float], depth_mm: float | None) -> float:
    """Width at a depth, or at the waist within the wood. Equation 3."""
    settings = observable.settings
    mean_focus_mm = _number(observable, "focus_mm") - 0.5 * (_number(observable, "passes") - 1) * _number(observable, "focus_step_mm")
    waist_at_mm = response["kerf_waist_mm"] - response["kerf_follow"] * mean_focus_mm
    at_mm = min(max(waist_at_mm, 0.0), _number(observable, "depth_mm")) if depth_mm is None else depth_mm
    grain = response["kerf_across_factor"] if settings["grain"] == "across" else 1.0
    dose = math.exp(response["kerf_dose_gain"] * _ln_excess(observable, response))
    return response[f"kerf_{settings['travel']}_mm"] * grain * dose * math.hypot(1.0, (at_mm - waist_at_mm) / response["kerf_zk_mm"])


def _slot(observable: Observable, response: Mapping[str, float]) -> float:
    return _kerf_mm(observable, response, 0.0 if observable.face == "show" else _number(observable, "depth_mm"))


def _tongue(observable: Observable, response: Mapping[str, float]) -> float:
    across = "y" if observable.settings["travel"] == "x" else "x"
    return _number(observable, "pitch_mm") * (1 + response[f"scale_{across}_frac"]) - _kerf_mm(observable, response, None)


def _stack(observable: Observable, response: Mapping[str, float]) -> float:
    return _number(observable, "n_tongues") * _tongue(observable, response)


def _line(observable: Observable, response: Mapping[str, float]) -> float:
    travel = observable.settings["travel"]
    away = (_number(observable, "focus_mm") - response[f"focus_{travel}_mm"]) / response["focus_zk_mm"]
    dose_j_mm = response["full_power_w"] * _number(observable, "power_frac") / _number(observable, "speed_mm_s")
    return response[f"line_{travel}_mm"] * math.hypot(1.0, away) * (dose_j_mm / MARK_J_MM) ** response["line_dose_gain"]


def _rung(observable: Observable, response: Mapping[str, float]) -> float:
    """The rung's travel axis is the last letter of its id."""
    focus_mm = response[f"focus_{observable.id[-1]}_mm"]
    return 1 + (focus_mm - _number(observable, "first_focus_mm")) / _number(observable, "step_mm")


def _depth(observable: Observable, response: Mapping[str, float]) -> float:
    dead_frac = response["ramp_dead_frac"]
    emitted = max(0.0, (_number(observable, "power_frac") - dead_frac) / (1 - dead_frac))
    dose_j_mm2 = response["full_power_w"] * emitted / (_number(observable, "speed_mm_s") * _number(observable, "spacing_mm"))
    one_mm = max(0.0, dose_j_mm2 - response["ramp_threshold_j_mm2"]) / response["ramp_lambda_j_mm3"]
    most_mm = response["ramp_saturation_mm"]
    return -most_mm * math.expm1(-(_number(observable, "layers") ** response["ramp_layer_kappa"]) * one_mm / most_mm)


def _wall(observable: Observable, response: Mapping[str, float]) -> float:
    return response["wall_shift_mm"] + response["wall_lean_frac"] * _number(observable, "depth_mm")


def _distance(observable: Observable, response: Mapping[str, float]) -> float:
    axis, nominal_mm = observable.settings["axis"], _number(observable, "nominal_mm")
    if nominal_mm == 0:
        return response[f"pointer_{axis}_mm"]
    half = math.sqrt(0.5)
    x, y = {"x": (1.0, 0.0), "y": (0.0, 1.0), "diag+": (half, half), "diag-": (-half, half)}[str(axis)]
    y_landed = (1 + response["scale_y_frac"]) * y
    return nominal_mm * math.hypot((1 + response["scale_x_frac"]) * x + response["skew_rad"] * y_landed, y_landed)


def _vernier(observable: Observable, response: Mapping[str, float]) -> float:
    shift_mm = response[f"backlash_{observable.settings['axis']}_mm"] + 2 * _number(observable, "speed_mm_s") * response["lag_s"]
    return shift_mm / _number(observable, "step_mm")


def _fit(observable: Observable, response: Mapping[str, float]) -> float:
    found_mm = _number(observable, "clearance_mm") + response["fit_extra_mm"]
    return _normal((found_mm - response["fit_hand_mm"]) / response["fit_spread_mm"])


_LAWS = {
    Quantity.THROUGH: _through,
    Quantity.FLAME: _flame,
    Quantity.CHAR: _char,
    Quantity.SLOT_WIDTH: _slot,
    Quantity.TONGUE_WIDTH: _tongue,
    Quantity.STACK_WIDTH: _stack,
    Quantity.LINE_WIDTH: _line,
    Quantity.RUNG: _rung,
    Quantity.DEPTH: _depth,
    Quantity.WALL_OFFSET: _wall,
    Quantity.DISTANCE: _distance,
    Quantity.VERNIER: _vernier,
    Quantity.FIT: _fit,
}
