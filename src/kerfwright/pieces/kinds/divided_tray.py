"""The divided tray: four walls, a bottom, and dividers dropped into housings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field, model_validator

from kerfwright.core.errors import InputError
from kerfwright.geometry.slab import Recess
from kerfwright.pieces.bottom import BOTTOM, BottomWishes
from kerfwright.pieces.bottoms import AnyBottomWishes, any_bottom
from kerfwright.pieces.carcass import PANELS, CarcassDocument, build_carcass
from kerfwright.pieces.design import Design
from kerfwright.pieces.dividers import DividerWishes, fit_dividers
from kerfwright.wood.board import Board


class DividedTrayDocument(CarcassDocument):
    """A tray with dividers along and across it."""

    kind: Literal["divided tray"] = Field(description="the kind of piece")
    bottom: AnyBottomWishes = Field(default_factory=BottomWishes, description="`[bottom]`, in grooves or on tongues")
    dividers: DividerWishes = Field(description="`[dividers]`: how many, or where")

    @property
    def panels(self) -> tuple[str, ...]:
        """Four walls, the bottom, then the dividers: long-1, cross-1 and so on."""
        return (*PANELS, BOTTOM, *self.dividers.names)

    @model_validator(mode="after")
    def _divided(self) -> DividedTrayDocument:
        if not self.dividers.names:
            wanted = "dividers.long or dividers.cross, 1 or more"
            raise InputError("the tray has no dividers", accepted=wanted, remedy='Or say kind = "open box"')
        return self


class DividedTray:
    """The cross dividers go in last."""

    kind = "divided tray"
    document = DividedTrayDocument

    def build(self, document: DividedTrayDocument, thickness_mm: Mapping[str, float], boards: Mapping[str, Board]) -> Design:
        """The exact tray."""
        carcass = build_carcass(document, thickness_mm)
        bottom = any_bottom(carcass, document.bottom, thickness_mm[BOTTOM], boards.get(BOTTOM))
        dividers = fit_dividers(carcass, document.dividers, thickness_mm, bottom.top_mm, BOTTOM)
        recesses: dict[str, tuple[Recess, ...]] = {
            panel: (*bottom.recesses.get(panel, ()), *dividers.housings.get(panel, ())) for panel in PANELS
        }
        freedoms = (*bottom.freedoms, *dividers.freedoms)
        return carcass.hollowed(recesses).detailed(document).design((bottom.part, *dividers.parts), freedoms, bottom.findings)


PIECE = DividedTray()
