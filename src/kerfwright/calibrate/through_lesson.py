"""At which line energy a cut goes through, and the speed that goes through at 99 % of places on a new board.

x = ln(P n^kappa / v): P the power in W, n passes, v the speed; kappa, the worth of a further pass, is chosen by the
readings themselves under a weak prior (0.4 to 1: HANDBOOK section H form 1, no source).
"""
# pyright: basic

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.dose import DoseFit, fit_dose, weak_priors
from kerfwright.calibrate.evidence import Datum, Evidence, energy_logs
from kerfwright.calibrate.interval import Interval
from kerfwright.calibrate.lesson import Lesson, Plot
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding, note, warning
from kerfwright.coupons.observable import Quantity

Array = NDArray[np.float64]

PLACES_FRAC = 0.99
KAPPA_MEAN, KAPPA_SD = 0.8, 0.15
NEW_BOARD_SD = 0.10  # ln energy between boards when fewer than 3 were burnt (density 10 %: Wood Handbook Table 5-6, from memory)
FEWEST = 4


@dataclass(frozen=True, eq=False)
class ThroughLearned:
    """needed_ln: ln energy that 99 % of places need; kappa: worth of passes; burnt_ln: lowest and highest ln energy burnt."""

    lesson: Lesson
    needed_ln: Estimate
    interval: Interval
    kappa: float
    burnt_ln: tuple[float, float]

    def speed_mm_s(self, power_w: float, n_passes: int) -> float:
        """The recommended speed: the needed energy and one standard deviation on top, never beyond what was burnt."""
        ln_energy = min(self.needed_ln.value + self.needed_ln.sd, self.burnt_ln[1])
        return power_w * n_passes**self.kappa / math.exp(ln_energy)

    def margin_frac(self, power_w: float, n_passes: int, speed_mm_s: float) -> float:
        """How far the energy at a speed lies over what 99 % of places need."""
        return power_w * n_passes**self.kappa / speed_mm_s / math.exp(self.needed_ln.value) - 1


def learn_through(evidence: Evidence, new_board: bool) -> ThroughLearned | None:
    """From through / not through; None with too few readings. new_board: the recipe is for a board not yet burnt."""
    data = evidence.of(Quantity.THROUGH)
    if len(data) < FEWEST:
        return None
    yes = np.array([float(np.mean([word == "yes" for word in datum.words])) for datum in data])
    trials = np.array([float(len(datum.words)) for datum in data])
    kappa = _best_kappa(data, yes, trials)
    ln_once, ln_passes = energy_logs(data)
    x = ln_once + kappa * ln_passes
    fit = fit_dose(x, yes * trials, trials, priors=weak_priors(x), source=", ".join(evidence.coupons))
    board_sd, findings = _between_boards(data, x, yes, trials) if new_board else (0.0, [])
    needed, interval = fit.dose_at(PLACES_FRAC, board_sd)
    burnt = (float(x.min()), float(x.max()))
    findings += _limits(yes, needed, burnt)
    told = _said(data, needed, fit, kappa, board_sd)
    lesson = Lesson(
        "through",
        len(data),
        {"ln_energy_99": needed, "ln_energy_50": fit.middle, "place_spread": fit.place_spread},
        told,
        tuple(findings),
        (_plot(x, yes, fit, needed),),
    )
    return ThroughLearned(lesson, needed, interval, kappa, burnt)


def _best_kappa(data: list[Datum], yes: Array, trials: Array) -> float:
    if len({datum.setting("passes") for datum in data}) < 2:
        return KAPPA_MEAN
    ln_once, ln_passes = energy_logs(data)
    tried = np.arange(0.4, 1.051, 0.05)
    scores: list[float] = []
    for kappa in tried:
        x = ln_once + float(kappa) * ln_passes
        fit = fit_dose(x, yes * trials, trials, priors=weak_priors(x))
        scores.append(-0.5 * fit.deviance_value - 0.5 * ((float(kappa) - KAPPA_MEAN) / KAPPA_SD) ** 2)
    return float(tried[int(np.argmax(scores))])


def _between_boards(data: list[Datum], x: Array, yes: Array, trials: Array) -> tuple[float, list[Finding]]:
    boards = list(dict.fromkeys(datum.record.board for datum in data))
    middles: list[float] = []
    variances: list[float] = []
    for board in boards:
        mine = np.array([datum.record.board == board for datum in data])
        if 0 < yes[mine].sum() < mine.sum():
            fit = fit_dose(x[mine], (yes * trials)[mine], trials[mine], priors=weak_priors(x))
            middles.append(fit.middle.value)
            variances.append(fit.middle.sd**2)
    if len(middles) < 3:
        return NEW_BOARD_SD, [
            note("few-boards", f"{len(boards)} board(s) cannot show how boards differ: 10 % is taken; burn 3 to measure it")
        ]
    return math.sqrt(max(float(np.var(middles, ddof=1)) - float(np.mean(variances)), 0.02**2)), []


def _limits(yes: Array, needed: Estimate, burnt: tuple[float, float]) -> list[Finding]:
    if yes.max() < 1:
        return [warning("never-through", "nothing went through: burn the through coupon slower or with more passes")]
    if needed.value > burnt[1]:
        return [warning("short-of-through", "99 % of places may need more energy than was burnt: burn slower cells before trusting a cut")]
    if yes.min() > 0:
        return [note("always-through", "everything went through: faster cells would show how much energy is really needed")]
    return []


def _said(data: list[Datum], needed: Estimate, fit: DoseFit, kappa: float, board_sd: float) -> tuple[str, ...]:
    boards = "a new board" if board_sd else "this board"
    return (
        f"{len(data)} cells: half of places are cut through at {math.exp(fit.middle.value):.2f} J/mm, 99 % of places on {boards} at "
        f"{math.exp(needed.value):.2f} J/mm (give or take {100 * needed.sd:.0f} %)",
        f"places differ by about {100 * fit.place_spread.value:.0f} %; a second pass is worth {2**kappa - 1:.2f} of the first",
    )


def _plot(x: Array, yes: Array, fit: DoseFit, needed: Estimate) -> Plot:
    at = np.linspace(x.min() - 0.1, x.max() + 0.1, 80)
    middle = 100 * fit.share_yes_frac(at)
    low, high = (100 * fit.share_yes_frac(at + side * 1.96 * fit.middle.sd) for side in (-1, 1))
    curve = np.stack([np.exp(at), middle, low, high], axis=1)
    return Plot(
        "Cut through?",
        "energy per length, J/mm",
        "places cut through, %",
        np.stack([np.exp(x), 100 * yes], axis=1),
        curve,
        mark=(math.exp(needed.value), 99.0),
        mark_name="99 % of places",
        log_x=True,
    )
