"""From sections of blocks to numbered pages: each section begins on a fresh page and flows on as far as it needs."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwright.export.sheet.blocks import Block, Draw, Gap
from kerfwright.export.sheet.paper import Paper
from kerfwright.export.sheet.style import (
    LABEL,
    LABEL_STRONG,
    MARGIN_BOTTOM_MM,
    MARGIN_SIDE_MM,
    MARGIN_TOP_MM,
    PAGE_HEIGHT_MM,
    PAGE_WIDTH_MM,
    RULE_LINE,
    TEXT_WIDTH_MM,
)

FOOT = "Lengths in mm. Local rules and the machine's manual come first."
ROOM_MM = PAGE_HEIGHT_MM - MARGIN_TOP_MM - MARGIN_BOTTOM_MM


@dataclass(frozen=True, eq=False)
class Section:
    """label: what the head of its pages and the outline say. under: drawn on each of its pages first, in under_mm at the foot."""

    label: str
    blocks: tuple[Block, ...]
    under: Draw | None = None
    under_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class Page:
    """placed_mm: blocks with the height of their top over the page's lower edge."""

    section: Section
    placed_mm: tuple[tuple[Block, float], ...]
    first: bool


def pages_of(section: Section) -> list[Page]:
    """Blocks put on pages from the top; a block that fits no page whole and cannot be split is a fault of ours."""
    room_mm = ROOM_MM - section.under_mm
    pages: list[list[tuple[Block, float]]] = [[]]
    left_mm = room_mm
    waiting = list(section.blocks)
    while waiting:
        block = waiting.pop(0)
        if not pages[-1] and isinstance(block, Gap):
            continue
        high_mm = block.height_mm(TEXT_WIDTH_MM)
        if block.keep and waiting:
            needed_mm = high_mm + _least_mm(waiting)
            if needed_mm > left_mm and pages[-1]:
                pages.append([])
                left_mm = room_mm
        elif high_mm > left_mm + 1e-6:
            parts = block.split(TEXT_WIDTH_MM, left_mm)
            if parts is not None:
                block, rest = parts
                waiting.insert(0, rest)
                high_mm = left_mm  # the page is full
            elif pages[-1]:
                pages.append([])
                left_mm = room_mm
                waiting.insert(0, block)
                continue
            else:
                raise ValueError(f"a block of the sheet is {high_mm:.0f} mm high and a page holds {room_mm:.0f} mm")
        pages[-1].append((block, PAGE_HEIGHT_MM - MARGIN_TOP_MM - (room_mm - left_mm)))
        left_mm -= high_mm
        if left_mm <= 1e-6 and waiting:
            pages.append([])
            left_mm = room_mm
    return [Page(section, tuple(placed), first=i == 0) for i, placed in enumerate(pages) if placed]


def _least_mm(waiting: list[Block]) -> float:
    """What must stand on the page below a heading: all further headings and the start of the first block that is none."""
    total_mm = 0.0
    for block in waiting:
        total_mm += block.least_mm(TEXT_WIDTH_MM)
        if not block.keep:
            break
    return total_mm


def draw_document(name: str, sections: list[Section]) -> bytes:
    """The whole PDF."""
    pages = [page for section in sections for page in pages_of(section)]
    paper = Paper(f"{name}: bench sheet")
    for i, page in enumerate(pages):
        if i:
            paper.next_page()
        if page.first:
            paper.bookmark(page.section.label, f"page-{i + 1}")
        _draw_frame(paper, name, page.section.label, i + 1, len(pages))
        if page.section.under is not None:
            page.section.under(paper, MARGIN_SIDE_MM, MARGIN_BOTTOM_MM + page.section.under_mm, TEXT_WIDTH_MM)
        for block, top_mm in page.placed_mm:
            block.draw(paper, MARGIN_SIDE_MM, top_mm, TEXT_WIDTH_MM)
    return paper.finish()


def _draw_frame(paper: Paper, name: str, label: str, number: int, n_pages: int) -> None:
    left, right, top = MARGIN_SIDE_MM, PAGE_WIDTH_MM - MARGIN_SIDE_MM, PAGE_HEIGHT_MM - 14.0
    paper.text(left, top, name, LABEL_STRONG)
    paper.text(right, top, f"{number} of {n_pages}", LABEL_STRONG, "right")
    paper.line(left, top - 2.6, right, top - 2.6, RULE_LINE)
    paper.text(left, 10.0, FOOT, LABEL)
    paper.text(right, 10.0, label, LABEL, "right")
