"""A board: what the maker measured on one real piece of wood."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from kerfwright.core import units
from kerfwright.core.document import Document, Length
from kerfwright.wood.movement import Sawn

Moisture = Annotated[float, BeforeValidator(units.parse_fraction), Field(ge=0, le=0.3)]


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

    @property
    def thickness_mm(self) -> float:
        """Mean of the measured points."""
        return math.fsum(self.thickness_points_mm) / len(self.thickness_points_mm)

    @property
    def thickness_spread_mm(self) -> float:
        """Thickest measured point less the thinnest."""
        return max(self.thickness_points_mm) - min(self.thickness_points_mm)
