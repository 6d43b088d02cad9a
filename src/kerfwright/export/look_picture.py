"""A picture of one setup to look at: the board on the bed, what is kept, what is waste, and every path with a legend.

Never to be burnt. True scale: one unit is a millimetre; words and line widths grow with the picture.
"""

from __future__ import annotations

import math
import textwrap
import xml.etree.ElementTree as ET
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.units import format_mm
from kerfwright.export.drawing import Window, add, outline, page, to_bytes
from kerfwright.export.palette import INKS
from kerfwright.export.wording import settings_words, short
from kerfwright.geometry.slab import Face, Slab
from kerfwright.machine.machine import Machine
from kerfwright.process.moves import program_points
from kerfwright.process.operation import CutOperation, OperationKind
from kerfwright.process.setup import Setup

Array = NDArray[np.float64]

WOOD, WOOD_SIDE, GRAIN, KEPT, WASTE, WORDS, FAINT = "#efdcb8", "#cdb084", "#d9bd8c", "#faf1dc", "#a58a5a", "#2b2620", "#7d7466"
MOST_ARROWS = 40  # past that, arrows hide what they point at: only the first path gets one
SMALLEST_WIDTH_MM = 110.0
LETTER = 0.54  # mean width of a letter in a plain sans, share of its size


@dataclass(frozen=True)
class _Sheet:
    """What every drawing step needs. em_mm: size of the plain words; view: the part of the bed shown."""

    root: ET.Element
    setup: Setup
    machine: Machine
    view: Window
    em_mm: float

    @property
    def line_mm(self) -> float:
        """Width of a path's line."""
        return 0.11 * self.em_mm

    def bed(self, board_points_mm: Array) -> Array:
        """Board points (n, 3) on the page (n, 2)."""
        return self.view.page(self.setup.bed_from_board.apply(board_points_mm))

    def say(self, x_mm: float, y_mm: float, text: str, **style: str | float) -> None:
        """One line of words, its baseline's left end on page point x, y."""
        given: dict[str, str | float] = {"font_size": self.em_mm, "fill": WORDS, "x": x_mm, "y": y_mm}
        add(self.root, "text", text=text, **(given | style))


def look_picture(setup: Setup, machine: Machine) -> bytes:
    """The picture of one setup as an SVG file."""
    em_mm, view = _view(setup)
    head_mm = 3.4 * em_mm
    legend = _legend_lines(setup, view.width_mm / em_mm)
    n_rows = sum(1.45 + 1.15 * len(lines) for _, lines in legend)
    foot_mm = max((n_rows + 4.2) * em_mm, _inset_height_mm(machine, em_mm) + 4.4 * em_mm)
    root = page(view.width_mm, head_mm + view.height_mm + foot_mm, f"Setup {setup.number}: {setup.title}",
                "A picture to look at. Do not burn it.")
    root.set("font-family", "sans-serif")
    add(root, "rect", width=view.width_mm, height=head_mm + view.height_mm + foot_mm, fill="#ffffff")
    drawn = add(root, "g", transform=f"translate(0 {short(head_mm, 4)})")
    sheet = _Sheet(drawn, setup, machine, view, em_mm)
    _wood(sheet)
    taken: list[Array] = [sheet.bed(setup.gauge_board_mm[None, :])[0]]
    for number, op in enumerate(setup.operations, start=1):
        _paths(sheet, number, op, taken)
    _gauge(sheet)
    _frame_words(_Sheet(root, setup, machine, view, em_mm))
    _legend(_Sheet(add(root, "g", transform=f"translate(0 {short(head_mm + view.height_mm, 4)})"), setup, machine, view, em_mm), legend)
    return to_bytes(root)


def _view(setup: Setup) -> tuple[float, Window]:
    """Size of the words and the window: the board and every path, with a margin."""
    points = [setup.board_corners_bed_mm()]
    points += [setup.bed_from_board.apply(path.points_mm) for op in setup.operations for path in op.paths]
    everything = np.concatenate(points)
    low, high = everything.min(axis=0), everything.max(axis=0)
    em_mm = max(SMALLEST_WIDTH_MM, float(high[0] - low[0]) * 1.1, 0.8 * float(high[1] - low[1])) / 48
    side_mm = max(3.4 * em_mm, (SMALLEST_WIDTH_MM - float(high[0] - low[0])) / 2)
    rise_mm = 2.6 * em_mm
    return em_mm, Window(float(low[0]) - side_mm, float(low[1]) - rise_mm, float(high[0]) + side_mm, float(high[1]) + rise_mm)


