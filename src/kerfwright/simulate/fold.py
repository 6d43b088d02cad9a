"""From a burnt board's samples to the places of a corner, as one fixed sum: the same for walls, draws of walls and slopes of walls.

Vocabulary: a *stack* holds one board's walls at one corner, (k, e, s, d): k draws or units, its edges, stations and depths. A *row*
is a stack at the corner's places, flat, so that draws are products of matrices; *maps* are a row taken apart again. A place that no
stroke freed (NaN) stands as its nearest neighbour along the edge; how much of an edge that was is counted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.simulate.burnt import BurntPart
from kerfwright.simulate.corner import Corner, Side

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

N_FLOOR = 9  # places along a floor
N_FINE = 8  # looks a step when a wall is averaged between places
UNCUT_SHARE = 1 / 6  # an edge that hangs by less than this breaks out clean: a wisp in a corner (own judgement)


@dataclass(frozen=True, eq=False)
class SideMaps:
    """How far one board's walls stand back, k draws. flank_mm: along v, the tail board's (k, f, n, m + 1), the pin board's
    (k, f, n + 1, m), first station the mouth; floor_mm: (k, floors, N_FLOOR, depths) square to the floor; tip_mm: (k,) mean."""

    flank_mm: Array
    floor_mm: Array
    tip_mm: Array


@dataclass(frozen=True, eq=False)
class SideFold:
    """One board at one corner. edges: flanks, floors, tips; depth_weights: (D, d); flank_weights: (f, D, stations, s), times what
    square to the edge is along v; floor_weights: (N_FLOOR, s); share: (s,)."""

    side: Side
    edges: tuple[str, ...]
    n_flanks: int
    n_floors: int
    depth_weights: Array
    flank_weights: Array
    floor_weights: Array
    share: Array

    @property
    def n_row(self) -> int:
        """Numbers in a row."""
        f, depths, stations, _ = self.flank_weights.shape
        return f * depths * stations + self.n_floors * N_FLOOR * depths + len(self.edges) - self.n_flanks - self.n_floors

    def stack(self, walls_mm: Mapping[str, Array]) -> Array:
        """Walls by edge, (s, d) or (k, s, d), as one stack."""
        stacked = np.stack([walls_mm[edge] for edge in self.edges], axis=-3)
        return stacked if stacked.ndim == 4 else stacked[None]

    def row(self, stack_mm: Array) -> Array:
        """A stack (k, e, s, d) without NaN -> (k, n_row)."""
        k, f, g = len(stack_mm), self.n_flanks, self.n_flanks + self.n_floors
        deep = stack_mm @ self.depth_weights.T  # (k, e, s, D)
        flanks = np.matmul(self.flank_weights, deep[:, :f].transpose(1, 3, 2, 0)).transpose(3, 0, 1, 2)  # (k, f, D, stations)
        if self.side == "pin":
            flanks = flanks.swapaxes(2, 3)
        ends = np.matmul(self.floor_weights, deep[:, f:])  # (k, floors and tips, N_FLOOR, D)
        flat = [each.reshape(k, math.prod(each.shape[1:])) for each in (flanks, ends[:, : g - f], ends[:, g - f :].mean(axis=(2, 3)))]
        return np.concatenate(flat, axis=1)

    def maps(self, row_mm: Array) -> SideMaps:
        """The row taken apart again: views, not copies. row_mm: (k, n_row)."""
        f, depths, stations, _ = self.flank_weights.shape
        k, a = len(row_mm), f * depths * stations
        b = a + self.n_floors * N_FLOOR * depths
        shape = (depths, stations) if self.side == "tail" else (stations, depths)
        tips = row_mm[:, b:].mean(axis=1) if row_mm.shape[1] > b else np.zeros(k)
        return SideMaps(row_mm[:, :a].reshape(k, f, *shape), row_mm[:, a:b].reshape(k, self.n_floors, N_FLOOR, depths), tips)

    def cleared(self, stack_mm: Array) -> tuple[Array, Array]:
        """(the stack with every NaN filled in, (k, e) how much of each edge was NaN)."""
        gone = np.isnan(stack_mm)
        uncut = station_weights(self.share) @ gone.mean(axis=3)[..., None]
        if not gone.any():
            return stack_mm, uncut[..., 0]
        some = gone.any(axis=(2, 3))
        filled, cleared = stack_mm[some], stack_mm.copy()  # (p, s, d)
        for _ in self.share[1:]:
            for to, source in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
                filled[:, to] = np.where(np.isnan(filled[:, to]), filled[:, source], filled[:, to])
        cleared[some] = np.nan_to_num(filled)
        return cleared, uncut[..., 0]


def side_fold(corner: Corner, side: Side, part: BurntPart) -> SideFold:
    """Where the corner's places lie on a board's samples. InputError when a wall is missing or sampled unlike the others."""
    edges, floors = (corner.tail_edges, corner.tail_floors) if side == "tail" else (corner.pin_edges, corner.pin_floors)
    missing = [edge for edge in edges if edge not in part.walls]
    if missing:
        raise InputError(f'no wall "{missing[0]}" was burnt', accepted="a burn of every edge of a joint", where=part.part)
    first = part.walls[edges[0]]
    share, depths_mm = first.share, first.depths_mm
    if any(not np.array_equal(part.walls[edge].share, share) or len(part.walls[edge].depths_mm) != len(depths_mm) for edge in edges):
        raise InputError("its walls are sampled at different places", accepted="one set of stations and depths a part", where=part.part)
    at_mm = corner.y_mm if side == "tail" else corner.z_mm
    shares = np.array([each.tail_share if side == "tail" else each.pin_share.T for each in corner.flanks])  # (f, D, stations)
    per_v = np.array([each.tail_per_v_ratio if side == "tail" else each.pin_per_v_ratio for each in corner.flanks])  # (f, D)
    flank_weights = hats(share, shares.ravel()).reshape(*shares.shape, len(share)) * per_v[:, :, None, None]
    return SideFold(side, edges, len(corner.flanks), len(floors), cell_means(depths_mm, at_mm), flank_weights,
                    hats(share, np.linspace(0.0, 1.0, N_FLOOR)), share)


def hats(x: Array, at: Array) -> Array:
    """Weights of linear interpolation, held level outside: (places, len(x)). x rises."""
    if len(x) == 1:
        return np.ones((len(at), 1))
    low = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    share = np.clip((at - x[low]) / (x[low + 1] - x[low]), 0.0, 1.0)
    weights = np.zeros((len(at), len(x)))
    rows = np.arange(len(at))
    weights[rows, low] = 1 - share
    weights[rows, low + 1] = share
    return weights


def cell_means(x: Array, at: Array) -> Array:
    """Weights that give the wall's mean around each place, neighbour to neighbour and less the further off, but its own value at the
    first, which is the face that is seen: a ridge between two places is neither missed nor taken for a whole step. (places, len(x))"""
    if len(at) < 2:
        return hats(x, at)
    fine = np.linspace(float(at[0]), float(at[-1]), N_FINE * (len(at) - 1) + 1)
    near = hats(at, fine).T * np.where((fine == at[0]) | (fine == at[-1]), 0.5, 1.0)
    means = (near / near.sum(axis=1, keepdims=True)) @ hats(x, fine)
    means[0] = hats(x, at[:1])[0]
    return means


def station_weights(share: Array) -> Array:
    """How much of an edge each station stands for, adding to 1. (s,)"""
    between = (share[1:] + share[:-1]) / 2
    return np.diff(np.concatenate([[0.0], between, [1.0]]))
