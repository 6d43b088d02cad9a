"""Burnt boards brought together: the gap everywhere on every pair of flanks, what is seen of it, and what stands in the way.

Vocabulary: see ``corner``. *Home* is where the boards stand once the floors meet: the tail board is pushed in until a socket's
floor meets its inner face, and drawn up until its own floors meet the pin board's inner face. *Balance*: the tail board is
moved up or down until the narrowest place below is as wide as the one above, which is what wood does by itself when it is
tapped home. *Room* is the sum of those two, the clearance across a pin. *Narrowest* always means the narrowest twentieth of a
flank: a single high fibre does not hold a joint open.

Symbols: t, p how far the tail's and the pin's flank stand back along v; h, w how far the tail board goes beyond its drawn place
toward +y and -z; s how far it is moved up; e side sign.
Law (1): c(y, z) = (t(y, z) + p(y, z) + e (s + lean_z_frac w - lean_y_frac h)) upright
Law (2): on its way in (along y) a section at y passes every station u <= y: met(y, z) is c with p(y, z) replaced by the least
  p(u, z) of them; along z likewise with t. The narrowest places are taken as if they were all met at once: never too hopeful.
Range: boards that move without turning; lean and thickness as drawn. A ramp's fillet at a floor stands in the way by itself,
since floors are walls like others.

Everything is worked out for k draws at once; an edge that is not cut free keeps a corner apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate.burnt import BurntPart
from kerfwright.simulate.corner import Corner
from kerfwright.simulate.fold import UNCUT_SHARE, SideMaps, side_fold

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

NARROWEST_SHARE = 0.05
WIDEST_SHARE = 0.10
FLOOR_STOP_MM = 0.1  # a tail held this far short of home does not go together: what an eye sees at arm's length (HANDBOOK D)


@dataclass(frozen=True, eq=False)
class Together:
    """A corner put together, k draws. gap_mm: (k, f, n, m) square to the flanks, settled, < 0 squeeze; narrowest_mm: (k, f) of each
    at home; room_mm, home_room_mm: (k,) across a pin, met on the way and at home; short_y_mm, short_z_mm: (k,) how far it is held
    short of home, 0 when it gets there; tail_proud_mm, pin_proud_mm: (k,); tail_line_mm (k, f, m), pin_line_mm (k, f, n): along
    the seen lines; tail_floor_gap_mm, pin_floor_gap_mm: (k, floors, N_FLOOR, depths); freed: (k,) every mating wall is cut free."""

    gap_mm: Array
    narrowest_mm: Array
    met_mm: Array
    room_mm: Array
    home_room_mm: Array
    short_y_mm: Array
    short_z_mm: Array
    tail_proud_mm: Array
    pin_proud_mm: Array
    tail_floor_gap_mm: Array
    pin_floor_gap_mm: Array
    freed: Bools

    @property
    def tail_line_mm(self) -> Array:
        """Gap along the lines on the tail board's show face, (k, f, m)."""
        return self.gap_mm[:, :, 0, :]

    @property
    def pin_line_mm(self) -> Array:
        """Gap along the lines on the pin board's show face, (k, f, n)."""
        return self.gap_mm[:, :, :, 0]


def bring_together(
    corner: Corner, tail: SideMaps, pin: SideMaps, freed: Bools, tail_thicker_mm: Array | float = 0.0, pin_thicker_mm: Array | float = 0.0
) -> Together:
    """Put k draws of a corner together. freed: (k,); tail_thicker_mm, pin_thicker_mm: (k,) beyond the measured thickness."""
    k = len(freed)
    h = _narrowest(pin.floor_mm, 1) - tail_thicker_mm
    w = _narrowest(tail.floor_mm, 1) - pin_thicker_mm
    upright, sign, lean_y_frac, lean_z_frac = (
        np.array([getattr(each, name) for each in corner.flanks]) for name in ("upright_frac", "side_factor", "lean_y_frac", "lean_z_frac")
    )
    moved = sign * (np.multiply.outer(np.broadcast_to(w, k), lean_z_frac) - np.multiply.outer(np.broadcast_to(h, k), lean_y_frac))  # (k, f)
    home = tail.flank_mm[..., 1:] + pin.flank_mm[:, :, 1:, :]
    low = _narrowest(home, 2) + moved
    met_low = _narrowest(_met(corner, tail.flank_mm, pin.flank_mm), 2) + moved
    below = sign < 0
    settle, home_room = _balance(low, below)
    _, room = _balance(met_low, below)
    home += (moved + sign * settle[:, None])[:, :, None, None]
    home *= upright[:, None, None]
    scale = float(upright.min())
    return Together(
        home, (low + sign * settle[:, None]) * upright, met_low * upright, room * scale, home_room * scale,
        np.maximum(-h, 0.0) * np.ones(k), np.maximum(-w, 0.0) * np.ones(k),
        corner.tail_proud_mm - tail.tip_mm + w, corner.pin_proud_mm - pin.tip_mm + h,
        tail.floor_mm - _column(w + pin_thicker_mm), pin.floor_mm - _column(h + tail_thicker_mm), freed,
    )


