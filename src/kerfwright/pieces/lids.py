"""Lids: one that lifts off an inner lip, one that slides in grooves, one that turns on two pins (butt hinges: butt_hinge.py).

Pin hinge, symbols: t lid thickness; b from the pins' axis back to the back wall's inner face; e from the axis to the lid's rear
edge; p play. The axis lies at mid-thickness and the lid's top is level with the walls' top, so the open lid leans on the back
wall's inner top arris when b sin(A) + (t/2) cos(A) = t/2.
Law (1): the lid opens to A = 2 atan(2 b / t). Law (2): its rear arrises pass the wall when e^2 + (t/2)^2 <= (b - p)^2.
Example: t = 6 mm, b = 6 mm: 126.9 deg. Plane geometry, own derivation; the swept solids are checked in tests.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, Field

from kerfwright.core.document import Document, Length, LengthOrZero
from kerfwright.core.errors import BuildError
from kerfwright.core.finding import note
from kerfwright.core.pose import axes
from kerfwright.core.units import parse_angle_deg
from kerfwright.geometry.assembly import Bond, Freedom, Part
from kerfwright.geometry.ring import Edge, Place, Ring, Role
from kerfwright.geometry.slab import Face, Recess, Slab, straight_slab
from kerfwright.pieces.butt_hinge import ButtHinge, butt_hinged
from kerfwright.pieces.carcass import PANELS, Carcass
from kerfwright.pieces.groove import FLOOR_ROOM_MM, LEAST_WEB_MM, groove, groove_depth_mm
from kerfwright.pieces.lid import ALONG, LID, UP, Lid, Travel, lying, rectangle
from kerfwright.pieces.seasons import RoomAir, through_the_year
from kerfwright.process.hardware import Hardware
from kerfwright.wood.board import Board

Array = NDArray[np.float64]
Angle = Annotated[float, BeforeValidator(parse_angle_deg), Field(gt=0, lt=180)]

LIP = "lip"
LEAST_TONGUE_MM = 1.0  # of a sliding lid in its grooves when it is driest (judgement of ours)
LEAST_CHEEK_MM = 1.0  # wood above and below a pin in the lid's edge (judgement of ours)
N_SIDES = 36  # of a round hole
PIN_DEEP_MM = 12.0  # a pin stands in the lid's end by this (judgement of ours)


class LiftOff(Document):
    """A lid on the walls with a lip inside them."""

    kind: Literal["lift off"] = Field(description="how it opens")
    overhang_mm: LengthOrZero = Field(default=0.0, alias="overhang", le=20, description="how far it stands out beyond the walls")
    play_mm: Length = Field(default=0.4, alias="play", le=3, description="the lip is this much smaller than the inside")
    room: RoomAir = Field(default_factory=RoomAir, description="the air where it will live: `[lid.room]`")

    @property
    def panels(self) -> tuple[str, ...]:
        """The lid and its lip."""
        return LID, LIP


class Sliding(Document):
    """A lid that slides out over the right wall, in grooves of the other three."""

    kind: Literal["sliding"] = Field(description="how it opens")
    down_mm: Length = Field(default=3.0, alias="down", description="from the walls' top edge to the groove")
    depth_mm: Length | None = Field(default=None, alias="depth", description="of the grooves; by default as for a bottom")
    play_mm: Length = Field(default=0.3, alias="play", le=2, description="the groove is this much wider than the lid is thick")
    scoop_mm: LengthOrZero = Field(default=0.8, alias="scoop", le=5, description="depth of the thumb scoop; 0 for none")
    room: RoomAir = Field(default_factory=RoomAir, description="the air where it will live: `[lid.room]`")

    @property
    def panels(self) -> tuple[str, ...]:
        """The lid."""
        return (LID,)


class PinHinge(Document):
    """A lid between the left and right walls that turns on two pins near the back wall."""

    kind: Literal["pin hinge"] = Field(description="how it opens")
    pin_mm: Length = Field(default=3.0, alias="pin", description="thickness of the pins, wooden or metal")
    opens_deg: Angle = Field(default=110.0, alias="opens", description="how far the lid must open")
    back_mm: Length | None = Field(default=None, alias="back", description="from the pins' axis to the back wall; by default what it asks")
    play_mm: Length = Field(default=0.4, alias="play", le=2, description="between the lid's ends and the walls, and at its rear edge")
    room: RoomAir = Field(default_factory=RoomAir, description="the air where it will live: `[lid.room]`")

    @property
    def panels(self) -> tuple[str, ...]:
        """The lid."""
        return (LID,)


Wishes = LiftOff | Sliding | PinHinge | ButtHinge
LidWishes = Annotated[Wishes, Field(discriminator="kind")]


def lowered_by(wishes: Wishes, thickness_mm: Mapping[str, float]) -> dict[str, float]:
    """Walls that must stop below the others for this lid, and by how much."""
    if isinstance(wishes, Sliding):
        return {"right": wishes.down_mm + thickness_mm[LID] + wishes.play_mm}
    return {"front": thickness_mm[LID]} if isinstance(wishes, PinHinge) else {}


def fit_lid(
    carcass: Carcass, wishes: Wishes, thickness_mm: Mapping[str, float], boards: Mapping[str, Board]
) -> Lid:
    """A lid for these walls. Raises BuildError, naming the dimension to change, when it cannot be or cannot open."""
    if isinstance(wishes, LiftOff):
        return _lift_off(carcass, wishes, thickness_mm, boards)
    if isinstance(wishes, Sliding):
        return _sliding(carcass, wishes, thickness_mm[LID], boards.get(LID))
    if isinstance(wishes, ButtHinge):
        return butt_hinged(carcass, wishes, thickness_mm[LID], boards.get(LID))
    return _pin_hinge(carcass, wishes, thickness_mm[LID], boards.get(LID))


def _lift_off(carcass: Carcass, wishes: LiftOff, thickness_mm: Mapping[str, float], boards: Mapping[str, Board]) -> Lid:
    inside, outside = carcass.inside_mm, carcass.outside_mm
    lip_moves = through_the_year(LIP, inside[1], wishes.room, boards.get(LIP))
    lid_size = (outside[0] + 2 * wishes.overhang_mm, outside[1] + 2 * wishes.overhang_mm)
    lip_size = (inside[0] - wishes.play_mm, inside[1] - wishes.play_mm - lip_moves.swell_mm)
    if min(lip_size) <= 0 or thickness_mm[LIP] > carcass.height_mm:
        raise BuildError("the lip does not go into the box", remedy="Make the box larger or lid.play smaller")
    centre = _centre(carcass)
    lid = lying(LID, lid_size, thickness_mm[LID], centre, carcass.height_mm)
    lip = lying(LIP, lip_size, thickness_mm[LIP], centre, carcass.height_mm - thickness_mm[LIP])
    freedoms = [Freedom(f"{name}-{wall}", name, wall, UP) for name in (LID, LIP) for wall in PANELS]
    freedoms.append(Freedom("lip-lid", LIP, LID, -UP, Bond.GLUED))
    said = (
        *lip_moves.findings("the lip has that room. Keep its grain along the lid's when you glue it on"),
        note("lid-glue", "glue the lip under the lid, centred, grain to grain; press them flat until dry", LID),
    )
    travel = Travel("lifts straight off", slide_mm=(0.0, 0.0, 2 * thickness_mm[LIP]))
    return Lid((lid, lip), tuple(freedoms), travel, {}, said)


def _sliding(carcass: Carcass, wishes: Sliding, thickness_mm: float, board: Board | None) -> Lid:
    inside, outside = carcass.inside_mm, carcass.outside_mm
    moves = through_the_year(LID, inside[1], wishes.room, board)
    needed_mm = LEAST_TONGUE_MM + (moves.swell_mm + moves.shrink_mm) / 2 + FLOOR_ROOM_MM
    depth_mm = groove_depth_mm(carcass, wishes.depth_mm, needed_mm, "lid.depth")
    if depth_mm < needed_mm - 1e-9:
        raise BuildError(
            f"grooves of {depth_mm:.1f} mm for the lid", accepted=f"{needed_mm:.1f} mm or more",
            remedy="Make lid.depth larger, or take a quieter wood, quarter sawn",
        )  # fmt: skip
    width_mm = thickness_mm + wishes.play_mm
    top_mm = carcass.height_mm - wishes.down_mm
    if wishes.down_mm < LEAST_WEB_MM:
        raise BuildError(
            f"{wishes.down_mm:g} mm of wood over the lid's groove", accepted=f"{LEAST_WEB_MM:g} mm or more", remedy="Raise lid.down"
        )
    left_mm = carcass.thickness_mm["left"]
    out = {"front": ("right",), "back": ("left",), "left": ()}
    span_mm = top_mm - width_mm, top_mm
    recesses = {wall: (groove(carcass, wall, "groove for the lid", span_mm, depth_mm, ends),) for wall, ends in out.items()}
    held_mm = depth_mm - FLOOR_ROOM_MM
    x0_mm, x1_mm = left_mm - held_mm, outside[0]
    across_mm = inside[1] + 2 * held_mm - moves.swell_mm
    u, v = held_mm + wishes.play_mm / 2, (across_mm - inside[1] + wishes.play_mm) / 2
    length_mm = x1_mm - x0_mm
    near: Array = np.array([(0, v), (u, v), (u, 0), (length_mm, 0)])
    corners = np.vstack([near, (near * [1, -1] + [0, across_mm])[::-1]])
    ring = Ring(corners, tuple(Edge(Role.FREE, Place.PANEL, f"side{k + 1}") for k in range(len(corners))))
    scoop = (_scoop(length_mm, across_mm, wishes.scoop_mm),) if wishes.scoop_mm else ()
    slab = Slab((ring, ring), (0.0, thickness_mm), scoop)
    z_top_mm = top_mm - wishes.play_mm / 2
    y0_mm = carcass.thickness_mm["front"] + (inside[1] - across_mm) / 2
    part = Part(LID, slab, axes(ALONG[0], np.array([0, 1.0, 0]), UP[0], np.array([x0_mm, y0_mm, z_top_mm])))
    inward = {wall: -carcass.parts[PANELS.index(wall)].assembly_from_part.turned(UP) for wall in PANELS}
    freedoms = (
        *(Freedom(f"{LID}-{wall}", LID, wall, np.vstack([ALONG, inward[wall]])) for wall in ("front", "back", "left")),
        Freedom(f"{LID}-right", LID, "right", np.vstack([ALONG, UP])),
    )
    said = moves.findings("it has that room in its grooves and still slides. Leave it unfinished in the grooves, or wax it")
    return Lid((part,), freedoms, Travel("slides out over the right wall", slide_mm=(length_mm, 0.0, 0.0)), recesses, said)


def _scoop(length_mm: float, across_mm: float, depth_mm: float) -> Recess:
    """A thumb scoop across the lid's top near the end that is pulled."""
    wide_mm, long_mm = min(24.0, across_mm / 3), min(8.0, length_mm / 6)
    x1, y0 = length_mm - long_mm, across_mm / 2 - wide_mm / 2
    points: Array = np.array([(x1 - long_mm, y0), (x1, y0), (x1, y0 + wide_mm), (x1 - long_mm, y0 + wide_mm)])
    return Recess("thumb scoop", Face.SHOW, Ring(points, tuple(Edge(Role.FREE, Place.PANEL, f"scoop.{k + 1}") for k in range(4))), depth_mm)


