"""Drawings of ideas for the docs, each as an SVG in plain text; every measure in them comes from the program's own functions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.document import load
from kerfwright.core.units import slope_deg
from kerfwright.export.palette import INKS
from kerfwright.joints import layout
from kerfwright.plan.cradle_parts import CradleSize, rib_outline_mm
from kerfwright.plan.ramp import line_powers, wall_depths
from kerfwright.plan.witness import LONG_TICK_MM, N_EACH_SIDE, PITCH_MM, STEP_MM, TICK_MM
from kerfwright.process.operation import OperationKind
from kerfwright.process.recipe import KerfProfile, Recipe

Array = NDArray[np.float64]
Points = Iterable[Sequence[float]]

WOOD, TAIL_WOOD, WASTE, EDGE, WORDS, FAINT = "#efdcb8", "#dcc193", "#f7efe0", "#6b5636", "#2b2620", "#7d7466"
CUT, RAMP = INKS[OperationKind.THROUGH].colour, INKS[OperationKind.RAMP].colour
PEN = 0.35


class Page:
    """An SVG page of millimetres, y down, written line by line."""

    def __init__(self, width: float, height: float) -> None:
        self.size = width, height
        self.lines = [f'<rect width="{width}" height="{height}" fill="#ffffff"/>']

    def shape(self, points: Points, fill: str = "none", stroke: str = EDGE, width: float = PEN, closed: bool = True,
              dash: str = "") -> None:
        """A polygon or, not closed, a line."""
        path = " ".join(f"{x:.3f},{y:.3f}" for x, y in points)
        tag = "polygon" if closed else "polyline"
        self.lines.append(f'<{tag} points="{path}" fill="{fill}" stroke="{stroke}" stroke-width="{width}" stroke-linejoin="round"'
                          + (f' stroke-dasharray="{dash}"' if dash else "") + "/>")

    def line(self, x0: float, y0: float, x1: float, y1: float, stroke: str = EDGE, width: float = PEN, dash: str = "") -> None:
        """One straight line."""
        self.shape([(x0, y0), (x1, y1)], "none", stroke, width, closed=False, dash=dash)

    def arrow(self, x0: float, y0: float, x1: float, y1: float, stroke: str = CUT, width: float = 0.6) -> None:
        """A line with a head at its end."""
        self.line(x0, y0, x1, y1, stroke, width)
        along = np.array([x1 - x0, y1 - y0]) / np.hypot(x1 - x0, y1 - y0)
        side, tip = np.array([-along[1], along[0]]), np.array([x1, y1])
        self.shape([tip, tip - 2.6 * along + 1.1 * side, tip - 2.6 * along - 1.1 * side], stroke, stroke, 0.2)

    def say(self, x: float, y: float, text: str, size: float = 3.6, colour: str = WORDS, anchor: str = "start", bold: bool = False) -> None:
        """Words, their baseline at y."""
        self.lines.append(f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" fill="{colour}" text-anchor="{anchor}"'
                          + (' font-weight="bold"' if bold else "") + f">{text}</text>")

    def text(self) -> str:
        """The whole file."""
        width, height = self.size
        head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}"'
        return "\n".join([f'{head} font-family="DejaVu Sans, sans-serif">', *self.lines, "</svg>"])


def demo_recipe(shop: Path) -> Recipe:
    """The demo's recipe for 6 mm maple."""
    return load(shop / "shop" / "maple-6.toml", Recipe)


def kerf_profile(shop: Path) -> Page:
    """The slit of the maple recipe, its width drawn much larger than its depth."""
    page = Page(180, 82)
    cut = demo_recipe(shop).through[0]
    for kerf, left in ((cut.kerf[0], 4.0), (cut.kerf[1], 94.0)):
        _slit(page, kerf, left)
    return page


