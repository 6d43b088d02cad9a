"""Full tier: the dose that a setup's strokes bring to every cell of a patch of board, level by level.

Vocabulary: a *patch* is a rectangle of the entry face; a *cell* is one square of it, followed down along the beam, so in a
tilted board cells lean with the light; a *level* is one depth below the entry face. A stroke only touches the cells in the
*window* where its light can pass the threshold.

Along a stroke the light is that of the spot moving as it truly does (simulate/along.py): a head that slows at a corner with
constant power burns deeper there and one that lowers its power does not. Law (3) of simulate/law.py adds the strokes up, a
path's later passes at their lesser worth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.simulate.along import end_share, line_energy
from kerfwright.simulate.law import BurnLaw, line_j_mm2
from kerfwright.simulate.light import is_field, on_char, radii_mm
from kerfwright.simulate.section import beam_plane
from kerfwright.simulate.strokes import Strokes

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Indices = NDArray[np.intp]

TILE = 32  # cells along each side of a tile; a tile no stroke came near is never looked at again
AT_ONCE = 60_000  # cells times levels worked on together, to stay in the processor's cache
MOST_CELLS = 60_000_000


@dataclass(frozen=True)
class Patch:
    """A rectangle of the entry face: from and to along the board's x and y. step_mm: side of a cell. n_levels: through the
    thickness, first and last on the faces."""

    x_mm: tuple[float, float]
    y_mm: tuple[float, float]
    step_mm: float = 0.025
    n_levels: int = 25

    def __post_init__(self) -> None:
        n_x, n_y = self.shape
        if not (self.step_mm > 0 and self.n_levels >= 2 and 0 < n_x * n_y <= MOST_CELLS):
            raise InputError(
                f"a patch of {n_x} x {n_y} cells and {self.n_levels} levels",
                accepted=f"1 to {MOST_CELLS:,} cells, 2 levels or more",
                remedy="Take a smaller patch or a longer step",
            )

    @property
    def shape(self) -> tuple[int, int]:
        """Cells along x and y."""
        spans = (self.x_mm[1] - self.x_mm[0], self.y_mm[1] - self.y_mm[0])
        n_x, n_y = (max(round(span / self.step_mm), 0) if self.step_mm > 0 else 0 for span in spans)
        return n_x, n_y

    def middles_mm(self) -> tuple[Array, Array]:
        """x and y of the cells' middles."""
        n_x, n_y = self.shape
        x_mm: Array = self.x_mm[0] + self.step_mm * (np.arange(n_x, dtype=np.float64) + 0.5)
        y_mm: Array = self.y_mm[0] + self.step_mm * (np.arange(n_y, dtype=np.float64) + 0.5)
        return x_mm, y_mm


@dataclass(frozen=True, eq=False)
class DoseField:
    """What one setup brought. dose_j_mm2: (x, y, level); face_j_mm2: (x, y) the strongest stroke less the threshold at the
    face, < 0 where none passed it; along_mm: (level,) depth along the beam; face_z_mm: of the entry face; touched: tiles."""

    setup: int
    patch: Patch
    beam: Array
    from_show: bool
    face_z_mm: float
    along_mm: Array
    dose_j_mm2: Single
    face_j_mm2: Single
    touched: NDArray[np.bool_]


@dataclass(frozen=True)
class Watch:
    """Someone who waits. progress: told the share done; stop: asked between strokes, True ends the work."""

    progress: Callable[[float], None] | None = None
    stop: Callable[[], bool] | None = None


NOBODY = Watch()


class Stopped(Exception):
    """The person no longer wants the burn."""


def dose_field(
    strokes: Strokes, setup: int, law: BurnLaw, patch: Patch, thickness_mm: float, more_frac: Array | None = None, watch: Watch = NOBODY
) -> DoseField:
    """Burn all strokes of one setup over a patch. more_frac: (n,) what warm wood adds to each stroke's worth, such as a share of
    simulate/heat.py's warmth; None adds nothing, and nothing is what anybody has measured so far.

    Raises Stopped when ``watch`` says so.
    """
    field = _empty(strokes, setup, law, patch, thickness_mm)
    mine = np.flatnonzero(strokes.setup == setup)
    brush = _Brush(strokes, law, field)
    worth = np.where(on_char(law, strokes), law.over_char_frac, 1.0) * (1.0 if more_frac is None else 1.0 + more_frac)
    mine = mine[brush.reaches(mine)]
    for done, stroke in enumerate(mine):
        if watch.stop and watch.stop():
            raise Stopped
        brush.burn(int(stroke), float(worth[stroke]))
        if watch.progress:
            watch.progress((done + 1) / len(mine))
    return field


