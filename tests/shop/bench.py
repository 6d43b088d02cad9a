"""Hidden machines: four unlike lasers, each with its own invented light, wood law and faults.

Chosen, not measured: each takes a board as common practice has it for its class (no source) - the 10 W diode 3 mm, the 20 W
diode 6 mm in one or two passes, the 40 W diode and the 60 W CO2 12 mm of a middling hardwood near 4 mm/s at full power.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shop.laws import Light, WoodLaw


@dataclass(frozen=True)
class Faults:
    """scale: true length over asked along X, Y; skew_deg: Y leans by this; lag_s: the laser comes on and goes off this late;
    pointer_mm: where the head's pointer shows, from the beam; placing_mm, placing_deg: how well the owner lays a board."""

    scale: tuple[float, float]
    skew_deg: float
    lag_s: float
    pointer_mm: tuple[float, float]
    placing_mm: float
    placing_deg: float


@dataclass(frozen=True)
class HiddenMachine:
    """facts: what its owner would write in a machine file. accel_mm_s2: the real one."""

    kind: str
    light: Light
    wood: WoodLaw
    faults: Faults
    accel_mm_s2: float
    facts: dict[str, object]


KINDS = ("diode 10", "diode 20", "diode 40", "CO2 60")


def _facts(name: str, laser: str, power_w: float, mode: str, z: str, acceleration: float) -> dict[str, object]:
    return {
        "schema": "kerfwright-machine-1",
        "name": name,
        "laser": laser,
        "power": f"{power_w:g} W",
        "bed_x": "420 mm",
        "bed_y": "400 mm",
        "height": "80 mm",
        "z": z,
        "head": {"gap": "9 mm", "half_width": "35 mm"},
        "top_speed": "300 mm/s",
        "acceleration": f"{acceleration:g} mm/s2",
        "s_full": 1000,
        "power_mode": mode,
        "placing": "0.1 mm",
    }


def build_machine(kind: str, rng: np.random.Generator) -> HiddenMachine:
    """One machine of a kind; its numbers scatter about the kind's by a few per cent, its faults freely."""

    def near(value: float, spread: float = 0.06) -> float:
        return float(value * np.exp(rng.normal(0, spread)))

    # kind: power, waists, Rayleigh ranges, dead zone, gamma | threshold, need, loss, density power, guide, over char, grazing, char
    numbers = {
        "diode 10": ((10, (0.040, 0.055), (0.9, 1.2), 0.03, 0.95), (0.45, 3.4, 3.6, 0.7, 0.65, 0.80, 0.08, 0.012)),
        "diode 20": ((20, (0.048, 0.062), (1.2, 1.5), 0.04, 1.05), (0.45, 3.3, 6.0, 0.7, 0.70, 0.85, 0.08, 0.014)),
        "diode 40": ((40, (0.070, 0.085), (1.8, 2.2), 0.06, 1.10), (0.40, 3.2, 8.0, 0.6, 0.75, 0.85, 0.06, 0.016)),
        "CO2 60": ((60, (0.085, 0.088), (2.4, 2.5), 0.10, 1.20), (0.30, 4.6, 9.5, 0.4, 0.80, 0.90, 0.05, 0.020)),
    }
    (power, waist, rayleigh, dead, gamma), (threshold, need, loss, g_power, guide, over_char, grazing, char) = numbers[kind]
    diode = kind != "CO2 60"
    light = Light(
        near(power, 0.04),
        (near(waist[0]), near(waist[1])),
        (near(rayleigh[0]), near(rayleigh[1])),
        float(rng.normal(0, 0.15)) if diode else 0.0,
        float(rng.normal(0, 0.25)),
        near(dead, 0.2),
        near(gamma, 0.05),
    )
    wood = WoodLaw(0.55, near(threshold, 0.1), near(need), near(loss), g_power, guide, over_char, near(grazing, 0.1), near(char, 0.15))
    faults = Faults(
        (1 + float(rng.normal(0, 0.001)), 1 + float(rng.normal(0, 0.001))),
        float(rng.normal(0, 0.05)),
        float(abs(rng.normal(0.0006, 0.0003))),
        (float(rng.normal(0, 0.3)), float(rng.normal(0, 0.3))),
        0.1,
        0.1,
    )
    mode = "speed-scaled" if diode else "constant"
    z = "by hand" if kind == "diode 10" else "motorised"
    accel = {"diode 10": 800.0, "diode 20": 1500.0, "diode 40": 2000.0, "CO2 60": 3000.0}[kind]
    return HiddenMachine(
        kind, light, wood, faults, near(accel), _facts(f"bench {kind}", "diode" if diode else "co2", power, mode, z, accel)
    )
