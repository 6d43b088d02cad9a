"""What a burn left of a part: where each of its walls really stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BurntWall:
    """One edge of a part, at stations along it and at depths below the show face.

    share: (s,) stations as shares of the edge from its first corner to its second (the ring runs with the wood on its
    left); depths_mm: (d,) from 0 to the board's thickness; back_mm: (s, d) how far the wall stands back from where it was
    drawn, + into the wood, square to the edge in the plane of the face, char brushed off; NaN where no stroke freed it;
    through: (s,) the slit beside it is open to the far face.
    """

    part: str
    edge: str
    share: Array
    depths_mm: Array
    back_mm: Array
    through: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class BurntPart:
    """All walls of one part by edge name."""

    part: str
    walls: dict[str, BurntWall]


@dataclass(frozen=True, eq=False)
class Hidden:
    """What a burn cannot know before it is burnt, one draw of it. The default is the board and machine as told.

    density_ratio: this board's need against the species'; thickness_mm: added to the measured thickness; focus_mm: the
    gauge was set this much too high; tilt_deg: the cradle stands this much too steep; placed_mm: (x, y) the board lies this
    far along its own x and y from where it was said; turned_deg: and is turned by this, about its middle.
    """

    density_ratio: float = 1.0
    thickness_mm: float = 0.0
    focus_mm: float = 0.0
    tilt_deg: float = 0.0
    placed_mm: tuple[float, float] = (0.0, 0.0)
    turned_deg: float = 0.0
