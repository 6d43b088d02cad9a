"""What the plan expects of a joint: the gap at the places a person sees and where it is tightest."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwright.core.estimate import Estimate


@dataclass(frozen=True)
class MateGap:
    """Predicted gaps of one corner, per flank, > 0 open, < 0 squeeze.

    tightest_mm: narrowest place of the pair; seen_tail_face_mm and seen_pin_face_mm: mean along the two lines a
    person sees (on the tail board's and the pin board's show face). A box joint's first board counts as the tail board.
    wanted_mm: the clearance asked for, per flank. The ends are "left" or "right" of each board as seen from outside.
    """

    corner: str
    tail_part: str
    tail_end: str
    pin_part: str
    pin_end: str
    wanted_mm: float
    tightest_mm: Estimate
    seen_tail_face_mm: Estimate
    seen_pin_face_mm: Estimate


@dataclass(frozen=True)
class WallOption:
    """One way of making a sloped wall: can this machine do it here, and why or why not."""

    part: str
    method: str
    possible: bool
    chosen: bool
    reason: str
    n_setups: int
    wall_sd_mm: float
