"""A board: what the maker measured on one real piece of wood."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from kerfwright.core import units
from kerfwright.core.document import Document, Length, LengthOrZero
from kerfwright.core.errors import InputError
from kerfwright.wood.movement import Sawn

Moisture = Annotated[float, BeforeValidator(units.parse_fraction), Field(ge=0, le=0.3)]


class Defect(Document):
    """A place that no part may cover: a rectangle in the board's frame. what: knot, split, sap, or any word of your own."""

    what: str = Field(min_length=1, max_length=40)
    at_mm: tuple[LengthOrZero, LengthOrZero] = Field(alias="at")
    size_mm: tuple[Length, Length] = Field(alias="size")

    @property
    def bounds_mm(self) -> tuple[float, float, float, float]:
        """(x_min, y_min, x_max, y_max)."""
        return *self.at_mm, self.at_mm[0] + self.size_mm[0], self.at_mm[1] + self.size_mm[1]


class Trimming(Document):
    """What is cut off before anything is laid on the board. Ends and edges as seen on the show face, grain running across."""

    left_mm: LengthOrZero = Field(default=0.0, alias="left")
    right_mm: LengthOrZero = Field(default=0.0, alias="right")
    bottom_mm: LengthOrZero = Field(default=0.0, alias="bottom")
    top_mm: LengthOrZero = Field(default=0.0, alias="top")


class Price(Document):
    """What the wood cost, in a currency of your own."""

    value: float = Field(ge=0, le=1e9)
    per: Literal["board", "m3", "board foot"]


class Board(Document):
    """One board, its grain along its length, or several milled together. Frame: x along, y across, z out of the show face."""

    schema_: Literal["kerfwright-board-1"] = Field(alias="schema")
    name: str = Field(min_length=1, max_length=60)
    n_pieces: int = Field(default=1, alias="pieces", ge=1, le=50, description="how many like it, milled together: a part needs one each")
    species: str
    length_mm: Length = Field(alias="length")
    width_mm: Length = Field(alias="width")
    thickness_points_mm: tuple[Length, ...] = Field(alias="thickness", min_length=1, max_length=200)
    edges: Literal["milled", "rough"] = "milled"
    moisture_frac: Moisture | None = Field(default=None, alias="moisture")
    sawn: Sawn = Field(default=Sawn.UNKNOWN, description="how the growth rings stand: flat or quarter sawn, or unknown")
    thickness_at_mm: tuple[tuple[LengthOrZero, LengthOrZero], ...] = Field(default=(), alias="thickness_at", max_length=200)
    defects: tuple[Defect, ...] = Field(default=(), max_length=200)
    trim: Trimming = Field(default_factory=Trimming)
    price: Price | None = None

    @model_validator(mode="after")
    def _lies_on_itself(self) -> Board:
        """Points and defects lie on the board, and trimming leaves some of it."""
        faults = list(self._faults())
        if faults:
            raise InputError("; ".join(faults))
        return self

    def _faults(self) -> Iterator[str]:
        size = f"the board is {units.format_mm(self.length_mm)} x {units.format_mm(self.width_mm)}"
        if self.thickness_at_mm and len(self.thickness_at_mm) != len(self.thickness_points_mm):
            n, n_at = len(self.thickness_points_mm), len(self.thickness_at_mm)
            yield f"thickness has {n} entries and thickness_at {n_at}: write a place for each, or leave thickness_at out"
        for x_mm, y_mm in self.thickness_at_mm:
            if x_mm > self.length_mm or y_mm > self.width_mm:
                yield f"thickness_at has a point {x_mm:g}, {y_mm:g} mm that lies off the board: {size}"
        for defect in self.defects:
            if defect.at_mm[0] >= self.length_mm or defect.at_mm[1] >= self.width_mm:
                yield f"the {defect.what} at {defect.at_mm[0]:g}, {defect.at_mm[1]:g} mm lies off the board: {size}"
        x0_mm, y0_mm, x1_mm, y1_mm = self.clear_mm
        if x0_mm >= x1_mm or y0_mm >= y1_mm:
            yield f"the trim leaves nothing: {size}"

    @property
    def clear_mm(self) -> tuple[float, float, float, float]:
        """(x_min, y_min, x_max, y_max) of what trimming leaves."""
        return self.trim.left_mm, self.trim.bottom_mm, self.length_mm - self.trim.right_mm, self.width_mm - self.trim.top_mm

    @property
    def thickness_mm(self) -> float:
        """Mean of the measured points."""
        return math.fsum(self.thickness_points_mm) / len(self.thickness_points_mm)

    @property
    def thickness_spread_mm(self) -> float:
        """Thickest measured point less the thinnest."""
        return max(self.thickness_points_mm) - min(self.thickness_points_mm)
