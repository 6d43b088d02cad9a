"""The verdict: what a corner, and a whole piece, will be like when it is burnt and put together - odds, not promises."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.estimate import Estimate

Array = NDArray[np.float64]

HOW = ("loose", "slip", "snug", "press", "not at all")  # how a corner goes together, loosest first


@dataclass(frozen=True, eq=False)
class ClearanceMap:
    """The gap over one pair of flanks, square to the wall, > 0 open. y_mm: (n,) depth into the tail board from its show
    face; z_mm: (m,) depth into the pin board; gap_mm, sd_mm: (n, m)."""

    tail_edge: str
    pin_edge: str
    y_mm: Array
    z_mm: Array
    gap_mm: Array
    sd_mm: Array


@dataclass(frozen=True, eq=False)
class SeenLine:
    """One line a person looks at: the gap along it. on: "tail board" or "pin board", whose show face it lies in; at_mm,
    gap_mm, sd_mm: (n,) along the line from the face's edge inward; edges: the two edges that meet."""

    on: str
    tail_edge: str
    pin_edge: str
    at_mm: Array
    gap_mm: Array
    sd_mm: Array


@dataclass(frozen=True)
class CauseShare:
    """One cause of the spread: its share of the variance of the seen gap, and what would make it smaller."""

    cause: str
    share_frac: float
    sd_mm: float
    remedy: str


@dataclass(frozen=True, eq=False)
class CornerVerdict:
    """One corner. odds: by word of HOW, adding to 1. goes_together: odds that it goes together without splitting wood.

    seen_gap_mm: mean along the seen lines; seen_worst_mm: its widest tenth; tightest_mm: narrowest twentieth on any flank
    met on the way together; squeeze_mm: most wood to be crushed at one wall; press_n: force to push it home (low, middle,
    high of the friction range); half_pin: "low", "raised", "high" or "unknown" risk of a half-pin splitting; proud_mm: by
    part, how far its end stands out before planing; glue_gap_mm: mean gap inside, hidden; planned_gap_mm: what the plan
    had said of seen_gap_mm, to show when the two disagree.
    """

    corner: str
    tail_part: str
    pin_part: str
    odds: dict[str, float]
    goes_together: float
    seen_gap_mm: Estimate
    seen_worst_mm: Estimate
    tightest_mm: Estimate
    squeeze_mm: Estimate
    press_n: tuple[float, float, float]
    half_pin: str
    proud_mm: dict[str, Estimate]
    glue_gap_mm: Estimate
    planned_gap_mm: Estimate | None
    maps: tuple[ClearanceMap, ...]
    lines: tuple[SeenLine, ...]
    causes: tuple[CauseShare, ...]
    blocked_by: str = ""


@dataclass(frozen=True)
class RecessVerdict:
    """One groove or housing as burnt, and the board that stands in it.

    recess: its name in ``part``; holds: the part that stands in it, "" for none, and then what is told of it is None.
    drawn_depth_mm, depth_mm: of its floor; left_mm: wood left behind its deepest place; breaks_through: odds that none is.
    drawn_width_mm, width_mm: at its narrowest, from the face down to where the board stands; goes_in: odds that the board's
    thickest point goes in; rattle_mm: room beside a board of its mean thickness, < 0 squeeze; under_mm: room between the
    board's edge and the floor, < 0: it is held off; too_shallow: odds of that.
    """

    part: str
    recess: str
    holds: str
    drawn_depth_mm: float
    depth_mm: Estimate
    left_mm: Estimate
    breaks_through: float
    drawn_width_mm: float | None
    width_mm: Estimate | None
    goes_in: float | None
    rattle_mm: Estimate | None
    under_mm: Estimate | None
    too_shallow: float | None


@dataclass(frozen=True)
class HotPlace:
    """A place that stays warm longest: where on the board, how warm beyond the room in the model's own terms (1 = what one
    pass leaves), and its risk in words - raised, high or unknown, never less."""

    part: str
    setup: int
    at_mm: tuple[float, float]
    warmth: float
    risk: str


@dataclass(frozen=True, eq=False)
class HeatVerdict:
    """risk: "raised", "high" or "unknown"; hottest: places in order; char: "light", "heavy" or "unknown"; spread_order: what
    re-ordering would win (share by which the hottest place falls), 0 when nothing."""

    risk: str
    char: str
    hottest: tuple[HotPlace, ...]
    spread_order: float


@dataclass(frozen=True, eq=False)
class Verdict:
    """A whole job. law_from: where the burn law's numbers came from, in words; tier: "quick" or "full"; n_draws: Monte Carlo."""

    job: str
    corners: tuple[CornerVerdict, ...]
    heat: HeatVerdict | None
    time_s: float
    law_from: str
    tier: str
    n_draws: int
    said: tuple[str, ...] = ()
    setup_time_s: dict[int, float] = field(default_factory=dict[int, float])
    recesses: tuple[RecessVerdict, ...] = ()

    @property
    def goes_together(self) -> float:
        """Odds that the worst corner goes together."""
        return min((corner.goes_together for corner in self.corners), default=float(np.nan))
