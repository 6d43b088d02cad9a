"""One board's walls at one corner as rows of numbers: as told, and what one of each unit adds, so that draws are a product.

Vocabulary: see ``spread`` (unit, response) and ``assemble`` (row). A *block* is a group of numbers that vary together: the
law's, or one board's own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate.bend import Bend, bend_of
from kerfwright.simulate.corner import Corner, Side
from kerfwright.simulate.fold import SideFold, SideMaps, hats, side_fold
from kerfwright.simulate.known import LawKnown
from kerfwright.simulate.response import WallResponse
from kerfwright.simulate.spread import KERF, N_NODES, PLACES, RAMP, Draws, OwnUnit, law_cause, node_root, own_cause

Array = NDArray[np.float64]
NEED, THICKNESS = "need_j_mm3", "thickness_mm"
AT_ONCE = 100  # draws bent together, to stay in the processor's cache and out of its memory's way


@dataclass(frozen=True, eq=False)
class DrawnSide:
    """One side of a corner. base_mm: (e, s, d) walls as told; uncut_frac: (1, e) how much of each edge was not cut free; bend: how walls
    move by more than a little, None when straight; node_weights: (s, N_NODES) of the nodes along a flank.

    As rows, how walls move straight: law_mm (u, N) for one on each number's fit scale, own_mm (v, N) for one of each own unit, form_mm
    (2, N) for what the law's form misses of slits and of fields, node_mm (N_NODES, N) for ln need by one at each node of all flanks."""

    side: Side
    part: str
    fold: SideFold
    base_mm: Array
    uncut_frac: Array
    bend: Bend | None
    node_weights: Array
    base_row_mm: Array
    law_mm: Array
    own_mm: Array
    form_mm: Array
    node_mm: Array
    units: tuple[OwnUnit, ...]
    law_causes: tuple[str, ...]
    own_causes: tuple[str, ...]

    @property
    def edges(self) -> tuple[str, ...]:
        """Its flanks."""
        return self.fold.edges[: self.fold.n_flanks]

    def maps(self, draws: Draws) -> tuple[SideMaps, Array]:
        """k draws of this side, and how much of each edge stays wood, (k, e)."""
        values = np.hstack([draws.law_values, *(draws.own_values[self.part][unit.name][:, None] for unit in self.units)])
        form = draws.form_values[self.part] @ self.form_mm
        nodes = np.zeros((draws.n, len(self.edges), N_NODES))
        if draws.place_values:
            nodes = np.stack([draws.place_values[self.part][edge] for edge in self.edges], axis=1)
        if self.bend is None:
            straight = self.fold.maps(self.base_row_mm + values @ np.concatenate([self.law_mm, self.own_mm]) + form)
            straight.flank_mm[...] += np.einsum("kfj,jfab->kfab", nodes, self.fold.maps(self.node_mm).flank_mm)
            return straight, np.repeat(self.uncut_frac, draws.n, axis=0)
        some = [slice(k, k + AT_ONCE) for k in range(0, draws.n, AT_ONCE)]
        rows, uncut = (np.concatenate(each) for each in zip(*(self._bent(self.bend, values[k], nodes[k]) for k in some), strict=True))
        return self.fold.maps(rows + form), uncut

    def _bent(self, bend: Bend, values: Array, nodes: Array) -> tuple[Array, Array]:
        """(rows, how much of each edge stays wood) of some draws. nodes: (k, f, N_NODES)."""
        need_ln = np.zeros((len(values), *self.base_mm.shape[:2]))
        need_ln[:, : len(self.edges)] = nodes @ self.node_weights.T
        walls, margin = bend.moved(values, need_ln)
        walls, uncut = self.fold.cleared(np.where(margin < 0, np.nan, self.base_mm + walls))
        return self.fold.row(walls), uncut

    def slopes_mm(self, weights: Array, per_thicker_ratio: float = 0.0) -> list[tuple[str, str, Array]]:
        """(cause, block, slopes (u,)) of a sum over this side's row. weights: (N,) of the sum; per_thicker_ratio: how much it
        grows for each mm that this board is thicker, besides what its walls do."""
        thicker = per_thicker_ratio * np.array([unit.name == THICKNESS for unit in self.units], dtype=float)
        found = [(cause, "law", np.where([each == cause for each in self.law_causes], self.law_mm @ weights, 0.0))
                 for cause in dict.fromkeys(self.law_causes)]
        found += [(cause, self.part, np.where([each == cause for each in self.own_causes], self.own_mm @ weights + thicker, 0.0))
                  for cause in dict.fromkeys(self.own_causes)]
        kerf, field = self.form_mm @ weights
        return [*found, (KERF, f"{self.part} form", np.array([kerf, 0.0])), (RAMP, f"{self.part} form", np.array([0.0, field])),
                (PLACES, f"{self.part} places", self._place_slopes(weights))]

    def _place_slopes(self, weights: Array) -> Array:
        """How the sum moves with ln need at each node, (f * N_NODES,)."""
        return self.fold.maps(self.node_mm * weights).flank_mm.sum(axis=(2, 3)).T.ravel()


