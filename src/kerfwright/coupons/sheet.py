"""Laying a coupon out on an offcut: blocks of cells packed between two strips, engraved labels, corner marks, wood used.

Vocabulary: a *block* is a rectangle of cells that stays together. The *content* is all blocks; above it runs the head
strip with the coupon's title, below it the foot strip with machine and recipe; the four corner marks stand at the ends
of the strips. The mark at the lower left is boxed, so that a scan shows which way up it lies.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from kerfwright.core.errors import PlanError
from kerfwright.core.finding import Finding
from kerfwright.core.units import format_mm
from kerfwright.coupons.coupon import CouponDesign, CouponOptions, Site
from kerfwright.coupons.observable import Observable
from kerfwright.coupons.strokes import engraving, stroke
from kerfwright.process.lettering import text_strokes, text_width_mm
from kerfwright.process.operation import BeamPath, CutOperation

SIDE_MM = 2.0  # bare wood left and right of the content
STRIP_MM = 6.0  # height of the head and foot strips
MARK_ARM_MM = 2.0
BOX_MM = 1.2  # half the side of the box round the first mark
GAP_MM = 2.0  # between blocks

Size = tuple[float, float]
Spot = tuple[float, float]


@dataclass(frozen=True)
class Packing:
    """Lower left corners of the blocks in the content's own frame, and the size of the content."""

    places_mm: tuple[Spot, ...]
    size_mm: Size


def pack(sizes_mm: list[Size], room_mm: Size, down_first: bool = False) -> Packing | None:
    """Blocks in their order, row by row from the top left, or column by column; None when they do not fit the room."""
    if down_first:
        turned = pack([(high, wide) for wide, high in sizes_mm], (room_mm[1], room_mm[0]))
        if turned is None:
            return None
        content = turned.size_mm[1], turned.size_mm[0]
        # A quarter turn puts the first row, then at the top, on the right: mirror it back to the left and to the top.
        places = [(content[0] - y - wide, content[1] - x - high) for (x, y), (wide, high) in zip(turned.places_mm, sizes_mm, strict=True)]
        return Packing(tuple(places), content)
    tops: list[Spot] = []  # (x, distance of the block's top from the content's top)
    x = y = row_high = widest = 0.0
    for wide, high in sizes_mm:
        if x > 0 and x + wide > room_mm[0] + 1e-9:
            x, y, row_high = 0.0, y + row_high + GAP_MM, 0.0
        tops.append((x, y))
        widest, row_high = max(widest, x + wide), max(row_high, high)
        x += wide + GAP_MM
    content = widest, y + row_high
    if content[0] > room_mm[0] + 1e-9 or content[1] > room_mm[1] + 1e-9:
        return None
    return Packing(tuple((x, content[1] - y - high) for (x, y), (_, high) in zip(tops, sizes_mm, strict=True)), content)


