"""The shelf case: top, base and sides jointed, shelves pushed in from behind into housings that stop short of the front."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from kerfwright.core.document import Document, Length, LengthOrZero
from kerfwright.core.errors import BuildError, InputError
from kerfwright.core.pose import axes
from kerfwright.pieces.carcass import SMALLEST_INSIDE_MM, JointedDocument, Walls, WallSizes, carcass_of
from kerfwright.pieces.design import Design
from kerfwright.pieces.dividers import DividerKeys, DividerWishes, fit_dividers
from kerfwright.wood.board import Board

# Built lying on its front: the walls' upper edges are then the case's back, and "along the length" is across the case.
CASE: Walls = ("top", "right", "base", "left")
KEYS = DividerKeys("shelf", "shelf", "shelves.set_back smaller or the case deeper", "shelves.housing", "shelves.at", "shelves.at")


class ShelfWishes(Document):
    """How many shelves, or where."""

    number: int = Field(default=1, ge=1, le=6, description="shelves, evenly spaced")
    at_mm: tuple[Length, ...] = Field(
        default=(), alias="at", max_length=6, description="or where they stand: from the base's upper face to a shelf's middle"
    )
    set_back_mm: Length = Field(default=4.0, alias="set_back", description="how far they and their housings stop behind the front edges")
    housing_mm: Length = Field(default=2.0, alias="housing", description="depth of the housings")
    play_mm: LengthOrZero = Field(default=0.15, alias="play", le=1, description="housings are wider than the shelf is thick by this")

    @property
    def names(self) -> tuple[str, ...]:
        """Panel names, from the top down: shelf-1 and so on."""
        return tuple(f"shelf-{k + 1}" for k in range(len(self.at_mm) or self.number))


class ShelfCaseDocument(JointedDocument):
    """A case with fixed shelves, open at the front and the back. Sizes are outside."""

    kind: Literal["shelf case"] = Field(description="the kind of piece")
    width_mm: Length = Field(alias="width", description="outside, along top and base")
    height_mm: Length = Field(alias="height", description="outside, along the sides")
    depth_mm: Length = Field(alias="depth", description="from front to back")
    shelves: ShelfWishes = Field(default_factory=ShelfWishes, description="`[shelves]`: how many, or where")

    @property
    def panels(self) -> tuple[str, ...]:
        """Top, right, base, left, then the shelves."""
        return (*CASE, *self.shelves.names)

    @model_validator(mode="after")
    def _one_way(self) -> ShelfCaseDocument:
        if self.shelves.at_mm and "number" in self.shelves.model_fields_set and self.shelves.number != len(self.shelves.at_mm):
            places = len(self.shelves.at_mm)
            raise InputError(f"number = {self.shelves.number} shelves and {places} places in at", accepted="one of the two")
        return self


class ShelfCase:
    """Top and base run across, the sides up; shelves go in last, from behind."""

    kind = "shelf case"
    document = ShelfCaseDocument

    def build(self, document: ShelfCaseDocument, thickness_mm: Mapping[str, float], boards: Mapping[str, Board]) -> Design:
        """The exact case."""
        top_mm, right_mm, base_mm, left_mm = (thickness_mm[name] for name in CASE)
        wishes, inside_mm = document.shelves, (document.width_mm - left_mm - right_mm, document.height_mm - top_mm - base_mm)
        for what, size_mm, room_mm in zip(("width", "height"), (document.width_mm, document.height_mm), inside_mm, strict=True):
            if room_mm < SMALLEST_INSIDE_MM:
                raise BuildError(
                    f"the {what} of {size_mm:g} mm leaves {room_mm:.1f} mm inside",
                    accepted=f"{SMALLEST_INSIDE_MM:g} mm inside or more",
                    remedy=f"Make {what} larger or the boards thinner",
                )
        carcass = carcass_of(document, thickness_mm, WallSizes((document.width_mm, document.height_mm), document.depth_mm, panels=CASE))
        outside = [at for at in wishes.at_mm if at >= inside_mm[1]]
        if outside:
            raise BuildError(
                f"a shelf {outside[0]:g} mm over the base in a case {inside_mm[1]:g} mm high inside",
                accepted=f"less than {inside_mm[1]:g} mm",
                remedy="Change shelves.at or make the case higher",
            )
        lying = DividerWishes.model_construct(
            long=wishes.number,
            long_at_mm=tuple(inside_mm[1] - at for at in wishes.at_mm),
            drop_mm=0.0,
            housing_mm=wishes.housing_mm,
            play_mm=wishes.play_mm,
        )
        shelves = fit_dividers(carcass, lying, thickness_mm, wishes.set_back_mm, keys=KEYS)
        built = carcass.hollowed(shelves.housings).design(shelves.parts, shelves.freedoms)
        upright = axes(np.array([1.0, 0, 0]), np.array([0, 0, -1.0]), np.array([0, 1.0, 0]), np.array([0, 0, document.height_mm]))
        return built.turned(upright)


PIECE = ShelfCase()
