"""Law (3) by brute force: each stroke as a spot that moves in tiny steps, no error function, no closed form, no shared line.

Slow and plain on purpose: the tests hold both tiers of the burn to it.
"""

from __future__ import annotations

import math

import numpy as np

from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.strokes import Strokes

STEP_MM = 0.004
NEAR_MM = 0.8


def dose_j_mm2(strokes: Strokes, law: BurnLaw, setup: int, at: np.ndarray, depth_mm: float) -> float:
    """Sum over strokes of worth (F - Fth)+ at one place. at: (3,) where its light meets the entry face; depth_mm: along the beam."""
    a, b = strokes.entry_mm[:, 0], strokes.entry_mm[:, 1]
    step = b - a
    share = np.clip(np.sum((at - a) * step, axis=1) / np.sum(step**2, axis=1), 0, 1)
    near = np.linalg.norm(a + share[:, None] * step - at, axis=1) < NEAR_MM
    total = 0.0
    for k in np.flatnonzero(near & (strokes.setup == setup)):
        over = _flux_j_mm2(strokes, law, int(k), at, depth_mm) - law.threshold_j_mm2
        charred = strokes.again[k] or strokes.beside_mm[k] < 2 * max(law.waist_x_mm, law.waist_y_mm)
        total += (law.over_char_frac if charred else 1.0) * max(over, 0.0)
    return total


def front_mm(
    strokes: Strokes, law: BurnLaw, setup: int, drawn: np.ndarray, outward: np.ndarray, face_z_mm: float, density_ratio: float = 1.0
) -> float:
    """How far out of the wood the wall stands from ``drawn`` (3,) along ``outward`` (3,): scanned, then halved. inf: none."""
    beam = strokes.beam[np.flatnonzero(strokes.setup == setup)[0]]

    def over(u: float) -> float:
        point = drawn + u * outward
        back = (point[2] - face_z_mm) / beam[2]
        need = law.need_j_mm3 * law.loss_mm * math.expm1(back / law.loss_mm) * density_ratio**law.density_power
        dose = dose_j_mm2(strokes, law, setup, point - back * beam, back)
        return dose - need if dose > 0 else -1.0

    met = next((u for u in np.arange(-0.26, 0.3, 0.02) if over(u) >= 0), None)
    if met is None:
        return math.inf
    low, high = met - 0.02, met
    for _ in range(10):
        middle = (low + high) / 2
        low, high = (low, middle) if over(middle) >= 0 else (middle, high)
    return high


def _flux_j_mm2(strokes: Strokes, law: BurnLaw, k: int, at: np.ndarray, depth_mm: float) -> float:
    """Energy through a square millimetre at ``at``, as the spot goes by. Spots a millimetre away bring nothing and are left out."""
    (a, b), beam = strokes.entry_mm[k], strokes.beam[k]
    length = float(np.linalg.norm(_square(beam, b - a)))
    n = max(round(length / STEP_MM), 4)
    way = (np.arange(n) + 0.5) / n
    edge, acc, told = np.arange(n + 1) / n * length, strokes.acceleration_mm_s2, strokes.speed_mm_s[k]
    rising = np.sqrt(strokes.in_mm_s[k] ** 2 + 2 * acc * edge)
    falling = np.sqrt(strokes.out_mm_s[k] ** 2 + 2 * acc * (length - edge))
    speed = np.minimum(told, np.minimum(rising, falling))
    mean = (speed[1:] + speed[:-1]) / 2  # way over time, exact under constant acceleration
    spots = a + way[:, None] * (b - a)
    close = np.linalg.norm(spots - at, axis=1) < 1.0
    way, off, mean = way[close], _square(beam, at - spots[close]), mean[close]
    set_frac = strokes.power_frac[k] * (mean / told if strokes.scaled[k] else 1.0)
    light = law.power_w * np.clip((set_frac - law.dead_frac) / (1 - law.dead_frac), 0, None) ** law.gamma
    energy = light / mean * (length / n)
    focus = strokes.focus_mm[k, 0] + way * (strokes.focus_mm[k, 1] - strokes.focus_mm[k, 0])
    alone = strokes.beside_mm[k] >= 2 * max(law.waist_x_mm, law.waist_y_mm)
    opens = np.sqrt(1 + ((depth_mm + focus + law.focus_offset_mm) / (law.slit_mm if alone else law.rayleigh_mm)) ** 2)
    share = strokes.x_share[k]
    across = math.sqrt(law.waist_x_mm**2 * share + law.waist_y_mm**2 * (1 - share)) * opens
    along = math.sqrt(law.waist_x_mm**2 * (1 - share) + law.waist_y_mm**2 * share) * opens
    s = off @ (_square(beam, b - a) / max(length, 1e-12))
    y2 = np.maximum(np.sum(off**2, axis=1) - s**2, 0.0)
    return float(np.sum(2 * energy / (math.pi * across * along) * np.exp(-2 * y2 / across**2 - 2 * s**2 / along**2)))


def _square(beam: np.ndarray, step: np.ndarray) -> np.ndarray:
    """What is left of steps (..., 3) across the beam."""
    return step - (step @ beam)[..., None] * beam