def _wood(sheet: _Sheet) -> None:
    """The blank with a hint of grain, waste hatched, the kept part light with both its outlines."""
    setup = sheet.setup
    length_mm, width_mm, thickness_mm = setup.board_size_mm
    entry_mm, exit_mm = (0.0, thickness_mm) if setup.entry_face is Face.SHOW else (thickness_mm, 0.0)
    corners = np.array([(0.0, 0.0), (length_mm, 0.0), (length_mm, width_mm), (0.0, width_mm)])
    names = {"hatch": f"waste-{setup.number}", "clip": f"board-{setup.number}"}
    _definitions(sheet, names, sheet.bed(_at_depth(corners, entry_mm)))
    add(sheet.root, "path", d=outline(sheet.bed(_at_depth(corners, exit_mm)), True), fill=WOOD_SIDE)
    board = outline(sheet.bed(_at_depth(corners, entry_mm)), True)
    add(sheet.root, "path", d=board, fill=WOOD)
    grain = add(sheet.root, "g", clip_path=f"url(#{names['clip']})", fill="none", stroke=GRAIN, stroke_width=0.07 * sheet.em_mm)
    for line in _grain_lines(length_mm, width_mm, sheet.em_mm):
        add(grain, "path", d=outline(sheet.bed(_at_depth(line, entry_mm)), False))
    slabs = (setup.part_slab, *setup.more_slabs)
    entry_outlines, exit_outlines = (" ".join(_outline_at(sheet, slab, depth_mm) for slab in slabs) for depth_mm in (entry_mm, exit_mm))
    add(sheet.root, "path", d=f"{board} {entry_outlines}", fill=f"url(#{names['hatch']})", fill_rule="evenodd")
    add(sheet.root, "path", d=entry_outlines, fill=KEPT, fill_opacity=0.75)
    for outlines, dash in ((exit_outlines, f"{short(0.45 * sheet.em_mm, 4)}"), (entry_outlines, "none")):
        add(sheet.root, "path", d=outlines, fill="none", stroke=FAINT, stroke_width=0.05 * sheet.em_mm, stroke_dasharray=dash)
    add(sheet.root, "path", d=board, fill="none", stroke=FAINT, stroke_width=0.09 * sheet.em_mm, stroke_linejoin="round")


def _definitions(sheet: _Sheet, names: dict[str, str], board: Array) -> None:
    defs = add(sheet.root, "defs")
    pitch_mm = 0.8 * sheet.em_mm
    hatch = add(defs, "pattern", id=names["hatch"], width=pitch_mm, height=pitch_mm, patternUnits="userSpaceOnUse",
                patternTransform="rotate(45)")
    add(hatch, "line", x1=0.0, y1=0.0, x2=0.0, y2=pitch_mm, stroke=WASTE, stroke_width=0.12 * sheet.em_mm)
    add(add(defs, "clipPath", id=names["clip"]), "path", d=outline(board, True))


def _grain_lines(length_mm: float, width_mm: float, em_mm: float) -> list[Array]:
    """A few slow waves along the board; only a hint, the same every time. Each (n, 2) in the board frame."""
    x = np.linspace(0.0, length_mm, max(8, int(length_mm / (1.5 * em_mm))))
    n_lines = max(3, int(width_mm / (1.1 * em_mm)))
    lines: list[Array] = []
    for i in range(n_lines):
        rise = 0.22 * em_mm * np.sin(x / (7.3 * em_mm) + 1.7 * i) + 0.12 * em_mm * np.sin(x / (2.9 * em_mm) + 2.9 * i)
        lines.append(np.stack([x, width_mm * (i + 0.5) / n_lines + rise], axis=1))
    return lines


def _at_depth(points_mm: Array, depth_mm: float) -> Array:
    return np.column_stack([points_mm, np.full(len(points_mm), -depth_mm)])


def _outline_at(sheet: _Sheet, slab: Slab, depth_mm: float) -> str:
    """A part's outline at a depth below the show face; its own far face where it is thinner than the blank."""
    depth_mm = min(depth_mm, slab.thickness_mm)
    return outline(sheet.bed(_at_depth(slab.ring_at(depth_mm).points_mm, depth_mm)), True)


