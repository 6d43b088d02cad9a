"""Growth rings for pictures: a solid pattern, so that a board's faces and its end grain agree. It claims nothing about real boards."""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

RING_MM = 2.6  # one year's growth in the picture (all constants of this file: ours, chosen by eye)
PITH_BELOW_MM = (26.0, 48.0)  # how far the heart of the tree lies below the show face
TAPER_FRAC = 0.035  # rings widen along the board, which draws the arches on its face
WAVES = ((260.0, 3.0), (97.0, 1.0), (41.0, 0.35))  # length and height in mm of the wander along the grain


def ring_shade(name: str, points_mm: Floats) -> Floats:
    """How dark the grain is, 0 (early wood) to 1 (late wood). points_mm: (n, 3) in the part frame; name picks the tree. (n,)"""
    rng = np.random.default_rng(zlib.crc32(name.encode("utf-8")))
    x, y, z = points_mm.T
    pith_y = np.float32(rng.uniform(0.0, 60.0))
    pith_z = np.float32(-rng.uniform(*PITH_BELOW_MM))
    wander = sum(height * np.sin(x * np.float32(2 * np.pi / length) + np.float32(rng.uniform(0, 6.28))) for length, height in WAVES)
    radius_mm = np.hypot(y - pith_y + wander, z - pith_z + np.float32(TAPER_FRAC) * x + 0.5 * wander)
    year = radius_mm / np.float32(RING_MM)
    part = year - np.floor(year)
    # Late wood darkens slowly and ends sharply; the sharp end is softened over a tenth of a ring.
    return part**3 * np.clip((1 - part) * 10, 0, 1)
