"""What a squeeze does: pressure, the force to push a joint home, and whether a half-pin stands it.

Vocabulary: *squeeze* is how much more wood there is than room at one flank, mm, shared by both boards; a *member* is one
tail or pin, the *outermost* one (a half-pin) has nothing on its far side.

Symbols: delta squeeze; b1, b2 widths of wood that take it up, E1, E2 their moduli across the grain; A area; mu friction.
Law (1): p = delta / (b1 / E1 + b2 / E2), no more than the weaker wood bears across the grain before it crushes
Law (2): F = mu times the integral of p over A, all flanks
Law (3): an outermost member L long, h wide, of modulus EL along the grain, gives way by bending too: 0.6 p L^4 / (EL h^3)
Law (4): shear at its root 1.5 p L / h, against the wood's shear strength along the grain
Range: dry-fitted wood near 12 % moisture, squeeze of a few hundredths. Sources: (1) and (2) HANDBOOK F9 (own arithmetic from
elasticity: two springs in a row); (3) mean sag of a cantilever under even load, w L^4 / (20 E I), and (4) shear of a
rectangle, both from memory of any text on the strength of materials; that a half-pin goes by (4) is own judgement.
Example: maple, ET = 819 MPa, b = 6 and 8 mm, delta = 0.05 mm: 2.925 MPa, and with mu = 0.4 on 144 mm2 168.5 N.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from kerfwright.wood.species import Sourced, Species, all_species, find_species

Array = NDArray[np.float64]

# Wood on wood: 0.08 to 0.24 on pine (Aira et al., read), dry wood on a hard smooth face 0.3 to 0.5 (Wood Handbook ch. 5, from
# memory). HANDBOOK A3 takes 0.1 to 0.5; the middle is ours.
FRICTION_RATIOS = (0.1, 0.3, 0.5)

# Own judgement: share of the shear strength in the worst tenth of draws from which a half-pin's risk is called so.
RAISED_SHARE = 1 / 3
HIGH_SHARE = 2 / 3


@dataclass(frozen=True)
class CrossGrain:
    """One species across the grain, MPa. shear_mpa is None when nothing is known. said: what had to be fallen back on."""

    species: str
    modulus_mpa: float
    along_mpa: float
    crush_mpa: float
    shear_mpa: float | None
    said: tuple[str, ...] = ()


@cache
def cross_grain(species: str) -> CrossGrain:
    """Moduli and strengths of a species. How its rings lie is not known, so the softer, tangential modulus is taken.

    Fallbacks, each said: the mean ratio of the species that have one; crushing from density by the Wood Handbook's curve for
    hardwoods, 21.6 G^2.09 MPa at 12 % (Table 5-11 from memory; within a third of every hardwood here, tested; softwoods bear more).
    """
    wood, said = find_species(species), list[str]()
    along_gpa, ratio, crush_mpa = (
        _value(each) for each in (wood.elastic_modulus_gpa, wood.elastic_ratio_tangential, wood.compression_perpendicular_mpa)
    )
    if along_gpa is None:
        along_gpa = _mean("elastic_modulus_gpa")
        said.append(f"no stiffness of {wood.name} is known: the mean of other species is used")
    if ratio is None:
        ratio = _mean("elastic_ratio_tangential")
        said.append(f"no stiffness across the grain of {wood.name} is known: the mean ratio of other species is used")
    if crush_mpa is None:
        crush_mpa = crush_from_density_mpa(wood)
        said.append(f"how soon {wood.name} crushes is taken from its density")
    return CrossGrain(wood.name, 1000 * along_gpa * ratio, 1000 * along_gpa, crush_mpa, _value(wood.shear_mpa), tuple(said))


def crush_from_density_mpa(wood: Species) -> float:
    """Compression across the grain from relative density: see ``cross_grain``."""
    return 21.6 * wood.relative_density.value**2.09


def _value(number: Sourced | None) -> float | None:
    return None if number is None else number.value


def _mean(field: str) -> float:
    known = [number.value for each in all_species().values() if isinstance(number := getattr(each, field), Sourced)]
    return sum(known) / len(known)


def yield_mm_mpa(width_a_mm: Array | float, wood_a: CrossGrain, width_b_mm: Array | float, wood_b: CrossGrain) -> Array:
    """b1 / E1 + b2 / E2: mm of squeeze that a pressure of 1 MPa takes up."""
    return np.asarray(width_a_mm) / wood_a.modulus_mpa + np.asarray(width_b_mm) / wood_b.modulus_mpa


def bending_mm_mpa(long_mm: Array | float, wide_mm: Array | float, wood: CrossGrain) -> Array:
    """Law (3): mm by which an outermost member gives way under 1 MPa."""
    return 0.6 * np.asarray(long_mm) ** 4 / (wood.along_mpa * np.asarray(wide_mm) ** 3)


def pressure_mpa(squeeze_mm: Array | float, yields_mm_mpa: Array | float, crush_mpa: float) -> Array:
    """Law (1), capped. A squeeze below 0 is a gap and presses nothing."""
    return np.clip(np.asarray(squeeze_mm) / yields_mm_mpa, 0.0, crush_mpa)


def force_n(pressure_area_n: Array | float, friction_ratio: float) -> Array:
    """Law (2). pressure_area_n: the integral of pressure over area, MPa mm2 = N."""
    return friction_ratio * np.asarray(pressure_area_n)


def root_shear_mpa(pressing_mpa: Array, long_mm: Array | float, wide_mm: Array | float) -> Array:
    """Law (4)."""
    return 1.5 * pressing_mpa * np.asarray(long_mm) / wide_mm


def half_pin_word(shear_share: Array | None) -> str:
    """Risk in words from the share of the strength used, one a draw; None when the strength is not known. Never less than low."""
    if shear_share is None or not len(shear_share):
        return "unknown"
    worst = float(np.quantile(shear_share, 0.9))
    return "high" if worst >= HIGH_SHARE else "raised" if worst >= RAISED_SHARE else "low"
