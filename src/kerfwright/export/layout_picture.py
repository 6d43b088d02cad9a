"""A picture of parts laid out on boards: every board true to scale, with its grain, defects, blanks and what is left over.

The grain drawn claims nothing about the real board; it only shows which way it runs.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
import zlib
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.units import format_mm
from kerfwright.export.drawing import Window, add, outline, page, to_bytes
from kerfwright.export.wood_colour import hex_colour, parse_colour, shaded
from kerfwright.export.wording import number
from kerfwright.plan.layout.layout import Layout, Offcut, Placed
from kerfwright.plan.layout.rack import RackBoard
from kerfwright.wood.species import find_species

Array = NDArray[np.float64]

PAGE_MM = 420.0  # how wide the picture is printed
INK, FADED, PAPER, RULE = "#2b2620", "#6b6257", "#ffffff", "#cfc8bc"
BLANK, BLANK_EDGE, PART_EDGE = "#fffaf0", "#3a2410", "#7a4a12"
FLAW, KEPT, BURN = "#8f2438", "#1a7fb5", "#4a1030"
# Shares of the text height, chosen by eye.
LETTER_WIDE = 0.54
LEAST_LETTERS = 0.42  # of the usual size; a name that would be smaller is left to the list
# The grain: growth rings cut by the board's face (ours, chosen by eye).
RING_MM, DEEP_MM, TAPER_FRAC = 7.0, 22.0, 0.022
WAVES = ((310.0, 4.0), (120.0, 1.6), (47.0, 0.5))


def layout_picture(layout: Layout, title: str) -> bytes:
    """An SVG, the boards begun one over another."""
    longest_mm = max(each.board.length_mm for each in layout.boards)
    letters_mm = longest_mm / 62
    margin_mm = 2 * letters_mm
    width_mm = longest_mm + 2 * margin_mm
    heights_mm = [each.board.width_mm + 4.4 * letters_mm for each in layout.boards]
    height_mm = 5.2 * letters_mm + sum(heights_mm) + 4.2 * letters_mm
    root = page(width_mm, height_mm, title, "A picture to look at and to saw by. Do not burn it.")
    root.set("width", f"{PAGE_MM:g}mm")
    root.set("height", f"{PAGE_MM * height_mm / width_mm:.6g}mm")
    root.set("font-family", "sans-serif")
    add(root, "rect", width=width_mm, height=height_mm, fill=PAPER)
    defs = add(root, "defs")
    _hatch(defs, "flaw", FLAW, letters_mm / 3.2, 45)
    _hatch(defs, "trim", FADED, letters_mm / 2.6, -45)
    add(root, "text", text=title, x=margin_mm, y=2.6 * letters_mm, font_size=1.5 * letters_mm, font_weight="bold", fill=INK)
    top_mm = 5.2 * letters_mm
    for board, high_mm in zip(layout.boards, heights_mm, strict=True):
        group = add(root, "g", transform=f"translate({margin_mm:g} {top_mm + 1.6 * letters_mm:g})")
        _Face(group, defs, board, letters_mm).draw(layout)
        top_mm += high_mm
    _foot(root, margin_mm, top_mm + 1.6 * letters_mm, longest_mm, letters_mm)
    return to_bytes(root)


class _Face:
    """One board's show face, origin of the group at its upper left corner."""

    def __init__(self, group: ET.Element, defs: ET.Element, board: RackBoard, letters_mm: float) -> None:
        self.group, self.defs, self.rack_board, self.letters_mm = group, defs, board, letters_mm
        self.board = board.board
        self.window = Window(0.0, 0.0, self.board.length_mm, self.board.width_mm)
        self.thin_mm = letters_mm / 16

    def draw(self, layout: Layout) -> None:
        """The board with everything on it."""
        board, em_mm = self.board, self.letters_mm
        size = f"{format_mm(board.length_mm, 0)} x {format_mm(board.width_mm, 0)} x {format_mm(board.thickness_mm)}"
        head = add(self.group, "text", x=0.0, y=-0.55 * em_mm, font_size=em_mm, fill=FADED)
        add(head, "tspan", text=self.rack_board.name, font_weight="bold", fill=INK)
        add(head, "tspan", text=f"   {board.species}, {size}")
        self._wood()
        self._trim()
        for offcut in layout.offcuts:
            if offcut.board == self.rack_board.name:
                self._offcut(offcut)
        for defect in board.defects:
            self._rect(*defect.bounds_mm, fill=PAPER, fill_opacity=0.45)
            self._rect(*defect.bounds_mm, fill="url(#flaw)", stroke=FLAW, stroke_width=self.thin_mm)
            self._words(defect.bounds_mm, (defect.what,), FLAW, bold=False, ground=True)
        for each in layout.on(self.rack_board.name):
            self._blank(each)
        for coupon in layout.coupons:
            if coupon.board == self.rack_board.name:
                self._coupon(coupon)
        self._rect(0.0, 0.0, board.length_mm, board.width_mm, fill="none", stroke=INK, stroke_width=1.6 * self.thin_mm)

    def _rect(self, x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float, **look: str | float) -> None:
        """A rectangle given in the board's frame."""
        (x_mm, y_mm), _ = self.window.page(np.array([(x0_mm, y1_mm), (x1_mm, y0_mm)])).tolist()
        rect = add(self.group, "rect", x=x_mm, y=y_mm, width=x1_mm - x0_mm, height=y1_mm - y0_mm)
        for name, value in look.items():
            rect.set(name.replace("_", "-"), value if isinstance(value, str) else number(value))

    def _wood(self) -> None:
        colour = parse_colour(find_species(self.board.species).colour)
        self._rect(0.0, 0.0, self.board.length_mm, self.board.width_mm, fill=hex_colour(colour))
        name = f"face{zlib.crc32(self.rack_board.name.encode('utf-8')):08x}"
        clip = add(self.defs, "clipPath", id=name)
        add(clip, "rect", width=self.board.length_mm, height=self.board.width_mm)
        lines = add(self.group, "g", clip_path=f"url(#{name})", fill="none", stroke=hex_colour(shaded(colour, 0.62)))
        for n, curve in enumerate(_grain(self.rack_board.name, self.board.length_mm, self.board.width_mm)):
            wide_mm = self.thin_mm * (0.9 + 0.5 * (n % 3))
            add(lines, "path", d=outline(self.window.page(curve), False), stroke_width=wide_mm, stroke_opacity=0.42)

    def _trim(self) -> None:
        x0, y0, x1, y1 = self.board.clear_mm
        length_mm, width_mm = self.board.length_mm, self.board.width_mm
        strips = ((0.0, 0.0, x0, width_mm), (x1, 0.0, length_mm, width_mm), (x0, 0.0, x1, y0), (x0, y1, x1, width_mm))
        for strip in strips:
            if strip[2] > strip[0] and strip[3] > strip[1]:
                self._rect(*strip, fill=PAPER, fill_opacity=0.5)
                self._rect(*strip, fill="url(#trim)")

    def _blank(self, placed: Placed) -> None:
        wanted = placed.wanted
        box = (placed.x_mm, placed.y_mm, placed.x_mm + wanted.length_mm, placed.y_mm + wanted.width_mm)
        self._rect(*box, fill=BLANK, fill_opacity=0.72, stroke=BLANK_EDGE, stroke_width=1.4 * self.thin_mm)
        # Where in the blank the part will be, but for the room of a pilot strip at its right end.
        dx_mm, dy_mm = (wanted.length_mm - wanted.part_mm[0]) / 2, (wanted.width_mm - wanted.part_mm[1]) / 2
        part = (box[0] + dx_mm, box[1] + dy_mm, box[2] - dx_mm, box[3] - dy_mm)
        self._rect(*part, fill="none", stroke=PART_EDGE, stroke_width=self.thin_mm, stroke_dasharray=f"{4 * self.thin_mm:g}")
        size = f"{wanted.length_mm:.0f} x {wanted.width_mm:.0f}"
        name = f"\u2190 {wanted.part}" if placed.turned else wanted.part
        self._words(box, (name, size), INK)

    def _offcut(self, offcut: Offcut) -> None:
        box = (offcut.x_mm, offcut.y_mm, offcut.x_mm + offcut.length_mm, offcut.y_mm + offcut.width_mm)
        dash = f"{8 * self.thin_mm:g} {4 * self.thin_mm:g}"
        self._rect(*box, fill=KEPT, fill_opacity=0.09, stroke=KEPT, stroke_width=1.2 * self.thin_mm, stroke_dasharray=dash)
        self._words(box, ("left over", f"{offcut.length_mm:.0f} x {offcut.width_mm:.0f}"), KEPT, bold=False, ground=True)

    def _coupon(self, coupon: Offcut) -> None:
        box = (coupon.x_mm, coupon.y_mm, coupon.x_mm + coupon.length_mm, coupon.y_mm + coupon.width_mm)
        dots = f"{self.thin_mm:g} {2.5 * self.thin_mm:g}"
        self._rect(
            *box, fill=BLANK, fill_opacity=0.85, stroke=BURN, stroke_width=1.6 * self.thin_mm, stroke_dasharray=dots, stroke_linecap="round"
        )
        self._words(box, ("coupon:", coupon.coupon), BURN)

    def _words(
        self, box: tuple[float, float, float, float], words: tuple[str, ...], colour: str, bold: bool = True, ground: bool = False
    ) -> None:
        """One line over another in the middle of a box, the first alone where both find no room, smaller where it must be."""
        x0, y0, x1, y1 = box
        for shown in (words, words[:1]):
            longest = max(len(word) for word in shown)
            em_mm = min(self.letters_mm, 0.92 * (x1 - x0) / (LETTER_WIDE * longest), 0.86 * (y1 - y0) / (1.15 * len(shown)))
            if em_mm >= LEAST_LETTERS * self.letters_mm or len(shown) == 1:
                break
        if em_mm < LEAST_LETTERS * self.letters_mm:
            return
        (x_mm, y_mm), *_ = self.window.page(np.array([((x0 + x1) / 2, (y0 + y1) / 2)])).tolist()
        for n, word in enumerate(shown):
            down_mm = (n - (len(shown) - 1) / 2) * 1.15 * em_mm + 0.35 * em_mm
            weight = "bold" if bold and n == 0 else "normal"
            text = add(self.group, "text", text=word, x=x_mm, y=y_mm + down_mm, font_size=em_mm, font_weight=weight, fill=colour)
            text.set("text-anchor", "middle")
            if ground:  # a paper edge round the letters, so that grain and hatching do not run into them
                for name, value in (("paint-order", "stroke"), ("stroke", PAPER), ("stroke-width", number(em_mm / 4))):
                    text.set(name, value)


