"""A drawer's bottom slid in from behind, under a back wall that begins above it: it can be taken out, and moves only backward.

Its grain runs from side to side. It is fixed in the front's groove; what it swells and shrinks shows at its back edge, behind
the drawer, where a screw in a slot holds it up.
"""

from __future__ import annotations

import numpy as np

from kerfwright.core.errors import BuildError
from kerfwright.core.pose import axes
from kerfwright.geometry.assembly import Bond, Freedom, Part
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Recess, straight_slab
from kerfwright.pieces.bottom import BOTTOM, GROOVE, LEAST_TONGUE_MM, Bottom, BottomWishes
from kerfwright.pieces.carcass import Carcass
from kerfwright.pieces.groove import FLOOR_ROOM_MM, groove, groove_depth_mm
from kerfwright.pieces.seasons import through_the_year
from kerfwright.process.hardware import Hardware
from kerfwright.wood.board import Board

SCREW_BITES_MM = 10.0  # into the back wall's edge (common practice, no source)
BACKWARD = np.array([0.0, 1.0, 0.0])
HOW = (
    "glue it into the front's groove only, a screw in a slot {slot:.0f} mm long holds its back edge up to the back wall, and it "
    "grows out behind"
)


def raised_by_mm(wishes: BottomWishes, thickness_mm: float) -> float:
    """Where the back wall begins: level with the grooves' upper side."""
    return wishes.up_mm + thickness_mm + wishes.play_mm


def slide_in_bottom(carcass: Carcass, wishes: BottomWishes, thickness_mm: float, board: Board | None, behind_mm: float) -> Bottom:
    """For walls whose back is raised. behind_mm: room behind the drawer.

    Raises BuildError, naming the dimension to change, when the grooves leave too little wood or the room is too little.
    """
    depth_mm = groove_depth_mm(carcass, wishes.depth_mm, LEAST_TONGUE_MM + FLOOR_ROOM_MM, "bottom.depth")
    front_mm = carcass.thickness_mm["front"]
    held_mm = depth_mm - FLOOR_ROOM_MM
    size_mm = (carcass.inside_mm[0] + 2 * held_mm, carcass.outside_mm[1] - front_mm + held_mm)
    moves = through_the_year(BOTTOM, size_mm[1], wishes.room, board)
    if moves.swell_mm > behind_mm:
        raise BuildError(
            f"the bottom grows out {moves.swell_mm:.1f} mm behind the drawer and the opening leaves {behind_mm:g} mm",
            accepted=f"behind = {moves.swell_mm:.1f} mm or more",
            remedy="Leave more room behind, or use a quieter wood, quarter sawn",
        )
    z_mm = wishes.up_mm + wishes.play_mm / 2
    # Its show face looks down; its x runs to the right, its y to the front.
    x0_mm = carcass.thickness_mm["left"] - held_mm
    origin = np.array([x0_mm, carcass.outside_mm[1], z_mm])
    ring = _outline(size_mm, held_mm, wishes.play_mm)
    part = Part(BOTTOM, straight_slab(ring, thickness_mm), axes(np.array([1.0, 0, 0]), -BACKWARD, np.array([0, 0, -1.0]), origin))
    span_mm = wishes.up_mm, raised_by_mm(wishes, thickness_mm)
    out: dict[str, tuple[str, ...]] = {"front": (), "right": ("right",), "left": ("left",)}
    grooves: dict[str, tuple[Recess, ...]] = {
        panel: (groove(carcass, panel, GROOVE, span_mm, depth_mm, ends),) for panel, ends in out.items()
    }
    away = {panel: -carcass.parts[k].assembly_from_part.turned(np.array([0, 0, 1.0])) for k, panel in enumerate(carcass.panels)}
    ways = {panel: np.vstack([BACKWARD, away[panel]]) for panel in ("right", "left")}
    ways |= {"front": BACKWARD[None, :], "back": np.vstack([BACKWARD, [0.0, 0.0, -1.0]])}
    bonds = {"front": Bond.GLUED}
    freedoms = tuple(Freedom(f"{BOTTOM}-{panel}", BOTTOM, panel, ways[panel], bonds.get(panel, Bond.DRY)) for panel in carcass.panels)
    slot_mm = np.ceil(moves.swell_mm + moves.shrink_mm + 4.0)
    return Bottom(part, grooves, freedoms, moves.findings(HOW.format(slot=slot_mm)), (_screw(thickness_mm, carcass.thickness_mm["back"]),))


def _screw(thickness_mm: float, back_mm: float) -> Hardware:
    """Up into the back wall's lower edge; no thicker than a third of that wall (common practice, no source)."""
    size = f"up to {back_mm / 3:.1f} mm thick, {thickness_mm + SCREW_BITES_MM:.0f} mm long, with a washer"
    return Hardware("round-headed screw", 1, size, "holds the bottom's back edge up, in its slot")


def _outline(size_mm: tuple[float, float], depth_mm: float, play_mm: float) -> Ring:
    """A rectangle, its two front corners cut back so that it passes the sides' ends. Its y runs to the front."""
    length, width = size_mm
    u, v = depth_mm, depth_mm + play_mm / 2
    points = np.array([
        (0, 0), (length, 0), (length, width - v), (length - u, width - v), (length - u, width), (u, width), (u, width - v), (0, width - v),
    ])  # fmt: skip
    names = ("back", "right", "notch1", "notch2", "front", "notch3", "notch4", "left")
    return Ring(points, tuple(Edge(Role.FREE, Place.PANEL, name) for name in names))