def _slit(page: Page, kerf: KerfProfile, left: float, across: float = 130.0, deep: float = 50.0) -> None:
    top, middle = 17.0, left + 26.0
    depths = np.linspace(0, 1, 41)
    half = np.array([kerf.width_mm(float(d)) for d in depths]) / 2 * across
    down = top + depths * deep
    for sign in (-1, 1):
        outer = middle + sign * 24
        page.shape([(outer, top), *zip(middle + sign * half, down, strict=True), (outer, top + deep)], WOOD, "none")
        page.shape(zip(middle + sign * half, down, strict=True), closed=False, stroke=CUT, width=0.7)
        page.line(outer, top, middle + sign * half[0], top)
        page.line(outer, top + deep, middle + sign * half[-1], top + deep)
    page.arrow(middle, top - 11, middle, top - 3)
    waist = float(kerf.waist_at_frac)
    for name, depth, estimate in (("top", 0.0, kerf.top_mm), ("waist", waist, kerf.waist_mm), ("bottom", 1.0, kerf.bottom_mm)):
        y, reach = top + depth * deep, kerf.width_mm(depth) / 2 * across
        page.line(middle - reach, y, middle + reach, y, FAINT, 0.3, "1.2,1")
        page.say(left + 52, y + 1.2, f"{name} {estimate.value:g} mm", 3.2)
    page.say(middle, top + deep + 6.5, f"head along {kerf.travel}, {kerf.grain} the grain", 3.2, FAINT, "middle")


def ramp_section(shop: Path) -> Page:
    """One socket of the pencil box in section: the core, and every ramp line with the depth it is sent to."""
    recipe = demo_recipe(shop)
    ramp = recipe.ramp
    assert ramp is not None
    thickness, slope, gap, hollow = 5.965, 0.125, 0.025 / 4, 0.02
    wide = thickness * slope
    t, depth = wall_depths(ramp, wide, thickness, gap, hollow)
    power, kept = line_powers(ramp, depth)
    page = Page(150, 88)
    scale, top, left, core = 11.0, 16.0, 46.0, 2.4  # the sockets' narrow width is drawn short
    show_left, show_right = left, left + (2 * wide + core) * scale
    floor = top + thickness * scale
    page.shape([(12, top), (show_left, top), (show_left + wide * scale, floor), (12, floor)], WOOD, "none")
    page.shape([(138, top), (show_right, top), (show_right - wide * scale, floor), (138, floor)], WOOD, "none")
    inner = show_left + wide * scale, show_right - wide * scale
    page.shape([(inner[0], top), (inner[1], top), (inner[1], floor), (inner[0], floor)], WASTE, CUT, 0.7)
    for across, down in zip(t[kept], depth[kept], strict=True):
        for x in (show_left + across * scale, show_right - across * scale):
            page.line(x, top, x, top + down * scale, RAMP, 0.45)
    page.shape([(12, top), (show_left, top), (show_left + wide * scale, floor), (12, floor)], closed=False)
    page.shape([(138, top), (show_right, top), (show_right - wide * scale, floor), (138, floor)], closed=False)
    page.say((inner[0] + inner[1]) / 2, top + 30, "core,", 3.2, CUT, "middle")
    page.say((inner[0] + inner[1]) / 2, top + 34.5, "cut through", 3.2, CUT, "middle")
    page.say((inner[0] + inner[1]) / 2, top + 39, "first", 3.2, CUT, "middle")
    page.say(13, top - 2, "show face", 3.2, FAINT)
    page.say(13, floor + 5, "inner face", 3.2, FAINT)
    page.say(14, top + 20, "pin", 3.6)
    page.say(130, top + 20, "pin", 3.6)
    page.say(75, top - 6, f"{len(t[kept])} lines a wall, {ramp.spacing_mm:g} mm apart: {100 * power.max():.0f} % power down to "
             f"{100 * power.min():.0f} %", 3.4, RAMP, "middle")
    return page


def three_ways() -> Page:
    """A sloped wall by ramp, in the cradle and from two faces, in section."""
    page = Page(190, 64)
    slope, tall, wide = 1 / 4, 30.0, 44.0  # steeper than real work, to be seen
    lean = tall * slope
    for k, (name, under) in enumerate((("ramp", "from the show face"), ("cradle", "the board tilted"), ("two faces", "core, flip, ramps"))):
        left, top = 10 + 62.0 * k, 22.0
        wall = [(left, top), (left + wide - 18 - lean, top), (left + wide - 18, top + tall), (left, top + tall)]
        page.say(left, 8, name, 4.4, bold=True)
        page.say(left, 13.5, under, 3.2, FAINT)
        if name == "cradle":
            _tilted(page, wall, left, top, slope, tall)
            continue
        page.shape(wall, WOOD)
        cut = left + wide - 18
        page.line(cut, top, cut, top + tall, CUT, 0.9)
        for i in range(1, 9):
            x = cut - lean * i / 9
            page.line(x, top, x, top + tall * (1 - i / 9), RAMP, 0.5)
        if name == "ramp":
            page.arrow(cut, top - 6, cut, top - 0.8)
            page.say(cut + 3, top + 8, "core first", 3.0, CUT)
            page.say(cut + 3, top + 13, "then lines", 3.0, RAMP)
        else:
            page.arrow(cut, top + tall + 7, cut, top + tall + 0.8)
            page.arrow(cut - lean / 2, top - 6, cut - lean / 2, top - 0.8, RAMP)
            page.say(cut + 3, top + 24, "core from below", 3.0, CUT)
            page.say(cut + 3, top + 8, "ramps from", 3.0, RAMP)
            page.say(cut + 3, top + 12, "above", 3.0, RAMP)
        page.say(left, top + tall + 6, "show face up", 3.0, FAINT)
    return page


