"""A recipe to begin with when nothing has been burnt yet: good enough to centre a coupon, never to cut a joint.

The laws are HANDBOOK section H(1): energy per length for one pass through a thickness t is E = a l (exp(t / l) - 1),
with a loss length l, and a grows with relative density as (G / 0.63)^0.5 (exponent 0 to 1: common practice, no source).

- Diode: a 20-40 W diode (30 W taken) takes 12 mm of medium hardwood near 4 mm/s at full power (common practice, no
  source): 7.5 J/mm at 12 mm; l = 8 mm from 3-12 mm (common practice, no source); so a = 0.269 J/mm2.
- CO2: a = 0.767 J/mm2, l = 20.3 mm (own arithmetic from McMillin and Harry, Forest Products Journal 21(10) 1971 p. 35,
  240 W with air jet on southern pine).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwright.core.errors import InputError
from kerfwright.core.estimate import Estimate
from kerfwright.core.finding import Finding, warning
from kerfwright.machine.machine import Machine
from kerfwright.process.recipe import LEAN_SD_FRAC, RampSettings, Recipe, SurfaceSettings, ThroughCut
from kerfwright.wood.species import find_species

FIRST_GUESS = "first guess, nothing burnt yet"
NO_SOURCE = f"{FIRST_GUESS}: common practice, no source"
PASS_KAPPA = 0.8  # n passes count as n^kappa (HANDBOOK H(1) gives 0.4 to 1; common practice, no source)
MARGIN = 1.3  # production runs this much over the energy that half of places need (common practice, no source)
MARK_J_MM = 0.06  # a fine dark line (common practice, no source)
MARK_SPEED_MM_S = 60.0
LEAST_MARK_FRAC = 0.15  # weaker than this some lasers give no light at all: faster instead (common practice, no source)


@dataclass(frozen=True)
class _Guess:
    """What a kind of laser is thought to do. kerf_mm: (top, waist, bottom); lambda_j_mm3: heat per volume of a ramp."""

    a_j_mm2: float
    loss_mm: float
    kerf_mm: tuple[float, float, float]
    kerf_sd_mm: float
    spacing_mm: float
    threshold_j_mm2: float
    lambda_j_mm3: float
    source: str


DIODE = _Guess(7.5 / (8.0 * math.expm1(12.0 / 8.0)), 8.0, (0.20, 0.15, 0.18), 0.05, 0.06, 0.3, 7.0, NO_SOURCE)
CO2 = _Guess(0.767, 20.3, (0.28, 0.22, 0.25), 0.07, 0.10, 0.3, 6.0, f"{FIRST_GUESS}: from McMillin and Harry 1971, pine, another machine")


def needed_j_mm(laser: str, density: float, thickness_mm: float) -> float:
    """Guessed energy per length for one pass through. density: relative, at 12 % moisture."""
    guess = CO2 if laser == "co2" else DIODE
    return guess.a_j_mm2 * math.sqrt(density / 0.63) * guess.loss_mm * math.expm1(thickness_mm / guess.loss_mm)


def first_guess(machine: Machine, species: str, thickness_mm: float) -> Recipe:
    """A starting recipe for coupons on one thickness. Raises InputError for a thickness that is no board's."""
    if not 0.3 <= thickness_mm <= 40:
        raise InputError(f"a board {thickness_mm:g} mm thick", accepted="0.3 to 40 mm, what desktop lasers are tried on")
    wood = find_species(species)
    guess = CO2 if machine.laser == "co2" else DIODE
    return Recipe.model_validate(
        {
            "schema": "kerfwright-recipe-1",
            "name": f"first guess, {wood.name} {thickness_mm:.1f} mm",
            "machine": machine.name,
            "species": wood.name,
            "made_from": FIRST_GUESS,
            "through": (_through(machine, wood.relative_density.value, thickness_mm, guess),),
            "ramp": _ramp(machine, thickness_mm, guess),
            "engrave": _engrave(machine),
        }
    )


def is_first_guess(recipe: Recipe) -> bool:
    """True when nothing was burnt for this recipe."""
    return recipe.made_from.startswith(FIRST_GUESS)


