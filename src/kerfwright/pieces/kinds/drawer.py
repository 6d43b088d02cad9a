"""The drawer for an opening: sides with the tails, so that pulling cannot open it, and room to slide in every season."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from kerfwright.core.document import Document, Length, LengthOrZero
from kerfwright.core.errors import BuildError
from kerfwright.core.finding import Finding, note, warning
from kerfwright.pieces.bottom import BOTTOM, BottomWishes, fit_bottom
from kerfwright.pieces.carcass import PANELS, Carcass, JointedDocument, WallSizes, carcass_of
from kerfwright.pieces.design import Design
from kerfwright.pieces.drawer_bottom import raised_by_mm, slide_in_bottom
from kerfwright.pieces.seasons import through_the_year
from kerfwright.wood.board import Board

GLUE_ALONE = ("box joint", "half-blind box joint")  # what holds these when the front is pulled
LEAST_HEIGHT_MM = 15.0  # a drawer lower than this holds nothing (judgement of ours)


class Opening(Document):
    """The hole the drawer slides into, measured where it is smallest."""

    width_mm: Length = Field(alias="width", description="of the opening, where it is narrowest")
    height_mm: Length = Field(alias="height", description="of the opening, where it is lowest")
    depth_mm: Length = Field(alias="depth", description="from its front to what is behind")


class DrawerBottomWishes(BottomWishes):
    """A bottom, and how it goes in."""

    goes_in: Literal["from behind", "in grooves"] = Field(
        default="from behind", description="slid in under a back wall that begins above it, or held in grooves all round"
    )


class DrawerDocument(JointedDocument):
    """A drawer whose front fills its opening. Gaps are those left when its ends are planed flush."""

    kind: Literal["drawer"] = Field(description="the kind of piece")
    opening: Opening = Field(description="`[opening]`: what the drawer slides into")
    beside_mm: LengthOrZero = Field(default=0.4, alias="beside", le=10, description="gap at each side")
    over_mm: LengthOrZero = Field(default=0.6, alias="over", le=10, description="gap over it in the dampest season")
    behind_mm: LengthOrZero = Field(default=6.0, alias="behind", description="room behind, into which the bottom grows")
    bottom: DrawerBottomWishes = Field(default_factory=DrawerBottomWishes, description="`[bottom]`, and how it goes in")

    @property
    def panels(self) -> tuple[str, ...]:
        """Four walls and the bottom."""
        return (*PANELS, BOTTOM)


class Drawer:
    """Front and back run across the opening; the sides carry the tails."""

    kind = "drawer"
    document = DrawerDocument

    def build(self, document: DrawerDocument, thickness_mm: Mapping[str, float], boards: Mapping[str, Board]) -> Design:
        """The exact drawer."""
        wishes, opening = document.bottom, document.opening
        height_mm, told = _height(document, boards)
        outside_mm = (opening.width_mm - 2 * document.beside_mm, opening.depth_mm - document.behind_mm)
        walls_mm = (thickness_mm["left"] + thickness_mm["right"], thickness_mm["front"] + thickness_mm["back"])
        for what, size_mm, wall_mm in zip(("width", "depth"), outside_mm, walls_mm, strict=True):
            if size_mm < wall_mm + LEAST_HEIGHT_MM:
                raise BuildError(
                    f"the opening's {what} leaves a drawer of {size_mm:.1f} mm, {size_mm - wall_mm:.1f} mm of it inside",
                    accepted=f"{LEAST_HEIGHT_MM:g} mm inside or more",
                    remedy=f"Make opening.{what} larger or the walls thinner",
                )
        from_behind = wishes.goes_in == "from behind"
        raised = {"back": raised_by_mm(wishes, thickness_mm[BOTTOM])} if from_behind else {}
        carcass = carcass_of(document, thickness_mm, WallSizes(outside_mm, height_mm, raised_mm=raised))
        pulled = _pulled(carcass)
        if from_behind:
            bottom = slide_in_bottom(carcass, wishes, thickness_mm[BOTTOM], boards.get(BOTTOM), document.behind_mm)
        else:
            bottom = fit_bottom(carcass, wishes, thickness_mm[BOTTOM], boards.get(BOTTOM))
        findings = (*told, *pulled, *bottom.findings)
        return carcass.hollowed(bottom.recesses).design((bottom.part,), bottom.freedoms, findings, bottom.hardware)


def _height(document: DrawerDocument, boards: Mapping[str, Board]) -> tuple[float, tuple[Finding, ...]]:
    """How high the walls may be today so that they clear the opening when dampest, to a tenth below, and what to tell."""
    room_mm = document.opening.height_mm - document.over_mm
    moves = [through_the_year(panel, room_mm, document.bottom.room, boards.get(panel)) for panel in PANELS]
    most = max(moves, key=lambda each: each.swell_mm)
    height_mm = math.floor(10 * room_mm / (1 + most.swell_mm / room_mm) + 1e-6) / 10 if room_mm > 0 else 0.0
    if height_mm < LEAST_HEIGHT_MM:
        raise BuildError(
            f"the opening's height of {document.opening.height_mm:g} mm leaves a drawer {height_mm:.1f} mm high",
            accepted=f"{LEAST_HEIGHT_MM:g} mm or more",
            remedy="Make opening.height larger or the gap over it (over) smaller",
        )
    swell_mm, shrink_mm = (each * height_mm / room_mm for each in (most.swell_mm, max(each.shrink_mm for each in moves)))
    if not most.known:
        return height_mm, ()
    today_mm = document.opening.height_mm - height_mm
    told = note(
        "drawer-height",
        f"the walls are {height_mm:.1f} mm high today, {today_mm:.1f} mm below the opening: they swell by up to {swell_mm:.1f} mm and "
        f"shrink by up to {shrink_mm:.1f} mm, so the gap over the drawer goes from {today_mm - swell_mm:.1f} to "
        f"{today_mm + shrink_mm:.1f} mm through the year",
        most.panel,
    )
    return height_mm, (told,)


def _pulled(carcass: Carcass) -> tuple[Finding, ...]:
    """Whether pulling the front can open its corners. Raises BuildError when the front carries the tails."""
    found: list[Finding] = []
    for corner in carcass.corners:
        if "front" not in corner.name.split("-"):
            continue
        if corner.kind in GLUE_ALONE:
            text = f"pulling works on the glue alone at a {corner.kind}; dovetails with their tails on the sides cannot be pulled open"
            found.append(warning("pulled-open", text, corner.name))
        elif corner.tail_part == "front":
            raise BuildError(
                f"at {corner.name} the front carries the tails: pulling the drawer pulls it off",
                accepted='tails_on = ["left", "right"]',
                remedy=f"Put the tails on the sides, in joints.all or joints.{corner.name}",
            )
    return tuple(found)


PIECE = Drawer()