def _tilted(page: Page, wall: list[tuple[float, float]], left: float, top: float, slope: float, tall: float) -> None:
    turn = np.arctan(slope)
    about = np.array([left + 34.0, top + tall])
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    points = [about + matrix @ (np.array(point) - about) for point in wall]
    page.shape([points[3], about, (float(points[3][0]), float(about[1]))], "#e8e2d6", FAINT, 0.3)
    page.shape(points, WOOD)
    page.shape([points[1], points[2]], closed=False, stroke=CUT, width=0.9)
    x, y = (float(each) for each in points[1])
    page.arrow(x, y - 7, x, y - 0.8)
    page.say(x + 3, y + 10, "one square cut", 3.0, CUT)
    page.say(left, top + tall + 6, "cradle under the board", 3.0, FAINT)


def layouts() -> Page:
    """The five layouts on a 60 mm wall, the pin board's show face seen from its end's side."""
    page = Page(196, 84)
    height, pin, half = 60.0, 3.0, 5.0
    shown = (
        ("even", layout.even(height, 4, pin, half)),
        ("widening", layout.widening(height, 4, pin, half, 0.6)),
        ("mirrored", layout.mirrored(height, (5.0, 9.0, 3.0))),
        ("list", layout.listed(height, (5.0, 8.0, 3.0, 10.0, 3.0, 13.0, 3.0, 10.0, 5.0))),
        ("hand", layout.hand(height, 4, pin, half, 7)),
    )
    for k, (name, widths) in enumerate(shown):
        left, top, deep, scale = 6.0 + 38.0 * k, 8.0, 12.0, 1.08
        page.shape([(left, top), (left + 28, top), (left + 28, top + height * scale), (left, top + height * scale)], TAIL_WOOD)
        bounds = top + (height - np.cumsum([0.0, *widths])) * scale
        for i in range(0, len(widths), 2):
            page.shape([(left, bounds[i]), (left + deep, bounds[i]), (left + deep, bounds[i + 1]), (left, bounds[i + 1])], WOOD)
        page.line(left + deep, top, left + deep, top + height * scale)
        for i, width in enumerate(widths):
            page.say(left + 14.5, (bounds[i] + bounds[i + 1]) / 2 + 1, f"{width:.1f}", 2.7, FAINT if i % 2 == 0 else WORDS)
        page.say(left + 14, top + height * scale + 6, name, 4.0, anchor="middle", bold=True)
    return page


def vernier() -> Page:
    """A witness scale ten times enlarged, its new ticks burnt 0.10 mm too far toward +."""
    page = Page(130, 52)
    scale, middle, line, error = 10.0, 60.0, 27.0, 2 * STEP_MM
    for i in range(-N_EACH_SIDE, N_EACH_SIDE + 1):
        long = LONG_TICK_MM if i == 0 else TICK_MM
        chosen = i == 2
        old, new = middle + i * PITCH_MM * scale, middle + (error + i * (PITCH_MM - STEP_MM)) * scale
        page.line(old, line, old, line - long * 5, RAMP if chosen else FAINT, 1.0 if chosen else 0.5)
        page.line(new, line, new, line + long * 5, RAMP if chosen else CUT, 1.0 if chosen else 0.5)
        if i:
            page.say(old, line - TICK_MM * 5 - 1.5, f"{i:+d}".replace("-", "−"), 3.2, RAMP if chosen else FAINT, "middle", chosen)
    page.say(4, 10, "there before", 3.2, FAINT)
    page.say(4, 49, "burnt now", 3.2, CUT)
    page.arrow(108, 46, 122, 46, FAINT, 0.4)
    page.say(124, 47, "+", 4.0, FAINT)
    page.say(middle, 49, "this one reads +2: 0.10 mm too far toward +", 3.2, WORDS, "middle")
    return page


