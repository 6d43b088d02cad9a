"""The open box: four walls, with a bottom where one is asked for, and no lid."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from kerfwright.pieces.bottom import BOTTOM
from kerfwright.pieces.bottoms import AnyBottomWishes, any_bottom
from kerfwright.pieces.carcass import PANELS, CarcassDocument, build_carcass
from kerfwright.pieces.design import Design
from kerfwright.wood.board import Board


class OpenBoxDocument(CarcassDocument):
    """An open box. ``joints.all`` serves every corner without an entry of its own, such as ``joints.front-right``."""

    kind: Literal["open box"] = Field(description="the kind of piece")
    bottom: AnyBottomWishes | None = Field(default=None, description="`[bottom]`; leave it out for four walls alone")

    @property
    def panels(self) -> tuple[str, ...]:
        """The four walls, and the bottom when there is one."""
        return (*PANELS, BOTTOM) if self.bottom else PANELS


class OpenBox:
    """Front and back run the length, left and right the width; corners are named by the two boards they join."""

    kind = "open box"
    document = OpenBoxDocument

    def build(self, document: OpenBoxDocument, thickness_mm: Mapping[str, float], boards: Mapping[str, Board]) -> Design:
        """The exact box."""
        carcass = build_carcass(document, thickness_mm)
        if document.bottom is None:
            return carcass.detailed(document).design()
        bottom = any_bottom(carcass, document.bottom, thickness_mm[BOTTOM], boards.get(BOTTOM))
        return carcass.hollowed(bottom.recesses).detailed(document).design((bottom.part,), bottom.freedoms, bottom.findings)


PIECE = OpenBox()
