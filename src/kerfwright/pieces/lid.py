"""What every lid gives: its parts, what it asks of the walls, its ways off and how it opens."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.finding import Finding
from kerfwright.core.pose import Pose, axes, shift, turn_x
from kerfwright.geometry.assembly import Freedom, Part
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Recess, straight_slab
from kerfwright.process.hardware import Hardware

Array = NDArray[np.float64]

LID = "lid"
UP, ALONG = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])


@dataclass(frozen=True, eq=False)
class Travel:
    """How a lid opens. at: share 0-1 of its way -> pose in the carcass that moves the closed lid there. words: what it does."""

    words: str
    turn_deg: float = 0.0
    about_mm: tuple[float, float] = (0.0, 0.0)  # (y, z) of the axis, along x
    slide_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def at(self, share: float) -> Pose:
        """Where the closed lid's frame goes."""
        y_mm, z_mm = self.about_mm
        turned = shift(0, y_mm, z_mm) @ turn_x(-share * self.turn_deg) @ shift(0, -y_mm, -z_mm)
        return shift(*(share * each for each in self.slide_mm)) @ turned


@dataclass(frozen=True, eq=False)
class Lid:
    """parts, what they ask of the walls, their ways off, how the lid opens, and the pins or hinges it turns on."""

    parts: tuple[Part, ...]
    freedoms: tuple[Freedom, ...]
    travel: Travel
    recesses: dict[str, tuple[Recess, ...]] = field(default_factory=dict[str, tuple[Recess, ...]])
    findings: tuple[Finding, ...] = ()
    hardware: tuple[Hardware, ...] = ()


def rectangle(size_mm: tuple[float, float]) -> Ring:
    """A plain panel's outline."""
    x, y = size_mm
    names = ("front", "right", "back", "left")
    return Ring(np.array([(0, 0), (x, 0), (x, y), (0, y)]), tuple(Edge(Role.FREE, Place.PANEL, name) for name in names))


def lying(name: str, size_mm: tuple[float, float], thickness_mm: float, centre_mm: Array, under_mm: float) -> Part:
    """A plain panel lying over the carcass's middle, its underside at a height, show face up."""
    origin = np.array([centre_mm[0] - size_mm[0] / 2, centre_mm[1] - size_mm[1] / 2, under_mm + thickness_mm])
    return Part(name, straight_slab(rectangle(size_mm), thickness_mm), axes(ALONG[0], np.array([0, 1.0, 0]), UP[0], origin))