class Sheet:
    """Collects labels while a coupon is drawn. Everything is in board coordinates.

    at_end: the content begins at the board's left end (for work that must run out of the wood), else a little in.
    """

    def __init__(self, site: Site, options: CouponOptions, title: str, at_end: bool = False) -> None:
        self.site = site
        self.title = title
        self.turned = options.turned
        self.letters_mm = options.letters_mm
        self.left_mm, self.bottom_mm = options.at_mm
        self.side_mm = 0.0 if at_end else SIDE_MM
        self._labels: list[BeamPath] = []
        if at_end and self.left_mm > 0:
            raise PlanError(
                f"the coupon would begin {format_mm(self.left_mm)} from the board's end",
                accepted='at = ["0 mm", ...]: its walls run out of the end grain',
                where=title,
            )

    @property
    def room_mm(self) -> Size:
        """What is left for the content."""
        board = self.site.offcut
        return board.length_mm - self.left_mm - self.side_mm - SIDE_MM, board.width_mm - self.bottom_mm - 2 * STRIP_MM

    @property
    def corner_mm(self) -> Spot:
        """Lower left corner of the content."""
        return self.left_mm + self.side_mm, self.bottom_mm + STRIP_MM

    def arrange(self, sizes_mm: list[Size], down_first: bool = False) -> tuple[tuple[Spot, ...], Size]:
        """(lower left corners of the blocks in board coordinates, size of the content).

        Raises PlanError, naming sizes that would do, when they do not fit.
        """
        packing = pack(sizes_mm, self.room_mm, down_first) or pack(sizes_mm, self.room_mm, not down_first)
        if packing is None:
            raise self.too_small(sizes_mm)
        x, y = self.corner_mm
        return tuple((x + dx, y + dy) for dx, dy in packing.places_mm), packing.size_mm

    def too_small(self, sizes_mm: list[Size]) -> PlanError:
        """The error that says what size would do: one long strip, or the squarest of a few layouts."""
        widest, whole = max(wide for wide, _ in sizes_mm), sum(wide + GAP_MM for wide, _ in sizes_mm)
        tries = [pack(sizes_mm, (wide, 1e6)) for wide in np.linspace(widest, whole, 12)]
        sizes = {self.outside_mm(found.size_mm) for found in tries if found is not None}
        picked = {min(sizes, key=lambda size: size[1]), min(sizes, key=lambda size: size[0]), min(sizes, key=max)}
        words = " or ".join(f"{length:.0f} x {width:.0f} mm" for length, width in sorted(picked))
        board = self.site.offcut
        begins = f", begun at {self.left_mm:g}, {self.bottom_mm:g}," if self.left_mm or self.bottom_mm else ""
        return PlanError(
            f'the offcut "{board.name}" is {format_mm(board.length_mm)} x {format_mm(board.width_mm)}; this coupon{begins} needs more room',
            accepted=f"{words} (length along the grain x width)",
            remedy="Take a larger offcut, or ask for fewer cells",
            where=self.title,
        )

    def outside_mm(self, content_mm: Size) -> Size:
        """Smallest offcut, rounded up to whole millimetres, for a content of this size begun where this one begins."""
        length_mm = self.left_mm + self.side_mm + content_mm[0] + SIDE_MM
        return float(np.ceil(length_mm - 1e-9)), float(np.ceil(self.bottom_mm + content_mm[1] + 2 * STRIP_MM - 1e-9))

    def label(self, text: str, x_mm: float, y_mm: float, height_mm: float | None = None, centred: bool = False) -> None:
        """Engrave a line of text, its lower left corner (or the middle of its foot) at a point."""
        high_mm = height_mm or self.letters_mm
        left_mm = x_mm - text_width_mm(text, high_mm) / 2 if centred else x_mm
        power_frac = self.site.recipe.engrave.power_frac
        self._labels += [stroke(each + [left_mm, y_mm], power_frac) for each in text_strokes(text, high_mm)]

    def tick(self, points_xy_mm: list[Spot]) -> None:
        """Engrave a fine line along with the labels."""
        self._labels.append(stroke(points_xy_mm, self.site.recipe.engrave.power_frac))

    def design(
        self,
        kind: str,
        content_mm: Size,
        operations: Iterable[CutOperation],
        observables: Iterable[Observable],
        steps: Iterable[str] = (),
        findings: Iterable[Finding] = (),
    ) -> CouponDesign:
        """The finished coupon: labels and corner marks first, then its own operations."""
        content_mm = max(content_mm[0], min(self.room_mm[0], self._title_width_mm())), content_mm[1]
        used_mm = (
            self.left_mm,
            self.bottom_mm,
            self.left_mm + self.side_mm + content_mm[0] + SIDE_MM,
            self.bottom_mm + content_mm[1] + 2 * STRIP_MM,
        )
        marks_mm = self._marks(used_mm)
        self._strips(used_mm)
        recipe = self.site.recipe
        paths = [path for k, at_mm in enumerate(marks_mm) for path in _mark(at_mm, k == 0, recipe.engrave.power_frac)]
        first = [
            engraving("marks", "Corner marks for scanning", paths, recipe),
            engraving("labels", "Labels", self._labels, recipe),
        ]
        return CouponDesign(
            kind,
            self.title,
            (*first, *operations),
            tuple(observables),
            used_mm,
            marks_mm,
            self.turned,
            tuple(steps),
            tuple(findings),
        )

    def _title_width_mm(self) -> float:
        return text_width_mm(self.title, self.letters_mm) + 4 * MARK_ARM_MM + 4.0

    def _marks(self, used_mm: tuple[float, float, float, float]) -> tuple[Spot, ...]:
        x0, y0, x1, y1 = used_mm
        inset_mm = MARK_ARM_MM + 1.5
        left, right, low, high = x0 + inset_mm, x1 - inset_mm, y0 + inset_mm, y1 - inset_mm
        return (left, low), (right, low), (right, high), (left, high)

    def _strips(self, used_mm: tuple[float, float, float, float]) -> None:
        """Title above, machine and recipe (or the machine alone) below, where they fit whole."""
        x0, y0, x1, y1 = used_mm
        room_mm = x1 - x0 - 4 * MARK_ARM_MM - 5.0
        left_mm = x0 + 2 * MARK_ARM_MM + 2.5
        machine, recipe = self.site.machine.name, self.site.recipe.name
        above = (self.title, self.title.split(":")[0])
        for texts, low_mm, high_mm in (
            (above, y1 - STRIP_MM, self.letters_mm),
            ((f"{machine}, {recipe}", machine), y0, 0.8 * self.letters_mm),
        ):
            fitting = [text for text in texts if text_width_mm(text, high_mm) <= room_mm]
            if fitting:
                self.label(fitting[0], left_mm, low_mm + (STRIP_MM - high_mm) / 2, high_mm)


def _mark(at_mm: Spot, boxed: bool, power_frac: float) -> list[BeamPath]:
    x, y = at_mm
    arms = [[(x - MARK_ARM_MM, y), (x + MARK_ARM_MM, y)], [(x, y - MARK_ARM_MM), (x, y + MARK_ARM_MM)]]
    box = [(x - BOX_MM, y - BOX_MM), (x + BOX_MM, y - BOX_MM), (x + BOX_MM, y + BOX_MM), (x - BOX_MM, y + BOX_MM), (x - BOX_MM, y - BOX_MM)]
    return [stroke(points, power_frac) for points in (*arms, *([box] if boxed else []))]
