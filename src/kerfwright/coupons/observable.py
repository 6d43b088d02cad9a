"""What can be read off a coupon: one observable is one box on the form, clear enough for a script to measure it.

Kinds of quantity:
- ``slot_width``: free width of a slit at one face, measured across it (mm);
- ``tongue_width``: wood between two slits; a caliper closes on its widest place (mm);
- ``stack_width``: several freed tongues pushed together (mm);
- ``line_width``: width of a shallow burnt line on the face (mm);
- ``depth``: how deep a field of lines went below the face (mm, or "through");
- ``through``: whether light is seen through a slit along its whole length;
- ``flame`` and ``char``: what happened while and after burning;
- ``distance``: between two fine marks (mm);
- ``vernier``: which pair of ticks lines up, counted from the long one;
- ``rung``: number of the rung that looks finest;
- ``wall_offset``: how far a sloped wall lies from a drawn line at one depth, + into the wood (mm);
- ``fit``: how a small joint goes together.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Quantity(StrEnum):
    """What an observable measures."""

    SLOT_WIDTH = "slot_width"
    TONGUE_WIDTH = "tongue_width"
    STACK_WIDTH = "stack_width"
    LINE_WIDTH = "line_width"
    DEPTH = "depth"
    THROUGH = "through"
    FLAME = "flame"
    CHAR = "char"
    DISTANCE = "distance"
    VERNIER = "vernier"
    RUNG = "rung"
    WALL_OFFSET = "wall_offset"
    FIT = "fit"


CHOICES: dict[Quantity, tuple[str, ...]] = {
    Quantity.THROUGH: ("yes", "no"),
    Quantity.FLAME: ("none", "glow", "flash", "sustained"),
    Quantity.CHAR: ("none", "light", "heavy"),
    Quantity.FIT: ("loose", "by hand", "by tap", "not at all"),
}

# A word that stands for a number: the pin of the gauge found no floor.
RIGHT_THROUGH = "through"

Setting = float | str


@dataclass(frozen=True)
class Observable:
    """One thing to read.

    place_mm: (x, y) on the board's face, board coordinates; face: "show" (the entry face), "inner" or "waist" (where
    a caliper closes); across_deg: direction the measure runs in, from the board's x axis; low, high: values that are
    possible at all (in ``unit``); settings: how it was burnt, the predictors of the fit; tells: what to do, in words.
    """

    id: str
    quantity: Quantity
    place_mm: tuple[float, float]
    unit: str
    instrument: str
    tells: str
    face: str = "show"
    across_deg: float = 0.0
    low: float | None = None
    high: float | None = None
    settings: dict[str, Setting] = field(default_factory=dict[str, Setting])

    @property
    def choices(self) -> tuple[str, ...]:
        """Words accepted for this observable; empty for numbers."""
        return CHOICES.get(self.quantity, ())

    @property
    def right_through_mm(self) -> float | None:
        """The depth that the answer "through" stands for, the board's thickness; None where it is no answer."""
        thickness_mm = self.settings.get("thickness_mm") if self.quantity is Quantity.DEPTH else None
        return None if thickness_mm is None else float(thickness_mm)
