"""The layers of a ramp that a check pause left, chosen again from the depth read at the witness patch.

Law: depth grows in proportion to the layers. After k of n layers a line of power P is f D(P) k/n deep, D the recipe's
curve for all n layers and f this board's factor (its prior and the reading's spread as in calibrate/retune.py); q more
layers at power Q add f D(Q) q/n. A line wanted D deep therefore needs D(Q) = D n (1 - f k/n) / (f q).
Range: ramps in a few light layers, as the staircase coupon burns them. Many deep layers fall behind (saturation), which
the recipe's curve holds only for its own number of layers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.process.ramp_lines import line_powers
from kerfwright.process.recipe import RampSettings

Array = NDArray[np.float64]

MOST_EXTRA_LAYERS = 2


@dataclass(frozen=True, eq=False)
class Remaining:
    """powers_frac: (n,) of the lines kept; kept: (m,) which lines; short_mm: what the deepest line will still lack."""

    powers_frac: Array
    kept: NDArray[np.bool_]
    n_layers: int
    short_mm: float


def remaining_layers(ramp: RampSettings, depths_mm: Array, n_burnt: int, ratio: Estimate, where: str) -> Remaining:
    """Powers for what is left of lines wanted ``depths_mm`` (m,) deep, with no more extra layers than are needed.

    Powers stay within what was burnt: fainter lines are left out, and where even the strongest will not do, ``short_mm``
    says by how much. Raises InputError when the wood is already as deep as it should become.
    """
    share_burnt = ratio.value * n_burnt / ramp.layers
    if share_burnt >= 1:
        raise InputError(
            f"depths are {100 * (ratio.value - 1):+.0f} %: after {n_burnt} layers the ramps are as deep as {ramp.layers} should make them",
            accepted=f"less than {100 * (ramp.layers / n_burnt - 1):.0f} % too deep",
            remedy="Burn no more layers of this ramp; go on with the operation after it, and burn a pilot strip on the next board",
            where=where,
        )
    # What a line was really planned for: see line_powers.
    left_mm = np.clip(depths_mm, ramp.shallowest_mm, ramp.deepest_mm) * (1 - share_burnt)
    n_layers = ramp.layers - n_burnt
    most = n_layers + MOST_EXTRA_LAYERS
    while n_layers < most and float(np.max(left_mm)) * ramp.layers / (ratio.value * n_layers) > ramp.deepest_mm + 1e-9:
        n_layers += 1
    by_all_mm = left_mm * ramp.layers / (ratio.value * n_layers)  # how deep all layers of a recipe's ramp would go at the power needed
    clipped_mm = np.minimum(by_all_mm, ramp.deepest_mm)
    powers, kept = line_powers(ramp, clipped_mm)
    short_mm = float(np.max(by_all_mm - clipped_mm)) * ratio.value * n_layers / ramp.layers
    return Remaining(powers, kept, n_layers, short_mm)
