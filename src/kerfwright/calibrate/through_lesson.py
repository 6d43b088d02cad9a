"""At which line energy a cut goes through, and the speed that goes through at 99 % of places on a new board.

x = ln(P n^kappa / v): P the power in W, n passes, v the speed; kappa, the worth of a further pass, is chosen by the
readings themselves under a weak prior (0.4 to 1: HANDBOOK section H form 1, no source). One travel of the bed may need more than the
other, as a diode's spot is oblong: ``slow_x`` is ln of what cuts along the bed's x need over cuts along y, chosen likewise.
Boards and places are kept apart: a board that was read speaks for itself; one that was not gets the mean of the boards, with what
boards and places differ by (thresholds place by place, split by hierarchy).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.calibrate.dose import DoseFit, fit_dose, weak_priors
from kerfwright.calibrate.evidence import Datum, Evidence, energy_logs
from kerfwright.calibrate.hierarchy import BoardSpread, boards_apart
from kerfwright.calibrate.interval import Interval, two_sided_t_value
from kerfwright.calibrate.lesson import Lesson, Plot
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding, caution, note, warning
from kerfwright.coupons.observable import Quantity

Array = NDArray[np.float64]

PLACES_FRAC = 0.99
KAPPA_MEAN, KAPPA_SD = 0.8, 0.15
SPARE_SDS = 2.0  # a joint has hundreds of places and tight corners, and one uncut spoils it: in simulated shops 1 left some
SLOW_X_SD = 0.2  # ln energy between the two travels (project prior, no published source)
BELOW_FLAME_LN = 0.02  # a recommended cut stays this share of energy below the gentlest cell that was seen to flame
FEWEST = 4


@dataclass(frozen=True, eq=False)
class ThroughLearned:
    """needed_ln: ln energy that 99 % of places need; kappa: worth of passes; burnt_ln: lowest and highest ln energy burnt.

    flame_ln: the lowest ln energy at which a cell flashed or burnt on; None where none did.
    """

    lesson: Lesson
    needed_ln: Estimate
    interval: Interval
    kappa: float
    burnt_ln: tuple[float, float]
    flame_ln: float | None = None

    @property
    def recommended_ln(self) -> float:
        """The needed energy and ``SPARE_SDS`` on top, never beyond what was burnt, always below what was seen to flame."""
        wanted = min(self.needed_ln.value + SPARE_SDS * self.needed_ln.sd, self.burnt_ln[1])
        return wanted if self.flame_ln is None else min(wanted, self.flame_ln - BELOW_FLAME_LN)

    def speed_mm_s(self, power_w: float, n_passes: int) -> float:
        """The recommended speed."""
        return power_w * n_passes**self.kappa / math.exp(self.recommended_ln)

    def margin_frac(self, power_w: float, n_passes: int, speed_mm_s: float) -> float:
        """How far the energy at a speed lies over what 99 % of places need."""
        return power_w * n_passes**self.kappa / speed_mm_s / math.exp(self.needed_ln.value) - 1

    def below_flame(self, flame_ln: float | None) -> ThroughLearned:
        """The same, bound by the gentlest cell that flamed; said where 99 % of places would need more than that allows."""
        bound = replace(self, flame_ln=flame_ln)
        if flame_ln is None or flame_ln - BELOW_FLAME_LN >= self.needed_ln.value:
            return bound
        hot = caution(
            "through-in-flame",
            f"99 % of places need {math.exp(self.needed_ln.value):.2f} J/mm, but cells from {math.exp(flame_ln):.2f} J/mm flamed: the "
            "recommended cut stays below and may leave places uncut. Try more, lighter passes, more air or a thinner board, and burn the "
            "through coupon again",
        )
        # "Burn slower cells" is no advice here: they would flame.
        kept = [finding for finding in self.lesson.findings if finding.code != "short-of-through"]
        return replace(bound, lesson=replace(self.lesson, findings=(*kept, hot)))


def learn_through(evidence: Evidence, board: str) -> ThroughLearned | None:
    """From through / not through; None with too few readings. board: the one the recipe is for."""
    data = evidence.of(Quantity.THROUGH)
    if len(data) < FEWEST:
        return None
    worths = _best_worths(data)
    own = [datum for datum in data if datum.record.board == board]
    new_board = len(own) < FEWEST
    data = data if new_board else own
    x, yes, trials = _cells(data, worths)
    apart = _boards_apart(data, worths) if new_board else None
    if apart is not None:
        x = x - np.array([apart.away_y.get(datum.record.board, 0.0) for datum in data])
    fit = fit_dose(x, yes, trials, priors=weak_priors(x), source=", ".join(dict.fromkeys(datum.record.id for datum in data)))
    needed, interval = _needed(fit, apart, worths.slow_sd)
    burnt = (float(x.min()), float(x.max()))
    lesson = Lesson(
        "through",
        len(data),
        {"ln_energy_99": needed, "ln_energy_50": fit.middle, "place_spread": fit.place_spread},
        _said(data, needed, fit, worths, apart),
        (*(apart.findings if apart else ()), *_limits(yes / trials, needed, burnt)),
        (_plot(x, yes / trials, fit, needed),),
    )
    return ThroughLearned(lesson, needed, interval, worths.kappa, burnt)


@dataclass(frozen=True)
class _Worths:
    """kappa: worth of a further pass; slow_x: ln of what cuts along x need over cuts along y, and its standard deviation."""

    kappa: float = KAPPA_MEAN
    slow_x: float = 0.0
    slow_sd: float = 0.0


def _cells(data: list[Datum], worths: _Worths) -> tuple[Array, Array, Array]:
    """(ln energy as the travel that needs more feels it, how many were through, how many were tried), each (n,)."""
    yes = np.array([float(sum(word == "yes" for word in datum.words)) for datum in data])
    felt = _felt(data, worths.kappa, worths.slow_x) + max(worths.slow_x, 0.0)
    return felt, yes, np.array([float(len(datum.words)) for datum in data])


def _boards_apart(data: list[Datum], worths: _Worths) -> BoardSpread:
    """What boards differ by, from the energy at which half goes through at each place where some cells did and some did not."""
    groups: dict[tuple[str, str], list[Datum]] = {}
    for datum in data:
        groups.setdefault((datum.record.board, f"{datum.record.id}/{datum.observable.settings.get('place', '')}"), []).append(datum)
    priors = weak_priors(_cells(data, worths)[0])
    boards: list[str] = []
    middles: list[float] = []
    for (board, _), mine in groups.items():
        x, yes, trials = _cells(mine, worths)
        if 0 < yes.sum() < trials.sum():
            boards.append(board)
            middles.append(fit_dose(x, yes, trials, priors=priors).middle.value)
    return boards_apart(np.array(middles), boards, in_logs=True)


def _needed(fit: DoseFit, apart: BoardSpread | None, slow_sd: float) -> tuple[Estimate, Interval]:
    """The dose that 99 % of places need, its spread widened by the doubt of the mean board, of how boards differ and of the travels."""
    needed, interval = fit.dose_at(PLACES_FRAC, apart.sd if apart else 0.0)
    extra = math.hypot(slow_sd, math.sqrt(max(apart.new_sd**2 - apart.sd**2, 0.0)) if apart else 0.0)
    reach = two_sided_t_value(math.inf) * extra
    low, high = (math.hypot(end - needed.value, reach) for end in (interval.low_value, interval.high_value))
    wide = replace(needed, sd=math.hypot(needed.sd, extra))
    return wide, Interval(needed.value - low, needed.value + high, interval.level_frac)


def _felt(data: list[Datum], kappa: float, slow_x: float) -> Array:
    """(n,) ln energies as cuts along the bed's y would feel them."""
    ln_once, ln_passes = energy_logs(data)
    along_x = np.array([datum.observable.settings.get("travel") == "x" for datum in data])
    return ln_once + kappa * ln_passes - slow_x * along_x


