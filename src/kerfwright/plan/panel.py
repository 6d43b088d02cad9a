"""A panel: a part without joints at its ends, cut free all round from a board larger than itself."""

from __future__ import annotations

import numpy as np

from kerfwright.plan.square import Cutting
from kerfwright.process.operation import BeamPath


def outline_stroke(cutting: Cutting, name: str, waste_mm: float) -> BeamPath:
    """A closed outline, begun in the waste beside the middle of its longest edge."""
    ring = cutting.ring(cutting.blank.slab.show_ring)
    points = ring.points_mm
    steps = np.roll(points, -1, axis=0) - points
    longest = int(np.argmax(np.hypot(steps[:, 0], steps[:, 1])))
    middle = points[longest] + steps[longest] / 2
    outward = np.array([steps[longest, 1], -steps[longest, 0]]) / np.hypot(*steps[longest])
    start = middle + min(cutting.lead_mm, waste_mm / 2) * outward
    return cutting.stroke(np.vstack([start, middle, np.roll(points, -longest - 1, axis=0), middle]), (name,))
