"""All facts of a fit side by side: what a burn law answers to each, how far off that is, and what each tells.

Vocabulary (what ``identify`` weighs): an *answer* is a width, a depth or a focus in mm, or for a yes and no the law's ln of dose
over need; *own* is a reading's own spread; a *pull* is the slope of a weighted residual on its answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from kerfwright.simulate import predict
from kerfwright.simulate.facts import BurntFact
from kerfwright.simulate.predict import N_DEPTHS, STEP, Rows, Trial, rows_of

Array = NDArray[np.float64]
Ints = NDArray[np.int_]

KINDS = ("slit", "line", "focus", "field", "field through", "through")
ROBUST = 2.5  # c of law (1): a reading this many sd off begins to lose its say
LAPSE = 0.02  # an eye errs this often however clear the slit (common practice, no source)
PLACE_LN = 0.12  # ln energy by which places of a board differ in going through (HANDBOOK H 4: prior, no source)
LEAST_DEPTH_MM = 0.3  # a shallower field misses the law by as much as one this deep
FOCUS_SD_MM = 0.1  # beyond the reading: a lens is not the same on each axis (common practice, no source)


class Seeing:
    """n facts. Arrays of answers and residuals are (n,), in the facts' order."""

    def __init__(self, facts: Sequence[BurntFact], boards: Sequence[str], blur: float = 1.0) -> None:
        """blur: how many times softer the line between yes and no is taken than it is."""
        self.facts = tuple(facts)
        self._soft_ln = blur * PLACE_LN
        self.kinds: dict[str, Ints] = {kind: np.flatnonzero([fact.what == kind for fact in facts]) for kind in KINDS}
        self.value: Array = np.array([fact.value for fact in facts])
        self.own: Array = np.array([fact.sd for fact in facts])
        told = {kind: mine for kind, mine in self.kinds.items() if len(mine)}
        self.rows: dict[str, Rows] = {kind: rows_of([facts[int(i)] for i in mine], boards) for kind, mine in told.items()}
        self.depths: dict[str, Array] = {
            kind: np.array([facts[int(i)].thickness_mm for i in self.kinds[kind]])[:, None] * np.linspace(0, 1, N_DEPTHS)
            for kind in ("slit", "through")
            if len(self.kinds[kind])
        }
        faces = [facts[int(i)].face for i in self.kinds["slit"]]
        self._column: Ints = np.array([{"show": 0, "inner": N_DEPTHS - 1}.get(face, -1) for face in faces], int)

    def of(self, kind: str) -> Ints:
        """Which facts are of a kind; "field" brings those without a floor along only where they are met (see off)."""
        return self.kinds[kind]

    def answers(self, trial: Trial) -> Array:
        """What the law says of each fact."""
        found = np.zeros(len(self.facts))
        if "slit" in self.rows:
            rows, places = self._slit_points(trial)
            found[self.kinds["slit"]] = 2 * (predict.slit_half_mm(trial, rows, places) + trial.law.char_mm)
        if "line" in self.rows:
            found[self.kinds["line"]] = predict.line_width_mm(trial, self.rows["line"])
        found[self.kinds["focus"]] = -trial.law.focus_offset_mm
        for kind in ("field", "field through"):
            if kind in self.rows:
                found[self.kinds[kind]] = predict.field_depths_mm(trial, self.rows[kind])
        if "through" in self.rows:
            found[self.kinds["through"]] = predict.through_ln(trial, self.rows["through"], self.depths["through"])
        return found

    def slopes(self, trial: Trial, answers: Array, moved: Callable[[int, float], Trial], k: int) -> Array:
        """d answer / d unknown, (n, k). moved(i, by): the trial with unknown i moved."""
        found = np.zeros((len(self.facts), k))
        points = self._slit_points(trial) if "slit" in self.rows else None
        for i in range(k):
            up, down = moved(i, STEP), moved(i, -STEP)
            if points is not None:
                found[self.kinds["slit"], i] = self._slit_slopes(trial, up, down, points, answers)
            found[self.kinds["focus"], i] = -(up.law.focus_offset_mm - down.law.focus_offset_mm) / (2 * STEP)
            for kind in ("field", "field through"):
                if kind in self.rows:
                    found[self.kinds[kind], i] = self._field_slopes(trial, up, down, kind, answers)
            if "line" in self.rows:
                line = self.rows["line"]
                found[self.kinds["line"], i] = (predict.line_width_mm(up, line) - predict.line_width_mm(down, line)) / (2 * STEP)
            if "through" in self.rows:
                ln = [predict.through_ln(each, self.rows["through"], self.depths["through"]) for each in (up, down)]
                found[self.kinds["through"], i] = (ln[0] - ln[1]) / (2 * STEP)
        return found

    def sd(self, form: dict[str, float], expected: Array) -> Array:
        """Of each fact, its own and the form's together; yes and no have none. A depth's form error goes with the ``expected``
        depth: with the one read, readings that fell short would weigh more."""
        sd = self.own.copy()
        for kind in ("slit", "line"):
            sd[self.kinds[kind]] = np.hypot(self.own[self.kinds[kind]], form[kind])
        for kind in ("field", "field through"):
            mine = self.kinds[kind]
            sd[mine] = np.hypot(self.own[mine], form["field"] * np.maximum(expected[mine], LEAST_DEPTH_MM))
        sd[self.kinds["focus"]] = np.hypot(self.own[self.kinds["focus"]], FOCUS_SD_MM)
        return np.where(sd > 0, sd, 1.0)

    def off(self, answers: Array, mine: Ints, kind: str) -> tuple[Array, Array, Array]:
        """How far readings of a kind are from the law, their own spread, both in the unit of the form's error, and that unit in mm."""
        unit = np.maximum(answers[mine], LEAST_DEPTH_MM) if kind == "field" else np.ones(len(mine))
        return (self.value[mine] - answers[mine]) / unit, self.own[mine] / unit, unit

    def residuals(self, answers: Array, sd: Array) -> Array:
        """Law (1) of identify.py as a sum of squares."""
        r = (answers - self.value) / sd
        bent = np.sign(r) * ROBUST * np.sqrt(2 * (np.sqrt(1 + (r / ROBUST) ** 2) - 1))
        open_, _ = _no_floor(r[self.kinds["field through"]])
        bent[self.kinds["field through"]] = -np.sqrt(-2 * np.log(open_))
        cells = self.kinds["through"]
        chance, _ = _chance(answers[cells], self._soft_ln)
        said = np.where(self.value[cells] > 0.5, chance, 1 - chance)
        bent[cells] = np.where(self.value[cells] > 0.5, -1.0, 1.0) * np.sqrt(-2 * np.log(said))
        return bent

    def pulls(self, answers: Array, sd: Array) -> Array:
        """Pulls: d residual / d answer."""
        r = (answers - self.value) / sd
        root = np.sqrt(1 + (r / ROBUST) ** 2)
        bent = ROBUST * np.sqrt(2 * (root - 1))
        pull = np.where(bent > 1e-9, np.abs(r) / np.maximum(root * bent, 1e-12), 1.0) / sd
        missing = self.kinds["field through"]
        open_, slope = _no_floor(r[missing])
        pull[missing] = slope / (open_ * np.sqrt(-2 * np.log(open_)) * sd[missing])
        cells = self.kinds["through"]
        yes = self.value[cells] > 0.5
        chance, slope = _chance(answers[cells], self._soft_ln)
        said = np.where(yes, chance, 1 - chance)
        pull[cells] = slope / (said * np.sqrt(-2 * np.log(said)))
        return pull

    def information(self, answers: Array, sd: Array) -> Array:
        """What each fact tells of its own answer, 1 / variance. Law (2) of identify.py; for a yes and no, expected."""
        r = (answers - self.value) / sd
        told = 1 / (np.sqrt(1 + (r / ROBUST) ** 2) * sd**2)
        missing = self.kinds["field through"]
        open_, slope = _no_floor(r[missing])
        told[missing] = slope / open_ * np.maximum(r[missing] + slope / open_, 0.0) / sd[missing] ** 2
        cells = self.kinds["through"]
        chance, slope = _chance(answers[cells], self._soft_ln)
        told[cells] = slope**2 / (chance * (1 - chance))
        return told

    def _slit_points(self, trial: Trial) -> tuple[Rows, Array]:
        """(rows, depth) at which each slit was read: a face, or its narrowest place by this law."""
        rows, depths = self.rows["slit"], self.depths["slit"]
        column = self._column.copy()
        waists = np.flatnonzero(column < 0)
        if len(waists):
            grid = depths[waists]
            half = predict.slit_half_mm(trial, rows.take(np.repeat(waists, N_DEPTHS)), grid.ravel()).reshape(grid.shape)
            column[waists] = half.argmin(axis=1)
        return rows, depths[np.arange(len(column)), column]

    def _slit_slopes(self, trial: Trial, up: Trial, down: Trial, points: tuple[Rows, Array], answers: Array) -> Array:
        rows, depth = points
        half = answers[self.kinds["slit"]] / 2 - trial.law.char_mm
        shut = half <= 0
        y = np.maximum(half, 1e-5)
        here = predict.slit_excess(trial, rows, depth)
        by_law = (predict.slit_excess(up, rows, depth)(y) - predict.slit_excess(down, rows, depth)(y)) / (2 * STEP)
        by_y = (here(y + 1e-6) - here(y - 1e-6)) / 2e-6
        slope = -by_law / np.minimum(by_y, -1e-9)
        if shut.any():
            far = (predict.slit_half_mm(up, rows, depth) - predict.slit_half_mm(down, rows, depth)) / (2 * STEP)
            slope = np.where(shut, far, slope)
        return 2 * (slope + (up.law.char_mm - down.law.char_mm) / (2 * STEP))

    def _field_slopes(self, trial: Trial, up: Trial, down: Trial, kind: str, answers: Array) -> Array:
        rows, depth = self.rows[kind], answers[self.kinds[kind]]
        here = predict.field_excess(trial, rows)
        by_law = (predict.field_excess(up, rows)(depth) - predict.field_excess(down, rows)(depth)) / (2 * STEP)
        by_depth = (here(depth + 1e-5) - here(np.maximum(depth - 1e-5, 0))) / 2e-5
        return np.where(depth > 0, -by_law / np.minimum(by_depth, -1e-9), 0.0)


def _no_floor(r: Array) -> tuple[Array, Array]:
    """Odds that a field expected r sd below the far face has no floor, and their slope: the far face hides how deep it would be."""
    from scipy.special import ndtr  # pyright: ignore[reportMissingTypeStubs]

    kept = np.clip(r, -8.0, 8.0)
    return np.minimum(ndtr(kept), 1 - 1e-9), np.exp(-0.5 * kept**2) / math.sqrt(2 * math.pi)


def _chance(margin_ln: Array, soft_ln: float) -> tuple[Array, Array]:
    """Odds of a yes and their slope on the margin."""
    from scipy.special import ndtr  # pyright: ignore[reportMissingTypeStubs]

    z = margin_ln / soft_ln
    density = np.exp(-0.5 * np.clip(z, -30, 30) ** 2) / math.sqrt(2 * math.pi)
    # A trace of slope stays far out, so that the search is drawn back from a law that is altogether wrong.
    return LAPSE / 2 + (1 - LAPSE) * ndtr(z), (1 - LAPSE) * np.maximum(density, 1e-6) / soft_ln
