"""One board's walls at one corner as rows of numbers: as told, and what one of each unit adds, so that draws are a product.

Vocabulary: see ``spread`` (unit, response) and ``assemble`` (row). A *block* is a group of numbers that vary together: the
law's, or one board's own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate.corner import Corner, Side
from kerfwright.simulate.fold import SideFold, SideMaps, hats, side_fold
from kerfwright.simulate.known import SCALES, LawKnown
from kerfwright.simulate.response import WallResponse
from kerfwright.simulate.spread import KERF, N_NODES, PLACES, RAMP, Draws, OwnUnit, law_cause, node_root, own_cause

Array = NDArray[np.float64]
NEED, THICKNESS = "need_j_mm3", "thickness_mm"


@dataclass(frozen=True, eq=False)
class DrawnSide:
    """One side of a corner. base_mm: (N,); law_mm: (u, N) for one on each number's fit scale; own_mm: (v, N) for one of each own
    unit; form_mm: (2, N) for what the law's form misses of slits and of fields; need_mm: (N,) for ln need by one;
    node_shares: (f, stations, N_NODES) weights of the nodes along each flank;
    uncut_frac: (1, e) how much of each edge was not cut free."""

    side: Side
    part: str
    fold: SideFold
    edges: tuple[str, ...]
    base_mm: Array
    law_mm: Array
    own_mm: Array
    units: tuple[OwnUnit, ...]
    form_mm: Array
    need_mm: Array
    node_shares: Array
    law_causes: tuple[str, ...]
    own_causes: tuple[str, ...]
    uncut_frac: Array

    def maps(self, draws: Draws) -> SideMaps:
        """k draws of this side."""
        own = [draws.own_values[self.part][unit.name][:, None] for unit in self.units]
        row = np.hstack([draws.law_values, draws.form_values[self.part], *own]) @ np.concatenate([self.law_mm, self.form_mm, self.own_mm])
        row += self.base_mm
        maps = self.fold.maps(row)
        if draws.place_values and np.any(self.need_mm):
            nodes = np.stack([draws.place_values[self.part][edge] for edge in self.edges], axis=1)  # (k, f, nodes)
            along = np.matmul(self.node_shares, nodes[..., None])[..., 0]  # (k, f, stations)
            along = along[:, :, None, :] if self.side == "tail" else along[..., None]
            maps.flank_mm[...] += along * self.fold.maps(self.need_mm[None]).flank_mm
        return maps

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
        flank = self.fold.maps((self.need_mm * weights)[None]).flank_mm[0]  # (f, a, b)
        by_station = flank.sum(axis=1 if self.side == "tail" else 2)
        return np.einsum("fs,fsj->fj", by_station, self.node_shares).ravel()


def drawn_side(
    corner: Corner, side: Side, response: WallResponse, known: LawKnown, units: Sequence[OwnUnit], ramped: bool = False
) -> DrawnSide:
    """One side made ready. ramped: its flanks are fields of lines, not slits. Units that move no wall are left out,
    but for thickness, which moves the other board."""
    fold = side_fold(corner, side, response.base)
    base, uncut = fold.cleared(fold.stack({edge: wall.back_mm for edge, wall in response.base.walls.items()}))
    moves = {
        unit.name: move for unit in units
        if unit.sd > 0 and (np.any(move := _moved(fold, response, unit.name)) or unit.name == THICKNESS)
    }  # fmt: skip
    law = [_moved(fold, response, name) * _fit_step(known, name) for name in (*known.names, NEED)]
    rows = fold.row(np.stack([base[0], *law, *moves.values()]))
    n = 1 + len(known.names)
    shares = np.array([each.tail_share.mean(axis=0) if side == "tail" else each.pin_share.mean(axis=1) for each in corner.flanks])
    nodes = hats(np.linspace(0.0, 1.0, N_NODES), shares.ravel()).reshape(*shares.shape, N_NODES)
    told = tuple(unit for unit in units if unit.name in moves)
    return DrawnSide(
        side, corner.tail_part if side == "tail" else corner.pin_part, fold, fold.edges[: fold.n_flanks], rows[0], rows[1:n], rows[n + 1 :],
        told, _form(corner, fold, known, ramped), rows[n], nodes,
        tuple(law_cause(name, ramped) for name in known.names), tuple(own_cause(unit, ramped) for unit in told), uncut,
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


def _fit_step(known: LawKnown, name: str) -> float:
    """How much a number changes for one on its fit scale."""
    value = float(getattr(known.law, name))
    return {"plain": 1.0, "log": value, "logit": value * (1 - value)}[SCALES[name]]


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
