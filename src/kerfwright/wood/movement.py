"""How wet wood becomes in a room, and how much a board then grows or shrinks across its grain.

Symbols: T temperature, deg C; h relative humidity, 0-1; M moisture, percent of the dry mass; D size across the grain, mm;
C change per percent of moisture; S total shrinkage from green to oven-dry, percent.
Law (1), equilibrium moisture: M = (1800/W) [K h / (1 - K h) + (K1 K h + 2 K1 K2 K^2 h^2) / (1 + K1 K h + K1 K2 K^2 h^2)]
Law (2), from 6 to 14 %: dD = D C (Mf - Mi). Law (3), elsewhere below 30 %: dD = D (Mf - Mi) / (3000 / S - 30 + Mi).
Range: law (1) for -1 to 93 deg C; both movement laws for whole boards in slow change. Along the grain nothing is counted.
Example: 232 mm of flat-sawn white fir going from 8 to 11 %: +1.7 mm.
Source: USDA FPL Wood Handbook GTR-190 eq. 4-5 (read in a public fact sheet quoting GTR-282 p. 4-3) and eq. 13-2 with its
worked example (read in a public copy); eq. 13-3's limits read there, its algebra from memory, confirmed by ten species' C.
"""

from __future__ import annotations

from enum import StrEnum

from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.wood.species import Sourced, Species

EMC_SD_FRAC = 0.01  # the historic data are not good to a tenth of a percent: one point of model error (judgement of ours)
MOVEMENT_SD_SHARE = 0.2  # boards of one species differ in shrinkage by about this (judgement of ours, no source)
WETTEST_FRAC = 0.30  # above fibre saturation wood no longer moves
FIBRE_SATURATION_PERCENT = 30.0


class Sawn(StrEnum):
    """How the growth rings stand in a board: across its face (flat), across its edge (quarter), or nobody looked."""

    FLAT = "flat"
    QUARTER = "quarter"
    UNKNOWN = "unknown"


def moisture_frac(temperature_c: float, humidity_frac: float) -> Estimate:
    """Moisture that wood comes to in this air (law 1), as a fraction of its dry mass, with one point of model error.

    Raises InputError outside -1 to 93 deg C or 0 to 98 % humidity.
    """
    if not -1.2 <= temperature_c <= 93.4 or not 0 <= humidity_frac <= 0.98:
        raise InputError(f"air at {temperature_c:g} deg C and {humidity_frac:.0%} humidity", accepted="-1 to 93 deg C, 0 to 98 %")
    t, h = temperature_c, humidity_frac
    w = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    bound = (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2)
    return Estimate(1800 / w * (kh / (1 - kh) + bound) / 100, EMC_SD_FRAC, 0, "Wood Handbook eq. 4-5; model error our judgement")


def movement_per_percent(shrinkage_percent: float) -> float:
    """C of law (2) from S: law (3) at 10 % moisture. It does not hold for rows that mix several species."""
    return shrinkage_percent / (3000 - 20 * shrinkage_percent)


def change_mm(size_mm: float, species: Species, sawn: Sawn, from_frac: float, to_frac: float) -> Estimate:
    """How much a board this wide across the grain grows (+) or shrinks (-) between two moistures (fractions, up to 0.30).

    Unknown rings take the mean of both ways of sawing, their difference in the spread. Raises InputError when the species
    has no movement on record.
    """
    for moisture in (from_frac, to_frac):
        if not 0 <= moisture <= WETTEST_FRAC:
            raise InputError(f"moisture {moisture:.0%}", accepted="0 to 30 %: above that wood no longer moves")
    radial = _change(species.movement_radial_per_percent, species.shrinkage_radial_percent, from_frac, to_frac)
    tangential = _change(species.movement_tangential_per_percent, species.shrinkage_tangential_percent, from_frac, to_frac)
    wanted = {Sawn.FLAT: (tangential,), Sawn.QUARTER: (radial,), Sawn.UNKNOWN: (radial, tangential)}[sawn]
    known = [share for share in wanted if share is not None]
    if len(known) < len(wanted):
        raise InputError(f'the movement of "{species.name}" is not on record', accepted="a species file with its shrinkage or movement")
    middle = sum(known) / len(known)
    spread = (abs(middle) * MOVEMENT_SD_SHARE, abs(known[0] - known[-1]) / 2)
    return Estimate(size_mm * middle, size_mm * (spread[0] ** 2 + spread[1] ** 2) ** 0.5, 0, f"{species.name}, {sawn.value} sawn")


def _change(per_percent: Sourced | None, shrinkage: Sourced | None, from_frac: float, to_frac: float) -> float | None:
    """Share of its size by which wood changes: law (2) from 6 to 14 %, law (3) elsewhere."""
    from_percent, to_percent = 100 * from_frac, 100 * to_frac
    in_range = min(from_percent, to_percent) >= 6 and max(from_percent, to_percent) <= 14
    if per_percent is not None and (in_range or shrinkage is None):
        return per_percent.value * (to_percent - from_percent)
    if shrinkage is None:
        return None
    return (to_percent - from_percent) / (3000 / shrinkage.value - FIBRE_SATURATION_PERCENT + from_percent)