def _grain(name: str, length_mm: float, width_mm: float) -> Iterator[Array]:
    """Where growth rings meet the board's face: curves (n, 2) in the board's frame. name picks the tree."""
    rng = np.random.default_rng(zlib.crc32(name.encode("utf-8")))
    heart_mm = width_mm * rng.uniform(0.3, 0.7)
    x = np.linspace(0.0, length_mm, max(int(length_mm / 12), 2))
    wander = sum(high * np.sin(x * 2 * np.pi / long + rng.uniform(0, 6.28)) for long, high in WAVES)
    deep_mm = DEEP_MM + TAPER_FRAC * x + 0.7 * wander
    most_mm = float(np.hypot(width_mm, deep_mm.max()))
    for n in range(int(deep_mm.min() / RING_MM), int(most_mm / RING_MM) + 1):
        square = (n * RING_MM) ** 2 - deep_mm**2
        for side in (-1.0, 1.0):
            y = heart_mm + wander + side * np.sqrt(np.maximum(square, 0.0))
            seen = (square > 0) & (y > -RING_MM) & (y < width_mm + RING_MM)
            starts = np.flatnonzero(np.diff(np.concatenate([[0], seen.astype(int), [0]])))
            for a, b in zip(starts[::2], starts[1::2], strict=True):
                if b - a > 1:
                    yield np.stack([x[a:b], y[a:b]], axis=1)


