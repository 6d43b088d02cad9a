"""The rack: real boards, each with what is clear of trim and where its defects are, as the packing sees them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kerfwright.core.errors import InputError
from kerfwright.plan.layout.packing import TENTHS, Rect, Sheet
from kerfwright.wood.board import Board

NEAR_MM = 100.0  # thickness points this near a blank tell of it
MOST_BOARDS = 60


@dataclass(frozen=True)
class RackBoard:
    """One board of the rack; of several alike, one of them."""

    name: str
    board: Board

    @property
    def sheet(self) -> Sheet:
        """What is clear of trim, in tenths, rounded to the side of caution."""
        x0_mm, y0_mm, x1_mm, y1_mm = self.board.clear_mm
        length, width = _down(x1_mm - x0_mm), _down(y1_mm - y0_mm)
        boxes: list[Rect] = []
        for defect in self.board.defects:
            dx0, dy0, dx1, dy1 = defect.bounds_mm
            box = (max(0, _down(dx0 - x0_mm)), max(0, _down(dy0 - y0_mm)), min(length, _up(dx1 - x0_mm)), min(width, _up(dy1 - y0_mm)))
            if box[0] < box[2] and box[1] < box[3]:
                boxes.append(box)
        return Sheet(self.name, length, width, tuple(boxes))

    def thickness_points_mm(self, x_mm: float, y_mm: float, length_mm: float, width_mm: float) -> tuple[float, ...]:
        """What was measured on or near a rectangle; all points where their places were not written down or fewer than
        three are near."""
        board = self.board
        if not board.thickness_at_mm:
            return board.thickness_points_mm
        near: list[float] = []
        for (at_x_mm, at_y_mm), point_mm in zip(board.thickness_at_mm, board.thickness_points_mm, strict=True):
            off_x_mm = max(x_mm - at_x_mm, at_x_mm - x_mm - length_mm, 0.0)
            off_y_mm = max(y_mm - at_y_mm, at_y_mm - y_mm - width_mm, 0.0)
            if math.hypot(off_x_mm, off_y_mm) <= NEAR_MM:
                near.append(point_mm)
        return tuple(near) if len(near) >= 3 else board.thickness_points_mm


def rack_of(boards: Sequence[Board]) -> tuple[RackBoard, ...]:
    """Every single board. Raises InputError for an empty rack, two boards of one name, or more than can be weighed."""
    if not boards:
        raise InputError("there is no board on the rack", accepted='files with schema = "kerfwright-board-1"')
    names = [board.name for board in boards]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f'two boards are called "{twice[0]}"', remedy="Give each its own name, or say pieces = 2 in one file")
    rack = tuple(
        RackBoard(board.name if board.n_pieces == 1 else f"{board.name}, {n} of {board.n_pieces}", board)
        for board in boards
        for n in range(1, board.n_pieces + 1)
    )
    if len(rack) > MOST_BOARDS:
        raise InputError(f"there are {len(rack)} boards on the rack", accepted=f"up to {MOST_BOARDS}", remedy="Leave some out")
    return rack


def _down(length_mm: float) -> int:
    return math.floor(round(length_mm * TENTHS, 4))


def _up(length_mm: float) -> int:
    return math.ceil(round(length_mm * TENTHS, 4))
