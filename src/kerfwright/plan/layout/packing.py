"""Rectangles to saw from boards, in whole tenths of a millimetre: the question that is solved, and what an answer is worth.

Vocabulary: a *blank* is a rectangle to saw out, its length along the grain; blanks keep ``gap`` apart. A *sheet* is the
clear part of one board, origin at its lower left corner; a sheet with a blank on it is *begun*. An *offcut* is a clear
rectangle left on a sheet begun that is long and wide enough to be of use; three a sheet are counted. Wood is *gone* when it is
no offcut of a sheet begun: blanks, slits, scrap, defects. Wanted is as little board begun as can be, and then as little gone.

So that gaps are counted once, everything is measured grown by ``gap`` to the right and upward, the sheet too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

Rect = tuple[int, int, int, int]  # x0, y0, x1, y1
Place = tuple[int, int, int]  # sheet, x, y

TENTHS = 10  # of a millimetre: the unit here
N_OFFCUTS = 3  # counted on each sheet


@dataclass(frozen=True)
class Item:
    """A blank to place. sheets: indices of those it may come from; pinned: where a person has placed it."""

    name: str
    length: int
    width: int
    sheets: tuple[int, ...]
    pinned: Place | None = None


@dataclass(frozen=True)
class Sheet:
    """The clear part of a board. defects: boxes that no blank may cover, in the sheet's own coordinates."""

    name: str
    length: int
    width: int
    defects: tuple[Rect, ...] = ()


@dataclass(frozen=True)
class Run:
    """Items in line along the grain in this order, lower edges level; or all turned end for end, and so in the opposite
    order with the edges level that were the lower ones."""

    members: tuple[int, ...]


@dataclass(frozen=True)
class Match:
    """Items beside one another on one sheet in this order: end to end, or edge to edge."""

    members: tuple[int, ...]


@dataclass(frozen=True)
class Packing:
    """The whole question. useful: least length and width of an offcut worth keeping."""

    items: tuple[Item, ...]
    sheets: tuple[Sheet, ...]
    gap: int
    useful: tuple[int, int]
    runs: tuple[Run, ...] = ()
    matches: tuple[Match, ...] = ()

    def grown(self, sheet: int) -> tuple[int, int]:
        """Length and width of a sheet, grown."""
        return self.sheets[sheet].length + self.gap, self.sheets[sheet].width + self.gap

    @cached_property
    def barred(self) -> tuple[tuple[Rect, ...], ...]:
        """By sheet, its defects in boxes that do not overlap, such that a grown blank that misses them only just touches them.

        A defect smaller than the gap keeps its last tenth, which costs at most that gap.
        """
        return tuple(self._barred(sheet.defects) for sheet in self.sheets)

    def _barred(self, defects: Sequence[Rect]) -> tuple[Rect, ...]:
        found: list[Rect] = []
        for x0, y0, x1, y1 in defects:
            pieces = [(min(x0 + self.gap, x1 - 1), min(y0 + self.gap, y1 - 1), x1, y1)]
            for other in found.copy():
                pieces = [left for piece in pieces for left in without(piece, other)]
            found += pieces
        return tuple(found)

    def area(self, sheet: int) -> int:
        """Of a sheet, grown."""
        length, width = self.grown(sheet)
        return length * width

    def gone(self, sheet: int, boxes: Sequence[Rect]) -> int:
        """Area gone of a sheet that is begun. boxes: its blanks, grown."""
        return self.area(sheet) - sum((x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in self.offcuts(sheet, boxes))

    def offcuts(self, sheet: int, boxes: Sequence[Rect], most: int = N_OFFCUTS) -> list[Rect]:
        """The largest clear rectangle of use, then the largest beside it, and so on; grown. boxes: blanks, grown."""
        taken = [*self.barred[sheet], *boxes]
        found: list[Rect] = []
        while len(found) < most:
            each = largest_clear(*self.grown(sheet), [*taken, *found], (self.useful[0] + self.gap, self.useful[1] + self.gap))
            if each is None:
                break
            found.append(each)
        return found

    def boxes(self, places: Sequence[Place | None]) -> list[list[Rect]]:
        """The blanks on each sheet, grown."""
        found: list[list[Rect]] = [[] for _ in self.sheets]
        for item, place in zip(self.items, places, strict=True):
            if place is not None:
                k, x, y = place
                found[k].append((x, y, x + item.length + self.gap, y + item.width + self.gap))
        return found


@dataclass(frozen=True)
class Packed:
    """places: of every item, None where it was left out. turned: by run.

    begun, gone: areas, grown, and the least that either can be: of begun on any sheets, of gone on these. by_clock: stopped by
    the clock or the person, so that another run may differ.
    """

    places: tuple[Place | None, ...]
    turned: tuple[bool, ...]
    begun: int
    gone: int
    least_begun: int = 0
    least_gone: int = 0
    by_clock: bool = False

    @property
    def begun_gap_frac(self) -> float:
        """How much less board the best layout might begin at most, as a share of what is begun."""
        return (self.begun - self.least_begun) / self.begun if self.begun else 0.0

    @property
    def gone_gap_frac(self) -> float:
        """How much less wood the best layout on these boards might use up at most, as a share of what is gone."""
        return (self.gone - self.least_gone) / self.gone if self.gone else 0.0


def without(box: Rect, other: Rect) -> list[Rect]:
    """What is left of a box outside another: up to four boxes."""
    x0, y0, x1, y1 = max(box[0], other[0]), max(box[1], other[1]), min(box[2], other[2]), min(box[3], other[3])
    if x0 >= x1 or y0 >= y1:
        return [box]
    around = [(box[0], box[1], x0, box[3]), (x1, box[1], box[2], box[3]), (x0, box[1], x1, y0), (x0, y1, x1, box[3])]
    return [each for each in around if each[0] < each[2] and each[1] < each[3]]


def largest_clear(length: int, width: int, taken: Sequence[Rect], least: tuple[int, int]) -> Rect | None:
    """The largest rectangle that covers none of the boxes and is at least that long and wide; None when there is none."""
    xs = sorted({0, length, *(x for box in taken for x in (box[0], box[2]) if 0 < x < length)})
    best, best_area = None, 0
    for a, x0 in enumerate(xs):
        for x1 in reversed(xs[a + 1 :]):
            if x1 - x0 < least[0] or (x1 - x0) * width <= best_area:
                break
            y = 0
            for y0, y1 in sorted([(b[1], b[3]) for b in taken if b[0] < x1 and b[2] > x0] + [(width, width)]):
                if y0 - y >= least[1] and (x1 - x0) * (y0 - y) > best_area:
                    best, best_area = (x0, y, x1, y0), (x1 - x0) * (y0 - y)
                y = max(y, y1)
    return best
