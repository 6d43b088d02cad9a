"""Section lines: where a part's walls are looked at, and how the strokes near each line run past it.

Vocabulary: a *section line* runs square to an edge of the part, in the plane of the board's face, at one station along the
edge and one depth; u is the way along it from where the wall was drawn, + out of the wood. The *beam plane* is square to
the light: distances across a stroke are measured in it, so a tilted board needs no thought. A *sight* is one stroke as the
lines of one station see it: its place on them is y = y0 + u gy across it and s = s0 + u gs along it.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.ring import Edge, Role
from kerfwright.geometry.slab import Slab
from kerfwright.simulate.along import run_up_mm, stroke_length_mm
from kerfwright.simulate.strokes import Strokes

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

INTO_WOOD_MM = 0.35  # how far a line is looked at on the wood's side, and past the drawn slope on the other
NEAR_MM = 0.6  # strokes that stay farther than this from a line bring nothing to it
INNER_MM = 1.0  # beyond its run-up, a stroke that runs on this far both ways is as good as endless
FAR_MM = 5.0  # an end farther off than this is as good as any other
SAME_MM = 1e-3  # stations that see the same strokes to within this are worked out once


@dataclass(frozen=True)
class Grid:
    """How finely walls are looked at."""

    n_stations: int = 7
    n_depths: int = 13


@dataclass(frozen=True, eq=False)
class Sights:
    """Strokes as the stations of one setup see them, n sights station by station, strokes in order of burning.

    first: (m,) where each station's sights begin; station: (m,) its number, counted edge by edge; y0_mm, s0_mm: (2, n) at the
    first and last depth; gy, gs: (n,); sees_end: (2, n) whether the stroke's start and end are near; stroke: (n,) its index;
    focus_mm: (n,) of the stroke where it passes; outer_mm: (m,) how far out each station is looked at.
    """

    first: Indices
    station: Indices
    y0_mm: Array
    s0_mm: Array
    gy: Array
    gs: Array
    sees_end: NDArray[np.bool_]
    stroke: Indices
    focus_mm: Array
    outer_mm: Array

    @property
    def endless(self) -> NDArray[np.bool_]:
        """(n,) strokes none of whose ends is near."""
        return ~np.any(self.sees_end, axis=0)

    @property
    def count(self) -> Indices:
        """(m,) sights of each station."""
        return np.diff(np.append(self.first, len(self.stroke)))

    def picked(self, stations: Indices) -> Indices:
        """Which sights are those of some stations, in the order given."""
        count = self.count[stations]
        return np.repeat(self.first[stations] - np.cumsum(count) + count, count) + np.arange(int(count.sum()))

    def of(self, stations: Indices) -> Sights:
        """Only some stations, in the order given."""
        count, pick = self.count[stations], self.picked(stations)
        return Sights(
            np.cumsum(count) - count,
            self.station[stations],
            self.y0_mm[:, pick],
            self.s0_mm[:, pick],
            self.gy[pick],
            self.gs[pick],
            self.sees_end[:, pick],
            self.stroke[pick],
            self.focus_mm[pick],
            self.outer_mm[stations],
        )


@dataclass(frozen=True, eq=False)
class SetupLines:
    """Every line of a part under one setup. sights: of the different stations; which: (e, s) index of a station's like, -1
    sees nothing. along_mm: (d,) depth of each level along the beam below the entry face."""

    setup: int
    along_mm: Array
    sights: Sights
    which: Indices


@dataclass(frozen=True, eq=False)
class PartLines:
    """A part's section lines, whatever the law. edges: (e); share: (s,); depths_mm: (d,); ends_mm: (2, e, s, 3) where the
    walls were drawn at the first and last depth; outward: (e, 3) the way of u, both in the board's frame."""

    part: str
    edges: tuple[Edge, ...]
    share: Array
    depths_mm: Array
    ends_mm: Array
    outward: Array
    setups: tuple[SetupLines, ...]


def section_part(
    part: str, slab: Slab, strokes: Strokes, thickness_mm: float, grid: Grid, edges: Collection[str] | None = None
) -> PartLines:
    """Section lines of burnt edges (a DATUM edge was there before). thickness_mm: the board's, where it was burnt; edges: only these."""
    lines = outline_of(part, slab, thickness_mm, grid, edges)
    return replace(lines, setups=tuple(_lines(strokes, int(setup), lines) for setup in np.unique(strokes.setup)))


