"""Cuts in a wall's edge: a notch to take hold at its upper edge, feet at its lower one.

Both are windows that run out over the edge. A notch is an arc; feet are what a cut with sloping ends leaves at the corners.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from kerfwright.core.document import Document, Length
from kerfwright.core.errors import BuildError, InputError
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Recess

if TYPE_CHECKING:
    from kerfwright.pieces.carcass import Carcass

Array = NDArray[np.float64]

LEAST_WOOD_MM = 1.5  # between a cut in the edge and a groove or slot (judgement of ours)
LEAST_BRIDGE_MM = 8.0  # of the cut between two feet (judgement of ours)
OVER_MM = 1.0  # how far a cut runs out over the edge
N_ARC = 24


class NotchWishes(Document):
    """A finger notch in the middle of a wall's upper edge."""

    walls: tuple[str, ...] = Field(default=("front",), min_length=1, max_length=4, description="which walls have it")
    width_mm: Length = Field(default=22.0, alias="width", description="along the edge")
    depth_mm: Length = Field(default=7.0, alias="depth", description="at its middle, at most half its width")


class FeetWishes(Document):
    """Feet left at the corners by a cut along each wall's lower edge."""

    walls: tuple[str, ...] = Field(
        default=("front", "right", "back", "left"), min_length=1, max_length=4, description="which walls are cut"
    )
    height_mm: Length = Field(default=4.0, alias="height", description="of the feet")
    width_mm: Length = Field(default=18.0, alias="width", description="of each foot at the ground, from the box's outside")


def with_details(carcass: Carcass, notch: NotchWishes | None, feet: FeetWishes | None) -> Carcass:
    """The same walls, their grooves and slots in them already, with what is cut into their edges.

    Raises BuildError, naming the dimension to change, where a cut leaves too little wood.
    """
    for wishes in (notch, feet):
        for wall in wishes.walls if wishes else ():
            if wall not in carcass.panels:
                raise InputError(f'there is no wall called "{wall}"', accepted=", ".join(carcass.panels), where="notch and feet")
            cut = _feet(carcass, wall, wishes) if isinstance(wishes, FeetWishes) else _notch(carcass, wall, wishes or NotchWishes())
            _check_clear(carcass, wall, cut, "feet.height" if wishes is feet else "notch.depth")
            carcass = carcass.hollowed({wall: (cut,)})
    return carcass


def _notch(carcass: Carcass, wall: str, wishes: NotchWishes) -> Recess:
    half_mm, depth_mm = wishes.width_mm / 2, wishes.depth_mm
    _, _, _, top = carcass.parts[carcass.panels.index(wall)].slab.bounds_mm()
    inside_mm = carcass.inside_mm[carcass.panels.index(wall) % 2]
    if depth_mm > half_mm:
        raise BuildError(f"a notch {depth_mm:g} mm deep and {wishes.width_mm:g} mm wide", accepted=f"notch.depth of {half_mm:g} mm or less")
    if wishes.width_mm > inside_mm - 2 * LEAST_BRIDGE_MM:
        raise BuildError(
            f"a notch {wishes.width_mm:g} mm wide in a {wall} of {inside_mm:.1f} mm between its corners",
            accepted=f"notch.width of {inside_mm - 2 * LEAST_BRIDGE_MM:.1f} mm or less",
        )
    radius_mm = (half_mm**2 + depth_mm**2) / (2 * depth_mm)
    reach = math.asin(min(half_mm / radius_mm, 1.0))
    angles: Array = np.linspace(-reach, reach, N_ARC + 1)
    middle = carcass.proud_mm + carcass.outside_mm[carcass.panels.index(wall) % 2] / 2
    arc = np.stack([middle + radius_mm * np.sin(angles), top - depth_mm + radius_mm * (1 - np.cos(angles))], axis=1)
    return _window("finger notch", np.vstack([arc, [(middle + half_mm, top + OVER_MM), (middle - half_mm, top + OVER_MM)]]), carcass, wall)


def _feet(carcass: Carcass, wall: str, wishes: FeetWishes) -> Recess:
    height_mm = wishes.height_mm
    _, low, _, top = carcass.parts[carcass.panels.index(wall)].slab.bounds_mm()
    i = carcass.panels.index(wall)
    beside_mm = max(carcass.thickness_mm[carcass.panels[k % 4]] for k in (i - 1, i + 1))
    outside_mm = carcass.outside_mm[i % 2]
    middle = carcass.proud_mm + outside_mm / 2
    half_mm = outside_mm / 2 - wishes.width_mm
    if wishes.width_mm < beside_mm + LEAST_WOOD_MM:
        raise BuildError(
            f"feet {wishes.width_mm:g} mm wide beside walls of {beside_mm:g} mm cut into the corner's joint",
            accepted=f"feet.width of {beside_mm + LEAST_WOOD_MM:.1f} mm or more",
        )
    if half_mm - height_mm < LEAST_BRIDGE_MM / 2 or height_mm > (top - low) / 3:
        raise BuildError(
            f"feet {wishes.width_mm:g} mm wide and {height_mm:g} mm high under a {wall} of {outside_mm:g} x {top - low:g} mm",
            accepted=f"{LEAST_BRIDGE_MM:g} mm or more between them, and a third of the height at most",
            remedy="Make feet.width or feet.height smaller",
        )
    near: Array = np.array([(half_mm, low - OVER_MM), (half_mm, low), (half_mm - height_mm, low + height_mm)])
    return _window("cut between the feet", np.vstack([near, (near * [-1, 1])[::-1]]) + [middle, 0.0], carcass, wall)


def _window(name: str, points: Array, carcass: Carcass, wall: str) -> Recess:
    edges = tuple(Edge(Role.FREE, Place.PANEL, f"{name}.{k + 1}") for k in range(len(points)))
    return Recess(name, Face.INNER, Ring(points, edges), carcass.parts[carcass.panels.index(wall)].slab.thickness_mm)


def _check_clear(carcass: Carcass, wall: str, cut: Recess, key: str) -> None:
    x0, y0, x1, y1 = cut.ring.bounds_mm()
    for other in carcass.parts[carcass.panels.index(wall)].slab.recesses:
        left, low, right, high = other.ring.bounds_mm()
        room_mm = max(low - y1, y0 - high, left - x1, x0 - right)
        if room_mm < LEAST_WOOD_MM - 1e-9:
            raise BuildError(
                f"the {cut.name} of the {wall} leaves {max(room_mm, 0.0):.1f} mm of wood to its {other.name}",
                accepted=f"{LEAST_WOOD_MM:g} mm or more",
                remedy=f"Make {key} smaller, or move the {other.name.split(' ')[0]} away",
            )
