"""Kerf compensation, edge by edge: mating edges get clearance, free edges only kerf, datum edges nothing.

Words: a wall's *opening* is how far it stands back from its drawn place, > 0 away from the mate. The clearance of a
mated pair is the sum of both walls' openings, and the tightest place is where both are smallest - the *waists* of
the two slits. So each board's path is moved by half its waist kerf, less its half of the wanted gap per flank.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import PlanError
from kerfwright.core.estimate import Estimate
from kerfwright.core.pose import Pose
from kerfwright.geometry.edge_offset import offset_ring
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face
from kerfwright.plan.spread import Cause, Spread, joined, total_sd_mm
from kerfwright.process.recipe import KerfProfile, ThroughCut

Array = NDArray[np.float64]

N_DEPTHS = 41  # samples of a wall through the thickness


@dataclass(frozen=True, eq=False)
class WallShape:
    """Opening of a wall from show face (first) to inner face (last). opening_mm: (N_DEPTHS,); spread_mm: common to all of it."""

    opening_mm: Array
    spread_mm: Spread

    @property
    def sd_mm(self) -> float:
        """Of the whole wall's place, all causes together."""
        return total_sd_mm(self.spread_mm)


def profile_of(along: Array, cut: ThroughCut, bed_from_board: Pose) -> KerfProfile:
    """The slit left by a cut running along ``along`` (2,) in the board's face."""
    travel = bed_from_board.turned(np.array([along[0], along[1], 0.0]))
    return cut.profile(float(np.degrees(np.arctan2(travel[1], travel[0]))), float(np.degrees(np.arctan2(along[1], along[0]))))


def path_offset_mm(edge: Edge, profile: KerfProfile, clearance_mm: float) -> float:
    """How far outside the wood the beam's centre runs. clearance_mm: wanted, total across a pin (two flanks)."""
    return 0.0 if edge.role is Role.DATUM else profile.waist_mm.value / 2 - fit_share_mm(edge, clearance_mm)


def fit_share_mm(edge: Edge, clearance_mm: float) -> float:
    """How far a wall is set back for the fit. clearance_mm: wanted, total across a pin (two flanks).

    A quarter of the total goes to each flank of each board, nothing to what does not mate. A socket's floor never squeezes: it
    would only hold the joint open.
    """
    share_mm = clearance_mm / 4 if edge.role is Role.MATE else 0.0
    return max(share_mm, 0.0) if edge.place is Place.FLOOR else share_mm


def path_ring(ring: Ring, cut: ThroughCut, bed_from_board: Pose, clearance_mm: dict[str, float], where: str) -> Ring:
    """The ring the beam's centre follows round ``ring``. clearance_mm: by end of the board ("left", "right").

    Raises PlanError when a socket or pin is narrower than the slit.
    """
    along = np.roll(ring.points_mm, -1, axis=0) - ring.points_mm
    offsets = np.array(
        [
            path_offset_mm(edge, profile_of(along[i], cut, bed_from_board), clearance_mm.get(edge.name.split(".")[0], 0.0))
            for i, edge in enumerate(ring.edges)
        ]
    )
    try:
        return offset_ring(ring, offsets)
    except ValueError as bad:
        raise PlanError(
            f"{bad}: the slit is about {2 * offsets.max():.2f} mm wide", remedy="Give wider pins or a finer kerf", where=where
        ) from bad


def square_wall(profile: KerfProfile, entry: Face, clearance_mm: float, more_mm: Spread) -> WallShape:
    """The wall a through cut leaves beside its compensated path (square to the face, or cut in a cradle).

    more_mm: spreads besides the kerf's own.
    """
    depth_frac = np.linspace(0, 1, N_DEPTHS)
    width_mm = np.array([profile.width_mm(float(d)) for d in depth_frac])
    if entry is Face.INNER:
        width_mm = width_mm[::-1]
    return _opened(width_mm, profile, clearance_mm, more_mm)


def two_face_wall(profile: KerfProfile, reach_frac: float, clearance_mm: float, more_mm: Spread) -> WallShape:
    """The wall of two cuts meeting inside; reach_frac: depth of each cut as a share of the thickness (over 0.5)."""
    nearest = np.minimum(np.linspace(0, 1, N_DEPTHS), np.linspace(1, 0, N_DEPTHS))
    width_mm = np.array([profile.width_mm(float(d)) for d in nearest / reach_frac])
    return _opened(width_mm, profile, clearance_mm, more_mm)


def ramp_wall(clearance_mm: float, hollow_mm: float, spread_mm: Spread) -> WallShape:
    """The wall a ramp leaves, hollowed in the middle."""
    depth_frac = np.linspace(0, 1, N_DEPTHS)
    return WallShape(clearance_mm / 4 + hollow_mm * 4 * depth_frac * (1 - depth_frac), spread_mm)


def _opened(width_mm: Array, profile: KerfProfile, clearance_mm: float, more_mm: Spread) -> WallShape:
    opening_mm = (width_mm - profile.waist_mm.value) / 2 + clearance_mm / 4
    return WallShape(opening_mm, {Cause.KERF: profile.waist_mm.sd / 2, **more_mm})


def gap_estimates(tail: WallShape, pin: WallShape) -> tuple[Estimate, Estimate, Estimate]:
    """(tightest, seen on the tail board's show face, seen on the pin board's show face), per flank.

    c(y, z) = tail(y) + pin(z): the tightest place is the sum of the two smallest; along a seen line one of the two
    stands at its show face and the other is averaged.
    """
    sd_mm = total_sd_mm(joined(tail.spread_mm, pin.spread_mm))
    values = (
        tail.opening_mm.min() + pin.opening_mm.min(),
        tail.opening_mm[0] + pin.opening_mm.mean(),
        pin.opening_mm[0] + tail.opening_mm.mean(),
    )
    source = "from the recipe and the laying of the boards, each with its spread"
    tightest, on_tail, on_pin = (Estimate(float(value), sd_mm, 0, source) for value in values)
    return tightest, on_tail, on_pin
