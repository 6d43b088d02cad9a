"""How a careful person errs with each instrument. Invented, in the usual orders: common practice, no source."""

from __future__ import annotations

import numpy as np

PIXEL_MM = 25.4 / 1200  # a flat-bed scan at 1200 dpi


def caliper(true_mm: float, rng: np.random.Generator, errs_mm: float = 0.02) -> str:
    """Reads to 0.01, errs by about 0.02."""
    return f"{round(true_mm + rng.normal(0, errs_mm), 2):.2f}"


def feeler(true_mm: float, rng: np.random.Generator) -> str:
    """The thickest leaf of a 0.02 mm set that goes in without force; now and then one leaf too many."""
    leaf = np.floor(true_mm / 0.02 + rng.normal(0, 0.2)) * 0.02
    return f"{max(float(leaf), 0.02):.2f}"


def scan(true_mm: float, rng: np.random.Generator) -> str:
    """Whole pixels, each of the two edges misjudged by about a third of one."""
    pixels = round((true_mm + rng.normal(0, 0.45 * PIXEL_MM)) / PIXEL_MM)
    return f"{pixels * PIXEL_MM:.3f}"


def depth_gauge(true_mm: float, rng: np.random.Generator) -> str:
    """Reads to 0.01, errs by about 0.03."""
    return f"{max(round(true_mm + rng.normal(0, 0.03), 2), 0.0):.2f}"


def halves(true: float, rng: np.random.Generator, errs: float, low: float, high: float) -> str:
    """An eye that names the nearest tick or rung, halves allowed."""
    return f"{float(np.clip(round(2 * (true + rng.normal(0, errs))) / 2, low, high)):g}"


def measure(instrument: str, true_mm: float, rng: np.random.Generator) -> str:
    """By the form's word for the instrument; where it offers a choice, the scan is taken."""
    for word, tool in (("scan", scan), ("feeler", feeler), ("caliper", caliper), ("depth gauge", depth_gauge)):
        if word in instrument:
            return tool(true_mm, rng)
    raise ValueError(f"the shop has no {instrument}")
