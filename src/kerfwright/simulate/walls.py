"""Quick tier: where every wall of a part really stands, worked out on section lines.

On each line the dose of all strokes near it is summed by law (3) of simulate/law.py, and the wall is where the dose, coming
from the wood, first reaches the need. Strokes that end near a line bring less by the error function of the way to their end.
A station that sees nothing but passes over one endless path is a *lone slit* and is solved directly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.slab import Slab
from kerfwright.simulate.burnt import BurntPart, BurntWall, Hidden
from kerfwright.simulate.law import BurnLaw, Passes, slit_half_width_mm
from kerfwright.simulate.light import Light, light_on
from kerfwright.simulate.section import INTO_WOOD_MM, Grid, Indices, PartLines, SetupLines, section_part
from kerfwright.simulate.strokes import STRAIGHT, Strokes

Array = NDArray[np.float64]

SCAN_MM = 0.02
NEAR_DRAWN_MM = 0.17
N_HALVINGS = 11
CORE_MM, N_CORE, N_WHOLE = 0.3, 11, 40  # how far from a wall the middle of its opening is looked for, and in how many looks
CHUNK = 120_000  # places times strokes worked on at once, to stay in the processor's cache
QUICK = Grid()


def burn_walls(part: str, slab: Slab, strokes: Strokes, law: BurnLaw, hidden: Hidden = STRAIGHT, grid: Grid = QUICK) -> BurntPart:
    """The walls of one part on its board. slab: Setup.part_slab; strokes: of all the board's setups, laid with ``hidden``."""
    lines = section_part(part, slab, strokes, slab.thickness_mm + hidden.thickness_mm, grid)
    return walls_on(lines, strokes, law, hidden.density_ratio)


def walls_on(lines: PartLines, strokes: Strokes, law: BurnLaw, density_ratio: float = 1.0) -> BurntPart:
    """The same from section lines already drawn."""
    return burnt_part(lines, fronts_on(lines, strokes, law, density_ratio).front_mm, law)


def burnt_part(lines: PartLines, front_mm: Array, law: BurnLaw) -> BurntPart:
    """Fronts (e, s, d) as walls, char brushed off."""
    back = np.where(np.isfinite(front_mm), law.char_mm - front_mm, np.nan)
    through = np.all(np.isfinite(front_mm), axis=2)
    walls = {
        edge.name: BurntWall(lines.part, edge.name, lines.share, lines.depths_mm, back[e], through[e]) for e, edge in enumerate(lines.edges)
    }
    return BurntPart(lines.part, walls)


@dataclass(frozen=True, eq=False)
class Fronts:
    """front_mm: (e, s, d) u of every wall, inf where it is not freed. made_by: (e, s, d) which of the setups made it, -1 for none.
    stations_mm: for each setup (m, d), of its different stations."""

    front_mm: Array
    made_by: Indices
    stations_mm: tuple[Array, ...]


def fronts_on(lines: PartLines, strokes: Strokes, law: BurnLaw, density_ratio: float = 1.0) -> Fronts:
    """Each setup takes its own wood away; what stands is what none of them took."""
    outline = (len(lines.edges), len(lines.share), len(lines.depths_mm))
    front = np.full(outline, np.inf)
    made_by = np.full(outline, -1, dtype=np.intp)
    stations = tuple(station_fronts_mm(setup, strokes, law, density_ratio) for setup in lines.setups)
    for i, (setup, solved) in enumerate(zip(lines.setups, stations, strict=True)):
        fronts = np.concatenate([solved, np.full((1, outline[2]), np.inf)])[setup.which]  # -1 takes the last: nothing
        nearer = fronts < front
        front = np.where(nearer, fronts, front)
        made_by = np.where(nearer, i, made_by)
    return Fronts(front, made_by, stations)


def station_fronts_mm(setup: SetupLines, strokes: Strokes, law: BurnLaw, density_ratio: float) -> Array:
    """u of the wall at the different stations of one setup and each depth (m, d), inf where the line is not opened."""
    front = np.full((len(setup.sights.first), len(setup.along_mm)), np.inf)
    if not len(front):
        return front
    light = light_on(setup, strokes, law, density_ratio)
    lone = light.lone_slits()
    slits, others = np.flatnonzero(lone), np.flatnonzero(~lone)
    if len(slits):
        front[slits] = _slit_fronts_mm(light.of(slits), law, density_ratio)
    if len(others):
        front[others] = _mixed_fronts_mm(light, others)
    return front


def cores_mm(light: Light, front_mm: Array) -> Array:
    """The middle of what opens beside each wall (m, d): where the dose is most, a lone slit's own middle. Beside a wall a place is
    looked for within CORE_MM, so that a ramp, which goes on rising, is told as wide; where no wall stands, over the whole line."""
    lone = light.lone_slits()
    core = np.zeros_like(front_mm)
    first = light.sights.first[lone]
    core[lone] = -(light.y0_mm[:, first] / light.sights.gy[first]).T
    others = np.flatnonzero(~lone)
    stands = np.all(np.isfinite(front_mm[others]), axis=1)
    for some, whole in ((others[stands], False), (others[~stands], True)):
        if len(some):
            core[some] = _highest_mm(light.of(some).in_single(), front_mm[some], whole)
    return core