def opens_to_deg(thickness_mm: float, back_mm: float) -> float:
    """Law (1)."""
    return math.degrees(2 * math.atan2(2 * back_mm, thickness_mm))


def back_for_mm(thickness_mm: float, opens_deg: float) -> float:
    """Law (1) turned round: how far in front of the back wall the axis must lie."""
    return thickness_mm / 2 * math.tan(math.radians(opens_deg) / 2)


def _pin_hinge(carcass: Carcass, wishes: PinHinge, thickness_mm: float, board: Board | None) -> Lid:
    inside, t = carcass.inside_mm, thickness_mm
    if wishes.pin_mm > t - 2 * LEAST_CHEEK_MM:
        raise BuildError(
            f"a pin of {wishes.pin_mm:g} mm in a lid of {t:g} mm",
            accepted=f"{t - 2 * LEAST_CHEEK_MM:g} mm at most",
            remedy="Take thinner pins (lid.pin) or a thicker lid",
        )
    asked_mm = back_for_mm(t, wishes.opens_deg)
    # The rear arrises must pass the wall too, which needs a little more than half the thickness.
    least_mm = max(asked_mm, t / 2 + wishes.play_mm + LEAST_WEB_MM, wishes.pin_mm / 2 + LEAST_WEB_MM)
    back_mm = wishes.back_mm if wishes.back_mm is not None else least_mm
    if back_mm < asked_mm - 1e-9:
        raise BuildError(
            f"with its pins {back_mm:g} mm from the back wall the lid opens to {opens_to_deg(t, back_mm):.0f} deg",
            accepted=f"lid.back of {asked_mm:.1f} mm or more for {wishes.opens_deg:g} deg",
            remedy="Move the pins forward, or make the lid thinner",
        )
    reach_mm = back_mm - wishes.play_mm
    if reach_mm <= t / 2:
        raise BuildError(
            f"the lid's rear edge jams: its pins lie {back_mm:g} mm from the back wall",
            accepted=f"more than {t / 2 + wishes.play_mm:.1f} mm",
            remedy="Move the pins forward (lid.back)",
        )
    rear_mm = math.sqrt(reach_mm**2 - (t / 2) ** 2)
    back_face_mm = carcass.thickness_mm["front"] + inside[1]
    y_axis_mm, z_axis_mm = back_face_mm - back_mm, carcass.height_mm - t / 2
    moves = through_the_year(LID, y_axis_mm + rear_mm, wishes.room, board)
    size = (inside[0] - wishes.play_mm, y_axis_mm + rear_mm)
    origin = np.array([carcass.thickness_mm["left"] + wishes.play_mm / 2, 0.0, carcass.height_mm])
    lid = Part(LID, straight_slab(rectangle(size), t), axes(ALONG[0], np.array([0, 1.0, 0]), UP[0], origin))
    holes = {wall: (_pin_hole(carcass, wall, y_axis_mm, z_axis_mm, wishes.pin_mm),) for wall in ("left", "right")}
    freedoms = tuple(Freedom(f"{LID}-{wall}", LID, wall, UP) for wall in PANELS)
    said = (
        *moves.findings("its front edge moves by as much: leave it that much shy or proud of the front"),
        note(
            "pins",
            f"drill the lid's ends {wishes.pin_mm:g} mm wide, {PIN_DEEP_MM:g} mm deep, in the middle of its thickness, {rear_mm:.1f} mm "
            f"from its rear edge; the pins go in through the walls' holes, glued into the walls only. "
            f"A gap of {back_mm - rear_mm:.1f} mm at the rear lets it turn",
            LID,
        ),
    )
    opens_deg = opens_to_deg(t, back_mm)
    travel = Travel(f"opens to {opens_deg:.0f} deg and leans on the back wall", opens_deg, (y_axis_mm, z_axis_mm))
    return Lid((lid,), freedoms, travel, holes, said, _pins(carcass, wishes))


