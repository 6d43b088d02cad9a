"""The lidded box: four walls, a bottom, and a lid that lifts off, slides or turns on pins or hinges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from kerfwright.core.finding import note
from kerfwright.geometry.slab import Recess
from kerfwright.pieces.bottom import BOTTOM, BottomWishes
from kerfwright.pieces.bottoms import AnyBottomWishes, any_bottom
from kerfwright.pieces.carcass import PANELS, CarcassDocument, build_carcass
from kerfwright.pieces.design import Design
from kerfwright.pieces.lid import LID
from kerfwright.pieces.lids import LidWishes, fit_lid, lowered_by
from kerfwright.pieces.opening import prove_opening
from kerfwright.wood.board import Board


class LiddedBoxDocument(CarcassDocument):
    """A box with a bottom and a lid."""

    kind: Literal["lidded box"] = Field(description="the kind of piece")
    bottom: AnyBottomWishes = Field(default_factory=BottomWishes, description="`[bottom]`, in grooves or on tongues")
    lid: LidWishes = Field(description="`[lid]`: its kind, and that kind's keys")

    @property
    def panels(self) -> tuple[str, ...]:
        """Four walls, the bottom, the lid and what belongs to it."""
        return (*PANELS, BOTTOM, *self.lid.panels)


class LiddedBox:
    """The lid goes on last and is proven to open."""

    kind = "lidded box"
    document = LiddedBoxDocument

    def build(self, document: LiddedBoxDocument, thickness_mm: Mapping[str, float], boards: Mapping[str, Board]) -> Design:
        """The exact box."""
        carcass = build_carcass(document, thickness_mm, lowered_by(document.lid, thickness_mm))
        bottom = any_bottom(carcass, document.bottom, thickness_mm[BOTTOM], boards.get(BOTTOM))
        lid = fit_lid(carcass, document.lid, thickness_mm, boards)
        recesses: dict[str, tuple[Recess, ...]] = {
            panel: (*bottom.recesses.get(panel, ()), *lid.recesses.get(panel, ())) for panel in PANELS
        }
        hollowed = carcass.hollowed(recesses).detailed(document)
        prove_opening((*hollowed.parts, bottom.part), lid.parts, lid.travel)
        opens = note("lid-opens", f"the lid {lid.travel.words}, proven clear of all other parts on its way", LID)
        findings = (*bottom.findings, opens, *lid.findings)
        return hollowed.design((bottom.part, *lid.parts), (*bottom.freedoms, *lid.freedoms), findings, lid.hardware)


PIECE = LiddedBox()