def _highest_mm(light: Light, front_mm: Array, whole: bool) -> Array:
    """u of the most dose (m, d), from the wall outward, or where none stands from the wood to the end of the line."""
    steps = np.linspace(0.0, 1.0, N_WHOLE if whole else N_CORE)
    start = np.where(np.isfinite(front_mm), front_mm, -INTO_WOOD_MM)
    wide = np.where(np.isfinite(front_mm), CORE_MM, light.sights.outer_mm[:, None] + INTO_WOOD_MM)
    dose = light.dose_j_mm2(start[:, :, None] + wide[:, :, None] * steps)
    top = np.argmax(dose, axis=2)
    inner = np.clip(top, 1, len(steps) - 2)[:, :, None]
    before, here, after = (np.take_along_axis(dose, inner + i, axis=2)[:, :, 0].astype(float) for i in (-1, 0, 1))
    bent = before - 2 * here + after  # a parabola through three looks finds the top between them
    off = np.where((top == inner[:, :, 0]) & (bent < 0), np.clip((before - after) / np.where(bent < 0, 2 * bent, 1.0), -0.5, 0.5), 0.0)
    return start + wide * (top + off) / (len(steps) - 1)


def _slit_fronts_mm(light: Light, law: BurnLaw, density_ratio: float) -> Array:
    """Lone slits: their middle less their half width. (m, d)"""
    sights, order = light.sights, np.argsort(light.along_mm)
    m, pass_of = len(sights.first), np.arange(len(sights.stroke)) - np.repeat(sights.first, sights.count)
    energy, focus = np.zeros((2, m, int(pass_of.max()) + 1))
    row = np.repeat(np.arange(m), sights.count)
    energy[row, pass_of], focus[row, pass_of] = light.middle_j_mm, sights.focus_mm
    half = np.empty((m, len(order)))
    passes = Passes(energy, focus)
    half[:, order] = slit_half_width_mm(law, passes, light.along_mm[order], light.x_share[sights.first], density_ratio)
    y0, gy = light.y0_mm[:, sights.first].T, np.abs(sights.gy[sights.first])[:, None]
    return np.where(half > 0, -(y0 / sights.gy[sights.first][:, None]) - half / gy, np.inf)


def _mixed_fronts_mm(light: Light, stations: Indices) -> Array:
    """Any mixture of strokes: scan from the wood outward, then halve where the need is first met. (m, d)

    Most walls stand near where they were drawn, so the rest of a line is only scanned where no wall was met there.
    """
    bracket = np.full((2, len(stations), len(light.along_mm)), np.inf)
    left = np.arange(len(stations))
    for outer_mm in (NEAR_DRAWN_MM, None):
        wide = light.sights.outer_mm[stations[left]] if outer_mm is None else np.full(len(left), outer_mm)
        left = left[np.argsort(wide, kind="stable")]
        size = light.sights.count[stations[left]] * len(light.along_mm) * (np.sort(wide) + INTO_WOOD_MM) / SCAN_MM
        for chunk in np.split(left, np.flatnonzero(np.diff(np.cumsum(size) // CHUNK)) + 1):
            if len(chunk):
                bracket[:, chunk] = _scanned(light.of(stations[chunk]).in_single(), outer_mm)
        left = left[~np.all(np.isfinite(bracket[0, left]), axis=1)]
    low, high = bracket
    found = np.isfinite(high)
    some = light.of(stations).in_single()
    low, high = np.where(found, low, 0.0), np.where(found, high, 0.0)
    for _ in range(N_HALVINGS):
        middle = (low + high) / 2
        gone = some.gone(middle[:, :, None])[:, :, 0]
        low, high = np.where(gone, low, middle), np.where(gone, middle, high)
    return np.where(found, (low + high) / 2, np.inf)


def _scanned(light: Light, outer_mm: float | None) -> Array:
    """(2, m, d) u just before and just after the need is first met; inf from where the light no longer comes through."""
    scan = np.arange(-INTO_WOOD_MM, (outer_mm or float(light.sights.outer_mm.max())) + SCAN_MM, SCAN_MM)
    m, d = len(light.sights.first), len(light.along_mm)
    opened = light.gone(np.broadcast_to(scan, (m, d, len(scan))))
    first = np.argmax(opened, axis=2)
    order = np.argsort(light.along_mm)
    reached = np.empty((m, d), dtype=bool)
    reached[:, order] = np.logical_and.accumulate(np.any(opened, axis=2)[:, order], axis=1)
    return np.where(reached, np.stack([scan[np.maximum(first - 1, 0)], scan[first]]), np.inf)
