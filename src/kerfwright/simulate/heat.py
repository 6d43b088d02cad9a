"""Heat that stays: how warm each place still is when a stroke comes back to it, along the true order of strokes.

Vocabulary: a *piece* is a millimetre or so of a stroke; the *warmth* of a piece is what earlier burning has left at its place
when the beam gets there; heat *younger* than half a second is the stroke's own, going round a corner, and does not count.
Warmth 1 is what the board's strongest stroke leaves in a band 1 mm wide along its line, so neither the share of light that
goes into the wood as heat nor the thickness has a say in it.

Law: c du/dt = kx d2u/dx2 + ky d2u/dy2 - (2 h / T) u + heat of the strokes: a thin plate, its heat even through the thickness, its
edges let none out, both faces lose it to the air. One stroke in a wide plate leaves exp(-r^2 / 4at) / (4 pi a t); a steady moving
one Rosenthal's exp(-v xi / 2a) K0(v r / 2a) (tests hold it to both). Solved on square cells in equal steps of time, x and y in turn.
Range: heat older than about cell^2 / 2a, 3 s at 1 mm; younger heat is told too cool, since it is spread over a cell at once.
Left out: slits already cut hold heat back, so a thin pin is hotter than told; a ramp warms the upper part more than the lower.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate.strokes import Strokes
from kerfwright.wood import thermal
from kerfwright.wood.species import Species

Array = NDArray[np.float64]
Cells = NDArray[np.float32]

QUICK_CELL_MM, FINE_CELL_MM = 1.0, 0.5
YOUNG_S = 0.5
AIR_W_M2K = 15.0  # from each face to moving air (a prior, no source)
SHARE_OF_LIGHT = (0.05, 0.20)  # of the light stays in the wood as heat (a prior, no source)
WARM_C = 60.0  # the board's own heat and conductivity are taken at this
MOISTURE_FRAC = 0.08  # when nobody measured it: indoors (common practice, no source)
_STEADY = 0.45  # of cell^2 / a: longer steps swing


@dataclass(frozen=True)
class Plate:
    """A board as heat sees it. size_mm: length, width, thickness; along_mm2_s, across_mm2_s: diffusivity by the grain.

    held_j_mm3k: heat for one degree; cooling_s: time in which a warm board, left alone, falls to a third (1/e).
    """

    size_mm: tuple[float, float, float]
    along_mm2_s: float
    across_mm2_s: float
    held_j_mm3k: float
    cooling_s: float


def plate_of(species: Species, moisture_frac: float | None, size_mm: tuple[float, float, float]) -> Plate:
    """The plate a board of this species makes. moisture_frac: None takes the usual of an indoor shop."""
    moisture = MOISTURE_FRAC if moisture_frac is None else moisture_frac
    density = thermal.density_at(thermal.basic_density(species.relative_density.value), moisture)
    held = thermal.heat_j_mm3k(thermal.density_kg_m3(density, moisture), thermal.specific_heat_j_kgk(moisture, WARM_C))
    across = thermal.diffusivity_mm2_s(thermal.conductivity_w_mk(density, moisture, WARM_C), held)
    return Plate(size_mm, thermal.ALONG_OVER_ACROSS * across, across, held, held * size_mm[2] / (2 * AIR_W_M2K * 1e-6))


@dataclass(frozen=True, eq=False)
class Warmth:
    """m pieces in the order they were burnt. lines_mm: (m, 2, 2) their ends on the board; warmth: (m,) found there; stroke: (m,)
    which stroke each is of; degree_c: how much warmer than the room warmth 1 is, low and high end of the prior on the share
    of light; cell_mm: how finely it was worked out."""

    lines_mm: Array
    warmth: Array
    stroke: NDArray[np.int_]
    degree_c: tuple[float, float]
    cell_mm: float

    @property
    def at_mm(self) -> Array:
        """Middles of the pieces. (m, 2)"""
        return self.lines_mm.mean(axis=1)


def energy_j(strokes: Strokes, light_w: Array) -> Array:
    """Light that each stroke brings. light_w: (n,) at the told speed. (n,): where power goes down with speed the same for every
    millimetre, else the longer it takes the more."""
    length_mm = np.linalg.norm(strokes.entry_mm[:, 1] - strokes.entry_mm[:, 0], axis=1)
    return light_w * np.where(strokes.scaled, length_mm / strokes.speed_mm_s, strokes.took_s)


def warmth_of(strokes: Strokes, plate: Plate, light_w: Array, cell_mm: float = QUICK_CELL_MM, young_s: float = YOUNG_S) -> Warmth:
    """How warm every piece of every stroke finds its place. light_w: (n,) optical power at the told speed. young_s: heat counts
    once it is this old."""
    length_mm = np.linalg.norm(strokes.entry_mm[:, 1] - strokes.entry_mm[:, 0], axis=1)
    brought = energy_j(strokes, light_w)
    strongest = float(np.max(brought / np.maximum(length_mm, 1e-9), initial=0.0))
    n_pieces = np.maximum(np.ceil(length_mm / cell_mm).astype(np.int_), 1)
    stroke = np.repeat(np.arange(len(length_mm)), n_pieces)
    nth = np.arange(len(stroke)) - np.repeat(np.cumsum(n_pieces) - n_pieces, n_pieces)
    share = (nth[:, None] + np.array([0.0, 1.0])) / n_pieces[stroke, None]  # (m, 2)
    start, end = strokes.entry_mm[stroke, 0, :2], strokes.entry_mm[stroke, 1, :2]
    lines = start[:, None, :] + share[:, :, None] * (end - start)[:, None, :]
    when_s = strokes.begin_s[stroke] + strokes.took_s[stroke] * share.mean(axis=1)
    given = (brought / n_pieces)[stroke] / (strongest or 1.0)  # mm of the strongest stroke
    order = np.argsort(when_s, kind="stable")
    found = _found(_Grid.over(lines, plate, cell_mm), lines[order].mean(axis=1), when_s[order], given[order], plate, young_s)
    degree = strongest / (plate.size_mm[2] * plate.held_j_mm3k)
    return Warmth(lines[order], found, stroke[order], (SHARE_OF_LIGHT[0] * degree, SHARE_OF_LIGHT[1] * degree), cell_mm)


@dataclass(frozen=True)
class _Grid:
    """Cell middles at low + cell (i, j), over the part of the board that heat can reach."""

    low_mm: tuple[float, float]
    n_cells: tuple[int, int]
    cell_mm: float

    @staticmethod
    def over(lines_mm: Array, plate: Plate, cell_mm: float) -> _Grid:
        """The board, and wherever strokes run out of it."""
        ends = lines_mm.reshape(-1, 2)
        low = np.minimum(ends.min(axis=0, initial=0.0), 0.0)
        high = np.maximum(ends.max(axis=0, initial=0.0), plate.size_mm[:2])
        nx, ny = (max(round(float(size) / cell_mm), 2) for size in high - low)
        return _Grid((float(low[0]) + cell_mm / 2, float(low[1]) + cell_mm / 2), (nx, ny), cell_mm)

    def corners(self, at_mm: Array) -> tuple[NDArray[np.int_], Cells]:
        """The four cells round each of (m, 2) points and what share of it each holds. (m, 4) each"""
        n = np.array(self.n_cells)
        place = np.clip((at_mm - np.array(self.low_mm)) / self.cell_mm, 0, n - 1)
        base = np.minimum(place.astype(np.int_), n - 2)
        x, y = (place - base).T
        flat = base[:, 1] * n[0] + base[:, 0]
        cells = flat[:, None] + np.array([0, 1, n[0], n[0] + 1])
        return cells, np.stack([(1 - x) * (1 - y), x * (1 - y), (1 - x) * y, x * y], axis=1).astype(np.float32)


def _found(grid: _Grid, at_mm: Array, when_s: Array, given: Array, plate: Plate, young_s: float) -> Array:
    """Warmth met by pieces in order of time, each leaving its own for later. (m,)"""
    if not len(when_s):
        return np.zeros(0)
    n_young = max(2, int(np.ceil(young_s * max(plate.along_mm2_s, plate.across_mm2_s) / (_STEADY * grid.cell_mm**2))))
    cells, shares = grid.corners(at_mm)
    left = shares * (given / grid.cell_mm**2).astype(np.float32)[:, None]
    tick = ((when_s - when_s[0]) * (n_young / young_s)).astype(np.int_)
    ticks = np.unique(np.concatenate([tick, tick + n_young]))
    met, ripe = np.searchsorted(tick, ticks), np.searchsorted(tick + n_young, ticks)
    field = np.zeros((grid.n_cells[1], grid.n_cells[0]), np.float32)
    flat = field.ravel()
    spreading = _Spreading(field, grid.cell_mm, plate, young_s / n_young)
    found = np.zeros(len(when_s))
    for i, tick_now in enumerate(ticks.tolist()):
        spreading.steps(tick_now - (int(ticks[i - 1]) if i else tick_now))
        grown = slice(ripe[i], ripe[i + 1] if i + 1 < len(ticks) else None)
        here = slice(met[i], met[i + 1] if i + 1 < len(ticks) else None)
        np.add.at(flat, cells[grown], left[grown])
        found[here] = np.sum(flat[cells[here]] * shares[here], axis=1)
    return found


class _Spreading:
    """Heat going from cell to cell in place, step after step."""

    def __init__(self, field: Cells, cell_mm: float, plate: Plate, step_s: float) -> None:
        self.field = field
        self.x, self.y = np.empty_like(field[:, 1:]), np.empty_like(field[1:])
        self.along = np.float32(plate.along_mm2_s * step_s / cell_mm**2)
        self.across = np.float32(plate.across_mm2_s * step_s / cell_mm**2)
        self.kept = np.float32(np.exp(-step_s / plate.cooling_s))

    def steps(self, n_steps: int) -> None:
        """So many steps on."""
        field, x, y = self.field, self.x, self.y
        west, east, south, north = field[:, :-1], field[:, 1:], field[:-1], field[1:]
        for _ in range(n_steps):
            np.subtract(east, west, out=x)
            x *= self.along
            west += x
            east -= x
            np.subtract(north, south, out=y)
            y *= self.across
            south += y
            north -= y
            field *= self.kept
