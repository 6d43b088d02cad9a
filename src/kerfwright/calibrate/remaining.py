"""The layers of a ramp that a check pause left, chosen again from the depth read at the witness patch.

Law: after k of n like layers a line of power P is f D(P) (k/n)^a deep, D the recipe's curve for all n layers, f this
board's factor (its prior and the reading's spread as in calibrate/retune.py) and a = 0.8 (see process/ramp_lines.py).
Layers of unlike power add up as like ones do, in depth^(1/a): after k layers at P and q at Q

    z = f ((k D(P)^(1/a) + q D(Q)^(1/a)) / n)^a

so a line planned for D(P) ends as deep as it was planned when D(Q) = D(P) ((n f^(-1/a) - k) / q)^a.
Range: ramps in a few light layers, as the staircase burns them. Example: k = 2 of n = 3, f = 0.9, q = 2: D(Q) = 0.761 D(P).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.process.ramp_lines import LAYER_KAPPA, grown_share, line_powers
from kerfwright.process.recipe import RampSettings

Array = NDArray[np.float64]

MOST_EXTRA_LAYERS = 2
SHORT_FRAC = 0.03  # of the deepest line: so little may lack at the wall's hidden foot before a layer is added


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
    if ratio.value >= grown_share(ramp.layers, n_burnt):
        raise InputError(
            f"depths are {100 * (ratio.value - 1):+.0f} %: after {n_burnt} layers the ramps are as deep as {ramp.layers} should make them",
            accepted=f"less than {100 * (grown_share(ramp.layers, n_burnt) - 1):.0f} % too deep",
            remedy="Burn no more layers of this ramp; go on with the operation after it, and burn a pilot strip on the next board",
            where=where,
        )
    # What a line was really planned for: see line_powers.
    planned_mm = np.clip(depths_mm, ramp.shallowest_mm, ramp.deepest_mm)
    n_layers = ramp.layers - n_burnt
    clipped_mm, short_mm = _asked(ramp, planned_mm, n_burnt, n_layers, ratio)
    while short_mm > SHORT_FRAC * float(np.max(planned_mm)) and n_layers < ramp.layers - n_burnt + MOST_EXTRA_LAYERS:
        n_layers += 1
        clipped_mm, short_mm = _asked(ramp, planned_mm, n_burnt, n_layers, ratio)
    powers, kept = line_powers(ramp, clipped_mm)
    return Remaining(powers, kept, n_layers, short_mm)


def _asked(ramp: RampSettings, planned_mm: Array, n_burnt: int, n_layers: int, ratio: Estimate) -> tuple[Array, float]:
    """(D(Q) within what was burnt (m,), how much the worst line will lack) with ``n_layers`` more."""
    like_layers = ramp.layers * ratio.value ** (-1 / LAYER_KAPPA)
    clipped_mm = np.minimum(planned_mm * grown_share(like_layers - n_burnt, n_layers), ramp.deepest_mm)
    summed = n_burnt * planned_mm ** (1 / LAYER_KAPPA) + n_layers * clipped_mm ** (1 / LAYER_KAPPA)
    ends_mm = ratio.value * (summed / ramp.layers) ** LAYER_KAPPA
    return clipped_mm, max(float(np.max(planned_mm - ends_mm)), 0.0)
