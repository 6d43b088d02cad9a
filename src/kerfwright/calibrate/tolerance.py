"""Tolerance factors: how far either side of the mean of a few boards a stated share of all boards lies, with stated confidence.

Symbols: n readings, mean m and standard deviation s of them; P share of all future ones to hold; G confidence (gamma);
nu = n - 1; z_q, chi2_q(nu), t_q(nu; d) the quantiles. The limits are m - k s and m + k s.
One side:  k = t_G(nu; z_P sqrt n) / sqrt n, t with noncentrality z_P sqrt n; exact.
Two sides, exact: the k for which  2 int_0^inf Pr[chi2(nu) >= nu r(u)^2 / k^2] sqrt(n) phi(sqrt(n) u) du = G,
  r(u) the half width of the interval about u that holds P of a standard normal: r^2 is the P quantile of chi2(1; u^2).
Two sides, Howe: k = z_(1+P)/2 sqrt(nu (1 + 1/n) / chi2_(1-G)(nu)); within 0.4 % for 5 to 30 readings at P = G = 0.95 (tested).
Range: normal readings, independent of each other, n >= 2: not boards of one tree counted as many.
Source: Howe, JASA 64 (1969) 610; NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.3 (formulas from memory).
"""

from __future__ import annotations

import math
from typing import Any, cast

import numpy as np

from kerfwright.core.errors import InputError

N_NODES = 64  # Gauss and Legendre, doubled once when tested: no digit of the ten that brentq keeps moves
REACH_SD = 9.0  # beyond which the mean of n readings is never


def one_sided_factor(n: int, share_frac: float, confidence_frac: float) -> float:
    """k such that mean + k s lies above ``share_frac`` of all, exact."""
    from scipy.special import nctdtrit, ndtri  # pyright: ignore[reportMissingTypeStubs]

    _refuse(n, share_frac, confidence_frac)
    shift = float(ndtri(share_frac)) * math.sqrt(n)
    return float(nctdtrit(n - 1, shift, confidence_frac)) / math.sqrt(n)


def howe_factor(n: int, share_frac: float, confidence_frac: float) -> float:
    """k of the two-sided limits by Howe's approximation."""
    from scipy.special import chdtri, ndtri  # pyright: ignore[reportMissingTypeStubs]

    _refuse(n, share_frac, confidence_frac)
    chi2 = float(chdtri(n - 1, confidence_frac))  # chdtri takes the share above
    return float(ndtri((1 + share_frac) / 2)) * math.sqrt((n - 1) * (1 + 1 / n) / chi2)


def two_sided_factor(n: int, share_frac: float, confidence_frac: float) -> float:
    """k such that mean - k s to mean + k s holds ``share_frac`` of all, exact."""
    from scipy.optimize import brentq  # pyright: ignore[reportMissingTypeStubs, reportUnknownVariableType]
    from scipy.special import chdtrc, chndtrix  # pyright: ignore[reportMissingTypeStubs]

    _refuse(n, share_frac, confidence_frac)
    nodes, strengths = np.polynomial.legendre.leggauss(N_NODES)
    off = (nodes + 1) / 2 * REACH_SD  # sqrt(n) u
    strength = strengths / 2 * REACH_SD * 2 * np.exp(-(off**2) / 2) / math.sqrt(2 * math.pi)
    half2 = np.asarray(chndtrix(share_frac, 1, off**2 / n), float)

    def short(k: float) -> float:
        return float(strength @ np.asarray(chdtrc(n - 1, (n - 1) * half2 / k**2), float)) - confidence_frac

    guess = howe_factor(n, share_frac, confidence_frac)
    return float(cast(Any, brentq)(short, guess / 3, guess * 3, xtol=1e-10))


def _refuse(n: int, share_frac: float, confidence_frac: float) -> None:
    if n < 2 or not 0 < share_frac < 1 or not 0 < confidence_frac < 1:
        raise InputError(f"tolerance limits from {n} readings for {share_frac} of all at confidence {confidence_frac}",
                         accepted="2 readings or more, shares between 0 and 1")
