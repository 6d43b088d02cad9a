"""A lid on the walls' upper edges, turning on two bought butt hinges at the back.

Words: a hinge's *leaf* is one of its two flaps, its *knuckle* the barrel round the pin; a *gain* is the hollow it is let into.
Here the whole shut hinge is let into the lid's underside, and the other leaf is screwed on the back wall's upper edge.

Symbols: t lid thickness; g the shut hinge's thickness; c from the back wall's outer face out to the pin. The pin lies g/2
over the walls' upper edge. The lid's rear face stands over the wall's; turned by A, its upper rear arris, R = hypot(c, t - g/2)
from the pin, meets what stands p out behind that face (ends still proud) when A = acos(-c / R) + acos(-(c - p) / R) (1);
with p = 0 that is 360 deg - 2 atan((t - g/2) / c), never under half a turn.
Example: t = 6 mm, g = 2 mm, c = 2.5 mm, p = 0: 233.1 deg. Plane geometry, own derivation; the swept solids are checked in tests.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np
from pydantic import Field

from kerfwright.core.document import Document, Length
from kerfwright.core.errors import BuildError
from kerfwright.core.finding import note
from kerfwright.geometry.assembly import Freedom
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Recess
from kerfwright.pieces.carcass import Carcass
from kerfwright.pieces.groove import LEAST_WEB_MM
from kerfwright.pieces.lid import LID, UP, Lid, Travel, lying
from kerfwright.pieces.seasons import RoomAir, through_the_year
from kerfwright.process.hardware import Hardware
from kerfwright.wood.board import Board

RUN_OUT_MM = 2.0  # a gain runs on past the lid's rear edge
GAIN_PLAY_MM = 0.2  # it is this much longer than the leaf


class ButtHinge(Document):
    """A lid on two bought hinges; measure them."""

    kind: Literal["butt hinge"] = Field(description="how it opens")
    leaf_mm: Length = Field(default=20.0, alias="leaf", description="length of a hinge along the back")
    flap_mm: Length = Field(default=5.0, alias="flap", description="from its knuckle to the edge of a leaf")
    thick_mm: Length = Field(default=2.0, alias="thick", description="thickness of the hinge when it is shut")
    knuckle_mm: Length = Field(default=4.0, alias="knuckle", description="diameter of its knuckle, which stands behind the back wall")
    in_mm: Length = Field(default=25.0, alias="in", description="from the lid's ends to the hinges")
    room: RoomAir = Field(default_factory=RoomAir, description="the air where it will live: `[lid.room]`")

    @property
    def panels(self) -> tuple[str, ...]:
        """The lid."""
        return (LID,)


def swings_to_deg(thickness_mm: float, thick_mm: float, behind_mm: float, proud_mm: float = 0.0) -> float:
    """Law (1)."""
    reach_mm = math.hypot(behind_mm, thickness_mm - thick_mm / 2)
    return math.degrees(math.acos(-behind_mm / reach_mm) + math.acos(-(behind_mm - proud_mm) / reach_mm))


def butt_hinged(carcass: Carcass, wishes: ButtHinge, thickness_mm: float, board: Board | None) -> Lid:
    """The lid. Raises BuildError, naming the dimension to change, when the hinges find no room."""
    length_mm, width_mm = carcass.outside_mm
    back_mm = carcass.thickness_mm["back"]
    if wishes.thick_mm > thickness_mm - LEAST_WEB_MM:
        raise BuildError(
            f"a hinge {wishes.thick_mm:g} mm thick let into a lid of {thickness_mm:g} mm",
            accepted=f"{thickness_mm - LEAST_WEB_MM:.1f} mm at most",
            remedy="Take thinner hinges (lid.thick) or a thicker lid",
        )
    if wishes.flap_mm > back_mm:
        raise BuildError(
            f"a leaf {wishes.flap_mm:g} mm wide on a back wall of {back_mm:g} mm",
            accepted=f"{back_mm:g} mm at most",
            remedy="Take narrower hinges (lid.flap) or a thicker back",
        )
    if 2 * (wishes.in_mm + wishes.leaf_mm) > length_mm:
        raise BuildError(
            f"two hinges {wishes.leaf_mm:g} mm long, {wishes.in_mm:g} mm from the ends, in a lid of {length_mm:g} mm",
            accepted=f"lid.in of {length_mm / 2 - wishes.leaf_mm:.1f} mm or less",
            remedy="Move the hinges outward (lid.in) or take shorter ones (lid.leaf)",
        )
    lid = lying(LID, (length_mm, width_mm), thickness_mm, np.array([length_mm / 2, width_mm / 2]), carcass.height_mm)
    gains = tuple(_gain(k, x_mm, width_mm, wishes) for k, x_mm in enumerate((wishes.in_mm, length_mm - wishes.in_mm - wishes.leaf_mm)))
    lid = replace(lid, slab=replace(lid.slab, recesses=gains))
    behind_mm = wishes.knuckle_mm / 2
    if behind_mm <= carcass.proud_mm:
        raise BuildError(
            f"the pins stand {behind_mm:g} mm behind the back, the ends {carcass.proud_mm:g} mm proud",
            accepted=f"a knuckle of more than {2 * carcass.proud_mm:g} mm",
            remedy="Take hinges with a thicker knuckle (lid.knuckle) or make proud smaller",
        )
    turn_deg = swings_to_deg(thickness_mm, wishes.thick_mm, behind_mm, carcass.proud_mm)
    travel = Travel(
        f"swings over to {turn_deg:.0f} deg, where its rear edge meets the back wall",
        turn_deg,
        (width_mm + behind_mm, carcass.height_mm + wishes.thick_mm / 2),
    )
    moves = through_the_year(LID, width_mm, wishes.room, board)
    said = (
        *moves.findings("it is held at the back, so its front edge moves by as much: leave it that much shy or proud of the front"),
        note(
            "hinges",
            f"screw one leaf into each gain and the other on the back wall's upper edge, knuckles behind the back, pins in one line; "
            f"nothing stops the lid short of {turn_deg:.0f} deg, so hold it with a stay or a cord. Drill for every screw: thin walls split",
            LID,
        ),
    )
    freedoms = tuple(Freedom(f"{LID}-{wall}", LID, wall, UP) for wall in carcass.panels)
    return Lid((lid,), freedoms, travel, {}, said, _hardware(wishes, thickness_mm))


def _hardware(wishes: ButtHinge, thickness_mm: float) -> tuple[Hardware, ...]:
    size = f"leaf {wishes.leaf_mm:g} mm long, {wishes.flap_mm:g} mm to the knuckle, {wishes.thick_mm:g} mm thick shut"
    in_lid_mm = thickness_mm - wishes.thick_mm - LEAST_WEB_MM / 2
    screws = f"as the hinges' holes ask; those into the lid bite at most {in_lid_mm:.1f} mm"
    return (
        Hardware("butt hinge", 2, f"{size}, knuckle {wishes.knuckle_mm:g} mm", "the lid turns on them"),
        Hardware("countersunk screw", 8, screws, "two a leaf; count your hinges' holes"),
        Hardware("stay or cord", 1, "to length, when the piece is together", "stops the open lid"),
    )


def _gain(number: int, x_mm: float, width_mm: float, wishes: ButtHinge) -> Recess:
    """In the lid's underside, out over its rear edge."""
    x0, x1 = x_mm - GAIN_PLAY_MM / 2, x_mm + wishes.leaf_mm + GAIN_PLAY_MM / 2
    y0, y1 = width_mm - wishes.flap_mm, width_mm + RUN_OUT_MM
    edges = tuple(Edge(Role.FREE, Place.PANEL, f"gain{number + 1}.{side}") for side in ("front", "right", "rear", "left"))
    return Recess("gain for a hinge", Face.INNER, Ring(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]), edges), wishes.thick_mm)
