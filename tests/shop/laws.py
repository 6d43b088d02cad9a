"""The invented physics of the simulated shops: one beam, one wood, what a stretch of line takes away.

NOT the model that the package fits, and not measured on anything: a stand-in for a real bench, so that tests are not
marked by the code they test. It imports nothing from the package. Figures are chosen inside the orders of magnitude of
HANDBOOK sections B, C and H; where one is only chosen so that a shop behaves like common practice it says so.

Vocabulary: a *stretch* is one straight move with the beam on; a *section* is a row of thin upright *columns* of wood
across it (see sections.py); *need* is energy per volume taken away, rising with depth; *confinement* is 1 in a slit
between two walls and 0 where one side is open; the *budget* is the light a stretch really brings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SQRT_2_OVER_PI = float(np.sqrt(2 / np.pi))


@dataclass(frozen=True)
class Light:
    """The beam and its supply.

    waist_mm, rayleigh_mm: 1/e^2 radius at focus and Rayleigh range, (along bed X, along bed Y): HANDBOOK B's caustic for
    each axis, diode spots being oblong (HANDBOOK H 2). astigmatism_mm: X focuses this much lower than Y. focus_error_mm:
    the true focus lies this much below where Z says. dead_frac, gamma: optical power against the S word (HANDBOOK H 3).
    """

    power_w: float
    waist_mm: tuple[float, float]
    rayleigh_mm: tuple[float, float]
    astigmatism_mm: float
    focus_error_mm: float
    dead_frac: float
    gamma: float

    def optical_w(self, s_frac: np.ndarray | float) -> np.ndarray:
        """Optical power at a share of full S: nothing in the dead zone, then a power law."""
        above = np.clip((np.asarray(s_frac, dtype=float) - self.dead_frac) / (1 - self.dead_frac), 0.0, None)
        return self.power_w * above**self.gamma

    def across_mm(self, away_mm: np.ndarray, x_share: np.ndarray) -> np.ndarray:
        """1/e^2 radius square to the travel, this far below the focus. x_share: sin^2 of the travel from bed X."""
        (wx, wy), (zx, zy) = self.waist_mm, self.rayleigh_mm
        x_part = wx**2 * (1 + ((away_mm - self.astigmatism_mm) / zx) ** 2)
        y_part = wy**2 * (1 + (away_mm / zy) ** 2)
        return np.sqrt(x_share * x_part + (1 - x_share) * y_part)


@dataclass(frozen=True)
class WoodLaw:
    """How this shop's light acts on a wood of relative density ``g_ref``.

    threshold_j_mm2: a pass under this only browns (HANDBOOK H 3: 0.05-1). need_j_mm3: at the face (HANDBOOK H 3: 0.9-4.4 from
    2.3-5.8 kJ/g). loss_mm: depth over which the need grows by e (HANDBOOK H 1: 3-12 diode, 20 CO2). density_power: need and
    threshold go with (G/G_ref)^this (HANDBOOK H 1: 0-1). guide: share of the light meeting a slit's walls that they hand on, and
    how much they hold back the beam's spread. over_char: efficiency of a pass over charred wood (HANDBOOK H 1: 0.4-1).
    grazing: share of the light running along a wall that still eats it. char_mm: brittle layer brushed off every burnt
    face (HANDBOOK C4: 14-70 um). blur_mm: heat creeps sideways about this far while the beam passes.
    """

    g_ref: float
    threshold_j_mm2: float
    need_j_mm3: float
    loss_mm: float
    density_power: float
    guide: float
    over_char: float
    grazing: float
    char_mm: float
    blur_mm: float = 0.012


def line_fluence(energy_j_mm: np.ndarray | float, w_mm: np.ndarray | float) -> np.ndarray:
    """Peak fluence of an endless line, J/mm2: F0 = sqrt(2/pi) (P/v) / w (HANDBOOK F2)."""
    return SQRT_2_OVER_PI * np.asarray(energy_j_mm) / w_mm


def half_width_mm(w_mm: np.ndarray, peak: np.ndarray, threshold: np.ndarray | float) -> np.ndarray:
    """Half of D in D^2 = 2 w^2 ln(F0/Fth) (HANDBOOK F2, threshold law); 0 below the threshold."""
    return w_mm * np.sqrt(0.5 * np.log(np.maximum(peak / threshold, 1.0)))


def deeper_mm(depth_mm: np.ndarray, fluence: np.ndarray, need_j_mm3: np.ndarray | float, loss_mm: float) -> np.ndarray:
    """Depth after ``fluence`` (J/mm2, over the threshold) on columns already this deep.

    Energy balance dF = need exp(d / l) dd, so d' = l ln(exp(d/l) + F / (need l)): HANDBOOK H 1's form for one column.
    """
    return loss_mm * np.log(np.exp(depth_mm / loss_mm) + fluence / (need_j_mm3 * loss_mm))


def ended(s_mm: np.ndarray, length_mm: np.ndarray, w_mm: np.ndarray) -> np.ndarray:
    """Share of an endless line's fluence at place s along a stretch of finite length: half of two error functions."""
    root = np.sqrt(2.0) / w_mm
    return 0.5 * (erf(s_mm * root) + erf((length_mm - s_mm) * root))


def erf(x: np.ndarray) -> np.ndarray:
    """Error function to 4e-4 (tanh form; own fit, checked against scipy in tests), quick on large arrays."""
    return np.tanh(x * (1.1283792 + 0.1009072 * x * x))