def guess_findings(recipe: Recipe, where: str = "") -> list[Finding]:
    """The warning that a plan must give with such a recipe; none for any other."""
    if not is_first_guess(recipe):
        return []
    text = f'recipe "{recipe.name}" is a guess: nothing was burnt for it. Burn the through, kerf and ramp coupons before cutting a joint'
    return [warning("first-guess", text, where)]


def _through(machine: Machine, density: float, thickness_mm: float, guess: _Guess) -> ThroughCut:
    passes = 1 if thickness_mm <= 4 or machine.laser == "co2" else 2 if thickness_mm <= 8 else 3
    wanted_j_mm = MARGIN * needed_j_mm(machine.laser, density, thickness_mm)
    speed_mm_s = min(machine.power_w * passes**PASS_KAPPA / wanted_j_mm, machine.top_speed_mm_s)
    step_mm = 0.0 if machine.z == "by hand" else round(0.5 * thickness_mm / passes, 1) if passes > 1 else 0.0
    top, waist, bottom = (Estimate(value, guess.kerf_sd_mm, 0, guess.source) for value in guess.kerf_mm)
    kerf = [
        {"travel": travel, "grain": grain, "top": top, "waist": waist, "bottom": bottom}
        for travel, grain in (("x", "along"), ("y", "across"))
    ]
    return ThroughCut.model_validate(
        {
            "thickness": (_mm(0.7 * thickness_mm), _mm(1.3 * thickness_mm)),
            "power": "100 %",
            "speed": f"{_rounded(speed_mm_s)} mm/s",
            "passes": passes,
            "focus": _mm(-min(0.15 * thickness_mm, 1.0)),
            "focus_step": _mm(step_mm),
            "kerf": tuple(kerf),
        }
    )


def _ramp(machine: Machine, thickness_mm: float, guess: _Guess) -> RampSettings:
    """Layers add up; full power is set to go a fifth deeper than the board: d = n (P / (v s) - H) / Lambda."""
    layers = 3
    full_j_mm2 = guess.threshold_j_mm2 + guess.lambda_j_mm3 * 1.2 * thickness_mm / layers
    speed_mm_s = min(machine.power_w / (guess.spacing_mm * full_j_mm2), machine.top_speed_mm_s)
    full_j_mm2 = machine.power_w / (guess.spacing_mm * speed_mm_s)

    def power_frac(depth_mm: float) -> float:
        return (guess.threshold_j_mm2 + guess.lambda_j_mm3 * depth_mm / layers) / full_j_mm2

    depths_mm = [share * thickness_mm for share in (0.05, 0.12, 0.22, 0.35, 0.5, 0.65, 0.8)]
    depth = tuple((_percent(power_frac(deep)), Estimate(deep, 0.4 * deep, 0, NO_SOURCE)) for deep in depths_mm if power_frac(deep) < 1)
    through = power_frac(thickness_mm)
    return RampSettings.model_validate(
        {
            "speed": f"{_rounded(speed_mm_s)} mm/s",
            "spacing": _mm(guess.spacing_mm),
            "layers": layers,
            "focus": "0 mm",
            "focus_step": _mm(0.0 if machine.z == "by hand" else round(0.8 * thickness_mm / layers, 2)),
            "depth": depth,
            "through_power": _percent(through) if through <= 1 else None,
            "through_thickness": _mm(thickness_mm) if through <= 1 else None,
            "wall_shift": Estimate(0.0, 0.05, 0, NO_SOURCE),
            "wall_lean": Estimate(0.0, LEAN_SD_FRAC, 0, NO_SOURCE),
        }
    )


def _engrave(machine: Machine) -> SurfaceSettings:
    power_frac = min(max(MARK_J_MM * MARK_SPEED_MM_S / machine.power_w, LEAST_MARK_FRAC), 0.8)
    speed_mm_s = min(power_frac * machine.power_w / MARK_J_MM, machine.top_speed_mm_s)
    return SurfaceSettings.model_validate({"power": _percent(power_frac), "speed": f"{_rounded(speed_mm_s)} mm/s"})


def _rounded(value: float) -> str:
    return f"{float(f'{value:.3g}'):g}"


def _mm(length_mm: float) -> str:
    return f"{length_mm:.4f} mm"


def _percent(share: float) -> str:
    return f"{100 * share:.4f} %"