def _pins(carcass: Carcass, wishes: PinHinge) -> tuple[Hardware, ...]:
    """Each through its wall, over the play and into the lid."""
    lengths_mm = [round(carcass.thickness_mm[wall] + wishes.play_mm / 2 + PIN_DEEP_MM, 1) for wall in ("left", "right")]
    return tuple(
        Hardware("pin, wooden or metal", lengths_mm.count(each), f"{wishes.pin_mm:g} mm thick, {each:g} mm long", "the lid turns on them")
        for each in dict.fromkeys(lengths_mm)
    )


def _pin_hole(carcass: Carcass, wall: str, y_mm: float, z_mm: float, pin_mm: float) -> Recess:
    """A round window in a wall's own frame."""
    part = carcass.parts[PANELS.index(wall)]
    x, y = part.assembly_from_part.inverse().apply(np.array([[0.0, y_mm, z_mm]]))[0, :2]
    angles = np.arange(N_SIDES) * 2 * np.pi / N_SIDES
    points: Array = np.array([x, y]) + pin_mm / 2 * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    edges = tuple(Edge(Role.FREE, Place.PANEL, f"pin.{k + 1}") for k in range(N_SIDES))
    return Recess("hole for a pin", Face.INNER, Ring(points, edges), part.slab.thickness_mm)


def _centre(carcass: Carcass) -> Array:
    return np.array([carcass.outside_mm[0] / 2, carcass.outside_mm[1] / 2])
