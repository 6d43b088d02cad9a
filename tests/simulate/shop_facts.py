"""Coupons burnt and read in a simulated shop, whose physics is not the burn law's: readings for the law, truth to hold it to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from kerfwright.coupons.readings import Reading, check_values
from kerfwright.coupons.record import CouponRecord
from kerfwright.simulate.facts import BurntFact
from shop.made import make_coupon
from shop.oracle import RampTrial, Through, fastest_through, field_depths, recipe_tables, slit_widths
from shop.shop import Shop
from shop.wood import HiddenBoard

OPTIONS: Mapping[str, Mapping[str, Any]] = {
    "focus": {},
    "through": {},
    "kerf comb": {"passes": [1], "focus": ["-1.5 mm", "0.5 mm"]},
    "ramp staircase": {},
}
KNOWN_FIRST = ("kerf comb", "ramp staircase")


@dataclass
class Taught:
    """A shop, one board's coupons and how it cuts in production. speed_mm_s: two passes just going through."""

    shop: Shop
    board: HiddenBoard
    speed_mm_s: float
    thickness_mm: float
    read: list[tuple[CouponRecord, tuple[Reading, ...]]]
    recipe: dict[str, Any]


def taught(tmp: Path, kind: str, seed: int, thickness_mm: float, exact: bool = True) -> Taught:
    """Every coupon that tells of the burn, on offcuts of one board."""
    shop = Shop(seed, kind, exact)
    board = shop.new_board("sugar maple", thickness_mm, 240.0, 140.0)
    fastest = fastest_through(shop, board, 2)
    cut = Through(round(0.75 * fastest, 2), 2)
    recipe = recipe_tables(shop, board, cut, RampTrial(round(1.25 * fastest, 2), 3))
    read: list[tuple[CouponRecord, tuple[Reading, ...]]] = []
    for name, options in OPTIONS.items():
        board.burns = []
        record = make_coupon(shop, board, name, tmp / name, recipe if name in KNOWN_FIRST else None, options)
        shop.burn(tmp / name, 1, board)
        read.append((record, check_values(shop.fill_form(tmp / name), record)))
    board.burns = []
    return Taught(shop, board, fastest, thickness_mm, read, recipe)


def left_out_kerfs(taught: Taught) -> list[tuple[BurntFact, float]]:
    """Widths at settings that no coupon burnt, as facts without a value, and the truth: entry, waist and exit on both axes."""
    found: list[tuple[BurntFact, float]] = []
    for share, passes, focus_mm in ((0.6, 2, -1.0), (0.85, 2, -0.2), (0.55, 3, -0.5)):
        cut = Through(share * taught.speed_mm_s, passes, focus_mm)
        for along_x in (True, False):
            widths, through = slit_widths(taught.shop, taught.board, cut, along_x, (60.0, 60.0))
            if not through:
                continue
            seen = {"show": widths[0], "waist": np.nanmin(widths), "inner": widths[-1]}
            for face, width in seen.items():
                fact = BurntFact("slit", 0.0, 0.0, 1.0, cut.speed_mm_s, passes, focus_mm, cut.focus_step_mm, 0.0 if along_x else 1.0,
                                 taught.thickness_mm, face=face, board=taught.board.name)  # fmt: skip
                found.append((fact, float(width)))
    return found


def left_out_depths(taught: Taught) -> list[tuple[BurntFact, float]]:
    """Depths of fields at other speeds and layers than the staircase's."""
    found: list[tuple[BurntFact, float]] = []
    for share, layers in ((1.6, 2), (2.0, 3), (1.3, 2)):
        ramp = RampTrial(round(share * taught.speed_mm_s, 1), layers)
        powers = np.linspace(0.3, 1.0, 8)
        for power, depth in zip(powers, field_depths(taught.shop, taught.board, ramp, powers, (60.0, 60.0)), strict=True):
            if 0.3 < depth < 0.95 * taught.thickness_mm:
                fact = BurntFact("field", 0.0, 0.0, float(power), ramp.speed_mm_s, layers, ramp.focus_mm, ramp.focus_step_mm, 0.0,
                                 taught.thickness_mm, ramp.spacing_mm, board=taught.board.name)  # fmt: skip
                found.append((fact, float(depth)))
    return found
