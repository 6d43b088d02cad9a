"""How wood holds and leads heat: density at a moisture content, specific heat, conductivity, diffusivity.

Source of all formulas unless marked: USDA Forest Products Laboratory, *Wood Handbook*, GTR-190 (2010), chapter 4 (WH).
"""

from __future__ import annotations

import math

FIBRE_SATURATION_FRAC = 0.30
ALONG_OVER_ACROSS = 1.8  # conductivity along the grain over across it: WH gives 1.5 to 2.8, mean 1.8
CONDUCTIVITY_SPREAD_FRAC = 0.2  # WH: single boards lie within +-20 % of the equation
_WARMING_PER_C = 0.0025  # WH: conductivity grows 2 to 3 % with every 10 C over about 24 C
_MEASURED_AT_C = 24.0
_SHRINKS_PER_DENSITY = 0.265  # volume shrinkage from green to dry over basic density: Wood Handbook, from memory of it


def basic_density(twelve_density: float) -> float:
    """Relative density of oven-dry mass over green volume from that over volume at 12 % moisture (a species file's number).

    G12 = Gb / (1 - 0.265 Gb a), a = 1 - 12/30, turned round. Wood Handbook, from memory of it. The handbook's own example
    reads 0.605 off a chart for a basic 0.55 (white ash); this gives 0.6027.
    """
    return twelve_density / (1 + _SHRINKS_PER_DENSITY * _shrunk_share(0.12) * twelve_density)


def density_at(basic_density: float, moisture_frac: float, shrinkage_frac: float | None = None) -> float:
    """Relative density Gx of oven-dry mass over the volume at this moisture. shrinkage_frac: of volume, green to dry, if known.

    Gx = Gb / (1 - S (1 - x/30)); S = 0.265 Gb when nobody measured it. Gb 0.54, S 12.3 %, x 10 %: 0.588.
    """
    whole = _SHRINKS_PER_DENSITY * basic_density if shrinkage_frac is None else shrinkage_frac
    return basic_density / (1 - whole * _shrunk_share(moisture_frac))


def density_kg_m3(relative_density: float, moisture_frac: float) -> float:
    """rho = 1000 Gx (1 + x): wood and its water. Gx: over the volume at this moisture. WH: G12 0.605 at 12 % is 678 kg/m3."""
    return 1000 * relative_density * (1 + moisture_frac)


def conductivity_w_mk(relative_density: float, moisture_frac: float, warm_c: float = _MEASURED_AT_C) -> float:
    """Across the grain: k = G (0.1941 + 0.004064 x) + 0.01864, W/mK, x in per cent. WH eq. 4-15 (number from memory).

    Range: x under 25 %, G over 0.3, about 24 C, +-20 %; warmer wood leads 2-3 % more every 10 C. Along the grain 1.8 times that.
    """
    percent = 100 * moisture_frac
    still = relative_density * (0.1941 + 0.004064 * percent) + 0.01864
    return still * (1 + _WARMING_PER_C * (warm_c - _MEASURED_AT_C))


def specific_heat_j_kgk(moisture_frac: float, warm_c: float) -> float:
    """c = (c0 + 4.18 x/100) / (1 + x/100) + A, c0 = 0.1031 + 0.003867 T, A = x (-0.06191 + 2.36e-4 T - 1.33e-4 x); kJ/kgK, T in K.

    WH eq. 4-16a to 4-18. Range: below fibre saturation, 7 to 147 C (from memory). 12 % at 340 K: 1.9146 kJ/kgK.
    """
    percent, kelvin = 100 * moisture_frac, warm_c + 273.15
    dry = 0.1031 + 0.003867 * kelvin
    bound = percent * (-0.06191 + 2.36e-4 * kelvin - 1.33e-4 * percent)
    return 1000 * ((dry + 0.0418 * percent) / (1 + moisture_frac) + bound)


def diffusivity_mm2_s(conductivity_w_mk: float, heat_j_mm3k: float) -> float:
    """a = k / (rho c)."""
    return conductivity_w_mk / 1000 / heat_j_mm3k


def heat_j_mm3k(density_kg_m3: float, specific_heat_j_kgk: float) -> float:
    """Heat that a cubic millimetre takes up for one degree: rho c."""
    return density_kg_m3 * specific_heat_j_kgk * 1e-9


def band_mm(diffusivity_mm2_s: float, after_s: float) -> float:
    """How wide a line's heat is after a while: a band of its peak's height would hold it all, sqrt(4 pi a t)."""
    return math.sqrt(4 * math.pi * diffusivity_mm2_s * after_s)


def _shrunk_share(moisture_frac: float) -> float:
    return max(0.0, 1 - moisture_frac / FIBRE_SATURATION_FRAC)
