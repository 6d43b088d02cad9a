"""A verdict in words, the same on the sheet, in the terminal and in the app."""

from __future__ import annotations

import math

from kerfwright.core.estimate import Estimate
from kerfwright.core.units import format_duration
from kerfwright.process.verdict import HOW, CornerVerdict, Verdict


def percent(odds_frac: float) -> str:
    """``"94 %"``; never certain: ``"over 99 %"``, ``"under 1 %"``."""
    if math.isnan(odds_frac):
        return "unknown"
    if odds_frac > 0.99:
        return "over 99 %"
    return "under 1 %" if odds_frac < 0.01 else f"{100 * odds_frac:.0f} %"


def with_spread(length_mm: Estimate, digits: int = 2) -> str:
    """``"0.04 ± 0.01 mm"``; a spread too small for the digits gets one more."""
    if 0 < length_mm.sd < 0.5 * 10**-digits:
        digits += 1
    value = f"{length_mm.value:.{digits}f}"
    return f"{'0' if float(value) == 0 else value} ± {length_mm.sd:.{digits}f} mm"


def newtons(force_n: float) -> str:
    """Two figures and no tenths, kilonewtons from 1000 on: no force here is known better."""
    if not math.isfinite(force_n):
        return "more than can be told"
    rounded = float(f"{force_n:.2g}") if force_n >= 10 else round(force_n)
    return f"{rounded / 1000:g} kN" if rounded >= 1000 else f"{rounded:g} N"


def press_words(corner: CornerVerdict) -> str:
    """The force to push it home, over the range of friction."""
    low, high = newtons(corner.press_n[0]), newtons(corner.press_n[2])
    if low == high:
        return low
    number, _, unit = low.partition(" ")
    return f"{number if high.endswith(f' {unit}') else low} to {high}"


def headline(corner: CornerVerdict) -> str:
    """The odds in one line."""
    return f"{percent(corner.goes_together)} that it goes together"


def likeliest(corner: CornerVerdict) -> str:
    """How it most likely goes together."""
    return max(HOW, key=lambda word: corner.odds.get(word, 0.0))


def odds_words(corner: CornerVerdict) -> str:
    """Every way with odds of half a percent or more, loosest first."""
    return ", ".join(f"{word} {percent(corner.odds[word])}" for word in HOW if corner.odds.get(word, 0.0) >= 0.005)


def said_of(verdict: Verdict, corner: CornerVerdict) -> list[str]:
    """The sentences that name this corner."""
    return [sentence for sentence in verdict.said if corner.corner in sentence]


def time_words(verdict: Verdict) -> str:
    """Machine time of all setups."""
    return format_duration(verdict.time_s)


def law_words(verdict: Verdict) -> str:
    """Where the numbers come from, its first words, and how often it was burnt."""
    return f"{verdict.law_from.partition(';')[0]}; {verdict.n_draws} simulated burns, {verdict.tier} tier"