def _best_worths(data: list[Datum]) -> _Worths:
    """Both worths, each tried in steps while the other stands."""
    _, yes, trials = _cells(data, _Worths())

    def scores(kappas: Array, slows: Array) -> Array:
        found: list[float] = []
        for kappa, slow_x in zip(kappas, slows, strict=True):
            x = _felt(data, float(kappa), float(slow_x))
            prior = ((kappa - KAPPA_MEAN) / KAPPA_SD) ** 2 + (slow_x / SLOW_X_SD) ** 2
            found.append(-0.5 * fit_dose(x, yes, trials, priors=weak_priors(x)).deviance_value - 0.5 * float(prior))
        return np.array(found)

    kappas: Array = np.arange(0.4, 1.051, 0.05)
    slows: Array = np.arange(-0.5, 0.501, 0.05)
    kappa, slow_x, slow_sd = KAPPA_MEAN, 0.0, 0.0
    many_passes = len({datum.setting("passes") for datum in data}) > 1
    both_travels = {"x", "y"} <= {datum.observable.settings.get("travel") for datum in data}
    for _ in range(2 if many_passes and both_travels else 1):
        if many_passes:
            kappa = float(kappas[int(np.argmax(scores(kappas, np.full(len(kappas), slow_x))))])
        if both_travels:
            each = scores(np.full(len(slows), kappa), slows)
            weight = np.exp(each - each.max())
            weight /= weight.sum()
            slow_x = float(weight @ slows)
            slow_sd = math.sqrt(float(weight @ (slows - slow_x) ** 2))
    return _Worths(kappa, slow_x, slow_sd)


def _limits(yes: Array, needed: Estimate, burnt: tuple[float, float]) -> list[Finding]:
    if yes.max() < 1:
        return [warning("never-through", "nothing went through: burn the through coupon slower or with more passes")]
    if needed.value > burnt[1]:
        return [warning("short-of-through", "99 % of places may need more energy than was burnt: burn slower cells before trusting a cut")]
    if yes.min() > 0:
        return [note("always-through", "everything went through: faster cells would show how much energy is really needed")]
    return []


def _said(data: list[Datum], needed: Estimate, fit: DoseFit, worths: _Worths, apart: BoardSpread | None) -> tuple[str, ...]:
    boards, differ = ("this board", "") if apart is None else ("a new board", f", boards by {100 * apart.sd:.0f} %")
    told = (
        f"{len(data)} cells: half of places are cut through at {math.exp(fit.middle.value):.2f} J/mm, 99 % of places on {boards} at "
        f"{math.exp(needed.value):.2f} J/mm (give or take {100 * needed.sd:.0f} %)",
        f"places of a board differ by about {100 * fit.place_spread.value:.0f} %{differ}; a second pass is worth "
        f"{2**worths.kappa - 1:.2f} of the first",
    )
    if not worths.slow_sd:
        return told
    if math.expm1(abs(worths.slow_x)) < 0.005:
        return (*told, f"cuts along the bed's x and y need the same energy, within {100 * worths.slow_sd:.0f} %")
    harder, more = ("x", worths.slow_x) if worths.slow_x >= 0 else ("y", -worths.slow_x)
    percents = f"{100 * math.expm1(more):.0f} ± {100 * worths.slow_sd:.0f} %"
    return (*told, f"cuts along the bed's {harder} need {percents} more energy than the others; both are served")


def _plot(x: Array, yes: Array, fit: DoseFit, needed: Estimate) -> Plot:
    at: Array = np.linspace(float(x.min()) - 0.1, float(x.max()) + 0.1, 80)
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
