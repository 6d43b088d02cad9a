"""Quick tier of the burn: walls of whole boxes, how they answer to causes, and how the cost grows with lines and draws."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from burn_samples import LAW, Ready, demo_parts
from stopwatch import Line, least_s

from kerfwright.simulate.full import burn_full
from kerfwright.simulate.law import line_j_mm2
from kerfwright.simulate.light import Light, light_on
from kerfwright.simulate.response import wall_response
from kerfwright.simulate.section import Grid, section_part
from kerfwright.simulate.walls import QUICK, burn_walls, station_fronts_mm

TITLE = "Quick tier: walls on section lines"
YARDSTICK = "laying the box's strokes from its programs' motions"


def lines() -> Iterator[Line]:
    """Boxes of three kinds, then one ramped board in parts."""
    for piece in ("tool-tray", "keepsake-box", "pencil-box"):
        parts = demo_parts(piece)
        laying = least_s(lambda parts=parts: [one.strokes() for one in parts])
        yield Line(f"{piece}: walls of {len(parts)} boards", least_s(lambda parts=parts: [_walls(one) for one in parts]), laying)
        yield Line(f"{piece}: and how they answer to 21 causes", least_s(lambda parts=parts: [_answers(one) for one in parts]), laying)
    board = next(one for one in demo_parts("pencil-box") if one.part == "right")
    strokes = board.strokes()
    laying = least_s(board.strokes)
    cut = section_part(board.part, board.slab, strokes, board.slab.thickness_mm, QUICK).setups[0]
    light = light_on(cut, strokes, LAW, 1.0)
    yield Line("ramped board: search for its walls", least_s(lambda: station_fronts_mm(cut, strokes, LAW, 1.0)), laying)
    yield Line("ramped board: the same on a fine scan, plain loops", least_s(lambda: plain(light), most=3), laying)
    yield Line("ramped board: full tier instead", least_s(lambda: burn_full("right", board.slab, strokes, LAW), most=3), laying)
    for n in (4, 7, 14, 28):
        grid = Grid(n, 13)
        cost = least_s(lambda grid=grid: burn_walls("right", board.slab, strokes, LAW, grid=grid))
        yield Line(f"ramped board: {n} stations", cost, laying)
    for n in (1, 4, 16):
        laws = [replace(LAW, power_w=20.0 - 0.1 * i) for i in range(n)]
        cost = least_s(lambda laws=laws: [station_fronts_mm(cut, strokes, law, 1.0) for law in laws])
        yield Line(f"ramped board: {n} draws burnt one by one", cost, laying)


def _walls(one: Ready) -> object:
    return burn_walls(one.part, one.slab, one.strokes(), LAW)


def _answers(one: Ready) -> object:
    return wall_response(one.part, one.slab, one.motions, one.setups, one.job.machine, LAW)


def plain(light: Light) -> list[list[float]]:
    """Station by station and depth by depth, 0.5 um apart; ends of strokes that cross the lines are left out."""
    sights = light.sights
    found: list[list[float]] = []
    for station, first in enumerate(sights.first):
        mine = slice(first, first + int(sights.count[station]))
        u = np.arange(-0.35, sights.outer_mm[station], 0.0005)
        front: list[float] = []
        for level in range(len(light.along_mm)):
            dose = np.zeros_like(u)
            for k in range(mine.start, mine.stop):
                radius = light.radius_mm[level, k]
                peak = line_j_mm2(light.middle_j_mm[k], radius)
                flux = peak * np.exp(-2 * ((light.y0_mm[level, k] + u * sights.gy[k]) / radius) ** 2)
                dose += light.worth_frac[k] * np.maximum(flux - light.threshold_j_mm2, 0.0)
            met = np.flatnonzero((dose >= light.need_j_mm2[level]) & (dose > 0))
            front.append(float(u[met[0]]) if len(met) else np.inf)
        found.append(front)
    return found
