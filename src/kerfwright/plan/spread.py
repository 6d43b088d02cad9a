"""Why a wall may not stand where it was drawn: each cause with its spread, so that a warning names the one to work on."""

from __future__ import annotations

import math
from enum import StrEnum


class Cause(StrEnum):
    """KERF: the slit's width. RAMP: depth and place of a ramped wall. MARKS: a board laid again, its witness marks read.

    PLACING: laid again by hand, without marks. TURNING: turned over, with nothing to read on the other face.
    """

    KERF = "kerf"
    RAMP = "ramp"
    MARKS = "marks"
    PLACING = "placing"
    TURNING = "turning"


Spread = dict[Cause, float]  # one standard deviation, mm, of each cause


def total_sd_mm(spread_mm: Spread) -> float:
    """All causes together; they do not know of each other."""
    return math.hypot(*spread_mm.values())


def joined(one_mm: Spread, other_mm: Spread) -> Spread:
    """Both walls of a gap: each cause acts on the two of them by itself."""
    return {cause: math.hypot(one_mm.get(cause, 0.0), other_mm.get(cause, 0.0)) for cause in Cause if cause in one_mm or cause in other_mm}


def largest(spread_mm: Spread) -> Cause:
    """The cause that gives most of the spread."""
    return max(spread_mm, key=lambda cause: spread_mm[cause])