def _hatch(defs: ET.Element, name: str, colour: str, pitch_mm: float, turn_deg: float) -> None:
    pattern = add(
        defs, "pattern", id=name, width=pitch_mm, height=pitch_mm, patternUnits="userSpaceOnUse", patternTransform=f"rotate({turn_deg:g})"
    )
    add(pattern, "rect", width=pitch_mm / 4, height=pitch_mm, fill=colour, fill_opacity=0.75)


def _foot(root: ET.Element, x_mm: float, y_mm: float, room_mm: float, em_mm: float) -> None:
    """A scale, and what the marks mean."""
    step_mm = 10.0 ** np.floor(np.log10(room_mm / 4))
    bar_mm = float(step_mm * max(n for n in (1, 2, 5) if n * step_mm <= room_mm / 4))
    line = f"M{x_mm:g} {y_mm - 0.4 * em_mm:g} v{0.4 * em_mm:g} h{bar_mm:g} v{-0.4 * em_mm:g}"
    add(root, "path", d=line, fill="none", stroke=INK, stroke_width=em_mm / 12)
    add(root, "text", text=format_mm(bar_mm, 0), x=x_mm + bar_mm + 0.6 * em_mm, y=y_mm, font_size=0.9 * em_mm, fill=INK)
    told = "Full lines: saw. Dashed inside them: the part. Hatched: defects and trim. Blue: left over. Grain runs along every board."
    small_mm = min(0.9 * em_mm, room_mm / (LETTER_WIDE * len(told)))
    add(root, "text", text=told, x=x_mm, y=y_mm + 1.9 * em_mm, font_size=small_mm, fill=FADED)
