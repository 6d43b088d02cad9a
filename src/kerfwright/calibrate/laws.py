"""The forms a laser's cuts are fitted with. Each is a HANDBOOK section H form with the source of its weak priors.

Ranges marked "project prior, no published source" are wide 95 % ranges, never shown to a person as facts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.law import Law, Parameter

Array = NDArray[np.float64]

OURS = "project prior, no published source"


def _saturating(x: Array, b: Array) -> Array:
    return b[0] * -np.expm1(-b[1] * x)


def saturating_law(top_value: float = 1.0, rate_value: float = 1.0) -> Law:
    """y = b1 (1 - exp(-b2 x)). The form of the published sets Misra1a and BoxBOD; no prior."""
    return Law("saturating", "b1 (1 - exp(-b2 x))", _saturating, (Parameter("b1", top_value), Parameter("b2", rate_value)))


def _power(x: Array, b: Array) -> Array:
    return b[0] * np.power(x, b[1])


def power_law(scale_value: float = 1.0, exponent_value: float = 1.0) -> Law:
    """y = b1 x^b2, x > 0: a rival form with no physics in it; no prior."""
    return Law("power", "b1 x^b2", _power, (Parameter("b1", scale_value), Parameter("b2", exponent_value, positive=False)))


def _kerf(x: Array, b: Array) -> Array:
    return b[0] * np.sqrt(1 + ((x - b[1]) / b[2]) ** 2)


def kerf_law() -> Law:
    """Kerf against focus: K(z) = Km sqrt(1 + ((z - zf) / zk)^2), mm against mm (HANDBOOK H form 2, reduced).

    Km narrowest kerf, zf the focus that gives it, zk how fast it opens: fitted, never set to the beam's Rayleigh length,
    since a cut's walls guide light. Range: the focus heights burnt.
    """
    return Law("kerf against focus", "Km sqrt(1 + ((z - zf)/zk)^2)", _kerf, (
        Parameter("narrowest_mm", 0.18).with_range(0.05, 0.6, f"diode 0.08-0.30, CO2 0.15-0.4 mm, widened: {OURS}"),
        Parameter("best_focus_mm", 0.0, positive=False).with_range(-4.0, 4.0, OURS),
        Parameter("opening_mm", 1.5).with_range(0.3, 8.0, f"diode 0.5-2, CO2 1-3 mm, widened for guiding walls: {OURS}"),
    ))


def _depth(x: Array, b: Array) -> Array:
    return b[0] * -np.expm1(-np.maximum(x - b[2], 0.0) / (b[1] * b[0]))


def depth_law(layers: int = 1, dead_j_mm2: float = 0.0) -> Law:
    """Depth against dose: d = dmax (1 - exp(-(H - Hth) / (Lambda dmax))) above Hth, else 0; mm against J/mm^2 (H form 3).

    Lambda heat a volume takes at first, J/mm^3 (the curve starts with slope 1/Lambda, so dose scale Hs = Lambda dmax);
    Hth the dose that marks nothing yet; dmax the depth it tends to. Range: the doses burnt.
    dead_j_mm2: the most of a nominal dose that a laser may lose below its dead zone, where its power word gives no light.
    """
    return Law("depth against dose", "dmax (1 - exp(-(H - Hth)/(Lambda dmax)))", _depth, (
        Parameter("deepest_mm", 1.0 * layers).with_range(0.1 * layers, 10.0 * layers, f"0.1-1 mm a pass and no hard top: {OURS}"),
        Parameter("heat_j_mm3", 3.0).with_range(
            0.9, 12.0, "2.3-5.8 kJ/g (Thomas, Simms and Law 1967; Butler 1971) x 0.4-0.75 g/cm3, with losses"),
        Parameter("threshold_j_mm2", 0.2, positive=False).with_range(
            -0.5, 1.5 + dead_j_mm2, f"0.05-1 J/mm2, widened, and the dead zone: {OURS}"),
    ))