def outline_of(part: str, slab: Slab, thickness_mm: float, grid: Grid, edges: Collection[str] | None = None) -> PartLines:
    """The same without the strokes: only where the lines lie."""
    number = [i for i, edge in enumerate(slab.edges) if edge.role is not Role.DATUM and (edges is None or edge.name in edges)]
    share = 0.5 * (1 - np.cos(np.pi * (np.arange(grid.n_stations) + 0.5) / grid.n_stations))  # denser near the ends
    ends = np.stack([drawn_mm(slab, share, depth)[number] for depth in (0.0, thickness_mm)])
    show = slab.show_ring.points_mm
    along = (np.roll(show, -1, axis=0) - show)[number]
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    outward = np.stack([along[:, 1], -along[:, 0], np.zeros(len(along))], axis=1)
    depths = np.linspace(0.0, thickness_mm, grid.n_depths)
    return PartLines(part, tuple(slab.edges[i] for i in number), share, depths, ends, outward, ())


def drawn_mm(slab: Slab, share: Array, depth_mm: float) -> Array:
    """Where edges were drawn at stations (s,) and one depth, past the drawn thickness too -> (e, s, 3) in the board's frame."""
    below = min(max(int(np.searchsorted(slab.depths_mm, depth_mm)), 1), len(slab.depths_mm) - 1)
    top, bottom = slab.depths_mm[below - 1], slab.depths_mm[below]
    down = (depth_mm - top) / (bottom - top)
    corners = (1 - down) * slab.rings[below - 1].points_mm + down * slab.rings[below].points_mm
    after = np.roll(corners, -1, axis=0)
    points = corners[:, None, :] + share[None, :, None] * (after - corners)[:, None, :]
    return np.concatenate([points, np.full((*points.shape[:2], 1), -depth_mm)], axis=2)


def beam_plane(beam: Array) -> Array:
    """Two unit directions square to the beam, as columns (3, 2)."""
    first: Array = np.array([1.0, 0.0, 0.0]) - beam[0] * beam
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(beam, first)], axis=1)


def _lines(strokes: Strokes, setup: int, lines: PartLines) -> SetupLines:
    mine = np.flatnonzero(strokes.setup == setup)
    ends = lines.ends_mm
    slope = np.abs(np.sum((ends[1] - ends[0]) * lines.outward[:, None, :], axis=2)).max(axis=1)
    every = _sights(strokes, mine, ends, lines.outward, INTO_WOOD_MM + slope)
    sights, like = _without_twins(every, strokes)
    which = np.full(ends.shape[1] * ends.shape[2], -1, dtype=np.intp)
    which[every.station] = like
    return SetupLines(setup, _along_mm(strokes, mine[0], lines.depths_mm), sights, which.reshape(ends.shape[1:3]))