def cradle() -> Page:
    """The keepsake box's board in its cradle, seen from the end, in both lies."""
    page = Page(190, 48)
    width, thickness, slope = 70.0, 11.96, 0.125
    size = CradleSize(225.0, width, thickness, slope, 8.0, thickness, 40.0)
    rib = rib_outline_mm(size)
    tilt = np.radians(slope_deg(slope))
    for k, name in enumerate(("first lie", "second lie: turned end for end")):
        left, ground = 8.0 + 92 * k, 38.0
        page.shape([(left + x, ground - y) for x, y in rib], "#e8e2d6", FAINT)
        foot = np.array([6.0, 8.0])
        along, up = np.array([np.cos(tilt), np.sin(tilt)]), np.array([-np.sin(tilt), np.cos(tilt)])
        board = [foot, foot + width * along, foot + width * along + thickness * up, foot + thickness * up]
        page.shape([(left + x, ground - y) for x, y in board], WOOD if k == 0 else TAIL_WOOD)
        words = ("other edge", "edge A") if k else ("edge A", "other edge")
        page.say(left + 9, ground - 13.5, words[0], 2.9)
        page.say(left + 58, ground - 19.8, words[1], 2.9)
        page.line(left - 3, ground, left + 84, ground, EDGE, 0.5)
        page.say(left, 6, name, 3.6, bold=True)
        page.arrow(left + 40, 9, left + 40, 16)
        page.say(left + 1, ground + 5, "stop: the cradle does not move", 3.0, FAINT)
    return page


def seen_lines() -> Page:
    """Where a corner's gap is seen: one pin and one socket wall, with the two lines that stay on the outside."""
    page = Page(150, 74)
    # Tail board in front (its show face toward the reader), pin board going back: an oblique drawing.
    back = np.array([0.62, -0.45])

    def at(x: float, y: float, z: float) -> tuple[float, float]:
        return 16 + x + back[0] * z, 62 - y + back[1] * z

    page.shape([at(0, 0, 0), at(60, 0, 0), at(60, 42, 0), at(0, 42, 0)], TAIL_WOOD)
    page.shape([at(60, 0, 0), at(60, 42, 0), at(60, 42, 22), at(60, 0, 22)], WOOD)
    page.shape([at(0, 42, 0), at(60, 42, 0), at(60, 42, 22), at(0, 42, 22)], "#e6cfa4")
    page.shape([at(60, 14, 0), at(60, 30, 0), at(60, 30, 22), at(60, 14, 22)], TAIL_WOOD)
    for pin in ([at(38, 0, 0), at(60, 0, 0), at(60, 14, 0), at(38, 17, 0)], [at(38, 42, 0), at(60, 42, 0), at(60, 30, 0), at(38, 27, 0)]):
        page.shape(pin, "#e9d3a6")
    page.shape([at(38, 17, 0), at(60, 14, 0)], closed=False)
    page.shape([at(38, 27, 0), at(60, 30, 0)], closed=False)
    page.shape([at(38, 17, 0), at(38, 0, 0)], closed=False)
    page.shape([at(38, 27, 0), at(38, 42, 0)], closed=False)
    page.shape([at(38, 27, 0), at(60, 30, 0)], closed=False, stroke=RAMP, width=1.2)
    page.shape([at(60, 30, 0), at(60, 30, 22)], closed=False, stroke=CUT, width=1.2)
    page.say(98, 22, "on the pin board's show face:", 3.3, CUT)
    page.say(98, 27, "&quot;seen on pins&quot;", 3.3, CUT)
    page.say(98, 40, "on the tail board's show face:", 3.3, RAMP)
    page.say(98, 45, "&quot;seen on tails&quot;", 3.3, RAMP)
    page.say(18, 58, "tail board", 3.2)
    page.say(92, 60, "pin board, seen on its right", 3.2)
    page.line(91, 58.5, *at(60, 8, 12), FAINT, 0.25)
    page.line(96, 21, *at(60, 30, 14), CUT, 0.25)
    page.line(96, 39, *at(52, 29, 0), RAMP, 0.25)
    return page
