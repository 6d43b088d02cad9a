"""What a person may wish of a layout; every wish has a default worth keeping."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from kerfwright.core.document import Document, Length, LengthOrZero

Breaks = Literal["no", "back left", "back right"]


class Pin(Document):
    """A part that a person has placed: its blank's lower left corner on a board of the rack."""

    board: str
    at_mm: tuple[LengthOrZero, LengthOrZero] = Field(alias="at")


class LayoutWishes(Document):
    """thickness: of parts whose thickness the bench file does not tell; grain_round: the grain runs on round the four
    walls, which lie in line on one board; it breaks at the corner named. matched: parts that lie beside one another.
    """

    schema_: Literal["kerfwright-wishes-1"] = Field(default="kerfwright-wishes-1", alias="schema")
    thickness_mm: dict[str, Length] = Field(default_factory=dict[str, Length], alias="thickness")
    tolerance_mm: Length = Field(default=0.3, alias="tolerance", le=3)
    edges: Literal["rough", "milled"] = "rough"
    plane_mm: LengthOrZero = Field(default=1.5, alias="plane", le=10)  # common practice, no source
    saw_kerf_mm: LengthOrZero = Field(default=3.0, alias="saw_kerf", le=10)
    bridge_mm: LengthOrZero = Field(default=1.0, alias="bridge", le=50)
    useful_mm: tuple[Length, Length] = Field(default=(80.0, 25.0), alias="useful")
    grain_round: Breaks = "no"
    matched: tuple[Annotated[tuple[str, ...], Field(min_length=2)], ...] = ()
    pinned: dict[str, Pin] = Field(default_factory=dict[str, Pin])
    coupons: tuple[str, ...] = ()

    @property
    def gap_mm(self) -> float:
        """Between two blanks."""
        return self.saw_kerf_mm + self.bridge_mm
