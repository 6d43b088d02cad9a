"""Where the lines of a ramped wall lie, how deep each goes and what power that takes: shared by the plan and the coupons.

Across a wedge, t runs from the wall's line on the show face (t = 0) toward the core; the wall asks for the depth T z
at t(z) = (d + T l) z - g - 4 h z (1 - z) + m, with d = T slope, g the wall's share of the gap, h the hollow, m the
recipe's wall shift, l its wall lean.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.process.recipe import RampSettings

Array = NDArray[np.float64]

DEEPEST_FRAC = 0.999  # of the thickness: the deepest a line is sent, and what a recipe must have reached
# Depth after k of n like layers is (k / n)^0.8 of the whole: later layers burn over char, farther from focus. HANDBOOK section H(1)
# gives n^0.4 to n^1 for passes (project prior, no published source).
LAYER_KAPPA = 0.8
LEAST_KAPPA, MOST_KAPPA = 0.4, 1.0
FOOT_LINES = 1  # beyond the foot, in the core's void: the beam's round side else leaves a toe there (simulated shops, see tests/shop)
FAINT_SHARE = 0.5  # lines shallower than this share of the shallowest depth on record are left out


def wall_depths(ramp: RampSettings, across_mm: float, thickness_mm: float, gap_share_mm: float, hollow_mm: float) -> tuple[Array, Array]:
    """Lines of one wedge: (t in mm from the wall's show line toward the core, depth in mm), deepest first.

    across_mm: width d of the wedge. Lines lie at half spacings from where the wall meets the show face, so that the
    seen line is true to place; the deepest stand past the wall's foot in the core, where there is air.
    """
    leant_mm = across_mm + ramp.wall_lean_frac.value * thickness_mm
    top_mm = -gap_share_mm + ramp.wall_shift_mm.value
    foot_mm, spacing_mm = top_mm + leant_mm, ramp.spacing_mm
    n_lines = int(np.ceil((foot_mm - top_mm) / spacing_mm - 1e-9)) + FOOT_LINES
    t_mm: Array = top_mm + (np.arange(n_lines, dtype=np.float64)[::-1] + 0.5) * spacing_mm
    # 4 h z^2 + (d' - 4 h) z - (t - top) = 0, the root between 0 and 1.
    a, b, c = 4 * hollow_mm, leant_mm - 4 * hollow_mm, -(t_mm - top_mm)
    z: Array = -2 * c / (b + np.sqrt(b * b - 4 * a * c))  # the form that keeps its digits when there is no hollow
    depth_mm: Array = thickness_mm * np.minimum(z, DEEPEST_FRAC)
    return t_mm, depth_mm


def grown_share(n_burnt: float, n_layers: float) -> float:
    """Depth after ``n_burnt`` layers over the depth after ``n_layers``, all alike. More than 1 when there are more of them."""
    return (n_burnt / n_layers) ** LAYER_KAPPA


def depth_range_mm(depth_mm: float, n_burnt: int, n_layers: int) -> tuple[float, float]:
    """What may come of lines sent to a depth in fewer layers than the recipe was burnt with, by all that is known of LAYER_KAPPA."""
    few = n_burnt / n_layers
    return depth_mm * few ** (MOST_KAPPA - LAYER_KAPPA), depth_mm * few ** (LEAST_KAPPA - LAYER_KAPPA)


def line_powers(ramp: RampSettings, depth_mm: Array) -> tuple[Array, NDArray[np.bool_]]:
    """(powers of the lines kept, mask of the lines kept). Raises RecipeRangeError for depths never burnt.

    Lines a little shallower than the shallowest reading are burnt at that reading's power; fainter ones are left
    out, for a recipe says nothing there.
    """
    shallow_mm = ramp.shallowest_mm
    kept = depth_mm >= FAINT_SHARE * shallow_mm
    return ramp.power_for_depth(np.maximum(depth_mm[kept], shallow_mm)), kept
