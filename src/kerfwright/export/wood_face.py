"""What a planed piece of wood looks like near by: colour, growth rings, fibres along the grain, pores across it. For pictures only."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kerfwright.export.wood_colour import WARMTH, Colour
from kerfwright.export.wood_grain import ring_shade

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

# All ours, chosen by eye.
END_GRAIN_LIGHT = 0.74  # end grain drinks light and finish
RING_CONTRAST, RING_CONTRAST_END = 0.16, 0.26
FIBRE_MM, FIBRE_LONG_MM, FIBRE_CONTRAST = 0.22, 7.0, 0.055
PORE_MM, PORE_CONTRAST = 0.13, 0.15


def wood_face(name: str, points_mm: Array, colour: Colour, across_grain: bool) -> Floats:
    """Linear shares of red, green, blue, (n, 3), 0 to 1. points_mm: (n, 3) in the part's frame; across_grain: end grain."""
    dark = (RING_CONTRAST_END if across_grain else RING_CONTRAST) * ring_shade(name, points_mm.astype(np.float32))
    x, y, z = points_mm.T
    if across_grain:
        pores = _noise(y / PORE_MM, z / PORE_MM, 11) + 0.5 * _noise(y / 0.05, z / 0.05, 3)
        dark = dark + PORE_CONTRAST * np.clip(3.0 * pores - 3.0, 0, 1)
    else:
        across = y + 0.7 * z
        dark = dark + FIBRE_CONTRAST * (_noise(x / FIBRE_LONG_MM, across / FIBRE_MM, 5) + 0.6 * _noise(x / 1.1, across / 0.09, 7))
    light = END_GRAIN_LIGHT if across_grain else 1.0
    own = np.array(colour, np.float32) * np.float32(light) ** np.array(WARMTH, np.float32)
    return (own * (1 - dark[:, None] * np.array(WARMTH, np.float32))).astype(np.float32)


def _noise(x: Array, y: Array, seed: int) -> Floats:
    """Smooth noise, 0 to 1, one knot a unit: the same every time. (n,)"""
    x0, y0 = np.floor(x).astype(np.int64), np.floor(y).astype(np.int64)
    u, v = x - x0, y - y0
    u, v = u * u * (3 - 2 * u), v * v * (3 - 2 * v)
    low = _knot(x0, y0, seed) * (1 - u) + _knot(x0 + 1, y0, seed) * u
    high = _knot(x0, y0 + 1, seed) * (1 - u) + _knot(x0 + 1, y0 + 1, seed) * u
    return (low * (1 - v) + high * v).astype(np.float32)


def _knot(x: NDArray[np.int64], y: NDArray[np.int64], seed: int) -> Floats:
    """A number from 0 to 1 that belongs to a pair of whole numbers, by mixing bits. (n,)"""
    mixed = (x * 374761393 + y * 668265263 + seed * 974634781) & 0xFFFFFFFF
    mixed = ((mixed ^ (mixed >> 13)) * 1274126177) & 0xFFFFFFFF
    return ((mixed ^ (mixed >> 16)) & 0xFFFF).astype(np.float32) / np.float32(65535)
