"""A table whose cells wrap, whose head is repeated on the next page, and whose rows are never parted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from kerfwright.export.sheet.blocks import Block, Stack, Words, words
from kerfwright.export.sheet.paper import Paper
from kerfwright.export.sheet.style import BODY, GREY, LABEL, RULE_LINE, STRONG, Stroke

PAD_MM = 1.3  # over and under a row
GUTTER_MM = 3.5
HEAD_RULE = Stroke(GREY, 0.3)

Swatch = Callable[[Paper, float, float, float], None]  # paper, left, middle height and width in mm
Cell = str | Words | Stack | Swatch


@dataclass(frozen=True)
class Table(Block):
    """heads: one a column; shares: of the width; rows: cells, text or blocks; a swatch draws itself beside the first line."""

    heads: tuple[str, ...]
    shares: tuple[float, ...]
    rows: tuple[tuple[Cell, ...], ...]
    after_mm: float = 2.0

    def height_mm(self, width_mm: float) -> float:
        """Head, rows and the white below."""
        widths = self._widths_mm(width_mm)
        return self._head_mm(widths) + sum(_row_mm(row, widths) for row in self.rows) + self.after_mm

    def draw(self, paper: Paper, x_mm: float, top_mm: float, width_mm: float) -> None:
        """Rules between rows, nothing between columns."""
        widths = self._widths_mm(width_mm)
        head_mm = self._head_mm(widths)
        _draw_row(paper, tuple(words(head, style=LABEL, after_mm=0) for head in self.heads), x_mm, top_mm + PAD_MM, widths)
        top_mm -= head_mm
        paper.line(x_mm, top_mm, x_mm + width_mm, top_mm, HEAD_RULE)
        for i, row in enumerate(self.rows):
            if i:
                paper.line(x_mm, top_mm, x_mm + width_mm, top_mm, RULE_LINE)
            _draw_row(paper, row, x_mm, top_mm, widths)
            top_mm -= _row_mm(row, widths)

    def least_mm(self, width_mm: float) -> float:
        """The head and the first row."""
        widths = self._widths_mm(width_mm)
        return self._head_mm(widths) + sum(_row_mm(row, widths) for row in self.rows[:1])

    def split(self, width_mm: float, room_mm: float) -> tuple[Block, Block] | None:
        """As many rows as fit, and the rest under a repeated head."""
        widths = self._widths_mm(width_mm)
        used_mm = self._head_mm(widths)
        for n_fit, row in enumerate(self.rows):
            used_mm += _row_mm(row, widths)
            if used_mm > room_mm:
                if n_fit == 0:
                    return None
                return replace(self, rows=self.rows[:n_fit]), replace(self, rows=self.rows[n_fit:])
        return None

    def _widths_mm(self, width_mm: float) -> list[float]:
        room_mm = width_mm - GUTTER_MM * (len(self.heads) - 1)
        return [room_mm * share / sum(self.shares) for share in self.shares]

    def _head_mm(self, widths_mm: list[float]) -> float:
        return max(words(head, style=LABEL, after_mm=1.0).height_mm(width) for head, width in zip(self.heads, widths_mm, strict=True))


def joined_rows(rows: list[tuple[str, tuple[Cell, ...]]]) -> tuple[tuple[Cell, ...], ...]:
    """Rows that differ only in their name become one: the names first, then the common cells."""
    names: dict[tuple[Cell, ...], list[str]] = {}
    for name, cells in rows:
        names.setdefault(cells, []).append(name)
    return tuple((words(", ".join(several), style=STRONG, after_mm=0.0), *cells) for cells, several in names.items())


def _block(cell: Cell) -> Block | None:
    if isinstance(cell, str):
        return words(cell, after_mm=0.0)
    return cell if isinstance(cell, Block) else None


def _row_mm(row: tuple[Cell, ...], widths_mm: list[float]) -> float:
    blocks = [(_block(cell), width) for cell, width in zip(row, widths_mm, strict=True)]
    return max(block.height_mm(width) for block, width in blocks if block is not None) + 2 * PAD_MM


def _draw_row(paper: Paper, row: tuple[Cell, ...], x_mm: float, top_mm: float, widths_mm: list[float]) -> None:
    for cell, width_mm in zip(row, widths_mm, strict=True):
        block = _block(cell)
        if block is not None:
            block.draw(paper, x_mm, top_mm - PAD_MM, width_mm)
        elif callable(cell):
            cell(paper, x_mm, top_mm - PAD_MM - BODY.rise_mm + 0.36 * BODY.size_mm, width_mm)
        x_mm += width_mm + GUTTER_MM