def _paths(sheet: _Sheet, number: int, op: CutOperation, taken: list[Array]) -> None:
    """Every path of one operation in its ink and dash, arrows where paths start, its number at the first.

    taken: where numbers stand already, (2,) each.
    """
    if not op.paths:
        return
    ink = INKS[op.kind]
    marks = op.kind in (OperationKind.ENGRAVE, OperationKind.WITNESS)
    line_mm = sheet.line_mm * (0.5 if marks else 1.0)  # letters and ticks are small
    group = add(sheet.root, "g", fill="none", stroke=ink.colour, stroke_width=line_mm, stroke_linecap="butt", stroke_linejoin="round")
    add(group, "title", text=f"{number}. {op.title}")
    if ink.dash:
        group.set("stroke-dasharray", _dash(ink.dash, line_mm))
    strokes = [sheet.view.page(program_points(sheet.setup, path, 0.0, op.level_mm)) for path in op.paths]
    fades = {path.power_frac for path in op.paths} != {op.paths[0].power_frac}
    for stroke, path in zip(strokes, op.paths, strict=True):
        line = add(group, "path", d=outline(stroke))
        if fades:  # a ramp's lines pale as their power falls, so the slope shows
            line.set("stroke-opacity", short(0.12 + 0.88 * path.power_frac))
    for stroke in [] if marks else strokes if len(strokes) <= MOST_ARROWS else strokes[:1]:
        _arrow(sheet, stroke, ink.colour)
    _badge(sheet, strokes[0][0], number, ink.colour, taken)


def _dash(dash: tuple[float, ...], line_mm: float) -> str:
    return " ".join(short(each * line_mm, 3) for each in dash)


def _arrow(sheet: _Sheet, stroke: Array, colour: str) -> None:
    """A small head on the path's start, pointing the way the beam goes."""
    along = stroke[1] - stroke[0]
    span_mm = float(np.hypot(*along))
    if span_mm < 1e-9:
        return
    size_mm = min(0.55 * sheet.em_mm, max(0.6 * span_mm, 0.3 * sheet.em_mm))
    along = along / span_mm * size_mm
    across = np.array([-along[1], along[0]]) * 0.38
    start = stroke[0]
    head = np.array([start + along, start + across, start - across])
    add(sheet.root, "path", d=outline(head, True), fill=colour)


def _badge(sheet: _Sheet, at: Array, number: int, colour: str, taken: list[Array]) -> None:
    """The operation's number by its first start, at the nearest place that is free, on the page and not toward the middle."""
    page_mm = np.array([sheet.view.width_mm, sheet.view.height_mm])
    outward = math.pi if at[0] < page_mm[0] / 2 else 0.0
    place = at
    for reach_em, turn_deg in ((reach, turn) for reach in (1.3, 2.0, 3.0, 4.0) for turn in (0, 45, -45, 90, -90, 135, -135, 180)):
        angle = outward + math.radians(turn_deg)
        place = at + reach_em * sheet.em_mm * np.array([math.cos(angle), math.sin(angle)])
        apart = all(np.hypot(*(place - other)) > 1.6 * sheet.em_mm for other in taken)
        if apart and np.all(place > 0.8 * sheet.em_mm) and np.all(place < page_mm - 0.8 * sheet.em_mm):
            break
    taken.append(place)
    x_mm, y_mm = float(place[0]), float(place[1])
    add(sheet.root, "circle", cx=x_mm, cy=y_mm, r=0.72 * sheet.em_mm, fill="#ffffff", stroke=colour, stroke_width=0.1 * sheet.em_mm)
    sheet.say(x_mm, y_mm + 0.32 * sheet.em_mm, str(number), fill=colour, font_size=0.9 * sheet.em_mm, text_anchor="middle",
              font_weight="bold")


def _gauge(sheet: _Sheet) -> None:
    """A ring and cross where the focus gauge is set, its name in front of the board."""
    x_mm, y_mm = (float(each) for each in sheet.bed(sheet.setup.gauge_board_mm[None, :])[0])
    arm_mm, foot_mm = 0.9 * sheet.em_mm, sheet.view.height_mm - 1.3 * sheet.em_mm
    pen = add(sheet.root, "g", fill="none", stroke=WORDS, stroke_width=0.09 * sheet.em_mm)
    for x_0, y_0, x_1, y_1 in ((x_mm - arm_mm, y_mm, x_mm + arm_mm, y_mm), (x_mm, y_mm - arm_mm, x_mm, foot_mm)):
        add(pen, "line", x1=x_0, y1=y_0, x2=x_1, y2=y_1)
    add(pen, "circle", cx=x_mm, cy=y_mm, r=0.5 * arm_mm)
    sheet.say(x_mm - 0.4 * sheet.em_mm, foot_mm + 0.9 * sheet.em_mm, "focus gauge, Z 0", font_size=0.8 * sheet.em_mm)


