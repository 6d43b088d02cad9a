"""The burn law out of what was burnt and seen, with its spread: weighted least squares with priors, by the burn's own route.

Symbols: u (k,) the unknowns, each as so many prior standard deviations from its prior's middle; r residuals over their sd.
Law (1): minimise sum of rho(r_i(u)) - 2 sum of ln p_j(u) + u.u, rho(r) = 2 c^2 (sqrt(1 + (r/c)^2) - 1): quadratic for good
readings, straight for outliers (pseudo-Huber); p_j the odds of each yes or no. That is the mode of the posterior under the
priors of known.py, so with no reading the priors come back.
Law (2): covariance = (J^T W J + yes-and-no information + 1)^-1 there (Laplace), W = 1 / sqrt(1 + (r/c)^2).
Law (3): the form's own error, one for widths, one for lines and one for depths, is what readings at settings left out are missed
by beyond their spread (left_out.py), drawn toward a prior worth 4 readings; it adds to each fact's sd, and the fit is made again.
Source: Bates and Watts 1988 for (1) and (2) (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.core.least_squares import inverse
from kerfwright.process.recipe import Recipe
from kerfwright.simulate.facts import BurntFact, facts_from_recipe
from kerfwright.simulate.known import IN_WORDS, OURS, Belief, LawKnown, beliefs, believed, from_fit
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.left_out import Fitted, form_error
from kerfwright.simulate.predict import Trial
from kerfwright.simulate.seeing import Seeing

Array = NDArray[np.float64]

BOARD_LN = 0.08  # ln need between boards: density 10 % (from memory of WH table 5-6) to the power 0.5, and more (prior, no source)
PRIOR_WORTH = 4.0
ROUNDS, BLUR = 2, 8.0
MOST_STEPS, STILL, FAR = 40, 1e-3, 8.0
N_DRAWN = 200
KEPT = 0.8  # a number whose spread is still this share of its prior's was not told by the readings
BROWN = Belief("brown_frac", "log", 0.1, 0.9, f"what of the threshold leaves a dark line: {OURS}")
# What the law's form may miss before anything is known: of a slit's width and a line's, mm, and of a depth, as a share.
FORM = {"slit": 0.008, "line": 0.010, "field": 0.05}
TOLD = "taken from the recipe's own numbers, so that plan and burn agree more than they should"


@dataclass(frozen=True, eq=False)
class _Unknowns:
    """held: what is fitted of the law, then the browning, then one number a board where there are two or more."""

    power_w: float
    held: tuple[Belief, ...]
    n_boards: int
    typical: BurnLaw

    @property
    def n(self) -> int:
        return len(self.held) + 1 + self._n_effects

    @property
    def _n_effects(self) -> int:
        return self.n_boards if self.n_boards > 1 else 0

    @property
    def spreads(self) -> Array:
        """(k,) prior standard deviations on the fit scales."""
        return np.array([each.spread for each in (*self.held, BROWN)] + [BOARD_LN] * self._n_effects)

    def trial(self, u: Array) -> Trial:
        fitted = zip((*self.held, BROWN), u, strict=False)
        values = {each.name: float(from_fit(np.array(each.middle + each.spread * x), each.scale)) for each, x in fitted}
        brown = values.pop(BROWN.name)
        effects = BOARD_LN * u[len(self.held) + 1 :] if self._n_effects else np.zeros(max(self.n_boards, 1))
        return Trial(replace(self.typical, **values), brown, effects)


@dataclass(frozen=True, eq=False)
class _Fit:
    """u, its covariance (k, k), what the law then answers (n,), how that moves (n, k) and what each fact tells (n,)."""

    u: Array
    covariance: Array
    predicted: Array
    slopes: Array
    told: Array


def identify(facts: Sequence[BurntFact], laser: str, power_w: float) -> LawKnown:
    """The burn law of one machine on one species. laser: "diode", "co2" or "other"; power_w as the machine's file tells it.

    With readings of two boards or more each may need a little more or less, and the law is of their middle; with one, it is
    that board's. Raises InputError when the readings contradict the law's form altogether.
    """
    if not facts:
        return believed(laser, power_w)
    boards = sorted({fact.board for fact in facts})
    start = believed(laser, power_w)
    unknowns = _Unknowns(power_w, beliefs(laser), len(boards), start.law)
    seeing = Seeing(facts, boards)
    # A sharp yes or no says nothing far from its edge, and the search would lie still there: it begins with soft ones.
    fit = _fitted(Seeing(facts, boards, BLUR), unknowns, dict(FORM), None)
    form = _form(seeing, fit)
    for _ in range(ROUNDS):
        fit = _fitted(seeing, unknowns, form, fit)
        form = _form(seeing, fit)
    k = len(unknowns.held)
    spreads = unknowns.spreads[:k]
    return LawKnown(
        unknowns.trial(fit.u).law,
        tuple(each.name for each in unknowns.held),
        spreads[:, None] * fit.covariance[:k, :k] * spreads[None, :],
        _said(facts, seeing, fit, unknowns, len(boards)),
        form["slit"],
        form["field"],
        np.array([each.middle for each in unknowns.held]) + spreads * _drawn(seeing, unknowns, fit)[:, :k],
    )


def identify_from_recipe(recipe: Recipe, laser: str, power_w: float) -> LawKnown:
    """The same where no reading is at hand, from the recipe's own numbers, and saying so."""
    known = identify(facts_from_recipe(recipe), laser, power_w)
    return replace(known, said=(TOLD, *known.said))


