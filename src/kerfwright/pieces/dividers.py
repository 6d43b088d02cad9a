"""Dividers: thin walls dropped into housings from above, halved into each other where they cross.

Words: a *housing* is an upright groove in a wall, open at the top; a *cross-lap* joins two dividers that each give half their
height where they cross: the long ones are slotted from above, the cross ones from below, so the cross ones go in last.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from kerfwright.core.document import Document, Length, LengthOrZero
from kerfwright.core.errors import BuildError
from kerfwright.core.pose import Pose, axes
from kerfwright.geometry.assembly import Bond, Freedom, Part
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Recess, straight_slab
from kerfwright.pieces.carcass import Carcass
from kerfwright.pieces.groove import FLOOR_ROOM_MM, LEAST_WEB_MM

Array = NDArray[np.float64]

LEAST_CELL_MM = 8.0  # a finger goes in (judgement of ours)
RUN_OUT_MM = 1.0  # a housing runs on past the wall's top edge
FOOT_MM = 0.3  # and this far below the divider's foot: the beam rounds its corners
UP = np.array([[0.0, 0.0, 1.0]])


class DividerWishes(Document):
    """How many dividers, or where. Places are measured inside, from the left wall or the front wall to a divider's middle."""

    long: int = Field(default=0, ge=0, le=6, description="dividers along the length, evenly spaced")
    cross: int = Field(default=0, ge=0, le=6, description="dividers across the width, evenly spaced")
    long_at_mm: tuple[Length, ...] = Field(default=(), alias="long_at", max_length=6, description="or where they stand, from the front")
    cross_at_mm: tuple[Length, ...] = Field(default=(), alias="cross_at", max_length=6, description="or where they stand, from the left")
    drop_mm: LengthOrZero = Field(default=4.0, alias="drop", description="how far they stop below the walls' top")
    housing_mm: Length = Field(default=2.0, alias="housing", description="depth of the housings")
    play_mm: LengthOrZero = Field(default=0.15, alias="play", le=1, description="housings and laps are wider than the wood by this")

    @property
    def names(self) -> tuple[str, ...]:
        """Panel names: long-1, cross-1 and so on."""
        n_long, n_cross = len(self.long_at_mm) or self.long, len(self.cross_at_mm) or self.cross
        return (*(f"long-{k + 1}" for k in range(n_long)), *(f"cross-{k + 1}" for k in range(n_cross)))


@dataclass(frozen=True, eq=False)
class Dividers:
    """parts, the housings they ask of each wall, and their ways out."""

    parts: tuple[Part, ...]
    housings: dict[str, tuple[Recess, ...]]
    freedoms: tuple[Freedom, ...]


@dataclass(frozen=True)
class DividerKeys:
    """What a piece's document calls them: their names, and the keys to change."""

    long: str = "long"
    cross: str = "cross"
    top: str = "dividers.drop smaller or the walls higher"
    housing: str = "dividers.housing"
    long_at: str = "dividers.long_at"
    cross_at: str = "dividers.cross_at"


@dataclass(frozen=True)
class _Divider:
    """name; long: runs along x; at_mm: its middle, in the carcass, across its run; thickness_mm."""

    name: str
    long: bool
    at_mm: float
    thickness_mm: float


def fit_dividers(
    carcass: Carcass,
    wishes: DividerWishes,
    thickness_mm: Mapping[str, float],
    floor_mm: float,
    on: str = "",
    keys: DividerKeys = DividerKeys(),
) -> Dividers:
    """Dividers for these walls. floor_mm: height their feet stand at; on: the part they stand on, if any.

    Raises BuildError, naming the dimension to change.
    """
    top_mm = carcass.height_mm - wishes.drop_mm
    if top_mm - floor_mm < LEAST_CELL_MM:
        raise BuildError(
            f"the {keys.long} and {keys.cross} dividers would be {top_mm - floor_mm:.1f} mm high",
            accepted=f"{LEAST_CELL_MM:g} mm or more",
            remedy=f"Make {keys.top}",
        )
    thinnest_mm = min(carcass.thickness_mm[part.name] for part in carcass.parts)
    if wishes.housing_mm > thinnest_mm - LEAST_WEB_MM:
        raise BuildError(
            f"a housing of {wishes.housing_mm:g} mm in a wall of {thinnest_mm:g} mm",
            accepted=f"{thinnest_mm - LEAST_WEB_MM:.1f} mm at most",
            remedy=f"Make {keys.housing} smaller or the walls thicker",
        )
    all_of_them = _placed(carcass, wishes, thickness_mm, keys)
    parts: list[Part] = []
    housings: dict[str, list[Recess]] = {part.name: [] for part in carcass.parts}
    freedoms: list[Freedom] = []
    for divider in all_of_them:
        others = [other for other in all_of_them if other.long is not divider.long]
        parts.append(_part(carcass, wishes, divider, others, floor_mm, top_mm))
        front, right, back, left = carcass.panels
        for wall in (left, right) if divider.long else (front, back):
            housings[wall].append(_housing(carcass, wishes, divider, wall, floor_mm))
            freedoms.append(Freedom(f"{divider.name}-{wall}", divider.name, wall, UP, Bond.GLUED))
        if on:
            freedoms.append(Freedom(f"{divider.name}-{on}", divider.name, on, UP))
        if not divider.long:
            freedoms += [Freedom(f"{divider.name}-{other.name}", divider.name, other.name, UP) for other in others]
    return Dividers(tuple(parts), {wall: tuple(each) for wall, each in housings.items()}, tuple(freedoms))


