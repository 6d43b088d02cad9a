"""What a burn law says would be seen: all facts of one kind at once, and how each answer moves with the law.

Vocabulary: a *trial* is a burn law with what else the readings hang on: how little dose still browns wood (a dark line is
wider than what is gone) and how each board differs. A *row* is one fact, or one depth of one slit. The answers are those of
law.py (law (3) solved for the width of a slit and the depth of a field); here whole columns are solved together.

An answer x that solves g(x, law) = 0 moves by dx = -(dg/dlaw) / (dg/dx) dlaw: so slopes need no second solution.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate.facts import BurntFact
from kerfwright.simulate.law import BurnLaw, line_dose_j_mm, line_j_mm2

Array = NDArray[np.float64]
Ints = NDArray[np.int_]

N_DEPTHS = 17  # places down a slit at which it is looked at
HALVINGS = 26  # to a millionth of a slit, a hundred-thousandth of a millimetre of a field
CLOSING = 0.3  # below this share of the need, ln(dose / need) goes on as a straight line, so that a fit finds its way back
STEP = 1e-5


@dataclass(frozen=True, eq=False)
class Trial:
    """brown_frac: share of the threshold that browns; board_ln: (b,) ln of each board's need over the law's."""

    law: BurnLaw
    brown_frac: float
    board_ln: Array


@dataclass(frozen=True, eq=False)
class Rows:
    """How r rows were burnt: power_frac, speed_mm_s, x_share, spacing_mm (r,), board (r,) numbers; lit, first, focus_mm (r, p)
    by pass: 1 where there is one, 1 on fresh wood, and its focus."""

    power_frac: Array
    speed_mm_s: Array
    x_share: Array
    spacing_mm: Array
    board: Ints
    lit: Array
    first: Array
    focus_mm: Array

    def take(self, index: Ints) -> Rows:
        """Some rows, or rows more than once."""
        return Rows(*(getattr(self, name)[index] for name in self.__dataclass_fields__))

    def energy_j_mm(self, trial: Trial) -> Array:
        """(r, 1) of each pass."""
        return (trial.law.optical_w(self.power_frac) / self.speed_mm_s)[:, None]

    def worth(self, trial: Trial) -> Array:
        """(r, p)."""
        return self.lit * np.where(self.first > 0, 1.0, trial.law.over_char_frac)

    def radius_mm(self, trial: Trial, depth_mm: Array, slit: bool) -> Array:
        """(r, p) at depths (r,)."""
        below = depth_mm[:, None] + self.focus_mm + trial.law.focus_offset_mm
        return trial.law.radius_mm(below, self.x_share[:, None], slit)

    def need_j_mm2(self, trial: Trial, depth_mm: Array) -> Array:
        """(r,)."""
        return trial.law.need_j_mm2(depth_mm) * np.exp(trial.board_ln[self.board])


def rows_of(facts: Sequence[BurntFact], boards: Sequence[str]) -> Rows:
    """Facts as rows, in order. boards: the names that rows count by."""
    most = max((fact.n_passes for fact in facts), default=1)
    k = np.arange(most)[None, :]
    passes = np.array([[fact.n_passes] for fact in facts])
    focus = np.array([[fact.focus_mm] for fact in facts]) - k * np.array([[fact.focus_step_mm] for fact in facts])
    return Rows(
        np.array([fact.power_frac for fact in facts], float),
        np.array([fact.speed_mm_s for fact in facts], float),
        np.array([fact.x_share for fact in facts], float),
        np.array([fact.spacing_mm for fact in facts], float),
        np.array([boards.index(fact.board) for fact in facts], int),
        (k < passes).astype(float),
        np.broadcast_to(k == 0, focus.shape).astype(float),
        np.asarray(focus, float),
    )


def slit_excess(trial: Trial, rows: Rows, depth_mm: Array) -> Callable[[Array], Array]:
    """Dose less need, J/mm2, as a function of the distance from a slit's middle; all (r,)."""
    radius = rows.radius_mm(trial, depth_mm, slit=True)
    peak = line_j_mm2(rows.energy_j_mm(trial), radius)
    bend, worth, need = 2 / radius**2, rows.worth(trial), rows.need_j_mm2(trial, depth_mm)

    def excess(half_mm: Array) -> Array:
        over = peak * np.exp(-bend * half_mm[:, None] ** 2) - trial.law.threshold_j_mm2
        return np.sum(worth * np.maximum(over, 0.0), axis=1) - need

    return excess


