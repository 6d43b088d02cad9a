"""Where the outsider says every wall of a part has to stand, from job.json's outline, fit and recipe alone.

A wall's *opening* is how far it stands back from its drawn place, measured in the slice, > 0 away from its mate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from external.ideal_burn import Folder, Lie, kerf_numbers, kerf_width_mm, outline_at, stand_back_mm, through_entry

CORNER_MM = 0.35  # walls are not looked at nearer to a corner: the knife is round
FAINT_SHARE = 0.5  # ramp lines shallower than this share of the shallowest reading are left out (stated by the plan)


@dataclass
class Making:
    """One operation that makes one edge."""

    lie: Lie
    op: dict[str, Any]
    depth_mm: float


class Wanted:
    """One part's outline and what is wanted of each of its edges. hollow_mm, overrun_mm: the options it was planned with."""

    def __init__(self, folder: Folder, part: str, hollow_mm: float = 0.02, overrun_mm: float = 0.1) -> None:
        self.slab = folder.part(part)["outline_on_board"]
        self.edges: list[dict[str, Any]] = self.slab["edges"]
        self.thickness_mm = float(self.slab["depths_mm"][-1])
        self.recipe = folder.record["recipes"][part]
        self.lies = folder.of_part(part)
        self.hollow_mm, self.overrun_mm = hollow_mm, overrun_mm
        self.show, self.inner = (np.array(ring) for ring in self.slab["rings_mm"])
        self.lean_mm = np.abs(self.show - self.inner)[:, 1]
        self.share_mm = {}  # clearance / 4 by end: each flank of each board takes half of what is wanted per flank
        for gap in folder.record["joints"]:
            first, second = gap["corner"].split("-")
            if part in (first, second):
                self.share_mm["right" if part == first else "left"] = gap["wanted_mm"] / 2
        self.makings = [
            [
                Making(lie, op, path["depth_mm"])
                for lie in self.lies
                for op in lie.record["operations"]
                for path in op["paths"]
                if edge["name"] in path["edges"]
            ]
            for edge in self.edges
        ]
        self.spacing_mm = self.recipe["ramp"]["spacing_mm"] if self.recipe["ramp"] else 0.0

    def ramped(self, i: int) -> bool:
        return any(making.op["kind"] == "ramp" for making in self.makings[i])

    def stair_mm(self, i: int) -> float:
        """How far a ramp's stair may stray: half a spacing."""
        return self.spacing_mm / 2 if self.ramped(i) else 0.0

    def faint_mm(self, i: int, z_mm: float) -> float:
        """Near the show face the faintest lines are left out, so wood may stand as far proud as they would have reached."""
        shallow_mm = FAINT_SHARE * self.recipe["ramp"]["depth"][0][1]["value"] if self.ramped(i) else 0.0
        return max(shallow_mm + z_mm, 0.0) * self.lean_mm[i] / self.thickness_mm if self.ramped(i) else 0.0

    def opening_mm(self, i: int, z_mm: float) -> float | None:
        """Wanted opening of edge i in the slice z_mm; None for the board's own edges."""
        edge = self.edges[i]
        if edge["role"] == "datum":
            return None
        share = self.share_mm.get(edge["name"].split(".")[0], 0.0)
        share = 0.0 if edge["role"] == "free" else max(share, 0.0) if edge["place"] == "floor" else share
        assert self.makings[i], f"nothing cuts {edge['name']}"
        found = [self._slit_mm(i, making, z_mm) + share for making in self.makings[i] if making.op["kind"] == "through"]
        if self.ramped(i):
            z = -z_mm / self.thickness_mm
            hollow = min(self.hollow_mm, 0.2 * self.lean_mm[i])
            return max(share + 4 * hollow * z * (1 - z), max(found) - self.lean_mm[i] * (1 - z))
        return max(found)

    def _slit_mm(self, i: int, making: Making, z_mm: float) -> float:
        """How far the slit is wider than its waist, half of it, seen in the slice."""
        along = abs(z_mm - making.lie.entry_z_mm) / making.lie.cos_tilt
        if along > making.depth_mm + 1e-6:
            return -math.inf
        a, b = self.show[i], self.show[(i + 1) % len(self.show)]
        travel = making.lie.bed_from_board[:2, :2] @ (b - a)
        kerf = kerf_numbers(through_entry(making.op, self.recipe), math.atan2(travel[1], travel[0]), math.atan2(*(b - a)[::-1]))
        half = (kerf_width_mm(kerf, min(along / making.depth_mm, 1.0)) - kerf[1]) / 2
        # Across a tilted board the slice meets the knife at a slant.
        return half / making.lie.cos_tilt if abs((b - a)[1]) < 1e-9 else half

    def points(self, i: int, z_mm: float) -> tuple[np.ndarray, np.ndarray]:
        """Places to look at on edge i, and the direction into the wood. Beside a ramp, only the core's part of a floor."""
        ring = outline_at(self.slab, z_mm)
        n = len(ring)
        if self.edges[i]["place"] == "floor" and (self.ramped(i - 1) or self.ramped((i + 1) % n)):
            ring = self.inner
        a, b = ring[i], ring[(i + 1) % n]
        length = float(np.hypot(*(b - a)))
        along = (b - a) / length
        keep = min(CORNER_MM, 0.45 * length)
        at = np.array([keep, length / 2, length - keep])
        return a + at[:, None] * along, np.array([-along[1], along[0]])

    def measured_mm(self, i: int, part: Any, z_mm: float) -> np.ndarray:
        """(3,) openings of edge i as burnt."""
        points, inward = self.points(i, z_mm)
        return stand_back_mm(part, points, inward)

    def widest_slit_mm(self) -> float:
        return max(max(k[name]["value"] for name in ("top_mm", "bottom_mm")) for entry in self.recipe["through"] for k in entry["kerf"])

    def kerf_spread_mm(self, at: str) -> float:
        """Widest less narrowest kerf by direction, at the top, the waist or the bottom: 0 when the beam is round."""
        return max(float(np.ptp([k[at]["value"] for k in entry["kerf"]])) for entry in self.recipe["through"])

    def round_end_mm(self) -> float:
        """How far a stroke's round end may reach past the wall it stops at, at an inner corner.

        The stroke ends on the path of its neighbour, whose slit may be narrower than its own round end.
        """
        return max(self.kerf_spread_mm(at) for at in ("top_mm", "waist_mm", "bottom_mm")) / 2

    def inner_corners(self, ring: np.ndarray) -> list[int]:
        before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
        return [int(i) for i in np.flatnonzero(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] < -1e-9)]

    def lost_beyond(self, part: Any, z_mm: float, slack_mm: float) -> float:
        """Area of drawn wood that is gone although no wall was to stand back there.

        Allowed besides the openings: a ramp's stair, the over-run of ramp lines past a floor, round ends at inner corners.
        """
        ring = outline_at(self.slab, z_mm)
        allowed = []
        corners = shapely.union_all([shapely.Point(*ring[i]).buffer(1.5 * self.widest_slit_mm()) for i in self.inner_corners(ring)])
        for i in range(len(ring)):
            opening = self.opening_mm(i, z_mm)
            if opening is None:
                continue
            beside = self.edges[i]["place"] == "floor" and (self.ramped(i - 1) or self.ramped((i + 1) % len(ring)))
            width = max(opening, self.overrun_mm if beside else 0.0) + self.stair_mm(i) + slack_mm
            wall = shapely.LineString([ring[i], ring[(i + 1) % len(ring)]])
            if width > 0:
                allowed.append(wall.buffer(width))
            if width + self.round_end_mm() > 0:
                allowed.append(wall.buffer(width + self.round_end_mm()).intersection(corners))
        return float(shapely.Polygon(ring).difference(part).difference(shapely.union_all(allowed)).area)

    def standing_beyond(self, part: Any, z_mm: float, slack_mm: float) -> float:
        """Area of wood that stands where none was wanted: past squeezing walls and the round of inner corners."""
        ring = outline_at(self.slab, z_mm)
        n = len(ring)
        allowed = []
        for i in range(n):
            opening = self.opening_mm(i, z_mm)
            proud = max(-(opening or 0.0), 0.0) + self.stair_mm(i) + self.faint_mm(i, z_mm) + slack_mm
            allowed.append(shapely.LineString([ring[i], ring[(i + 1) % n]]).buffer(proud))
        # An inner corner keeps a fillet; on a ramped board so do the corners of the core.
        corners = [*ring[self.inner_corners(ring)], *self.inner[self.inner_corners(self.inner)]]
        allowed += [shapely.Point(*corner).buffer(self.widest_slit_mm() / 2) for corner in corners]
        return float(part.difference(shapely.Polygon(ring)).difference(shapely.union_all(allowed)).area)


def depth_shares(wanted: Wanted, n: int) -> np.ndarray:
    """Depths to look at, as shares of the thickness from the show face: even ones and every waist."""
    waists = {entry["kerf"][0]["waist_at_frac"] for entry in wanted.recipe["through"]}
    return np.array(sorted({round(float(z), 9) for z in [*np.linspace(0, 1, n), *waists, *(1 - w for w in waists)]}))