def drawn_side(
    corner: Corner, side: Side, response: WallResponse, known: LawKnown, units: Sequence[OwnUnit], ramped: bool = False
) -> DrawnSide:
    """One side made ready. ramped: its flanks are fields of lines, not slits. Units that move no wall are left out,
    but for thickness, which moves the other board."""
    fold = side_fold(corner, side, response.base)
    walls = fold.stack({edge: wall.back_mm for edge, wall in response.base.walls.items()})
    cleared, uncut = fold.cleared(walls)
    base = cleared[0]
    told = tuple(unit for unit in units if unit.sd > 0 and (unit.name == THICKNESS or np.any(_moved(fold, response, unit.name))))
    names = (*known.names, *(unit.name for unit in told))
    scales = [known.per_fit(name) for name in known.names] + [1.0] * len(told)
    moved = np.array([scale * _moved(fold, response, name) for scale, name in zip(scales, names, strict=True)]).reshape(-1, *base.shape)
    need_mm = known.per_fit(NEED) * _moved(fold, response, NEED)
    nodes = hats(np.linspace(0.0, 1.0, N_NODES), fold.share)
    rows, n_law = fold.row(moved), len(known.names)
    bend = None
    if response.opening is not None:
        made_by = np.stack([response.made_by[edge] for edge in fold.edges])
        bend = bend_of(response.opening.of(fold.edges), known, names, made_by, moved, need_mm)
    return DrawnSide(
        side, corner.tail_part if side == "tail" else corner.pin_part, fold, base, uncut, bend, nodes, fold.row(cleared)[0],
        rows[:n_law], rows[n_law:], _form(corner, fold, known, ramped), fold.row(need_mm * nodes.T[:, None, :, None]),
        told, tuple(law_cause(name, ramped) for name in known.names), tuple(own_cause(unit, ramped) for unit in told),
    )


def flank_lengths_mm(corner: Corner) -> dict[str, dict[str, float]]:
    """How long each flank is, by part and edge: as deep as the other board, and what stands proud."""
    return {
        corner.tail_part: {each.tail_edge: corner.pin_thick_mm + corner.tail_proud_mm for each in corner.flanks},
        corner.pin_part: {each.pin_edge: corner.tail_thick_mm + corner.pin_proud_mm for each in corner.flanks},
    }


def block_covariances(sides: Sequence[DrawnSide], known: LawKnown, lengths_mm: Mapping[str, Mapping[str, float]]) -> dict[str, Array]:
    """The covariance of every block that ``slopes_mm`` names."""
    found: dict[str, Array] = {"law": known.covariance}
    for side in sides:
        found[side.part] = np.diag([unit.sd**2 for unit in side.units])
        found[f"{side.part} form"] = np.eye(2)
        places = np.zeros((len(side.edges) * N_NODES,) * 2)
        for i, edge in enumerate(side.edges):
            root = node_root(lengths_mm[side.part][edge])
            places[i * N_NODES : (i + 1) * N_NODES, i * N_NODES : (i + 1) * N_NODES] = root @ root.T
        found[f"{side.part} places"] = places
    return found


def variance_by_cause(slopes_mm: Sequence[tuple[str, str, Array]], block_matrix: Mapping[str, Array]) -> dict[str, float]:
    """Variance of the wanted sum by cause, mm2, adding to the whole: see the law in ``spread``."""
    totals: dict[str, Array] = {}
    for _, block, slope in slopes_mm:
        totals[block] = totals.get(block, 0.0) + slope
    found: dict[str, float] = {}
    for cause, block, slope in slopes_mm:
        found[cause] = found.get(cause, 0.0) + float(slope @ block_matrix[block] @ totals[block])
    return found


def _moved(fold: SideFold, response: WallResponse, unit: str) -> Array:
    """What one of a unit adds to every wall, (e, s, d): all of it, or only what the setup of a laying made."""
    name, _, number = unit.partition("@")
    slopes = response.per_unit.get(name)
    if slopes is None:
        return np.zeros((len(fold.edges), len(fold.share), fold.depth_weights.shape[1]))
    stack = np.stack([slopes[edge] for edge in fold.edges])
    return np.where(np.stack([response.made_by[edge] for edge in fold.edges]) == int(number), stack, 0.0) if number else stack


def _form(corner: Corner, fold: SideFold, known: LawKnown, ramped: bool) -> Array:
    """(2, n_row): half a slit's misfit on every wall it makes; a field's misfit of depth moves a ramp sideways by its slope."""
    slit = fold.row(np.full((1, len(fold.edges), len(fold.share), fold.depth_weights.shape[1]), known.kerf_form_mm / 2))
    field = np.zeros_like(slit)
    if ramped:
        deep_mm, leans = (corner.y_mm[:, None], "lean_y_frac") if fold.side == "tail" else (corner.z_mm[None, :], "lean_z_frac")
        by_slope = np.abs([getattr(each, leans) for each in corner.flanks])[:, None, None] * deep_mm
        fold.maps(field).flank_mm[0] = known.depth_form_frac * by_slope
        fold.maps(slit).flank_mm[...] = 0.0
    return np.concatenate([slit, field])