def open_share(trial: Trial, rows: Rows, depth_mm: Array) -> Array:
    """Dose over need in a slit's middle, (r,): 1 where it just opens; below 0 when the light stays under the threshold."""
    radius = rows.radius_mm(trial, depth_mm, slit=True)
    over = line_j_mm2(rows.energy_j_mm(trial), radius) - trial.law.threshold_j_mm2
    # At the very face nothing is needed: a thousandth of a millimetre down keeps the share finite.
    return np.sum(rows.worth(trial) * over, axis=1) / rows.need_j_mm2(trial, np.maximum(depth_mm, 1e-3))


def slit_half_mm(trial: Trial, rows: Rows, depth_mm: Array) -> Array:
    """Half a slit's width (r,); below 0, by how far from opening, where it is shut."""
    share = open_share(trial, rows, depth_mm)
    radius = rows.radius_mm(trial, depth_mm, slit=True).max(axis=1)
    peak = line_j_mm2(rows.energy_j_mm(trial)[:, 0], rows.radius_mm(trial, depth_mm, slit=True).min(axis=1))
    high = radius * np.sqrt(np.maximum(0.5 * np.log(np.maximum(peak / trial.law.threshold_j_mm2, 1.0)), 0.0))
    half = _solved(slit_excess(trial, rows, depth_mm), high)
    return np.where(share > 1, half, radius * np.minimum(share - 1, 0.0))


def field_excess(trial: Trial, rows: Rows) -> Callable[[Array], Array]:
    """Dose less need, J/mm2, as a function of the depth of a field's floor; all (r,)."""
    energy = np.broadcast_to(rows.energy_j_mm(trial), rows.lit.shape)
    share = trial.law.over_char_frac * rows.lit / rows.spacing_mm[:, None]  # each line falls on its neighbour's char

    def excess(depth_mm: Array) -> Array:
        brought = line_dose_j_mm(trial.law, energy, rows.radius_mm(trial, depth_mm, slit=False))
        return np.sum(share * brought, axis=1) - rows.need_j_mm2(trial, depth_mm)

    return excess


def field_depths_mm(trial: Trial, rows: Rows) -> Array:
    """(r,)."""
    return _solved(field_excess(trial, rows), np.full(len(rows.speed_mm_s), 12 * trial.law.loss_mm))


def line_width_mm(trial: Trial, rows: Rows) -> Array:
    """Dark edge to dark edge of fine lines, (r,): where the light still browns."""
    radius = rows.radius_mm(trial, np.zeros(len(rows.speed_mm_s)), slit=False)[:, 0]
    brings = line_j_mm2(rows.energy_j_mm(trial)[:, 0], radius) / (trial.brown_frac * trial.law.threshold_j_mm2)
    return 2 * radius * np.sqrt(0.5 * np.log(np.maximum(brings, 1.0001)))


def through_ln(trial: Trial, rows: Rows, depth_mm: Array) -> Array:
    """ln of dose over need at a slit's shyest depth, (r,). depth_mm: (r, m) down to the far face."""
    n, m = int(depth_mm.shape[0]), int(depth_mm.shape[1])
    each: Ints = np.repeat(np.arange(n), m)
    share: Array = open_share(trial, rows.take(each), depth_mm.ravel()).reshape(n, m).min(axis=1)
    return np.where(share > CLOSING, np.log(np.maximum(share, CLOSING)), math.log(CLOSING) + share / CLOSING - 1)


def _solved(excess: Callable[[Array], Array], high: Array) -> Array:
    """Where a falling excess meets 0 between 0 and high, both (r,)."""
    low = np.zeros_like(high)
    top = high.copy()
    for _ in range(HALVINGS):
        middle = (low + top) / 2
        more = excess(middle) > 0
        low, top = np.where(more, middle, low), np.where(more, top, middle)
    return np.where(excess(np.zeros_like(high)) > 0, (low + top) / 2, 0.0)
