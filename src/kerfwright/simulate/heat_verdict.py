"""Where a board stays warm, and the risk of flame there in words: raised, high or unknown - never less.

Vocabulary: *excess* is the energy of a path, all its passes, over the least that would open it right through (same passes, same
focus). What an excess means for flame is the person's own cells' to say: ``risk_of`` takes the excess and gives the word; without
cells that were watched every word is "unknown". A place still warm when the beam comes back goes up a step.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kerfwright.process.verdict import HeatVerdict, HotPlace
from kerfwright.simulate.heat import QUICK_CELL_MM, Plate, Warmth, energy_j, warmth_of
from kerfwright.simulate.law import BurnLaw, line_j_mm2
from kerfwright.simulate.strokes import Strokes

Array = NDArray[np.float64]
RiskOf = Callable[[float], str]  # excess -> "raised", "high" or "unknown"
CharOf = Callable[[float], str]  # excess -> "none", "light", "heavy" or "unknown"

WARM = 1.0  # as warm as a fresh stroke leaves its own band: the word goes up a step from here (judgement of ours)
N_PLACES = 5
APART_MM = 8.0  # hottest places nearer than this are one place
_RISKS = ("raised", "unknown", "high")  # what is unknown may be high, so it comes before raised
_CHARS = ("light", "unknown", "heavy")
_N_DEPTHS, _N_HALVINGS = 9, 40
_SAME_MM = 0.01


@dataclass(frozen=True, eq=False)
class BoardHeat:
    """One board: its part, all its strokes in order, and the plate it is."""

    part: str
    strokes: Strokes
    plate: Plate

    def warmth(self, law: BurnLaw, cell_mm: float = QUICK_CELL_MM) -> Warmth:
        """How warm each stroke finds its place, by the light that the law says it has."""
        return warmth_of(self.strokes, self.plate, law.optical_w(self.strokes.power_frac), cell_mm)


def heat_verdict(
    boards: Sequence[BoardHeat],
    law: BurnLaw,
    risk_of: RiskOf | None = None,
    char_of: CharOf | None = None,
    order_share: float = 0.0,
    cell_mm: float = QUICK_CELL_MM,
) -> HeatVerdict:
    """The verdict over all boards of a job. order_share: what simulate/cooler.py says re-ordering would win."""
    risks: set[str] = set()
    chars: set[str] = set()
    places: list[HotPlace] = []
    for board in boards:
        warm = board.warmth(law, cell_mm)
        excess = excess_of(board.strokes, law, board.plate.size_mm[2])
        risk = np.array(_words(excess, risk_of, _RISKS))[warm.stroke]
        risk[(warm.warmth >= WARM) & (risk == "raised")] = "high"
        risks.update(risk.tolist())
        chars.update(_words(excess, char_of, _CHARS))
        for i in _apart(warm):
            x_mm, y_mm = warm.at_mm[i].tolist()
            number = int(board.strokes.setup[warm.stroke[i]])
            places.append(HotPlace(board.part, number, (x_mm, y_mm), float(warm.warmth[i]), str(risk[i])))
    hottest = sorted(places, key=lambda place: -place.warmth)[:N_PLACES]
    return HeatVerdict(_worst(risks, _RISKS), _worst(chars, _CHARS), tuple(hottest), order_share)


def excess_of(strokes: Strokes, law: BurnLaw, thickness_mm: float) -> Array:
    """Energy of each stroke's path over what would take it right through, (n,); the same for all passes of a path."""
    ends = np.round(strokes.entry_mm / _SAME_MM).reshape(strokes.n, 6).astype(np.int64)
    _, path = np.unique(np.column_stack([ends, strokes.setup]), axis=0, return_inverse=True)
    path = path.reshape(-1)
    length_mm = np.linalg.norm(strokes.entry_mm[:, 1] - strokes.entry_mm[:, 0], axis=1)
    energy_j_mm = energy_j(strokes, law.optical_w(strokes.power_frac)) / np.maximum(length_mm, 1e-9)
    n_passes = np.bincount(path)
    found = np.zeros(strokes.n)
    order = np.argsort(path, kind="stable")
    first = np.cumsum(n_passes) - n_passes
    for n in np.unique(n_passes):
        strokes_of_path = order[first[n_passes == n][:, None] + np.arange(n)]  # (paths, n)
        ratio = _excess(strokes, law, thickness_mm, strokes_of_path, energy_j_mm)
        found[strokes_of_path] = ratio[:, None]
    return found


def _excess(strokes: Strokes, law: BurnLaw, thickness_mm: float, of_path: NDArray[np.int_], energy_j_mm: Array) -> Array:
    """Halving for the share of their energy with which paths (g, p) just open all the way down. (g,)"""
    one = of_path[:, 0]
    depth = np.linspace(0, 1, _N_DEPTHS) * (thickness_mm / np.abs(strokes.beam[one, 2]))[:, None]  # (g, m)
    below = depth[:, None, :] + strokes.focus_mm[of_path].mean(axis=2)[:, :, None] + law.focus_offset_mm  # (g, p, m)
    peak = line_j_mm2(energy_j_mm[of_path][:, :, None], law.radius_mm(below, strokes.x_share[one][:, None, None], slit=True))
    need, worth = law.need_j_mm2(depth), law.worth(of_path.shape[1])[None, :, None]
    low, high = np.full(len(one), 1e-4), np.full(len(one), 1e4)
    for _ in range(_N_HALVINGS):
        middle = np.sqrt(low * high)
        dose = np.sum(worth * np.maximum(middle[:, None, None] * peak - law.threshold_j_mm2, 0.0), axis=1)
        opens = np.all((dose >= need) & (dose > 0), axis=1)
        low, high = np.where(opens, low, middle), np.where(opens, middle, high)
    return 1 / high


def _words(excess: Array, say: Callable[[float], str] | None, known: tuple[str, ...]) -> list[str]:
    """A word for every stroke; asked once for every different excess. A word this floor does not know counts as the mildest it has."""
    if say is None:
        return ["unknown"] * len(excess)
    rounded = np.round(excess, 3)
    said = {value: say(value) for value in np.unique(rounded).tolist()}
    return [said[value] if said[value] in known else known[0] for value in rounded.tolist()]


def _worst(words: set[str], rank: tuple[str, ...]) -> str:
    return max(words, key=rank.index, default="unknown")


def _apart(warm: Warmth) -> list[int]:
    """The warmest pieces, no two nearer than APART_MM."""
    at_mm, found = warm.at_mm, list[int]()
    free = warm.warmth > 0
    while free.any() and len(found) < N_PLACES:
        hottest = int(np.argmax(np.where(free, warm.warmth, -1.0)))
        found.append(hottest)
        free &= np.hypot(*(at_mm - at_mm[hottest]).T) >= APART_MM
    return found
