"""Full tier, whole part: both ends of a board burnt cell by cell, and what is left of them."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.geometry.ring import Place
from kerfwright.geometry.slab import Slab
from kerfwright.simulate.burnt import BurntPart, Hidden
from kerfwright.simulate.dose import NOBODY, Patch, Watch, dose_field
from kerfwright.simulate.law import BurnLaw
from kerfwright.simulate.opened import HeightField, fronts_from, height_field, opened_by
from kerfwright.simulate.section import INTO_WOOD_MM, outline_of
from kerfwright.simulate.strokes import STRAIGHT, Strokes
from kerfwright.simulate.walls import QUICK, burnt_part

Array = NDArray[np.float64]

MARGIN_MM = 1.2  # round an end's joint: more than a stroke reaches
N_LEVELS = 2 * (QUICK.n_depths - 1) + 1  # so that the quick tier's depths are levels


@dataclass(frozen=True, eq=False)
class FullBurn:
    """walls: of the part's ends. heights: one for each end and each setup that burnt there."""

    walls: BurntPart
    heights: tuple[HeightField, ...]


def burn_full(
    part: str, slab: Slab, strokes: Strokes, law: BurnLaw, hidden: Hidden = STRAIGHT, step_mm: float = 0.025, watch: Watch = NOBODY,
    n_threads: int = 2,
) -> FullBurn:  # fmt: skip
    """Burn the ends of one part on its board. strokes: of all the board's setups, laid with ``hidden``. Raises Stopped."""
    thickness_mm = slab.thickness_mm + hidden.thickness_mm
    work = [(patch, setup) for patch in end_patches(slab, step_mm) for setup in _setups_on(strokes, patch)]
    lines = outline_of(part, slab, thickness_mm, QUICK)
    shared = _shared(watch, len(work))

    def one(task: tuple[Patch, int]) -> tuple[Array, HeightField]:
        field = dose_field(strokes, task[1], law, task[0], thickness_mm, watch=shared())
        opened = opened_by(field, law, hidden.density_ratio)
        return fronts_from(opened, lines), height_field(opened)

    with ThreadPoolExecutor(n_threads) as pool:
        done = list(pool.map(one, work))
    nothing = np.full((len(lines.edges), len(lines.share), len(lines.depths_mm)), np.inf)
    front = np.minimum.reduce([nothing, *(fronts for fronts, _ in done)])
    return FullBurn(burnt_part(lines, front, law), tuple(height for _, height in done))


def end_patches(slab: Slab, step_mm: float = 0.025, n_levels: int = N_LEVELS) -> list[Patch]:
    """A patch round the joint of each end that has one."""
    rings = np.stack([slab.show_ring.points_mm, slab.inner_ring.points_mm])  # (2, n, 2)
    corners = np.concatenate([rings, np.roll(rings, -1, axis=1)])  # (4, n, 2)
    joint = np.array([edge.place is not Place.LONG for edge in slab.edges])
    middle = (rings[..., 0].min() + rings[..., 0].max()) / 2
    found: list[Patch] = []
    for right in (False, True):
        mine = corners[:, joint & ((corners[..., 0].mean(axis=0) > middle) == right)].reshape(-1, 2)
        if len(mine):
            low, high = mine.min(axis=0) - MARGIN_MM, mine.max(axis=0) + MARGIN_MM
            found.append(Patch((float(low[0]), float(high[0])), (float(low[1]), float(high[1])), step_mm, n_levels))
    return found


def _setups_on(strokes: Strokes, patch: Patch) -> Sequence[int]:
    """Setups that burn on a patch. Marks on it count too: they are shallow but real."""
    spans = np.array([patch.x_mm, patch.y_mm])
    ends = strokes.entry_mm[:, :, :2]
    near = np.all((ends.max(axis=1) > spans[:, 0] - INTO_WOOD_MM) & (ends.min(axis=1) < spans[:, 1] + INTO_WOOD_MM), axis=1)
    return [int(setup) for setup in np.unique(strokes.setup[near])]


def _shared(watch: Watch, n_tasks: int) -> Callable[[], Watch]:
    """A watch for each of several tasks: progress is that of all of them together."""
    shares: list[float] = []
    lock = threading.Lock()

    def one() -> Watch:
        with lock:
            mine = len(shares)
            shares.append(0.0)

        def progress(share: float) -> None:
            with lock:
                shares[mine] = share
                if watch.progress:
                    watch.progress(sum(shares) / n_tasks)

        return Watch(progress if watch.progress else None, watch.stop)

    return one
