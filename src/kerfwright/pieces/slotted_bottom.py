"""A solid bottom on tongues that go right through slots in the walls: through cuts, where grooves are burnt for hours.

Words: a *tongue* stands out from the bottom's edge and goes through a *slot*, a window in the wall; *ends* are the left and right
walls, which the bottom's grain runs into. Along the grain wood hardly moves. Across it, about the middle tongue of each end:
(1)  slot = tongue + play + what the tongue's own two sides move by, in proportion to how far from the middle they lie (ends);
(2)  tongues through front and back slide in and out: their ends are level with the wall when dampest, and the bottom's edge stands
     back from the wall by half of what it still swells.
Example: 92 mm from show face to show face, over which it may swell 1.2 mm and shrink 0.4 mm: front tongues end 0.6 mm inside the
wall's face today, 0.8 when driest; the slot of an 18 mm tongue in the middle of an end gets 18 x 1.2 / 92 = 0.23 mm more than play.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from kerfwright.core.document import Document, Length, LengthOrZero
from kerfwright.core.errors import BuildError, InputError
from kerfwright.geometry.assembly import Part
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Recess, straight_slab
from kerfwright.pieces.bottom import BOTTOM, LEAST_TONGUE_MM, Bottom, check_over, held_all_round, lying_pose
from kerfwright.pieces.carcass import Carcass
from kerfwright.pieces.groove import LEAST_WEB_MM
from kerfwright.pieces.seasons import RoomAir, through_the_year
from kerfwright.wood.board import Board

Array = NDArray[np.float64]
Spans = list[tuple[float, float]]

SLOT = "slot for the bottom"
USUAL_TONGUE_MM = 18.0
LEAST_BETWEEN_MM = 5.0  # wood between two slots, and between a slot and the corner's joint (judgement of ours)
KEEP_FREE = (
    "glue it at the tongue in the middle of each end only. The tongues through front and back stay dry: they end level with the wall "
    "when it is dampest and up to {shy:.1f} mm inside it when driest, and a line of up to {line:.1f} mm opens along front and back"
)


class SlotWishes(Document):
    """A bottom on tongues through slots."""

    kind: Literal["slots"] = Field(description="how it is held")
    up_mm: Length = Field(default=3.0, alias="up", description="from the walls' lower edge to the slots")
    along: int = Field(default=2, ge=1, le=12, description="tongues through the front wall, and as many through the back")
    ends: int = Field(default=1, ge=1, le=9, description="tongues through each of the left and right walls, an odd number")
    tongue_mm: Length | None = Field(default=None, alias="tongue", description="their width; by default 18 mm, or less in short walls")
    play_mm: LengthOrZero = Field(default=0.2, alias="play", le=1, description="a slot is this much wider and higher than its tongue")
    proud_mm: LengthOrZero | None = Field(
        default=None, alias="proud", le=20, description="how far the tongues stand out of left and right; by default as the joints do"
    )
    room: RoomAir = Field(default_factory=RoomAir, description="the air where the piece will live: `[bottom.room]`")

    @model_validator(mode="after")
    def _centred(self) -> SlotWishes:
        if self.ends % 2 == 0:
            raise InputError(f"ends = {self.ends}", accepted="an odd number, so that the one in the middle keeps the bottom centred")
        return self


def slotted_bottom(carcass: Carcass, wishes: SlotWishes, thickness_mm: float, board: Board | None) -> Bottom:
    """A bottom for these walls. board: what it is made of, when known: then it gets the room its wood needs.

    Raises BuildError, naming the dimension to change, when the slots leave too little wood or hold too little.
    """
    span_mm = wishes.up_mm, wishes.up_mm + thickness_mm + wishes.play_mm
    if wishes.up_mm < LEAST_WEB_MM:
        raise BuildError(f"{wishes.up_mm:g} mm of wood under the slots", accepted=f"{LEAST_WEB_MM:g} mm or more", remedy="Raise bottom.up")
    check_over(carcass, "slot", span_mm[1])
    inside_mm = carcass.inside_mm
    moves = through_the_year(BOTTOM, carcass.outside_mm[1], wishes.room, board)
    swell_frac, shrink_frac = (each / carcass.outside_mm[1] for each in (moves.swell_mm, moves.shrink_mm))
    halves_mm = {wall: inside_mm[1] / 2 + carcass.thickness_mm[wall] for wall in ("front", "back")}
    shy_mm = max(halves_mm.values()) * (swell_frac + shrink_frac)
    _check_hold(carcass, shy_mm)
    along = _tongues(inside_mm[0], wishes.along, wishes.tongue_mm, "along")
    ends = _tongues(inside_mm[1], wishes.ends, wishes.tongue_mm, "ends")
    body_mm = (inside_mm[0] - wishes.play_mm, inside_mm[1] * (1 - swell_frac) - wishes.play_mm)
    proud_mm = carcass.proud_mm if wishes.proud_mm is None else wishes.proud_mm
    out_mm = {wall: wishes.play_mm / 2 + carcass.thickness_mm[wall] + proud_mm for wall in ("right", "left")}
    out_mm |= {wall: half_mm * (1 - swell_frac) - body_mm[1] / 2 for wall, half_mm in halves_mm.items()}
    slab = straight_slab(_outline(body_mm, along, ends, out_mm), thickness_mm)
    part = Part(BOTTOM, slab, lying_pose(carcass, body_mm, wishes.up_mm + wishes.play_mm / 2))
    wider = [_moved(span, swell_frac, shrink_frac) for span in ends]
    recesses = {
        wall: tuple(_slot(carcass, i, span, wishes.play_mm, span_mm) for span in (wider if i % 2 else along))
        for i, wall in enumerate(carcass.panels)
    }
    told = KEEP_FREE.format(shy=shy_mm, line=wishes.play_mm / 2 + inside_mm[1] / 2 * (swell_frac + shrink_frac))
    return Bottom(part, recesses, held_all_round(carcass, ("right", "left")), moves.findings(told))


def _check_hold(carcass: Carcass, shy_mm: float) -> None:
    held_mm = min(carcass.thickness_mm[wall] for wall in ("front", "back")) - shy_mm
    if held_mm < LEAST_TONGUE_MM:
        raise BuildError(
            f"the bottom shrinks out of its slots: {held_mm:.1f} mm of tongue is left in the wall when it is driest",
            accepted=f"{LEAST_TONGUE_MM:g} mm or more",
            remedy="Make front and back thicker, the box narrower, or use a quieter wood, quarter sawn",
        )


def _tongues(inside_mm: float, n: int, wished_mm: float | None, key: str) -> Spans:
    """Evenly spread along a wall: (from, to) in mm from its middle."""
    pitch_mm = inside_mm / n
    width_mm = wished_mm if wished_mm is not None else min(USUAL_TONGUE_MM, pitch_mm / 2)
    if pitch_mm - width_mm < 2 * LEAST_BETWEEN_MM:
        raise BuildError(
            f"{n} tongues {width_mm:.1f} mm wide in {inside_mm:.1f} mm of wall leave {max(pitch_mm - width_mm, 0) / 2:.1f} mm beside each",
            accepted=f"{LEAST_BETWEEN_MM:g} mm or more",
            remedy=f"Make bottom.{key} fewer or bottom.tongue narrower",
        )
    middles = (np.arange(n) - (n - 1) / 2) * pitch_mm
    return [(float(at) - width_mm / 2, float(at) + width_mm / 2) for at in middles]


def _moved(span_mm: tuple[float, float], swell_frac: float, shrink_frac: float) -> tuple[float, float]:
    """Law (1): where a tongue's two sides may come to lie through the year."""
    grows = np.array([1 - shrink_frac, 1 + swell_frac])
    return float((span_mm[0] * grows).min()), float((span_mm[1] * grows).max())


