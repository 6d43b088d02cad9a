"""A small pin-board socket at the board's left end, its walls ramped just as the plan ramps them."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwright.coupons.strokes import LEAD_MM, Array, bed_axis, stroke
from kerfwright.process.operation import BeamPath
from kerfwright.process.ramp_lines import line_powers, wall_depths
from kerfwright.process.recipe import RampSettings, ThroughCut

OVERRUN_MM = 0.1  # lines run this far past the floor, else a fillet blocks the joint: the plan's default


@dataclass(frozen=True)
class RampSocket:
    """middle_mm: y of its middle; width_mm: at the inner face; reach_mm: depth along the board, from its end.

    gap_mm: clearance wanted across the pair (two flanks), a quarter of it at each of this socket's walls.
    """

    middle_mm: float
    width_mm: float
    reach_mm: float
    slope_frac: float
    thickness_mm: float
    gap_mm: float = 0.0

    @property
    def across_mm(self) -> float:
        """Width of one wedge."""
        return self.slope_frac * self.thickness_mm

    @property
    def show_low_mm(self) -> float:
        """y of the low wall on the show face."""
        return self.wall_mm(-1, 0.0)

    @property
    def show_high_mm(self) -> float:
        """y of the high wall on the show face."""
        return self.wall_mm(1, 0.0)

    def wall_mm(self, side: int, depth_mm: float) -> float:
        """y of the drawn wall at a depth; side -1: low, 1: high."""
        return self.middle_mm + side * (self.width_mm / 2 + self.slope_frac * (self.thickness_mm - depth_mm))


def half_kerfs_mm(cut: ThroughCut, turned: bool) -> tuple[float, float]:
    """Half the waist of cuts along and across the board."""
    along, across = (
        cut.profile(0.0 if bed_axis(along_x, turned) == "x" else 90.0, 0.0 if along_x else 90.0).waist_mm.value / 2
        for along_x in (True, False)
    )
    return along, across


def core_stroke(socket: RampSocket, cut: ThroughCut, turned: bool) -> BeamPath:
    """The socket's core at its inner width, out of the end and back; it drops when the last pass is through."""
    along_mm, across_mm = half_kerfs_mm(cut, turned)
    aside_mm = socket.width_mm / 2 - along_mm + socket.gap_mm / 4
    x_floor = socket.reach_mm - across_mm + max(socket.gap_mm / 4, 0.0)
    low, high = socket.middle_mm - aside_mm, socket.middle_mm + aside_mm
    return stroke([(-LEAD_MM, low), (x_floor, low), (x_floor, high), (-LEAD_MM, high)], cut.power_frac, socket.thickness_mm)


def wall_lines(socket: RampSocket, cut: ThroughCut, ramp: RampSettings, turned: bool) -> list[BeamPath]:
    """Lines of both wedges, each from beyond the end to just past the floor."""
    t_mm, depth_mm = wall_depths(ramp, socket.across_mm, socket.thickness_mm, socket.gap_mm / 4, 0.0)
    powers, kept = line_powers(ramp, depth_mm)
    _, across_mm = half_kerfs_mm(cut, turned)
    x_end = socket.reach_mm - across_mm + max(socket.gap_mm / 4, 0.0) + OVERRUN_MM
    lines: list[BeamPath] = []
    for side in (-1, 1):
        wall = socket.wall_mm(side, 0.0)
        for t, depth, power in zip(_floats(t_mm[kept]), _floats(depth_mm[kept]), _floats(powers), strict=True):
            y = wall - side * t
            lines.append(stroke([(-LEAD_MM, y), (x_end, y)], power, depth))
    return lines


def _floats(values: Array) -> list[float]:
    return [float(each) for each in values]
