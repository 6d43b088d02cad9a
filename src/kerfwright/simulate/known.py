"""A burn law with how surely each of its numbers is known, and what is believed of one before anything was burnt.

Vocabulary: a number's *fit scale* is the scale on which its spread is told: "log" for what is above 0, "logit" for a share
between 0 and 1, "plain" for what may have either sign. ``covariance`` is on the fit scales: its diagonal's root of a log
number is about its relative spread.

Priors: 95 % ranges of HANDBOOK H where it has one, each "prior, no source" unless a source stands beside it; wide on
purpose. They start a fit and hold what no reading tells, and are never shown as facts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import InputError
from kerfwright.simulate.law import BurnLaw

Array = NDArray[np.float64]
Scale = Literal["log", "logit", "plain"]

OURS = "prior, no source"

# What each number of the law is called where a maker reads it.
IN_WORDS = {
    "power_w": "the laser's full power",
    "dead_frac": "the setting under which no light comes",
    "gamma": "how light follows the setting",
    "waist_x_mm": "the spot's width along the bed's x",
    "waist_y_mm": "the spot's width along the bed's y",
    "rayleigh_mm": "how fast the beam opens",
    "slit_mm": "how walls guide the beam",
    "focus_offset_mm": "where the true focus stands",
    "need_j_mm3": "how hard the wood is to burn away",
    "loss_mm": "what depth costs",
    "threshold_j_mm2": "the faintest light that burns",
    "over_char_frac": "what a pass over char is worth",
    "density_power": "what density changes",
    "char_mm": "the char that brushes off",
}


@dataclass(frozen=True)
class Belief:
    """What is believed of one number: its 95 % range on its fit scale, the middle being the range's middle there."""

    name: str
    scale: Scale
    low: float
    high: float
    source: str

    @property
    def middle(self) -> float:
        """On the fit scale."""
        return (to_fit(self.low, self.scale) + to_fit(self.high, self.scale)) / 2

    @property
    def spread(self) -> float:
        """One standard deviation on the fit scale: a quarter of the range, near enough to 1 / 3.92."""
        return (to_fit(self.high, self.scale) - to_fit(self.low, self.scale)) / 3.92


def to_fit(value: float, scale: Scale) -> float:
    """A number on its fit scale."""
    if scale == "plain":
        return value
    return math.log(value) if scale == "log" else math.log(value / (1 - value))


def from_fit(value: Array, scale: Scale) -> Array:
    """Back from the fit scale, any shape."""
    if scale == "plain":
        return value
    return np.exp(value) if scale == "log" else 1 / (1 + np.exp(-value))


_COMMON = (
    Belief("dead_frac", "log", 0.02, 0.15, f"H 3: {OURS}"),
    Belief("gamma", "log", 0.7, 1.5, f"H 3: {OURS}"),
    Belief("focus_offset_mm", "plain", -0.8, 0.8, f"a gauge and a lens within a millimetre: {OURS}"),
    Belief("need_j_mm3", "log", 1.0, 10.0, f"H 3, 0.9 to 4.4 from 2.3-5.8 kJ/g (Thomas 1967, Butler 1971), and losses: {OURS}"),
    Belief("threshold_j_mm2", "log", 0.05, 1.0, f"H 3: {OURS}"),
    Belief("over_char_frac", "logit", 0.4, 0.95, f"H 1, kappa 0.4 to 1: {OURS}"),
    Belief("density_power", "plain", 0.0, 1.0, f"H 1: {OURS}; McMillin and Harry 1971 saw a weak effect"),
    Belief("char_mm", "log", 0.010, 0.070, "heat-marked zone 14 to 70 um, Barcikowski 2006; how much of it brushes off has no source"),
)
_DIODE = (
    Belief("waist_x_mm", "log", 0.03, 0.13, f"H 2, kerf 0.08 to 0.30 mm over about 2.3: {OURS}"),
    Belief("waist_y_mm", "log", 0.03, 0.13, f"H 2, kerf 0.08 to 0.30 mm over about 2.3: {OURS}"),
    Belief("rayleigh_mm", "log", 0.5, 2.0, f"H 2: {OURS}"),
    Belief("slit_mm", "log", 1.0, 10.0, f"H 2, walls guide light, to be fitted: {OURS}"),
    Belief("loss_mm", "log", 3.0, 12.0, f"H 1: {OURS}"),
)
_CO2 = (
    Belief("waist_x_mm", "log", 0.065, 0.17, f"H 2, kerf 0.15 to 0.4 mm over about 2.3: {OURS}"),
    Belief("waist_y_mm", "log", 0.065, 0.17, f"H 2, kerf 0.15 to 0.4 mm over about 2.3: {OURS}"),
    Belief("rayleigh_mm", "log", 1.0, 3.0, f"H 2: {OURS}"),
    Belief("slit_mm", "log", 2.0, 20.0, f"H 2, walls guide light, to be fitted: {OURS}"),
    Belief("loss_mm", "log", 10.0, 40.0, "20 mm from McMillin and Harry 1971 by own arithmetic; the range has no source"),
)
_OTHER = (
    Belief("waist_x_mm", "log", 0.02, 0.20, OURS),
    Belief("waist_y_mm", "log", 0.02, 0.20, OURS),
    Belief("rayleigh_mm", "log", 0.4, 4.0, OURS),
    Belief("slit_mm", "log", 1.0, 20.0, OURS),
    Belief("loss_mm", "log", 3.0, 40.0, OURS),
)
_BY_LASER: Mapping[str, tuple[Belief, ...]] = {"diode": _DIODE, "co2": _CO2, "other": _OTHER}
SCALES: dict[str, Scale] = {each.name: each.scale for each in (*_COMMON, *_DIODE)}