def _placed(carcass: Carcass, wishes: DividerWishes, thickness_mm: Mapping[str, float], keys: DividerKeys) -> list[_Divider]:
    found: list[_Divider] = []
    for long, given_mm, count, wall, inside_mm in (
        (True, wishes.long_at_mm, wishes.long, carcass.panels[0], carcass.inside_mm[1]),
        (False, wishes.cross_at_mm, wishes.cross, carcass.panels[3], carcass.inside_mm[0]),
    ):
        places = given_mm or tuple(inside_mm * (k + 1) / (count + 1) for k in range(count))
        named, key = (keys.long, keys.long_at) if long else (keys.cross, keys.cross_at)
        own = [_Divider(f"{named}-{k + 1}", long, at, thickness_mm[f"{named}-{k + 1}"]) for k, at in enumerate(sorted(places))]
        faces = [each.at_mm + side * each.thickness_mm / 2 for each in own for side in (-1, 1)]
        narrowest_mm = min(after - before for before, after in list(pairwise([0.0, *faces, inside_mm]))[::2])
        if own and narrowest_mm < LEAST_CELL_MM:
            raise BuildError(
                f"the {named} dividers leave a cell of {narrowest_mm:.1f} mm" if narrowest_mm >= 0
                else f"two of the {named} dividers, or one and a wall, stand in the same place ({-narrowest_mm:.1f} mm)",
                accepted=f"{LEAST_CELL_MM:g} mm or more",
                remedy=f"Take fewer of them, or move {key}",
            )
        found += [_Divider(each.name, long, each.at_mm + carcass.thickness_mm[wall], each.thickness_mm) for each in own]
    return found


def _part(
    carcass: Carcass, wishes: DividerWishes, divider: _Divider, others: list[_Divider], floor_mm: float, top_mm: float
) -> Part:
    first, axis = (carcass.panels[3], 0) if divider.long else (carcass.panels[0], 1)
    held_mm = wishes.housing_mm - FLOOR_ROOM_MM
    length_mm = carcass.inside_mm[axis] + 2 * held_mm
    start_mm = carcass.thickness_mm[first] - held_mm
    halves = [(other.at_mm - start_mm, (other.thickness_mm + wishes.play_mm) / 2) for other in others]
    slots = [(middle_mm - half_mm, middle_mm + half_mm) for middle_mm, half_mm in halves]
    height_mm = top_mm - floor_mm
    # Half of the play at each end of the lap, so that tops come level.
    slab = straight_slab(_outline(length_mm, height_mm, slots, height_mm / 2 - wishes.play_mm / 4, divider.long), divider.thickness_mm)
    return Part(divider.name, slab, _pose(divider, start_mm, floor_mm))


def _outline(length_mm: float, height_mm: float, slots: list[tuple[float, float]], half_mm: float, from_above: bool) -> Ring:
    """A rectangle slotted from above or below down (or up) to ``half_mm`` of wood left."""
    below = [(0.0, 0.0)]
    above = [(length_mm, height_mm)]
    if from_above:
        for a, b in reversed(slots):
            above += [(b, height_mm), (b, half_mm), (a, half_mm), (a, height_mm)]
    else:
        for a, b in slots:
            below += [(a, 0.0), (a, height_mm - half_mm), (b, height_mm - half_mm), (b, 0.0)]
    points = np.array([*below, (length_mm, 0.0), *above, (0.0, height_mm)])
    return Ring(points, tuple(Edge(Role.FREE, Place.PANEL, f"side{k + 1}") for k in range(len(points))))


def _pose(divider: _Divider, start_mm: float, floor_mm: float) -> Pose:
    """Long ones show their face to the front, cross ones to the right."""
    up, half_mm = np.array([0.0, 0.0, 1.0]), divider.thickness_mm / 2
    if divider.long:
        return axes(np.array([1.0, 0, 0]), up, np.array([0, -1.0, 0]), np.array([start_mm, divider.at_mm - half_mm, floor_mm]))
    return axes(np.array([0, 1.0, 0]), up, np.array([1.0, 0, 0]), np.array([divider.at_mm + half_mm, start_mm, floor_mm]))


def _housing(carcass: Carcass, wishes: DividerWishes, divider: _Divider, wall: str, floor_mm: float) -> Recess:
    """An upright groove in a wall's inner face, in the wall's own frame."""
    part = next(each for each in carcass.parts if each.name == wall)
    middle = np.array([[0.0, divider.at_mm, 0.0] if divider.long else [divider.at_mm, 0.0, 0.0]])
    x_mm = float(part.assembly_from_part.inverse().apply(middle)[0, 0])
    half_mm = (divider.thickness_mm + wishes.play_mm) / 2
    low_mm, high_mm = floor_mm - FOOT_MM, carcass.height_mm + RUN_OUT_MM
    points: Array = np.array([(x_mm - half_mm, low_mm), (x_mm + half_mm, low_mm), (x_mm + half_mm, high_mm), (x_mm - half_mm, high_mm)])
    edges = tuple(Edge(Role.FREE, Place.PANEL, f"{divider.name}.{side}") for side in ("foot", "right", "top", "left"))
    return Recess(f"housing for {divider.name}", Face.INNER, Ring(points, edges), wishes.housing_mm)