def _sights(strokes: Strokes, mine: Indices, ends_mm: Array, outward: Array, outer_mm: Array) -> Sights:
    """Sights of every station that sees anything."""
    across = beam_plane(strokes.beam[mine[0]])
    flat, g = ends_mm @ across, outward @ across  # (2, e, s, 2), (e, 2)
    start, end = (strokes.entry_mm[mine, i] @ across for i in (0, 1))
    e, k = _close_pairs(flat, g, outer_mm, start, end)
    y0, s0, gy, gs, length = _run_past(flat[:, e], g[e][:, None], start[k][:, None], end[k][:, None])  # (2, p, s), (p, 1)
    u = np.stack([np.full(len(e), -INTO_WOOD_MM), outer_mm[e]])[:, None, :, None]
    y, s = y0 + u * gy, s0 + u * gs  # (2, 2, p, s)
    (y_low, y_high), (s_low, s_high) = ((each.min(axis=(0, 1)), each.max(axis=(0, 1))) for each in (y, s))
    sees = (y_low < NEAR_MM) & (y_high > -NEAR_MM) & (s_high > -NEAR_MM) & (s_low < length + NEAR_MM)
    p, place = np.nonzero(sees)
    station = e[p] * flat.shape[2] + place
    order = np.lexsort((k[p], station))
    p, place, station = p[order], place[order], station[order]
    stroke = mine[k[p]]
    from_ends = np.stack([s_low[p, place], length[p, 0] - s_high[p, place]])
    sees_end = from_ends < INNER_MM + run_up_mm(strokes)[:, stroke]
    focus = _focus_mm(strokes, stroke, s0[:, p, place], length[p, 0])
    seen, first = np.unique(station, return_index=True)
    return Sights(
        first, seen, y0[:, p, place], s0[:, p, place], gy[p, 0], gs[p, 0], sees_end, stroke, focus, outer_mm[seen // flat.shape[2]]
    )  # fmt: skip


def seen_again(setup: SetupLines, strokes: Strokes, lines: PartLines) -> SetupLines:
    """The same sights of strokes and lines that have moved a little."""
    sights = setup.sights
    station = np.repeat(sights.station, sights.count)
    e, place = np.divmod(station, len(lines.share))
    beam = strokes.beam[sights.stroke[0]]
    across = beam_plane(beam)
    start, end = (strokes.entry_mm[sights.stroke, i] @ across for i in (0, 1))
    flat = lines.ends_mm[:, e, place] @ across  # (2, n, 2)
    y0, s0, gy, gs, length = _run_past(flat, (lines.outward @ across)[e], start, end)
    focus = _focus_mm(strokes, sights.stroke, s0, length)
    moved = replace(sights, y0_mm=y0, s0_mm=s0, gy=gy, gs=gs, focus_mm=focus)
    return replace(setup, along_mm=_along_mm(strokes, sights.stroke[0], lines.depths_mm), sights=moved)


def _along_mm(strokes: Strokes, stroke: int, depths_mm: Array) -> Array:
    down = depths_mm if strokes.from_show[stroke] else depths_mm[-1] - depths_mm
    return down / abs(float(strokes.beam[stroke, 2]))


def _run_past(flat_mm: Array, g: Array, start_mm: Array, end_mm: Array) -> tuple[Array, Array, Array, Array, Array]:
    """(y0, s0, gy, gs, length) of strokes past points of the beam plane, arrays (..., 2) that broadcast."""
    step = end_mm - start_mm
    length = np.maximum(np.hypot(step[..., 0], step[..., 1]), 1e-9)
    t = step / length[..., None]
    apart = flat_mm - start_mm
    return (
        apart[..., 1] * t[..., 0] - apart[..., 0] * t[..., 1],
        apart[..., 0] * t[..., 0] + apart[..., 1] * t[..., 1],
        t[..., 0] * g[..., 1] - t[..., 1] * g[..., 0],
        t[..., 0] * g[..., 0] + t[..., 1] * g[..., 1],
        length,
    )


def _focus_mm(strokes: Strokes, stroke: Indices, s0_mm: Array, length_mm: Array) -> Array:
    """Focus of strokes where lines pass them, (n,). s0_mm: (2, n); the rest (n,)."""
    at = np.clip(s0_mm.mean(axis=0) / length_mm, 0.0, 1.0)
    return strokes.focus_mm[stroke, 0] + at * (strokes.focus_mm[stroke, 1] - strokes.focus_mm[stroke, 0])


def _close_pairs(flat_mm: Array, g: Array, outer_mm: Array, start_mm: Array, end_mm: Array) -> tuple[Indices, Indices]:
    """(edge, stroke) pairs whose bounds come near each other."""
    reach = np.concatenate([flat_mm - INTO_WOOD_MM * g[:, None, :], flat_mm + (outer_mm[:, None] * g)[:, None, :]])  # (4, e, s, 2)
    low, high = reach.min(axis=(0, 2)) - NEAR_MM, reach.max(axis=(0, 2)) + NEAR_MM  # (e, 2)
    near = (np.maximum(start_mm, end_mm) > low[:, None]) & (np.minimum(start_mm, end_mm) < high[:, None])
    e, k = np.nonzero(np.all(near, axis=2))
    return e, k


def _without_twins(sights: Sights, strokes: Strokes) -> tuple[Sights, Indices]:
    """(sights of one station of each kind, each station's index among them): mirrored ones and strokes run back are alike.

    Each sight is rounded and hashed, and a station is the sum of its hashes.
    """
    k, endless = sights.stroke, sights.endless
    length = stroke_length_mm(strokes)[k]
    back = np.where(np.abs(sights.gs) > 1e-6, sights.gs < 0, sights.s0_mm[0] > length / 2) & ~endless
    s0 = np.minimum(np.where(back, length - sights.s0_mm, sights.s0_mm), FAR_MM)
    side = np.where(np.abs(sights.gy) > 1e-6, np.sign(sights.gy), np.sign(sights.y0_mm[0]))
    rates = np.where(back, (strokes.out_mm_s[k], strokes.in_mm_s[k]), (strokes.in_mm_s[k], strokes.out_mm_s[k]))
    of_ends = np.where(endless, 0.0, [*s0, np.abs(sights.gs), *rates, np.minimum(length, FAR_MM)])
    told = (strokes.power_frac, strokes.scaled, strokes.speed_mm_s, strokes.x_share, strokes.again > 0,
            np.where(np.isfinite(strokes.beside_mm), strokes.beside_mm, -1.0))  # fmt: skip
    columns = [*(sights.y0_mm * side), np.abs(sights.gy), *of_ends, sights.focus_mm, *(np.asarray(each, dtype=float)[k] for each in told)]
    rounded = np.round(np.stack(columns) / SAME_MM).astype(np.int64).astype(np.uint64)
    each = np.zeros(len(k), dtype=np.uint64)
    for column in rounded:
        each = (each ^ column) * _ODD
        each ^= each >> np.uint64(29)
    whole = np.add.reduceat(each, sights.first) if len(sights.first) else each
    whole ^= np.round(sights.outer_mm / SAME_MM).astype(np.uint64) * _ODD
    _, kept, like = np.unique(whole, return_index=True, return_inverse=True)
    return sights.of(kept), like.reshape(-1)


_ODD = np.uint64(0x9E3779B97F4A7C15)  # 2^64 over the golden ratio, odd: spreads what it multiplies