def _outline(body_mm: tuple[float, float], along: Spans, ends: Spans, out_mm: dict[str, float]) -> Ring:
    """The bottom's own frame: its body begins at the origin, its y runs to the front."""
    length, width = body_mm
    sides = (
        ("back", (0.0, 0.0), (1.0, 0.0), length, along), ("right", (length, 0.0), (0.0, 1.0), width, ends),
        ("front", (length, width), (-1.0, 0.0), length, along), ("left", (0.0, width), (0.0, -1.0), width, ends),
    )  # fmt: skip
    points: list[Array] = []
    edges: list[Edge] = []
    for wall, corner, heading, side_mm, spans in sides:
        ahead = np.array(heading)
        outward = out_mm[wall] * np.array([heading[1], -heading[0]])
        points.append(np.array(corner))
        names = [wall]
        for k, span in enumerate(spans, start=1):
            near, far = (np.array(corner) + (side_mm / 2 + at) * ahead for at in span)
            points += [near, near + outward, far + outward, far]
            names += [f"{wall}.tongue{k}.{side}" for side in ("near", "end", "far")] + [f"{wall}.after{k}"]
        edges += [Edge(Role.FREE, Place.PANEL, name) for name in names]
    return Ring(np.array(points), tuple(edges))


def _slot(carcass: Carcass, i: int, span_mm: tuple[float, float], play_mm: float, height_mm: tuple[float, float]) -> Recess:
    """In the frame of the i-th wall. span_mm: from the middle of the wall, along the box; height_mm: in the carcass."""
    part = carcass.parts[i]
    thick, inside = (carcass.thickness_mm["left"], carcass.thickness_mm["front"]), carcass.inside_mm
    corners = np.zeros((2, 3))
    corners[:, i % 2] = thick[i % 2] + inside[i % 2] / 2 + np.array([span_mm[0] - play_mm / 2, span_mm[1] + play_mm / 2])
    corners[:, 2] = height_mm
    own = part.assembly_from_part.inverse().apply(corners)[:, :2]
    (x0, y0), (x1, y1) = own.min(axis=0), own.max(axis=0)
    edges = tuple(Edge(Role.FREE, Place.PANEL, f"{SLOT}.{side}") for side in ("below", "right", "above", "left"))
    return Recess(SLOT, Face.INNER, Ring(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]), edges), part.slab.thickness_mm)