def together(
    corner: Corner, tail: BurntPart, pin: BurntPart, tail_thicker_mm: Array | float = 0.0, pin_thicker_mm: Array | float = 0.0
) -> Together:
    """Put burnt boards together as they are: back_mm (s, d), or (k, s, d) for k draws."""
    folds = side_fold(corner, "tail", tail), side_fold(corner, "pin", pin)
    cleared = [fold.cleared(fold.stack({edge: wall.back_mm for edge, wall in part.walls.items()}))
               for fold, part in zip(folds, (tail, pin), strict=True)]
    maps = [fold.maps(fold.row(stack)) for fold, (stack, _) in zip(folds, cleared, strict=True)]
    return bring_together(corner, maps[0], maps[1], freed_of(cleared[0][1], cleared[1][1]), tail_thicker_mm, pin_thicker_mm)


def freed_of(tail_uncut_frac: Array, pin_uncut_frac: Array) -> Bools:
    """(k,) from how much of each edge was not cut, (k, e) each."""
    return (tail_uncut_frac.max(axis=1) <= UNCUT_SHARE) & (pin_uncut_frac.max(axis=1) <= UNCUT_SHARE)


def overlap_mm3(corner: Corner, put: Together) -> Array:
    """Wood that both boards claim at the flanks, (k,): the squeeze summed over their area, to first order in it."""
    squeeze = np.maximum(-put.gap_mm, 0.0)
    return np.einsum("kfnm,nm,f->k", squeeze, areas_mm2(corner), 1 / np.array([each.upright_frac for each in corner.flanks]))


def areas_mm2(corner: Corner) -> Array:
    """Area of each place in the plane of y and z, trapezoids, (n, m)."""
    return np.outer(trapezoid_mm(corner.y_mm), trapezoid_mm(corner.z_mm))


def trapezoid_mm(at_mm: Array) -> Array:
    """Weights of the trapezoid rule, (n,)."""
    step = np.diff(at_mm)
    return (np.concatenate([step, [0.0]]) + np.concatenate([[0.0], step])) / 2


def _met(corner: Corner, tail_mm: Array, pin_mm: Array) -> Array:
    """Law (2) along v, (k, f, n, m)."""
    if corner.comes_along == "y":
        return tail_mm[..., 1:] + np.minimum.accumulate(pin_mm, axis=2)[:, :, 1:, :]
    return np.minimum.accumulate(tail_mm, axis=3)[..., 1:] + pin_mm[:, :, 1:, :]


def _balance(low_mm: Array, below: Bools) -> tuple[Array, Array]:
    """(how far the tail board goes up, room) from the narrowest of each flank, (k, f). One flank alone does not move it."""
    if below.all() or not below.any():
        return np.zeros(len(low_mm)), 2 * low_mm.min(axis=1)
    under, over = low_mm[:, below].min(axis=1), low_mm[:, ~below].min(axis=1)
    return (under - over) / 2, under + over


def _narrowest(values: Array, n_kept: int) -> Array:
    """The narrowest twentieth over all axes but the first ``n_kept``. No floor at all counts as one where it was drawn."""
    flat = values.reshape(*values.shape[:n_kept], -1)
    n = flat.shape[-1]
    if n == 0:
        return np.zeros(values.shape[:n_kept])
    i = int(NARROWEST_SHARE * n)
    return np.partition(flat, i, axis=-1)[..., i]


def _column(values: Array | float) -> Array:
    return np.asarray(values).reshape(-1, 1, 1, 1)
