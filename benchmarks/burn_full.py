"""Full tier of the burn: against the same sums in plain numpy and by scipy's fftconvolve, against copying memory, and how it grows.

The dose of like lines without a threshold is a convolution: marks on the lines with the beam. A threshold on every line is not, so
fftconvolve is given the easier sum. All on one thread but the corner.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from burn_samples import LAW, Ready, demo_parts, field_of
from stopwatch import Line, least_s

from kerfwright.simulate.dose import Patch, dose_field
from kerfwright.simulate.full import burn_full
from kerfwright.simulate.law import line_j_mm2
from kerfwright.simulate.light import is_field, radii_mm
from kerfwright.simulate.strokes import Strokes

TITLE = "Full tier: cells of wood burnt level by level"
YARDSTICK = "copying the doses in memory once"

LONG_MM, STEP_MM, N_LEVELS = 10.0, 0.025, 24


def lines() -> Iterator[Line]:
    """Fields of lines three ways, then growth, then a corner of the pencil box and one of 120 x 60 mm."""
    patch = Patch((-0.5, LONG_MM + 0.5), (-0.5, 6.5), STEP_MM, N_LEVELS)
    copy = _copying_s(patch)
    for n in (10, 100):
        strokes = field_of(n, long_mm=LONG_MM)
        yield Line(f"{n} lines over 420 x 280 x {N_LEVELS}: ours", least_s(lambda strokes=strokes: _ours(strokes, patch)), copy)
        if n == 10:
            yield Line("the same, every line over every cell, numpy", least_s(lambda strokes=strokes: plain(strokes, patch), most=3), copy)
        cost = least_s(lambda strokes=strokes: convolved(strokes, patch), most=3)
        yield Line("the same sums without threshold, fftconvolve", cost, copy)
    strokes = field_of(100, long_mm=LONG_MM)
    touched = 100 * _touched_frac(patch)
    yield Line("100 lines, to copying only the cells they touch", least_s(lambda: _ours(strokes, patch)), touched * copy)
    for n in (50, 100, 200, 400):
        some, wide = field_of(n, long_mm=LONG_MM), Patch((0.0, LONG_MM), (-0.5, 0.06 * n + 0.5), STEP_MM, N_LEVELS)
        yield Line(f"{n} lines", least_s(lambda some=some, wide=wide: _ours(some, wide)), copy)
    for step in (0.1, 0.05, 0.025, 0.0125):
        fine = Patch(patch.x_mm, patch.y_mm, step, N_LEVELS)
        cells = fine.shape[0] * fine.shape[1] * N_LEVELS / 1e6
        yield Line(f"100 lines over {cells:.1f} million cells", least_s(lambda fine=fine: _ours(strokes, fine)), copy)
    parts = {one.part: one for one in demo_parts("pencil-box")}
    both = [parts["front"], parts["right"]]
    yield Line("ramped corner: both ends of both boards", least_s(lambda: _corner(both), most=3), copy)
    yield Line("120 x 60 x 6 mm round one corner, one pass", least_s(lambda: _wide_corner(both), most=3), copy)


def _ours(strokes: Strokes, patch: Patch) -> object:
    return dose_field(strokes, 1, LAW, patch, 6.0)


def _touched_frac(patch: Patch) -> float:
    """Share of a patch's cells that one line brings any dose to."""
    return float((dose_field(field_of(1, long_mm=LONG_MM), 1, LAW, patch, 6.0).dose_j_mm2 > 0).any(axis=2).mean())


def _copying_s(patch: Patch) -> float:
    """Least time to copy as many single-precision numbers as there are doses."""
    source = np.ones((*patch.shape, patch.n_levels), dtype=np.float32)
    target = np.empty_like(source)
    return least_s(lambda: np.copyto(target, source))


def plain(strokes: Strokes, patch: Patch) -> np.ndarray:
    """Law (3) as one would first write it: every line over every cell of every level, its ends by scipy's error function."""
    from scipy.special import erf

    x, y = patch.middles_mm()
    depth = np.linspace(0.0, 6.0, patch.n_levels)
    radius = radii_mm(LAW, depth[:, None], strokes.x_share, is_field(LAW, strokes))  # (level, n)
    peak = line_j_mm2(LAW.optical_w(strokes.power_frac) / strokes.speed_mm_s, radius)
    dose = np.zeros((*patch.shape, patch.n_levels), dtype=np.float32)
    for k in range(strokes.n):
        flux = peak[:, k] * np.exp(-2 * ((y[:, None] - strokes.entry_mm[k, 0, 1]) / radius[:, k]) ** 2)
        narrow = np.sqrt(2.0) / radius[:, k]
        left = 0.5 * (erf(x[:, None, None] * narrow) + erf((LONG_MM - x[:, None, None]) * narrow))
        dose += np.maximum(flux * left - LAW.threshold_j_mm2, 0.0).astype(np.float32)
    return dose


def convolved(strokes: Strokes, patch: Patch) -> np.ndarray:
    """Marks on the lines, level by level convolved with the beam."""
    from scipy.signal import fftconvolve

    marks = np.zeros(patch.shape, dtype=np.float32)
    rows = np.round((strokes.entry_mm[:, 0, 1] - patch.y_mm[0]) / patch.step_mm - 0.5).astype(int)
    marks[20:-20, rows] += 1.0
    span = np.arange(-40, 41) * patch.step_mm
    dose = np.empty((*patch.shape, patch.n_levels), dtype=np.float32)
    for level, depth in enumerate(np.linspace(0.0, 6.0, patch.n_levels)):
        radius = float(LAW.radius_mm(np.array(depth), 0.0, slit=False))
        beam = np.exp(-2 * (span[:, None] ** 2 + span**2) / radius**2)
        dose[:, :, level] = fftconvolve(marks, beam.astype(np.float32), mode="same")
    return dose


def _corner(both: list[Ready]) -> object:
    return [burn_full(one.part, one.slab, one.strokes(), LAW) for one in both]


def _wide_corner(both: list[Ready]) -> object:
    """60 mm of each board from one corner, as wide as 60 mm, on two threads. Cells that no light reaches cost next to nothing."""

    def one(ready: Ready) -> object:
        x0, y0, x1, y1 = ready.slab.bounds_mm()
        middle = (y0 + y1) / 2
        x = (x1 - 59.0, x1 + 1.0) if ready.part == "front" else (x0 - 1.0, x0 + 59.0)
        strokes = ready.strokes()
        return [dose_field(strokes, setup.number, LAW, Patch(x, (middle - 30, middle + 30), 0.025, 25), 6.0) for setup in ready.setups]

    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(one, both))
