"""How a board lies in the bed: flat or in a cradle, either face up, turned end for end or a quarter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import PlanError
from kerfwright.core.pose import Pose, identity, shift, turn_x, turn_z
from kerfwright.core.units import format_mm
from kerfwright.geometry.slab import Face
from kerfwright.machine.machine import Machine

Array = NDArray[np.float64]

HEAD_MARGIN_MM = 1.0  # air kept between head and work (common practice, no source)


@dataclass(frozen=True)
class Lie:
    """A way of lying. tilt_deg: the cradle's slope, back edge high; turned: end for end; quarter: length along the bed's y."""

    face_up: Face
    tilt_deg: float = 0.0
    turned: bool = False
    quarter: bool = False

    @property
    def entry_z_frac(self) -> float:
        """0 when the beam enters the show face (z = 0), -1 when it enters the inner face (z = -thickness)."""
        return 0.0 if self.face_up is Face.SHOW else -1.0


def bed_from_board(lie: Lie, size_mm: tuple[float, float, float], fence_mm: tuple[float, float], cradle_height_mm: float) -> Pose:
    """The pose of a blank whose front left lower corner touches the fence (or the cradle's stop).

    size_mm: (length, width, thickness) of the blank.
    """
    length_mm, width_mm, thickness_mm = size_mm
    resting = shift(0, 0, thickness_mm) if lie.face_up is Face.SHOW else shift(0, width_mm, 0) @ turn_x(180)
    if lie.turned:
        resting = shift(length_mm, width_mm, 0) @ turn_z(180) @ resting
    if lie.quarter:
        resting = shift(width_mm, 0, 0) @ turn_z(90) @ resting
    tilt = turn_x(lie.tilt_deg) if lie.tilt_deg else identity()
    height_mm = cradle_height_mm if lie.tilt_deg else 0.0
    return shift(fence_mm[0], fence_mm[1], height_mm) @ tilt @ resting


def flat_lie(face_up: Face, size_mm: tuple[float, float, float], machine: Machine, fence_mm: tuple[float, float], where: str) -> Lie:
    """A flat lie that fits the bed, turned a quarter when the board only fits that way.

    Raises PlanError when the board fits neither way or stands too high.
    """
    length_mm, width_mm, thickness_mm = size_mm
    room_x_mm, room_y_mm = machine.bed_x_mm - fence_mm[0], machine.bed_y_mm - fence_mm[1]
    if thickness_mm > machine.height_mm:
        raise PlanError(
            f"the board is {format_mm(thickness_mm)} thick",
            accepted=f"up to {format_mm(machine.height_mm)} under the head of {machine.name}",
            where=where,
        )
    if length_mm <= room_x_mm and width_mm <= room_y_mm:
        return Lie(face_up)
    if length_mm <= room_y_mm and width_mm <= room_x_mm:
        return Lie(face_up, quarter=True)
    raise PlanError(
        f"the board is {format_mm(length_mm)} x {format_mm(width_mm)}",
        accepted=f"up to {format_mm(room_x_mm)} x {format_mm(room_y_mm)} on {machine.name}, inside the fence",
        remedy="Make the piece smaller, trim the board, or use a larger machine",
        where=where,
    )


def cradle_fault(
    tilt_deg: float, size_mm: tuple[float, float, float], machine: Machine, fence_mm: tuple[float, float], cradle_height_mm: float
) -> str:
    """Why a board cannot lie in the cradle under this head, or "" when it can.

    The head is a flat plate ``half_width_mm`` to each side, ``gap_mm`` over the focus: uphill the board rises by
    the tangent of the tilt, and may not come nearer than the margin.
    """
    length_mm, width_mm, thickness_mm = size_mm
    tilt = np.radians(tilt_deg)
    deep_mm = width_mm * np.cos(tilt) + thickness_mm * np.sin(tilt)
    if length_mm > machine.bed_x_mm - fence_mm[0] or deep_mm > machine.bed_y_mm - fence_mm[1] - thickness_mm:
        return f"the board ({format_mm(length_mm)} x {format_mm(width_mm)}) does not fit the bed in a cradle"
    top_mm = cradle_height_mm + width_mm * np.sin(tilt) + thickness_mm * np.cos(tilt)
    if top_mm > machine.height_mm:
        return f"its high edge would stand {format_mm(top_mm, 1)} over the bed; the machine takes {format_mm(machine.height_mm)}"
    rise_mm = min(machine.head.half_width_mm, deep_mm) * np.tan(tilt)
    if rise_mm > machine.head.gap_mm - HEAD_MARGIN_MM:
        return (
            f"the head would touch the board uphill: it rises {format_mm(rise_mm, 1)} under the head, "
            f"which clears {format_mm(machine.head.gap_mm - HEAD_MARGIN_MM, 1)}"
        )
    return ""
