"""Readings of made-up shops whose boards and places differ, for the lessons."""

from __future__ import annotations

import numpy as np

from kerfwright.calibrate.evidence import Datum, Evidence
from kerfwright.coupons.observable import Observable, Quantity, Setting
from kerfwright.coupons.record import CouponRecord

THICKNESS_MM = 6.0
POWER_W = 20.0


def record(board: str, name: str = "coupon") -> CouponRecord:
    used = (0.0, 0.0, 90.0, 50.0)
    return CouponRecord(
        f"{name}-{board}", "d", "k", "t", board, "sugar maple", THICKNESS_MM, "M", "diode", POWER_W, "r", "m", False, used, (), None, ()
    )


def datum(quantity: Quantity, values: tuple[float | str, ...], board: str, settings: dict[str, Setting], name: str = "r") -> Datum:
    instrument = {Quantity.DEPTH: "depth gauge", Quantity.WALL_OFFSET: "scan"}.get(quantity, "caliper")
    return Datum(Observable(name, quantity, (0.0, 0.0), "mm", instrument, "", settings=settings), values, record(board))


def cell(x: float, word: str, board: str, place: str = "A", quantity: Quantity = Quantity.THROUGH) -> Datum:
    """A cell of ln energy x, one pass."""
    settings: dict[str, Setting] = {"power_frac": 1.0, "speed_mm_s": float(POWER_W * np.exp(-x)), "passes": 1.0, "depth_mm": 6.0}
    return datum(quantity, (word,), board, settings | {"place": place})


def cells(rng: np.random.Generator, board: str, middle: float, place_sd: float, n_places: int = 3, n_rungs: int = 8) -> list[Datum]:
    """Ladders at n_places; every slit has its own threshold."""
    found: list[Datum] = []
    for place in range(n_places):
        for x in np.linspace(-0.5, 0.7, n_rungs) + rng.uniform(-0.05, 0.05):
            found.append(cell(float(x), "yes" if x > rng.normal(middle, place_sd) else "no", board, chr(65 + place)))
    return found


def fields(rng: np.random.Generator, board: str, board_ln: float, place_sd: float, gauge_mm: float, n_places: int = 3) -> list[Datum]:
    """A staircase: 0.12 mm for each J/mm2 over 0.3, saturating, times what the board and the place do."""
    found: list[Datum] = []
    for place in range(n_places):
        factor = np.exp(board_ln + rng.normal(0, place_sd))
        for power in (0.1, 0.2, 0.32, 0.45, 0.6, 0.78):
            depth = float(factor * true_depth_mm(power) + rng.normal(0, gauge_mm))
            settings: dict[str, Setting] = {"power_frac": power, "speed_mm_s": 14.0, "spacing_mm": 0.08, "layers": 3.0, "focus_mm": 0.0}
            found.append(datum(Quantity.DEPTH, (depth,), board, settings | {"focus_step_mm": 1.0, "place": chr(65 + place)}))
    return found


def true_depth_mm(power_frac: float) -> float:
    dose = 3 * power_frac * POWER_W / (14.0 * 0.08)
    return float(14.0 * -np.expm1(-max(dose - 0.3, 0.0) / (7.0 * 14.0)))


def tongues(rng: np.random.Generator, board: str, kerf_mm: float, place_sd_mm: float, n: int = 6) -> list[Datum]:
    """Tongues between slits 3 mm apart, by caliper, and their free faces a little wider."""
    settings: dict[str, Setting] = {
        "power_frac": 1.0, "speed_mm_s": 6.0, "passes": 2.0, "focus_mm": 0.0, "focus_step_mm": 0.5, "travel": "x", "grain": "along",
        "depth_mm": 6.0, "pitch_mm": 3.0,
    }  # fmt: skip
    return [datum(Quantity.TONGUE_WIDTH, (3 - kerf_mm - rng.normal(0, place_sd_mm) + rng.normal(0, 0.02),), board, settings)
            for _ in range(n)] + [
        datum(Quantity.SLOT_WIDTH, (kerf_mm + 0.06,), board, settings)
    ]  # fmt: skip


def evidence(data: list[Datum]) -> Evidence:
    return Evidence(tuple(data))
