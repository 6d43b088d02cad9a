"""Hidden boards: what a piece of wood is really like, and what its owner can tell about it.

Invented. Relative densities are HANDBOOK A3's, spread between boards 10 % (HANDBOOK A3, WH Table 5-6 from memory); within a
board a smooth field along the length of a few per cent (HANDBOOK H 4: 3-8 % by place) and early and late wood in
stripes (HANDBOOK C6: latewood ridges; sizes own choice).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

RELATIVE_DENSITY = {
    "sugar maple": 0.63,
    "black cherry": 0.50,
    "black walnut": 0.55,
    "white ash": 0.60,
    "red oak": 0.63,
    "yellow-poplar": 0.42,
    "basswood": 0.37,
    "western redcedar": 0.32,
    "eastern white pine": 0.35,
}
# How much early and late wood differ and how wide a ring is: ring-porous and soft woods more than diffuse-porous ones.
RING = {"white ash": (0.16, 1.6), "red oak": (0.18, 1.9), "western redcedar": (0.28, 1.4), "eastern white pine": (0.20, 2.2)}
PLAIN_RING = (0.05, 1.3)


@dataclass
class HiddenBoard:
    """One real piece of wood. Frame: x along the length, y across, z out of the show face.

    size_mm: true length, width, mean thickness. density: the board's own factor on its species' mean. burns: everything burnt into
    it, oldest first (see strokes.py).
    """

    name: str
    species: str
    size_mm: tuple[float, float, float]
    density: float
    waves: np.ndarray  # (k, 3): amplitude, cycles per mm along x, phase
    ring: tuple[float, float, float, float]  # contrast, pitch mm, phase, drift of the phase along x per mm
    wedge: tuple[float, float, float]  # thickness change per mm along x, along y, cup (mm at the middle of the width)
    facts: dict[str, object]
    burns: list[object] = field(default_factory=list)

    def thickness_mm(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """True thickness at a place."""
        length, width, thickness = self.size_mm
        along, across, _ = self.wedge
        return thickness + along * (x - length / 2) + across * (y - width / 2)

    def rise_mm(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """How much the upper face stands up because of the cup (both faces alike)."""
        _, width, _ = self.size_mm
        return self.wedge[2] * (1 - (2 * y / width - 1) ** 2)

    def need(self, x: np.ndarray, y: np.ndarray, density_power: float, g_ref: float) -> np.ndarray:
        """Factor on the wood law's threshold and need at (x, y)."""
        amplitude, cycles, phase = self.waves.T
        smooth = 1 + np.sum(amplitude * np.sin(2 * np.pi * cycles * x[..., None] + phase), axis=-1)
        contrast, pitch, start, drift = self.ring
        saw = ((y + drift * x) / pitch + start) % 1.0
        stripe = 1 + contrast * (saw**2 - 1 / 3) * 1.5  # density climbs through a ring and falls at once at its end
        return (RELATIVE_DENSITY[self.species] / g_ref * self.density) ** density_power * smooth * stripe


def grow(
    name: str, species: str, thickness_mm: float, length_mm: float, width_mm: float, rng: np.random.Generator, edges: str = "milled"
) -> HiddenBoard:
    """A board near the size asked for, its owner's facts measured by caliper and rule. Edges are planed, if at all, to the width."""
    contrast, pitch = RING.get(species, PLAIN_RING)
    true = (length_mm + rng.normal(0, 0.3), width_mm + rng.normal(0, 0.04), thickness_mm + rng.normal(0, 0.04))
    n_waves = 4
    cycles = rng.uniform(1 / 150, 1 / 25, n_waves)
    waves = np.column_stack([rng.normal(0, 0.035 / np.sqrt(n_waves / 2), n_waves), cycles, rng.uniform(0, 2 * np.pi, n_waves)])
    ring = (contrast, pitch * rng.uniform(0.7, 1.4), float(rng.uniform()), float(rng.normal(0, 0.02)))
    wedge = (float(rng.normal(0, 0.0002)), float(rng.normal(0, 0.0004)), float(rng.normal(0, 0.06)))
    density = float(np.exp(rng.normal(0, 0.10)))
    board = HiddenBoard(name, species, (float(true[0]), float(true[1]), float(true[2])), density, waves, ring, wedge, {})
    places = [(0.08, 0.2), (0.92, 0.2), (0.5, 0.8), (0.9, 0.8)]
    points = [board.thickness_mm(np.array(a * length_mm), np.array(b * width_mm)) + rng.normal(0, 0.02) for a, b in places]
    board.facts = {
        "schema": "kerfwright-board-1",
        "name": name,
        "species": species,
        "length": f"{length_mm:g} mm",
        "width": f"{width_mm:g} mm",
        "edges": edges,
        "thickness": [f"{float(point):.2f} mm" for point in points],
        "moisture": "8 %",
    }
    return board
