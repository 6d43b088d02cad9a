"""Where the lines of a ramped wall lie, how deep each goes and what power that takes: shared by the plan and the coupons.

Across a wedge, t runs from the wall's line on the show face (t = 0) toward the core; the wall asks for the depth T z
at t(z) = d z - g - 4 h z (1 - z) + m, with d = T slope, g the wall's share of the gap, h the hollow, m the recipe's
wall shift.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.process.recipe import RampSettings

Array = NDArray[np.float64]

FAINT_SHARE = 0.5  # lines shallower than this share of the shallowest depth on record are left out


def wall_depths(
    across_mm: float, thickness_mm: float, spacing_mm: float, gap_share_mm: float, hollow_mm: float, wall_shift_mm: float
) -> tuple[Array, Array]:
    """Lines of one wedge: (t in mm from the wall's show line toward the core, depth in mm), deepest first.

    across_mm: width d of the wedge. Lines lie at half spacings from the wall's foot; the last starts where the
    wall meets the show face.
    """
    foot_mm = across_mm - gap_share_mm + wall_shift_mm
    top_mm = -gap_share_mm + wall_shift_mm
    n_lines = max(int(np.floor((foot_mm - top_mm) / spacing_mm + 0.5)), 1)
    t_mm: Array = foot_mm - (np.arange(n_lines, dtype=np.float64) + 0.5) * spacing_mm
    t_mm = t_mm[t_mm > top_mm]
    # 4 h z^2 + (d - 4 h) z - (t - top) = 0, the root between 0 and 1.
    a, b, c = 4 * hollow_mm, across_mm - 4 * hollow_mm, -(t_mm - top_mm)
    z: Array = -c / b if a == 0 else (-b + np.sqrt(b * b - 4 * a * c)) / (2 * a)
    depth_mm: Array = thickness_mm * np.clip(z, 0.0, 1.0)
    return t_mm, depth_mm


def line_powers(ramp: RampSettings, depth_mm: Array) -> tuple[Array, NDArray[np.bool_]]:
    """(powers of the lines kept, mask of the lines kept). Raises RecipeRangeError for depths never burnt.

    Lines a little shallower than the shallowest reading are burnt at that reading's power; fainter ones are left
    out, for a recipe says nothing there.
    """
    shallow_mm = ramp.shallowest_mm
    kept = depth_mm >= FAINT_SHARE * shallow_mm
    return ramp.power_for_depth(np.maximum(depth_mm[kept], shallow_mm)), kept