def _fitted(seeing: Seeing, unknowns: _Unknowns, form: dict[str, float], before: _Fit | None) -> _Fit:
    """One round, the form's errors being known: Gauss and Newton's steps, held back where they do not go down."""
    sd = seeing.sd(form, before.predicted if before else seeing.value)

    def cost(u: Array) -> tuple[float, Array]:
        answers = seeing.answers(unknowns.trial(u))
        return float(np.sum(seeing.residuals(answers, sd) ** 2) + u @ u), answers

    u = before.u if before else min(_starts(unknowns), key=lambda each: cost(each)[0])
    (now, answers), held = cost(u), 1e-2
    for _ in range(MOST_STEPS):
        slopes = _slopes(seeing, unknowns, u, answers)
        pulled = seeing.pulls(answers, sd)[:, None] * slopes
        downhill = pulled.T @ seeing.residuals(answers, sd) + u
        square = pulled.T @ pulled + np.eye(unknowns.n)
        was = now
        for _ in range(12):
            tried = u - np.linalg.solve(square + held * np.diag(np.diag(square)), downhill)
            # Ten prior deviations from its middle a number means nothing any more, and exp would overflow soon after.
            new, new_answers = cost(np.clip(tried, -FAR, FAR))
            if new < now:
                u, now, answers, held = np.clip(tried, -FAR, FAR), new, new_answers, held / 4
                break
            held *= 5
        if was - now < STILL:
            break
    slopes = _slopes(seeing, unknowns, u, answers)
    told = seeing.information(answers, sd)
    return _Fit(u, inverse(slopes.T @ (told[:, None] * slopes) + np.eye(unknowns.n)), answers, slopes, told)


def _slopes(seeing: Seeing, unknowns: _Unknowns, u: Array, answers: Array) -> Array:
    """d answer / d unknown, (n, k)."""

    def moved(i: int, by: float) -> Trial:
        shifted = u.copy()
        shifted[i] += by
        return unknowns.trial(shifted)

    return seeing.slopes(unknowns.trial(u), answers, moved, unknowns.n)


def _starts(unknowns: _Unknowns) -> list[Array]:
    """A few places to begin at, apart in the two numbers that matter most, so that the search begins in its valley."""
    names = [each.name for each in unknowns.held]
    found: list[Array] = []
    for need in (-1.2, -0.4, 0.4, 1.2):
        for loss in (-0.8, 0.0, 0.8):
            u = np.zeros(unknowns.n)
            u[names.index("need_j_mm3")], u[names.index("loss_mm")] = need, loss
            found.append(u)
    return found


def _drawn(seeing: Seeing, unknowns: _Unknowns, fit: _Fit) -> Array:
    """Laws as they might be, (N_DRAWN, k): normal draws, brought back to where the facts are answered as a straight law would.

    Need, loss and light hang together along a bent ridge, which a straight normal spread leaves. One Gauss-Newton step a
    draw follows the bend: the idea of randomise-then-optimise (Bardsley and others 2014, from memory).
    """
    rng = np.random.default_rng(0)
    steps = rng.multivariate_normal(np.zeros(unknowns.n), fit.covariance, N_DRAWN, method="cholesky")
    gain = fit.covariance @ (fit.slopes.T * fit.told)
    for step in steps:
        bent = seeing.answers(unknowns.trial(np.clip(fit.u + step, -FAR, FAR)))
        step += gain @ (fit.predicted + fit.slopes @ step - bent)
    return np.clip(fit.u + steps, -FAR, FAR)


def _form(seeing: Seeing, fit: _Fit) -> dict[str, float]:
    """Law (3)."""
    found: dict[str, float] = {}
    for kind, prior in FORM.items():
        mine = seeing.of(kind)
        off, own, unit = seeing.off(fit.predicted, mine, kind)
        fitted = Fitted([seeing.facts[int(i)] for i in mine], off, own, fit.told[mine] * unit**2, fit.slopes[mine] / unit[:, None],
                        fit.covariance)  # fmt: skip
        found[kind] = form_error(fitted, prior, PRIOR_WORTH) if len(mine) else prior
    return found


def _said(facts: Sequence[BurntFact], seeing: Seeing, fit: _Fit, unknowns: _Unknowns, n_boards: int) -> tuple[str, ...]:
    said: list[str] = []
    for kind, word in (("slit", "widths of slits"), ("line", "widths of lines"), ("field", "depths of fields")):
        mine = seeing.of(kind)
        if len(mine):
            off = seeing.value[mine] - fit.predicted[mine]
            n = sum(facts[int(i)].n for i in mine)
            said.append(f"{n} readings of {word}, met to within {math.sqrt(float(np.mean(off**2))):.3f} mm (root mean square)")
    cells = seeing.of("through")
    if len(cells):
        wrong = int(np.sum((fit.predicted[cells] > 0) != (seeing.value[cells] > 0.5)))
        said.append(f"{len(cells)} {'slit' if len(cells) == 1 else 'slits'} looked at for light, {wrong} told wrong")
    spread = np.sqrt(np.diag(fit.covariance))
    kept = [each.name for each, share in zip(unknowns.held, spread, strict=False) if share > KEPT]
    if kept:
        said.append(f"these readings do not tell {', '.join(IN_WORDS[name] for name in kept)}: wide guesses without a source stand in")
    said.append("one board: it speaks of this board" if n_boards == 1 else f"{n_boards} boards: it speaks of their middle")
    return tuple(said)


def law_known(facts: Sequence[BurntFact], recipe: Recipe, laser: str, power_w: float) -> LawKnown:
    """By readings where there are any of slits or fields, else by the recipe's own numbers."""
    if not any(fact.what in ("slit", "field") for fact in facts):
        return identify_from_recipe(recipe, laser, power_w)
    known = identify(facts, laser, power_w)
    if not np.all(np.isfinite(known.covariance)):
        raise InputError("the readings do not settle a burn law", remedy="Burn the kerf comb and the ramp staircase")
    return known
