"""The bottoms a box may have: in grooves, which is what a table without ``kind`` means, or on tongues through slots."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Discriminator, Tag

from kerfwright.pieces.bottom import Bottom, BottomWishes, fit_bottom
from kerfwright.pieces.carcass import Carcass
from kerfwright.pieces.slotted_bottom import SlotWishes, slotted_bottom
from kerfwright.wood.board import Board


def _kind(wishes: Any) -> str:
    return str(wishes.get("kind", "grooves") if isinstance(wishes, dict) else getattr(wishes, "kind", "grooves"))  # pyright: ignore[reportUnknownMemberType, reportUnknownArgumentType]


AnyBottom = BottomWishes | SlotWishes
AnyBottomWishes = Annotated[
    Annotated[BottomWishes, Tag("grooves")] | Annotated[SlotWishes, Tag("slots")],
    Discriminator(_kind, "bottom_kind", 'there is no bottom of this kind. Accepted: "grooves", "slots"'),
]


def any_bottom(carcass: Carcass, wishes: AnyBottom, thickness_mm: float, board: Board | None) -> Bottom:
    """The bottom these wishes ask for. Raises BuildError, naming the dimension to change, when it cannot be."""
    if isinstance(wishes, SlotWishes):
        return slotted_bottom(carcass, wishes, thickness_mm, board)
    return fit_bottom(carcass, wishes, thickness_mm, board)