def _empty(strokes: Strokes, setup: int, law: BurnLaw, patch: Patch, thickness_mm: float) -> DoseField:
    mine = np.flatnonzero(strokes.setup == setup)
    if not len(mine):
        raise InputError(f"setup {setup} burns nothing", accepted="a setup with strokes")
    beam, from_show = strokes.beam[mine[0]], bool(strokes.from_show[mine[0]])
    along = np.linspace(0.0, thickness_mm, patch.n_levels) / abs(float(beam[2]))
    shape = patch.shape
    tiles = tuple(-(-n // TILE) for n in shape)
    return DoseField(
        setup, patch, beam, from_show, 0.0 if from_show else -thickness_mm, along,
        np.zeros((*shape, patch.n_levels), dtype=np.float32),  # pages that nobody writes to are never made
        np.full(shape, -law.threshold_j_mm2, dtype=np.float32), np.zeros(tiles, dtype=bool),
    )  # fmt: skip


class _Brush:
    """Brings strokes to a field one after another."""

    def __init__(self, strokes: Strokes, law: BurnLaw, field: DoseField) -> None:
        self.strokes, self.law, self.field = strokes, law, field
        across = beam_plane(field.beam)
        self.start, self.end = (strokes.entry_mm[:, i] @ across for i in (0, 1))
        self.plane = across[:2]  # a step (x, y) on the face moves (x, y) @ plane in the beam plane; z stays
        self.origin = np.array([0.0, 0.0, field.face_z_mm]) @ across
        self.x_mm, self.y_mm = field.patch.middles_mm()
        self.in_field = is_field(law, strokes)
        self.energy = line_energy(law, strokes)
        self.focus = strokes.focus_mm.mean(axis=1)

    def reaches(self, mine: Indices) -> NDArray[np.bool_]:
        """Strokes whose bounds come within a millimetre of the patch."""
        ends = self.strokes.entry_mm[mine][:, :, :2]
        low, high = ends.min(axis=1) - 1.0, ends.max(axis=1) + 1.0
        spans = np.array([self.field.patch.x_mm, self.field.patch.y_mm])
        return np.all((high > spans[:, 0]) & (low < spans[:, 1]), axis=1)

    def burn(self, k: int, worth: float) -> None:
        """One stroke over every cell it reaches."""
        profile = _Profile(self, k)
        if profile.wide_mm <= 0:
            return
        for x, y in self._windows(k, profile.wide_mm):
            flux = profile.flux_j_mm2(self.x_mm[x], self.y_mm[y])
            flux -= np.float32(self.law.threshold_j_mm2)
            face = self.field.face_j_mm2[x, y]
            np.maximum(face, flux[:, :, 0], out=face)
            np.maximum(flux, 0, out=flux)
            flux *= np.float32(worth)
            self.field.dose_j_mm2[x, y] += flux
            self.field.touched[x.start // TILE : -(-x.stop // TILE), y.start // TILE : -(-y.stop // TILE)] = True

    def _windows(self, k: int, wide_mm: float) -> list[tuple[slice, slice]]:
        """Blocks of cells that hold everything within ``wide_mm`` of a stroke, none twice."""
        patch = self.field.patch
        ends = self.strokes.entry_mm[k, :, :2]
        reach = wide_mm / abs(float(self.field.beam[2]))  # a leaning cell is wider on the face
        main = int(np.argmax(np.abs(ends[1] - ends[0])))
        lowest = np.array([patch.x_mm[0], patch.y_mm[0]])
        limits = patch.shape
        span = (np.sort(ends, axis=0) + np.array([[-reach], [reach]]) - lowest) / patch.step_mm
        first, last = max(int(span[0, main]), 0), min(int(span[1, main]) + 1, limits[main])
        cross_cells = max(2 * reach / patch.step_mm, 1.0)
        block = max(int(AT_ONCE / (cross_cells * patch.n_levels)), 16)
        steep = (ends[1, 1 - main] - ends[0, 1 - main]) / np.where(ends[1, main] == ends[0, main], np.inf, ends[1, main] - ends[0, main])
        found: list[tuple[slice, slice]] = []
        for at in range(first, last, block):
            until = min(at + block, last)
            way = np.clip(lowest[main] + patch.step_mm * np.array([at, until]), *np.sort(ends[:, main]))
            other = ends[0, 1 - main] + steep * (way - ends[0, main])
            low, high = (other.min() - reach - lowest[1 - main]) / patch.step_mm, (other.max() + reach - lowest[1 - main]) / patch.step_mm
            side = slice(max(int(low), 0), min(int(high) + 1, limits[1 - main]))
            if side.start < side.stop:
                found.append((slice(at, until), side) if main == 0 else (side, slice(at, until)))
        return found


class _Profile:
    """One stroke's light: its radius and its energy along it at every level."""

    def __init__(self, brush: _Brush, k: int) -> None:
        strokes, law, along = brush.strokes, brush.law, brush.field.along_mm
        self.brush, self.k = brush, k
        self.t = (brush.end[k] - brush.start[k]) / brush.energy.length_mm[k]
        self.start = brush.start[k]
        below = along[:, None] + brush.focus[k] + law.focus_offset_mm
        field, x_share = brush.in_field[k : k + 1], strokes.x_share[k : k + 1]
        self.radius = radii_mm(law, below, x_share, field)[:, 0]
        self.along_radius = radii_mm(law, below, 1 - x_share, field)[:, 0]
        times = np.maximum(line_j_mm2(brush.energy.highest_j_mm[k], self.radius) / law.threshold_j_mm2, 1.0)
        self.wide_mm = float(np.max(self.radius * np.sqrt(0.5 * np.log(times))))

    def flux_j_mm2(self, x_mm: Array, y_mm: Array) -> Single:
        """F of the stroke over cells (x, y) and levels, (x, y, level)."""
        plane, t = self.brush.plane, self.t
        off = self.brush.origin - self.start
        along = (plane @ t, float(off @ t))
        across = (plane @ np.array([-t[1], t[0]]), float(off @ np.array([-t[1], t[0]])))
        s_x, s_y = x_mm * along[0][0] + along[1], y_mm * along[0][1]
        d_x, d_y = x_mm * across[0][0] + across[1], y_mm * across[0][1]
        if np.ptp(s_y) < 1e-3 and np.ptp(d_x) < 1e-3:
            return self._along(s_x + s_y.mean())[:, None, :] * self._across(d_y + d_x.mean())[None, :, :]
        if np.ptp(s_x) < 1e-3 and np.ptp(d_y) < 1e-3:
            return self._across(d_x + d_y.mean())[:, None, :] * self._along(s_y + s_x.mean())[None, :, :]
        shape = (len(x_mm), len(y_mm), len(self.radius))
        s, d = ((a[:, None] + b).ravel() for a, b in ((s_x, s_y), (d_x, d_y)))
        return (self._along(s) * self._across(d)).reshape(shape)

    def _across(self, y: Array) -> Single:
        """exp(-2 y^2 / w^2), (n,) -> (n, level)."""
        scaled = (y.astype(np.float32)[:, None]) * (np.sqrt(2.0) / self.radius).astype(np.float32)
        return np.exp(-scaled * scaled)

    def _along(self, s: Array) -> Single:
        """Peak flux at ways along the stroke, (n,) -> (n, level)."""
        energy, k = self.brush.energy, self.k
        flux = np.ones((len(s), len(self.radius)), dtype=np.float32)
        radius = self.along_radius.astype(np.float32)
        for end, from_end in enumerate((s, energy.length_mm[k] - s)):
            edges, steps = (each[end, k].astype(np.float32) for each in (energy.edges_mm, energy.steps_frac))
            near = np.flatnonzero(from_end < edges[-1] + 2.5 * radius.max())  # farther in the spot does not feel the end
            flux[near] += end_share(from_end[near, None].astype(np.float32), edges, steps, radius) - 1
        return flux * line_j_mm2(energy.middle_j_mm[k], self.radius).astype(np.float32)
