"""Where ramped walls really end: read on the end grain of a sloped edge at several depths.

Model: a reading at depth z lies at m + l z beyond where the wall was drawn, + into the wood; m the shift at the show face, l the
lean. Least squares, the lean drawn toward 0 by a weak prior: readings of one coupon err alike, and walls that lean
by more than a few hundredths are misread, not burnt. What the coupon's own recipe had shifted and leant already is added.
Depths keep what the staircase said: a field in the flat and a wall's foot are two things.
Range: one coupon, the depths read; 4 readings at two depths or more tell a lean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.evidence import Datum, Evidence
from kerfwright.calibrate.lesson import Lesson, Plot, pooled
from kerfwright.core.estimate import Estimate
from kerfwright.coupons.observable import Quantity
from kerfwright.process.recipe import LEAN_SD_FRAC, MOST_LEAN_FRAC

Array = NDArray[np.float64]

FEWEST = 4


@dataclass(frozen=True, eq=False)
class WallLearned:
    """shift_mm: how far walls end beyond their drawn place, into the wood, at the show face; lean_frac: how much more a depth of 1.

    shift_mm's sd holds along the whole wall: it is as wide at the show face as at the foot when readings lie about the middle.
    """

    lesson: Lesson
    shift_mm: Estimate
    lean_frac: Estimate


def learn_wall(evidence: Evidence) -> WallLearned | None:
    """From the latest sloped edge: earlier ones were drawn with an older depth curve, whose mistakes are not this one's."""
    data = evidence.of(Quantity.WALL_OFFSET)
    data = [datum for datum in data if datum.record.id == data[-1].record.id]
    if len(data) < 2:
        return None
    offset = np.array([datum.number for datum in data])
    depth = np.array([datum.setting("depth_mm") for datum in data])
    source = data[0].record.id
    lean, lean_sd = _lean(depth, offset)
    at_face, _, _ = pooled(offset - lean * depth, np.array([datum.instrument_sd_mm for datum in data]), source)
    shift_sd = math.hypot(at_face.sd, lean_sd * float(depth.mean()))
    drawn_mm, drawn_frac = (_drawn(data, name) for name in ("wall_shift_mm", "wall_lean_frac"))
    total = min(max(lean + drawn_frac, -MOST_LEAN_FRAC), MOST_LEAN_FRAC)
    shift = Estimate(at_face.value + drawn_mm, shift_sd, len(data), source)
    leaning = Estimate(total, lean_sd, len(data), source)
    told = (
        f"{len(data)} places on a sloped edge: walls end {shift.value:+.3f} ± {shift.sd:.3f} mm from where they were drawn at the "
        f"show face, + into the wood, and {1000 * leaning.value:+.1f} ± {1000 * leaning.sd:.1f} um more each mm deeper",
    )
    at: Array = np.linspace(0, float(depth.max()), 20)
    line = at_face.value + lean * at
    reach = 1.96 * np.hypot(at_face.sd, lean_sd * (at - float(depth.mean())))
    plot = Plot(
        "A ramped wall against where it was drawn",
        "depth below the show face, mm",
        "offset into the wood, mm",
        np.stack([depth, offset], axis=1),
        np.stack([at, line, line - reach, line + reach], axis=1),
    )
    estimates = {"shift_mm": shift, "lean_frac": leaning}
    return WallLearned(Lesson("wall", len(data), estimates, told, (), (plot,)), shift, leaning)


def _drawn(data: list[Datum], name: str) -> float:
    """What the coupon's recipe had taken account of already; a coupon made before leans were kept has none."""
    return float(np.median([float(datum.observable.settings.get(name, 0.0)) for datum in data]))


def _lean(depth: Array, offset: Array) -> tuple[float, float]:
    """(lean, its sd): least squares and prior together; the prior alone, 0, when it cannot be told."""
    if len(depth) < FEWEST or float(np.ptp(depth)) < 1e-9:
        return 0.0, LEAN_SD_FRAC
    away = depth - depth.mean()
    slope = float(away @ (offset - offset.mean()) / (away @ away))
    left = offset - offset.mean() - slope * away
    variance = float(left @ left) / (len(depth) - 2) / float(away @ away)
    trust = LEAN_SD_FRAC**2 / (LEAN_SD_FRAC**2 + variance)
    return trust * slope, math.sqrt(trust * variance)
