"""A solid bottom held in grooves of the four walls, free to move through the seasons.

Words: a *groove* runs along a wall's inner face between the two neighbours' inner faces, so it never shows at a corner; the
bottom's *tongue* is what stands in a groove; its corners are cut back by as much, so that it passes the walls' ends.
The bottom's grain runs along the box. Along the grain wood hardly moves; across it the tongues must stay in their grooves
when the board is driest and must not push the walls apart when it is dampest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from pydantic import Field

from kerfwright.core.document import Document, Length, LengthOrZero
from kerfwright.core.errors import BuildError
from kerfwright.core.finding import Finding
from kerfwright.core.pose import Pose, axes
from kerfwright.geometry.assembly import Bond, Freedom, Part
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Recess, straight_slab
from kerfwright.pieces.carcass import Carcass
from kerfwright.pieces.groove import FLOOR_ROOM_MM, LEAST_WEB_MM, groove, groove_depth_mm
from kerfwright.pieces.seasons import RoomAir, through_the_year
from kerfwright.process.hardware import Hardware
from kerfwright.wood.board import Board

BOTTOM = "bottom"
GROOVE = "groove for the bottom"
KEEP_FREE = "it has that room in its grooves. Do not glue it in; a drop in the middle of each end keeps it centred"
LEAST_TONGUE_MM = 1.0  # a tongue shorter than this falls out of its groove (judgement of ours)


class BottomWishes(Document):
    """A bottom in grooves."""

    kind: Literal["grooves"] = Field(default="grooves", description="how it is held")
    up_mm: Length = Field(default=3.0, alias="up", description="from the walls' lower edge to the groove")
    depth_mm: Length | None = Field(
        default=None, alias="depth", description="of the grooves; by default a third of the thinnest wall to 4 mm, or what movement asks"
    )
    play_mm: LengthOrZero = Field(default=0.2, alias="play", le=1, description="the groove is this much wider than the bottom is thick")
    room: RoomAir = Field(default_factory=RoomAir, description="the air where the piece will live: `[bottom.room]`")


@dataclass(frozen=True, eq=False)
class Bottom:
    """The bottom and what it asks of the walls. recesses: by wall."""

    part: Part
    recesses: dict[str, tuple[Recess, ...]]
    freedoms: tuple[Freedom, ...]
    findings: tuple[Finding, ...]
    hardware: tuple[Hardware, ...] = ()

    @property
    def top_mm(self) -> float:
        """Height of its upper face in the carcass."""
        pose = self.part.assembly_from_part
        return float(pose.apply(np.array([[0.0, 0.0, -self.part.slab.thickness_mm]]))[0, 2])


def fit_bottom(carcass: Carcass, wishes: BottomWishes, thickness_mm: float, board: Board | None) -> Bottom:
    """A bottom for these walls. board: what it is made of, when known: then it gets the room its wood needs.

    Raises BuildError, naming the dimension to change, when the grooves leave too little wood or hold too little.
    """
    width_mm = thickness_mm + wishes.play_mm
    check_over(carcass, "groove", wishes.up_mm + width_mm)
    moves = through_the_year(BOTTOM, carcass.inside_mm[1], wishes.room, board)
    shrink_mm, swell_mm = moves.shrink_mm, moves.swell_mm
    # Half of the room is left on each side; the tongue must still hold when the board is driest.
    needed_mm = LEAST_TONGUE_MM + (swell_mm + shrink_mm) / 2 + FLOOR_ROOM_MM
    depth_mm = groove_depth_mm(carcass, wishes.depth_mm, needed_mm, "bottom.depth")
    tongue_mm = LEAST_TONGUE_MM + depth_mm - needed_mm
    if tongue_mm < LEAST_TONGUE_MM - 1e-9:
        raise BuildError(
            f"the bottom shrinks out of its grooves: {tongue_mm:.1f} mm of tongue is left when it is driest",
            accepted=f"{LEAST_TONGUE_MM:g} mm or more",
            remedy=f"Make the grooves {depth_mm + LEAST_TONGUE_MM - tongue_mm:.1f} mm deep (bottom.depth, with walls to match), "
            "make the box narrower, or use a quieter wood, quarter sawn",
        )
    inside_mm = carcass.inside_mm
    held_mm = depth_mm - FLOOR_ROOM_MM
    size_mm = (inside_mm[0] + 2 * held_mm, inside_mm[1] + 2 * held_mm - swell_mm)
    slab = straight_slab(_outline(size_mm, inside_mm, wishes.play_mm), thickness_mm)
    pose = lying_pose(carcass, size_mm, wishes.up_mm + wishes.play_mm / 2)
    part = Part(BOTTOM, slab, pose)
    span_mm = wishes.up_mm, wishes.up_mm + width_mm
    grooves = {panel: (groove(carcass, panel, GROOVE, span_mm, depth_mm),) for panel in carcass.panels}
    return Bottom(part, grooves, held_all_round(carcass), moves.findings(KEEP_FREE))


def check_over(carcass: Carcass, what: str, ends_mm: float) -> None:
    """Raises BuildError when a groove or slot that ends at this height leaves the lowest wall too little wood over it."""
    lowest_mm = min(float(part.assembly_from_part.matrix[2, 3]) + part.slab.bounds_mm()[3] for part in carcass.parts)
    if ends_mm > lowest_mm - LEAST_WEB_MM:
        raise BuildError(
            f"the {what} ends {ends_mm:.1f} mm up a wall of {lowest_mm:g} mm",
            accepted=f"{lowest_mm - LEAST_WEB_MM:g} mm at most",
            remedy="Lower the bottom (bottom.up), make it thinner, or the walls higher",
        )


def _outline(size_mm: tuple[float, float], inside_mm: tuple[float, float], play_mm: float) -> Ring:
    """A rectangle with its corners cut back to just inside the walls' inner faces."""
    length, width = size_mm
    u = (length - inside_mm[0] + play_mm) / 2
    v = (width - inside_mm[1] + play_mm) / 2
    points = np.array([
        (u, 0), (length - u, 0), (length - u, v), (length, v), (length, width - v), (length - u, width - v),
        (length - u, width), (u, width), (u, width - v), (0, width - v), (0, v), (u, v),
    ])  # fmt: skip
    names = ("front", "notch1", "notch2", "right", "notch3", "notch4", "back", "notch5", "notch6", "left", "notch7", "notch8")
    return Ring(points, tuple(Edge(Role.FREE, Place.PANEL, name) for name in names))


def lying_pose(carcass: Carcass, size_mm: tuple[float, float], under_mm: float) -> Pose:
    """Over the carcass's middle, its show face looking down at a height; its x runs along the box, its y to the front."""
    middle = (carcass.thickness_mm["left"] + carcass.inside_mm[0] / 2, carcass.thickness_mm["front"] + carcass.inside_mm[1] / 2)
    x_to, y_to, z_to = np.array([1.0, 0, 0]), np.array([0, -1.0, 0]), np.array([0, 0, -1.0])
    return axes(x_to, y_to, z_to, np.array([*middle, under_mm]) - size_mm[0] / 2 * x_to - size_mm[1] / 2 * y_to)


def held_all_round(carcass: Carcass, glued: tuple[str, ...] = ()) -> tuple[Freedom, ...]:
    """Out of each wall's groove or slots the bottom goes only straight away from that wall. glued: walls that it is glued to."""
    return tuple(
        Freedom(
            f"{BOTTOM}-{part.name}",
            BOTTOM,
            part.name,
            part.assembly_from_part.turned(np.array([[0.0, 0.0, -1.0]])),
            Bond.GLUED if part.name in glued else Bond.DRY,
        )
        for part in carcass.parts
    )
