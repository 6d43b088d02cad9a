"""Where pins and tails stand across a board: even, widening, mirrored, a free list, or a seeded hand-cut look.

Words: widths are listed from the bottom edge up as half-pin, tail, pin, tail, ..., half-pin, measured on the
pin board's show face, where pins are narrowest.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kerfwright.core.errors import BuildError

Array = NDArray[np.float64]
LayoutName = Literal["even", "widening", "mirrored", "list", "hand"]

PIN_MIN_MM = 1.0  # a slimmer pin snaps when the joint is dressed (common practice: 1.5-3 mm, no source)
TAIL_MIN_MM = 2.0  # at the baseline, where a tail is weakest (common practice, no source)
HALF_PIN_SHARE = 1 / 3  # of the tail board's thickness, at mid height: less splits (common practice says half; no source)


def even(height_mm: float, n_tails: int, pin_mm: float, half_pin_mm: float) -> Array:
    """Equal tails between equal pins. (2 n_tails + 1,)"""
    return graded(height_mm, np.ones(n_tails), pin_mm, half_pin_mm)


def widening(height_mm: float, n_tails: int, pin_mm: float, half_pin_mm: float, growth_frac: float) -> Array:
    """Tails that grow toward the middle: the middle one (1 + growth_frac) times the outer ones."""
    place = np.linspace(-1, 1, n_tails) if n_tails > 1 else np.zeros(1)
    return graded(height_mm, 1 + growth_frac * (1 - np.abs(place)), pin_mm, half_pin_mm)


def hand(height_mm: float, n_tails: int, pin_mm: float, half_pin_mm: float, seed: int) -> Array:
    """The look of hand-cut work: tails off by some 6 %, pins by some 10 %, never slimmer than asked for by more."""
    rng = np.random.default_rng(seed)
    weights = 1 + np.clip(0.06 * rng.standard_normal(n_tails), -0.12, 0.12)
    widths = graded(height_mm, weights, pin_mm, half_pin_mm)
    change = pin_mm * np.clip(0.10 * rng.standard_normal(max(n_tails - 1, 0)), -0.15, 0.20)
    change = np.maximum(change, PIN_MIN_MM - pin_mm)
    widths[2:-1:2] += change
    widths[1::2] -= change.sum() / n_tails
    return widths


def graded(height_mm: float, weights: Array, pin_mm: float, half_pin_mm: float) -> Array:
    """Tails in proportion to ``weights`` (n_tails,) between equal pins."""
    n_tails = len(weights)
    room_mm = height_mm - 2 * half_pin_mm - (n_tails - 1) * pin_mm
    if room_mm <= 0:
        raise BuildError(
            f"{n_tails} tails with {pin_mm:g} mm pins and {half_pin_mm:g} mm half-pins leave no room for tails in a {height_mm:g} mm wall",
            remedy="Use fewer tails or slimmer pins",
        )
    widths = np.empty(2 * n_tails + 1)
    widths[0] = widths[-1] = half_pin_mm
    widths[2:-1:2] = pin_mm
    widths[1::2] = room_mm * weights / weights.sum()
    return widths


def listed(height_mm: float, widths_mm: tuple[float, ...]) -> Array:
    """A free list; must begin and end with a half-pin and fill the wall to 0.01 mm."""
    if len(widths_mm) < 3 or len(widths_mm) % 2 == 0:
        raise BuildError(
            f"the list of widths has {len(widths_mm)} entries", accepted="an odd number: half-pin, tail, pin, tail, ..., half-pin"
        )
    total_mm = math.fsum(widths_mm)
    if abs(total_mm - height_mm) > 0.01:
        raise BuildError(
            f"the listed widths add up to {total_mm:.2f} mm, the wall is {height_mm:.2f} mm high",
            remedy=f"Change the widths by {height_mm - total_mm:+.2f} mm in all",
        )
    return np.array(widths_mm) * (height_mm / total_mm)


def mirrored(height_mm: float, widths_mm: tuple[float, ...]) -> Array:
    """The list up to and including the middle one, mirrored: the middle width stands once and takes up the rest."""
    if not widths_mm:
        raise BuildError(
            "a mirrored layout needs the widths of its lower half",
            accepted="half-pin, tail, pin, ... up to the one before the middle, which takes up the rest",
        )
    rest_mm = height_mm - 2 * math.fsum(widths_mm)
    if rest_mm <= 0:
        raise BuildError(
            f"the lower half's widths add up to {math.fsum(widths_mm):.2f} mm, more than half of the {height_mm:.2f} mm wall",
            remedy="Leave room for the middle, which takes up the rest",
        )
    return np.array([*widths_mm, rest_mm, *reversed(widths_mm)])


def check_buildable(widths_mm: Array, slope_frac: float, pin_thickness_mm: float, tail_thickness_mm: float) -> None:
    """Raises BuildError naming the first pin, tail or half-pin too slim to live, and what to change.

    widths_mm: (2 n_tails + 1,) on the pin board's show face.
    """
    narrowing_mm = 2 * slope_frac * pin_thickness_mm  # both flanks of a tail, tip to baseline
    for i, width_mm in enumerate(widths_mm):
        number = i // 2 + 1
        if i % 2 == 1:
            baseline_mm = width_mm - narrowing_mm
            if baseline_mm < TAIL_MIN_MM:
                raise BuildError(
                    f"tail {number} would be {baseline_mm:.2f} mm wide at its baseline",
                    accepted=f"{TAIL_MIN_MM:g} mm or more",
                    remedy="Use fewer tails, slimmer pins or a gentler slope such as 1:8",
                )
        elif i in (0, len(widths_mm) - 1):
            middle_mm, least_mm = width_mm + narrowing_mm / 4, HALF_PIN_SHARE * tail_thickness_mm
            if width_mm < PIN_MIN_MM or middle_mm < least_mm:
                raise BuildError(
                    f"a half-pin {width_mm:.2f} mm wide ({middle_mm:.2f} mm at mid thickness) would split",
                    accepted=f"{max(PIN_MIN_MM, least_mm - narrowing_mm / 4):.2f} mm or more at the show face",
                    remedy="Give a wider half_pin, for example half the board's thickness",
                )
        elif width_mm < PIN_MIN_MM - 1e-9:
            raise BuildError(
                f"pin {number - 1} would be {width_mm:.2f} mm wide at its narrow end",
                accepted=f"{PIN_MIN_MM:g} mm or more",
                remedy="Give a wider pin",
            )