def beliefs(laser: str) -> tuple[Belief, ...]:
    """What is believed of a kind of laser's numbers. power_w is told by the machine's file, never fitted: light, need and
    threshold multiplied by the same number burn alike."""
    if laser not in _BY_LASER:
        raise InputError(f'a laser of kind "{laser}"', accepted=", ".join(_BY_LASER))
    return (*_BY_LASER[laser], *_COMMON)


@dataclass(frozen=True, eq=False)
class LawKnown:
    """A burn law and its spread.

    names: k of BurnLaw's fields, the others are held; covariance: (k, k) on the fit scales; said: where it came from, in
    sentences. kerf_form_mm, depth_form_frac: what the law's form misses of a slit's width (mm) and of a field's depth (share)
    whatever its numbers, one standard deviation. drawn: (m, k) laws that the readings leave possible, on the fit scales, where
    a straight normal spread would not do; they are then what ``draws`` takes from.
    """

    law: BurnLaw
    names: tuple[str, ...]
    covariance: Array
    said: tuple[str, ...]
    kerf_form_mm: float = 0.0
    depth_form_frac: float = 0.0
    drawn: Array | None = None

    @property
    def middle(self) -> Array:
        """The law's numbers on their fit scales, (k,)."""
        return np.array([to_fit(getattr(self.law, name), SCALES[name]) for name in self.names])

    def sd(self, name: str) -> float:
        """One standard deviation of a number in its own unit, to first order; 0 for what is held."""
        if name not in self.names:
            return 0.0
        i = self.names.index(name)
        return math.sqrt(float(self.covariance[i, i])) * self.per_fit(name)

    def per_fit(self, name: str) -> float:
        """How much a number changes for one on its fit scale, in its own unit."""
        value = float(getattr(self.law, name))
        return {"plain": 1.0, "log": value, "logit": value * (1 - value)}[SCALES[name]]

    def draws(self, rng: np.random.Generator, n: int) -> Array:
        """n sets of the named numbers, in their own units: (n, k)."""
        if self.drawn is None:
            on_scale = rng.multivariate_normal(self.middle, self.covariance, n, method="cholesky")
        else:
            on_scale = self.drawn[rng.choice(len(self.drawn), n, replace=n > len(self.drawn))]
        return np.column_stack([from_fit(on_scale[:, i], SCALES[name]) for i, name in enumerate(self.names)])

    def with_values(self, values: Array) -> BurnLaw:
        """The law with other values (k,) of the named numbers."""
        return replace(self.law, **{name: float(value) for name, value in zip(self.names, values, strict=True)})

    def laws(self, rng: np.random.Generator, n: int) -> list[BurnLaw]:
        """n laws as they might be."""
        return [self.with_values(values) for values in self.draws(rng, n)]


def believed(laser: str, power_w: float) -> LawKnown:
    """The law of a machine of which nothing was read yet: priors alone, and saying so."""
    held = beliefs(laser)
    numbers = {each.name: float(from_fit(np.array(each.middle), each.scale)) for each in held}
    said = "nothing was read of this machine on this wood: every number of the burn is a wide guess, a prior without a source"
    return LawKnown(
        BurnLaw(power_w=power_w, **numbers), tuple(each.name for each in held), np.diag([each.spread**2 for each in held]), (said,)
    )
