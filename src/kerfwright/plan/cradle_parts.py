"""The cradle itself, cut flat by the same laser from an offcut: ribs with a sloped rest and a stop, joined by two rails.

Vocabulary: a *rib* stands across the bed and slopes up to the back; its *stop* at the low end is the registration
edge the board is pushed against. *Rails* run along the bed and hold the ribs upright by cross-lap slots. The ribs
stand under the middle of the board, clear of the cuts at its ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.units import slope_deg
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Slab, straight_slab
from kerfwright.plan.blank import Blank

Array = NDArray[np.float64]

STOP_WIDTH_MM = 6.0
RAIL_HEIGHT_MM = 10.0
SLOT_SLACK_MM = 0.1  # cross-laps of a jig may be easy
SPACE_MM = 4.0  # between parts on the sheet


@dataclass(frozen=True)
class CradleSize:
    """board_*: the blank it carries; clear_x_mm: how far in from each end of the board ribs must stay."""

    board_length_mm: float
    board_width_mm: float
    board_thickness_mm: float
    slope_frac: float
    base_height_mm: float
    sheet_thickness_mm: float
    clear_x_mm: float

    @property
    def tilt_deg(self) -> float:
        """Slope of the rest."""
        return slope_deg(self.slope_frac)


def cradle_size(blanks: list[Blank], slope_frac: float, base_height_mm: float) -> CradleSize:
    """A cradle for the largest of several blanks, cut from an offcut as thick as the first."""
    return CradleSize(
        max(blank.size_mm[0] for blank in blanks),
        max(blank.size_mm[1] for blank in blanks),
        max(blank.size_mm[2] for blank in blanks),
        slope_frac,
        base_height_mm,
        blanks[0].size_mm[2],
        max(max(blank.end_waste_mm, blank.right_waste_mm) + 2 * blank.size_mm[2] for blank in blanks),
    )


def small_fault(size: CradleSize) -> str:
    """Why a board is too small to rest on ribs that hold together, or ""."""
    left, right = rib_places_mm(size)
    sheet_mm = size.sheet_thickness_mm
    if right - left < 3 * sheet_mm:
        return f"the board is too short to rest on two ribs clear of its cuts ({size.board_length_mm:.0f} mm)"
    front, back = _slot_places(STOP_WIDTH_MM + size.board_width_mm)
    if front < sheet_mm + 2 or back - front < 2 * sheet_mm:
        return f"the board is too narrow for ribs cut from {sheet_mm:.1f} mm stuff ({size.board_width_mm:.0f} mm)"
    return ""


def rib_outline_mm(size: CradleSize) -> Array:
    """One rib, (n, 2): x is the bed's y from the front of the stop, y is height over the bed.

    The rest starts at (stop width, base height) and rises by the slope; the stop's face is square to the rest.
    """
    tilt = np.radians(size.tilt_deg)
    along, up = np.array([np.cos(tilt), np.sin(tilt)]), np.array([-np.sin(tilt), np.cos(tilt)])
    foot = np.array([STOP_WIDTH_MM, size.base_height_mm])
    high = foot + (size.board_width_mm + 2.0) * along
    lip = foot + 0.6 * size.board_thickness_mm * up
    slots = [_slot(x, size.sheet_thickness_mm) for x in _slot_places(float(high[0]))]
    bottom = [np.array([0.0, 0.0]), *(corner for slot in slots for corner in slot), np.array([high[0], 0.0])]
    return np.array([*bottom, high, foot, lip, np.array([0.0, float(lip[1])])])


def _slot_places(depth_mm: float) -> tuple[float, float]:
    return 0.25 * depth_mm, 0.75 * depth_mm


def _slot(x: float, sheet_mm: float) -> list[Array]:
    half, high = (sheet_mm + SLOT_SLACK_MM) / 2, RAIL_HEIGHT_MM / 2 - 1
    return [np.array([x - half, 0.0]), np.array([x - half, high]), np.array([x + half, high]), np.array([x + half, 0.0])]


def rib_places_mm(size: CradleSize) -> tuple[float, float]:
    """Where the two ribs' middles stand along the board, from its left end."""
    inset = max(size.clear_x_mm + size.sheet_thickness_mm, 0.22 * size.board_length_mm)
    return inset, size.board_length_mm - inset


def rail_outline_mm(size: CradleSize) -> Array:
    """One rail, (n, 2): x along the bed, y height; slots open upward under the ribs."""
    left, right = rib_places_mm(size)
    length = right - left + 24.0
    half, low = (size.sheet_thickness_mm + SLOT_SLACK_MM) / 2, RAIL_HEIGHT_MM / 2 - 1
    points: list[list[float]] = [[0.0, 0.0], [length, 0.0], [length, RAIL_HEIGHT_MM - 2]]
    for x in (length - 12.0, 12.0):
        points += [[x + half, RAIL_HEIGHT_MM - 2], [x + half, low], [x - half, low], [x - half, RAIL_HEIGHT_MM - 2]]
    return np.array([*points, [0.0, RAIL_HEIGHT_MM - 2]])


def cradle_sheet(size: CradleSize) -> list[tuple[str, Slab]]:
    """Every part of the cradle laid out on its sheet, lower left at (0, 0) plus a margin."""
    outlines = [
        ("rib 1", rib_outline_mm(size)),
        ("rib 2", rib_outline_mm(size)),
        ("rail 1", rail_outline_mm(size)),
        ("rail 2", rail_outline_mm(size)),
    ]
    parts: list[tuple[str, Slab]] = []
    y = SPACE_MM
    for name, outline in outlines:
        placed = outline - outline.min(axis=0) + np.array([SPACE_MM, y])
        edges = tuple(Edge(Role.FREE, Place.LONG, f"{name}.{i}") for i in range(len(placed)))
        parts.append((name, straight_slab(Ring(placed, edges), size.sheet_thickness_mm)))
        y = float(placed[:, 1].max()) + SPACE_MM
    return parts
