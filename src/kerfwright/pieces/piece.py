"""Piece kinds and their documents: one module a kind in pieces/kinds, each with a ``PIECE``."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from functools import cache
from typing import Any, Protocol

from kerfwright.core.document import Document, build, refuse_other_kind
from kerfwright.core.errors import InputError
from kerfwright.core.registry import entries
from kerfwright.pieces.design import Design
from kerfwright.wood.board import Board


class PieceDocument(Document):
    """What every kind's document tells about itself."""

    name: str

    @property
    def panels(self) -> tuple[str, ...]:
        """Names of the boards it needs."""
        raise NotImplementedError


class PieceKind(Protocol):
    """A kind of piece: its document and how to build it from measured thicknesses."""

    kind: str
    document: type[PieceDocument]

    def build(self, document: Any, thickness_mm: Mapping[str, float], boards: Mapping[str, Board]) -> Design:
        """The exact parts. boards: what is known of the wood, by panel; may be empty.

        Raises BuildError when the piece cannot be built in wood.
        """
        ...


@cache
def all_pieces() -> dict[str, PieceKind]:
    """Every kind of piece by name."""
    kinds: list[PieceKind] = entries("kerfwright.pieces.kinds", "PIECE")
    return {kind.kind: kind for kind in kinds}


def piece_from(tables: dict[str, Any], where: str) -> PieceDocument:
    """A piece document from its tables."""
    refuse_other_kind(tables, "piece", where)
    kind = tables.get("kind")
    if not isinstance(kind, str) or kind not in all_pieces():
        near = difflib.get_close_matches(str(kind), all_pieces(), n=1)
        arrived = "the key kind is missing" if kind is None else f"there is no kind of piece called {kind!r}"
        raise InputError(
            arrived,
            accepted=", ".join(f'"{each}"' for each in all_pieces()),
            remedy=f'Did you mean "{near[0]}"?' if near else "",
            where=where,
        )
    return build(tables, all_pieces()[kind].document, where)


def build_piece(document: PieceDocument, thickness_mm: Mapping[str, float], boards: Mapping[str, Board] | None = None) -> Design:
    """Build a piece. thickness_mm: measured thickness by panel name; boards: the wood itself, where it is known."""
    missing = [panel for panel in document.panels if panel not in thickness_mm]
    if missing:
        raise InputError(f"no board is given for {', '.join(missing)}", accepted=f"one board for each of {', '.join(document.panels)}")
    kind: str = getattr(document, "kind")  # noqa: B009 - each kind's own literal
    return all_pieces()[kind].build(document, thickness_mm, boards or {})


def build_on_boards(document: PieceDocument, boards: Mapping[str, Board]) -> Design:
    """Build a piece on the boards it is made of, by panel name, as thick as they were measured."""
    return build_piece(document, {panel: board.thickness_mm for panel, board in boards.items()}, boards)