def _frame_words(sheet: _Sheet) -> None:
    """The heading: what, on which board, how it lies."""
    setup, em_mm = sheet.setup, sheet.em_mm
    tilt = f", tilted {short(setup.tilt_deg, 1)}°" if abs(setup.tilt_deg) > 0.01 else ""
    left_mm = 1.2 * em_mm
    room = int((sheet.view.width_mm / em_mm - 2.4) / LETTER)
    sheet.say(left_mm, 1.9 * em_mm, textwrap.shorten(f"Setup {setup.number}: {setup.title}", int(room / 1.45), placeholder=" …"),
              font_size=1.35 * em_mm, font_weight="bold")
    size = " × ".join(short(each) for each in setup.board_size_mm)
    words = f"{setup.board}, {size} mm; {setup.entry_face} up{tilt}, on the {setup.rests_on}"
    sheet.say(left_mm, 3.3 * em_mm, textwrap.shorten(words, room, placeholder=" …"), fill=FAINT)


def _legend_lines(setup: Setup, width_em: float) -> list[tuple[str, list[str]]]:
    """(title, wrapped settings) of every operation; the right third is left to the picture of the bed."""
    room = int((width_em * 0.68 - 6) / LETTER / 0.9)
    lines: list[tuple[str, list[str]]] = []
    for op in setup.operations:
        settings = textwrap.wrap(settings_words(op), room)
        if op.before:
            settings += textwrap.wrap(f"Before: {op.before}", room)
        lines.append((textwrap.shorten(op.title, int(room * 0.8), placeholder=" …"), settings))
    return lines


def _legend(sheet: _Sheet, legend: list[tuple[str, list[str]]]) -> None:
    em_mm = sheet.em_mm
    y_mm = 1.2 * em_mm
    add(sheet.root, "line", x1=1.2 * em_mm, y1=0.0, x2=sheet.view.width_mm - 1.2 * em_mm, y2=0.0, stroke=FAINT, stroke_width=0.04 * em_mm)
    for number, (op, (title, settings)) in enumerate(zip(sheet.setup.operations, legend, strict=True), start=1):
        ink = INKS[op.kind]
        sample = add(sheet.root, "line", x1=1.2 * em_mm, x2=4.2 * em_mm, y1=y_mm, y2=y_mm, stroke=ink.colour,
                     stroke_width=1.6 * sheet.line_mm)
        if ink.dash:
            sample.set("stroke-dasharray", _dash(ink.dash, 1.6 * sheet.line_mm))
        sheet.say(4.8 * em_mm, y_mm + 0.35 * em_mm, f"{number}  {ink.word}: {title}", font_weight="bold")
        for line in settings:
            y_mm += 1.15 * em_mm
            sheet.say(6.0 * em_mm, y_mm + 0.35 * em_mm, line, font_size=0.9 * em_mm, fill=FAINT)
        y_mm += 1.45 * em_mm
    sheet.say(1.2 * em_mm, y_mm + 0.8 * em_mm, "Light: the part; hatched: waste; an arrow head shows where a path starts.",
              font_size=0.85 * em_mm, fill=FAINT)
    sheet.say(1.2 * em_mm, y_mm + 1.9 * em_mm, "A picture to look at. Do not burn it.", font_size=0.85 * em_mm, fill=FAINT)
    _bed_inset(sheet)


def _inset_height_mm(machine: Machine, em_mm: float) -> float:
    return min(12.5 * em_mm, 13 * em_mm * machine.bed_y_mm / machine.bed_x_mm)


def _bed_inset(sheet: _Sheet) -> None:
    """The whole bed, small, with the board on it and its corner nearest the origin in numbers."""
    em_mm, machine = sheet.em_mm, sheet.machine
    scale = _inset_height_mm(machine, em_mm) / machine.bed_y_mm
    wide_mm, high_mm = scale * machine.bed_x_mm, scale * machine.bed_y_mm
    left_mm, top_mm = sheet.view.width_mm - 1.4 * em_mm - wide_mm, 1.2 * em_mm
    add(sheet.root, "rect", x=left_mm, y=top_mm, width=wide_mm, height=high_mm, fill="#f4f2ee", stroke=FAINT, stroke_width=0.07 * em_mm)
    corners = sheet.setup.board_corners_bed_mm()[:, :2]
    flat = corners * [scale, -scale] + [left_mm, top_mm + high_mm]
    middle = flat.mean(axis=0)
    board = sorted({(round(float(x), 6), round(float(y), 6)) for x, y in flat}, key=lambda at: math.atan2(*(np.array(at) - middle)[::-1]))
    add(sheet.root, "path", d=outline(np.array(board), True), fill=WOOD_SIDE, stroke=FAINT, stroke_width=0.05 * em_mm)
    low = corners.min(axis=0)
    words = (f"bed {short(machine.bed_x_mm)} × {format_mm(machine.bed_y_mm)}, front at the bottom",
             f"board from X {short(low[0])}, Y {short(low[1])}")
    for row, line in enumerate(words):
        sheet.say(left_mm, top_mm + high_mm + (1.1 + row) * em_mm, line, font_size=0.75 * em_mm, fill=FAINT)
