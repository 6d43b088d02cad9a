"""What the full tier's dose took away: open wood level by level, how deep each cell is, and where the part's walls stand.

A level is open where the dose meets the need and light came through the level above, within a spot's radius to the side: walls
guide light a little outward but nothing is burnt under standing wood.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.slab import Slab
from kerfwright.simulate.dose import TILE, DoseField
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.section import INTO_WOOD_MM, Indices, PartLines

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class HeightField:
    """How deep the light of one setup went: depth_mm: (x, y) below the entry face, square to it; x_mm, y_mm: middles of the cells
    on the entry face; from_show: the show face is that face; thickness_mm: what a hole through has as its depth."""

    setup: int
    from_show: bool
    x_mm: Array
    y_mm: Array
    depth_mm: Single
    thickness_mm: float

    def volume_mm3(self) -> float:
        """Wood taken away, scraps that drop out not counted."""
        return float(self.depth_mm.sum(dtype=float)) * float((self.x_mm[1] - self.x_mm[0]) * (self.y_mm[1] - self.y_mm[0]))


@dataclass(frozen=True, eq=False)
class Opened:
    """A dose held against the need. need_j_mm2: (level,); gone: (x, y, level)."""

    field: DoseField
    need_j_mm2: Single
    gone: Flags


def opened_by(field: DoseField, law: BurnLaw, density_ratio: float = 1.0) -> Opened:
    """Which cells of a field are gone. Only cells that any light came to are looked at."""
    gone = np.zeros(field.dose_j_mm2.shape, dtype=bool)
    need = law.need_j_mm2(field.along_mm, density_ratio).astype(np.float32)
    x, y = _lit_cells(field)
    if not len(x):
        return Opened(field, need, gone)
    reach = max(round(max(law.waist_x_mm, law.waist_y_mm) / field.patch.step_mm), 1)
    meets = (field.dose_j_mm2[x, y] >= need) & (field.dose_j_mm2[x, y] > 0)  # (n, level)
    meets[:, 0] &= field.face_j_mm2[x, y] > 0
    near_x, near_y = x - x.min(), y - y.min()
    above = np.zeros((int(near_x.max()) + 1, int(near_y.max()) + 1), dtype=bool)
    for level in range(len(need)):
        lit = _wider(above, reach)[near_x, near_y] if level else np.ones(len(x), dtype=bool)
        meets[:, level] &= lit
        above[near_x, near_y] = meets[:, level]
    gone[x, y] = meets
    return Opened(field, need, gone)


def height_field(opened: Opened) -> HeightField:
    """How deep each cell is: between levels where the dose less the need runs out."""
    field = opened.field
    square = (field.along_mm * abs(float(field.beam[2]))).astype(np.float32)
    depth = np.zeros(field.dose_j_mm2.shape[:2], dtype=np.float32)
    cells = np.nonzero(opened.gone[:, :, 0])
    gone = opened.gone[cells]  # (n, level)
    over = field.dose_j_mm2[cells] - opened.need_j_mm2
    last = np.where(gone.all(axis=1), len(square), gone.argmin(axis=1)) - 1  # the last level open
    inner = np.minimum(last, len(square) - 2)
    each = np.arange(len(last))
    here, below = over[each, inner], over[each, inner + 1]
    share = np.where((here > 0) & (below < 0), here / np.where(here > below, here - below, 1), 0)
    between = square[inner] + share * (square[inner + 1] - square[inner])
    depth[cells] = np.where(last == len(square) - 1, square[-1], between)
    x_mm, y_mm = field.patch.middles_mm()
    return HeightField(field.setup, field.from_show, x_mm, y_mm, depth, float(square[-1]))


def part_alone(height: HeightField, slab: Slab) -> HeightField:
    """The same when all that hangs on the part by no wood has dropped: scraps, waste, and what lies outside the board."""
    from scipy.ndimage import label  # pyright: ignore[reportMissingTypeStubs, reportUnknownVariableType]

    x0, y0, x1, y1 = slab.bounds_mm()
    inside = ((height.x_mm > x0) & (height.x_mm < x1))[:, None] & ((height.y_mm > y0) & (height.y_mm < y1))
    stands = inside & (height.depth_mm < height.thickness_mm)
    pieces = cast("tuple[NDArray[np.int32], int]", label(stands))[0]
    middle = (x0 + x1) / 2, (y0 + y1) / 2  # of the panel: the nearest cell of the patch is wood of the part
    i, j = (int(np.argmin(np.abs(each - at))) for each, at in zip((height.x_mm, height.y_mm), middle, strict=True))
    dropped = pieces != pieces[i, j]
    return replace(height, depth_mm=np.where(dropped, np.float32(height.thickness_mm), height.depth_mm))


def fronts_from(opened: Opened, lines: PartLines) -> Array:
    """u of the part's walls on the quick tier's own section lines (e, s, d), so that the two tiers can be held together.

    Depths of the lines must be levels of the field. inf where no wall was freed, and off the patch.
    """
    return np.stack([_fronts_at(opened, lines, float(depth)) for depth in lines.depths_mm], axis=2)


def _fronts_at(opened: Opened, lines: PartLines, depth_mm: float) -> Array:
    """u of the wall at one depth, (e, s)."""
    field = opened.field
    level = _level_at(field, depth_mm if field.from_show else lines.depths_mm[-1] - depth_mm)
    drawn = lines.ends_mm[0] + depth_mm / lines.depths_mm[-1] * (lines.ends_mm[1] - lines.ends_mm[0])  # (e, s, 3)
    outer = INTO_WOOD_MM + float(np.abs(lines.ends_mm[1] - lines.ends_mm[0])[..., :2].max())
    u: Array = np.arange(-INTO_WOOD_MM, outer, field.patch.step_mm / 2)
    points = drawn[:, :, None] + u[:, None] * lines.outward[:, None, None]  # (e, s, q, 3)
    back = (points[..., 2] - field.face_z_mm) / field.beam[2]
    at = points[..., :2] - back[..., None] * field.beam[:2]  # where its light entered
    # At the face nothing is needed, so the sum of doses does not cross its need there; the strongest stroke crosses the threshold.
    over = _between(field.dose_j_mm2[:, :, level] if level else field.face_j_mm2, field, at) - float(opened.need_j_mm2[level])
    gone = (over >= 0) & (_between(opened.gone[:, :, level], field, at) > 0)
    first = np.argmax(gone, axis=2)
    before = np.maximum(first - 1, 0)
    high, low = (np.take_along_axis(over, each[:, :, None], axis=2)[:, :, 0] for each in (first, before))
    share = np.clip(np.where(high > low, high / np.where(high > low, high - low, 1.0), 0.0), 0.0, 1.0)
    return np.where(gone.any(axis=2), u[first] - share * (u[first] - u[before]), np.inf)


def _level_at(field: DoseField, below_mm: float) -> int:
    along = below_mm / abs(float(field.beam[2]))
    level = int(np.argmin(np.abs(field.along_mm - along)))
    if abs(float(field.along_mm[level]) - along) > 1e-6:
        raise ValueError("the depths of the lines are not levels of the field")
    return level


def _between(values: NDArray[Any], field: DoseField, at_mm: Array) -> Array:
    """Values of cells (x, y) at places (..., 2), linear between the middles of cells; NaN off the patch."""
    low = np.array([field.patch.x_mm[0], field.patch.y_mm[0]])
    cell = (at_mm - low) / field.patch.step_mm - 0.5
    whole = np.floor(cell).astype(np.intp)
    inside = np.all((whole >= 0) & (whole < np.array(values.shape) - 1), axis=-1)
    whole = np.where(inside[..., None], whole, 0)
    (fx, fy), (ix, iy) = np.moveaxis(cell - whole, -1, 0), np.moveaxis(whole, -1, 0)
    near = [[np.asarray(values[ix + i, iy + j], dtype=float) for j in (0, 1)] for i in (0, 1)]
    mixed = (1 - fx) * ((1 - fy) * near[0][0] + fy * near[0][1]) + fx * ((1 - fy) * near[1][0] + fy * near[1][1])
    return np.where(inside, mixed, np.nan)


def _wider(flags: Flags, by: int) -> Flags:
    """Flags spread by ``by`` cells along x and y."""
    spread = flags.copy()
    for i in range(1, by + 1):
        spread[i:] |= flags[:-i]
        spread[:-i] |= flags[i:]
    wide = spread.copy()
    for i in range(1, by + 1):
        wide[:, i:] |= spread[:, :-i]
        wide[:, :-i] |= spread[:, i:]
    return wide


def _lit_cells(field: DoseField) -> tuple[Indices, Indices]:
    """x and y of cells that any light came to."""
    found: list[tuple[Indices, Indices]] = [(np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp))]
    for i, j in zip(*np.nonzero(field.touched), strict=True):
        x, y = np.nonzero(field.dose_j_mm2[i * TILE : (i + 1) * TILE, j * TILE : (j + 1) * TILE].any(axis=2))
        found.append((x + i * TILE, y + j * TILE))
    x, y = (np.concatenate(each) for each in zip(*found, strict=True))
    return x, y
