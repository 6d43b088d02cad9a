"""The strokes of one board, in true order, as the wood meets them: read from programs and poses, never from a plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Strokes:
    """Straight moves with the beam on over one board, n of them, in the board's frame.

    entry_mm: (n, 2, 3) start and end where the beam meets the entry face; focus_mm: (n, 2) how far the focus stands above
    the entry face along the beam there, as Z says; beam: (n, 3) unit direction of the light; x_share: (n,) sin^2 of the
    stroke's angle to the bed's x axis; power_frac: (n,) share of the full setting; scaled: (n,) True where the machine
    lowers its power with its speed; speed_mm_s: (n,) as told; in_mm_s, out_mm_s: (n,) true speed at start and end;
    acceleration_mm_s2: of the machine; begin_s, took_s: (n,) when, from the first program's start; setup: (n,) its number;
    from_show: (n,) True when the show face is the entry face.
    """

    entry_mm: Array
    focus_mm: Array
    beam: Array
    x_share: Array
    power_frac: Array
    scaled: NDArray[np.bool_]
    speed_mm_s: Array
    in_mm_s: Array
    out_mm_s: Array
    acceleration_mm_s2: float
    begin_s: Array
    took_s: Array
    setup: NDArray[np.int_]
    from_show: NDArray[np.bool_]
